//! How questions and answers about vehicles are read and written: as everywhere, with buffers of a size that fits them.
//!
//! tonic begins with 8 KiB for either. An answer is usually larger, so that its buffer would be copied into a larger one
//! at every call, which took 0.3 µs of a look-up's 22; a question is much smaller.

use std::marker::PhantomData;

use prost::Message;
use tonic::codec::{BufferSettings, Codec};
use tonic_prost::ProstCodec;

/// Bytes that hold most questions: one with every field set takes less than a quarter of it.
const QUESTION_BYTES: usize = 2 << 10;
/// Bytes that hold most answers: a look-up has 10 KiB and a plan 13, and a multiple of a page costs no more than they do.
const ANSWER_BYTES: usize = 16 << 10;
/// Bytes of a stream's answers that are sent together, as tonic has it.
const TOGETHER_BYTES: usize = 32 << 10;

/// The codec of protobuf messages with these buffers.
#[derive(Clone, Copy, Debug)]
pub struct FittingCodec<T, U>(PhantomData<(T, U)>);

impl<T, U> Default for FittingCodec<T, U> {
    fn default() -> Self {
        Self(PhantomData)
    }
}

impl<T, U> Codec for FittingCodec<T, U>
where
    T: Message + Send + 'static,
    U: Message + Default + Send + 'static,
{
    type Encode = T;
    type Decode = U;
    type Encoder = <ProstCodec<T, U> as Codec>::Encoder;
    type Decoder = <ProstCodec<T, U> as Codec>::Decoder;

    fn encoder(&mut self) -> Self::Encoder {
        ProstCodec::<T, U>::raw_encoder(BufferSettings::new(ANSWER_BYTES, TOGETHER_BYTES))
    }

    fn decoder(&mut self) -> Self::Decoder {
        ProstCodec::<T, U>::raw_decoder(BufferSettings::new(QUESTION_BYTES, TOGETHER_BYTES))
    }
}
