//! Calls by bytes: any method, any message, also one that is none.

use std::collections::BTreeMap;

use dashwright_api::DESCRIPTORS;
use prost::Message as _;
use prost::bytes::{Buf as _, BufMut as _};
use tonic::client::Grpc;
use tonic::codec::{Codec, DecodeBuf, Decoder, EncodeBuf, Encoder};
use tonic::transport::Channel;
use tonic::{Request, Response, Status, Streaming};

use crate::keys::with_key;
use crate::service::Outcome;

/// The message by which a request says which revision is read.
const READ_AT: &str = ".dashwright.v1.ReadAt";
/// How deep in a request it may stand: requests hold requests, and those hold nothing of the kind.
const MOST_DEPTH: u8 = 4;

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
    let request = match key {
        Some(key) => with_key(message, key)?,
        None => Request::new(message),
    };
    match begin(channel, path, request).await? {
        Ok(mut answers) => Ok(answers.message().await.map(Option::unwrap_or_default)),
        Err(status) => Ok(Err(status)),
    }
}

/// Calls a method that comes to an end with bytes for a message, and takes every answer.
///
/// # Errors
/// As [`call`].
pub async fn call_to_its_end(
    channel: &Channel,
    path: &str,
    message: Vec<u8>,
) -> Outcome<Result<Vec<Vec<u8>>, Status>> {
    let mut answers = match begin(channel, path, Request::new(message)).await? {
        Ok(answers) => answers,
        Err(status) => return Ok(Err(status)),
    };
    let mut all = Vec::new();
    loop {
        match answers.message().await {
            Ok(Some(answer)) => all.push(answer),
            Ok(None) => return Ok(Ok(all)),
            Err(status) => return Ok(Err(status)),
        }
    }
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

/// The path of every method whose request says which revision is read, itself or in a message that it holds.
///
/// # Errors
/// When the descriptor set can not be read.
pub fn methods_as_of() -> Result<Vec<String>, prost::DecodeError> {
    let set = prost_types::FileDescriptorSet::decode(DESCRIPTORS)?;
    let mut messages = BTreeMap::new();
    for file in &set.file {
        for message in &file.message_type {
            let fields: Vec<&str> = message.field.iter().map(|it| it.type_name()).collect();
            messages.insert(format!(".{}.{}", file.package(), message.name()), fields);
        }
    }
    let mut paths = Vec::new();
    for file in &set.file {
        for service in &file.service {
            let reading = service.method.iter().filter(|it| reaches(&messages, it.input_type(), READ_AT, 0));
            paths.extend(reading.map(|it| format!("/{}.{}/{}", file.package(), service.name(), it.name())));
        }
    }
    Ok(paths)
}

fn reaches(messages: &BTreeMap<String, Vec<&str>>, from: &str, wanted: &str, depth: u8) -> bool {
    let inside = messages.get(from).into_iter().flatten();
    from == wanted
        || (depth < MOST_DEPTH && inside.clone().any(|it| reaches(messages, it, wanted, depth + 1)))
}

async fn begin(
    channel: &Channel,
    path: &str,
    request: Request<Vec<u8>>,
) -> Outcome<Result<Streaming<Vec<u8>>, Status>> {
    let mut client = Grpc::new(channel.clone());
    client.ready().await?;
    let answered = client.server_streaming(request, path.parse()?, Bytes).await;
    Ok(answered.map(Response::into_inner))
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
