//! Calls by bytes: any method, any message, also one that is none.

use dashwright_api::DESCRIPTORS;
use prost::Message as _;
use prost::bytes::{Buf as _, BufMut as _};
use tonic::client::Grpc;
use tonic::codec::{Codec, DecodeBuf, Decoder, EncodeBuf, Encoder};
use tonic::transport::Channel;
use tonic::{Request, Status};

use crate::keys::with_key;
use crate::service::Outcome;

/// Calls a method, `/package.Service/Method`, with bytes for a message, and takes the first answer: a watch has no last one.
///
/// # Errors
/// When the path is none, or the connection is lost. What the service refuses is an answer.
pub async fn call(channel: &Channel, path: &str, message: Vec<u8>) -> Outcome<Result<Vec<u8>, Status>> {
    call_with(channel, path, message, None).await
}

/// Calls a method with bytes for a message, and presents a key.
///
/// # Errors
/// As [`call`].
pub async fn call_with(
    channel: &Channel,
    path: &str,
    message: Vec<u8>,
    key: Option<&str>,
) -> Outcome<Result<Vec<u8>, Status>> {
    let mut client = Grpc::new(channel.clone());
    client.ready().await?;
    let request = match key {
        Some(key) => with_key(message, key)?,
        None => Request::new(message),
    };
    let mut answers = match client.server_streaming(request, path.parse()?, Bytes).await {
        Ok(answer) => answer.into_inner(),
        Err(status) => return Ok(Err(status)),
    };
    Ok(answers.message().await.map(Option::unwrap_or_default))
}

/// The path of every method of the schema.
///
/// # Errors
/// When the descriptor set can not be read.
pub fn methods() -> Result<Vec<String>, prost::DecodeError> {
    let set = prost_types::FileDescriptorSet::decode(DESCRIPTORS)?;
    let mut paths = Vec::new();
    for file in &set.file {
        for service in &file.service {
            let methods = service.method.iter();
            paths.extend(methods.map(|it| format!("/{}.{}/{}", file.package(), service.name(), it.name())));
        }
    }
    Ok(paths)
}

/// Sends and takes bytes as they are.
#[derive(Clone, Copy, Default)]
struct Bytes;

impl Codec for Bytes {
    type Encode = Vec<u8>;
    type Decode = Vec<u8>;
    type Encoder = Self;
    type Decoder = Self;

    fn encoder(&mut self) -> Self {
        Self
    }

    fn decoder(&mut self) -> Self {
        Self
    }
}

impl Encoder for Bytes {
    type Item = Vec<u8>;
    type Error = Status;

    fn encode(&mut self, item: Vec<u8>, buffer: &mut EncodeBuf<'_>) -> Result<(), Status> {
        buffer.put_slice(&item);
        Ok(())
    }
}

impl Decoder for Bytes {
    type Item = Vec<u8>;
    type Error = Status;

    fn decode(&mut self, buffer: &mut DecodeBuf<'_>) -> Result<Option<Vec<u8>>, Status> {
        let bytes = buffer.copy_to_bytes(buffer.remaining());
        Ok(Some(bytes.to_vec()))
    }
}
