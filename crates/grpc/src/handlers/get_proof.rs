//! `GetProof`: proof that an entry stands in the trail, or that a longer trail continues a shorter one.

use dashwright_api::v1;
use dashwright_engine::Proof;
use v1::get_proof_request::Proof as Asked;

use crate::from_proto::{FieldFaults, FieldProblem};
use crate::{Refusal, Service};

impl Service {
    pub(crate) fn proof(&self, request: v1::GetProofRequest) -> Result<v1::GetProofResponse, Refusal> {
        let v1::GetProofRequest { proof } = request;
        let mut faults = FieldFaults::default();
        let asked = faults.take("proof", proof.ok_or(FieldProblem::Missing));
        let whole = |size: u64| if size == 0 { self.engine.trail_size() } else { size };
        match faults.with(asked)? {
            Asked::Inclusion(v1::InclusionProofRequest { sequence, tree_size }) => {
                let Proof { size, root, hashes, of } = self.engine.inclusion(sequence, whole(tree_size))?;
                Ok(v1::GetProofResponse { leaf_hash: of.0.to_vec(), ..message(size, root, &hashes) })
            }
            Asked::Consistency(v1::ConsistencyProofRequest { from_size, to_size }) => {
                let Proof { size, root, hashes, of } = self.engine.consistency(from_size, whole(to_size))?;
                Ok(v1::GetProofResponse { from_root: of.0.to_vec(), ..message(size, root, &hashes) })
            }
        }
    }
}

fn message(
    tree_size: u64,
    root: dashwright_log::Digest,
    hashes: &[dashwright_log::Digest],
) -> v1::GetProofResponse {
    v1::GetProofResponse {
        tree_size,
        root: root.0.to_vec(),
        hashes: hashes.iter().map(|hash| hash.0.to_vec()).collect(),
        ..v1::GetProofResponse::default()
    }
}
