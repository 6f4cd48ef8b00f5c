//! An answer as bytes that were encoded before.
//!
//! Most of a look-up's answer is the same for every vehicle line with the same dash and audio options. It is encoded
//! once; what differs (revision, candidates, matches) is encoded for the call and stands before it. Encoded messages
//! may be joined: a reader merges the fields of both (protobuf encoding, "last one wins" for single fields, and no
//! single field is in both).

use bytes::{Buf, BufMut, Bytes};
use prost::DecodeError;
use prost::encoding::{DecodeContext, WireType, skip_field};

/// A message in two encoded pieces.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Reply {
    /// What was encoded for this call.
    pub own: Bytes,
    /// What many calls share.
    pub shared: Bytes,
}

impl prost::Message for Reply {
    fn encode_raw(&self, buffer: &mut impl BufMut) {
        buffer.put_slice(&self.own);
        buffer.put_slice(&self.shared);
    }

    fn merge_field(
        &mut self,
        tag: u32,
        wire_type: WireType,
        buffer: &mut impl Buf,
        context: DecodeContext,
    ) -> Result<(), DecodeError> {
        // Only a server has this type, and it never reads its own answers.
        skip_field(wire_type, tag, buffer, context)
    }

    fn encoded_len(&self) -> usize {
        self.own.len() + self.shared.len()
    }

    fn clear(&mut self) {
        *self = Self::default();
    }
}

#[cfg(test)]
mod tests {
    use prost::Message as _;

    use super::*;
    use crate::v1::{Candidate, LookUpFitmentResponse, Verdict};

    #[test]
    fn the_pieces_are_read_as_one_message() {
        let candidate = Candidate { vehicle_id: "line-1".to_owned(), ..Candidate::default() };
        let own = LookUpFitmentResponse { candidates: vec![candidate], ..Default::default() };
        let shared = LookUpFitmentResponse { verdict: Verdict::Depends.into(), ..Default::default() };
        let reply = Reply { own: own.encode_to_vec().into(), shared: shared.encode_to_vec().into() };
        assert_eq!(reply.encoded_len(), reply.encode_to_vec().len());
        let read = LookUpFitmentResponse::decode(reply.encode_to_vec().as_slice()).unwrap();
        assert_eq!(read, LookUpFitmentResponse { verdict: shared.verdict, ..own });
    }
}
