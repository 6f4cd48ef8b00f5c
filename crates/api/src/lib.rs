//! The generated gRPC types and the descriptor set, compiled from proto/ without protoc.

pub mod codec;
pub mod reply;

/// Messages, clients and servers of `dashwright.v1`.
#[expect(
    clippy::allow_attributes_without_reason,
    clippy::large_enum_variant,
    reason = "generated; the schema documents it"
)]
pub mod v1 {
    tonic::include_proto!("dashwright.v1");
}

/// The server of `FitmentService` whose look-up answers with bytes that were encoded before.
#[expect(clippy::allow_attributes_without_reason, reason = "generated; the schema documents it")]
pub mod replies {
    include!(concat!(env!("OUT_DIR"), "/replies/dashwright.v1.rs"));
}

/// The descriptor set of the schema, for reflection and for JSON.
pub const DESCRIPTORS: &[u8] = include_bytes!(concat!(env!("OUT_DIR"), "/descriptors.bin"));
