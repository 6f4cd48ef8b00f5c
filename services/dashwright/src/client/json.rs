//! Answers as JSON: the proto3 JSON mapping, by the descriptors of the schema.

use std::sync::LazyLock;

use prost::Message;
use prost_reflect::{DescriptorError, DescriptorPool, DynamicMessage};

use crate::failure::Failure;

/// How an answer is laid out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Layout {
    /// Over many lines, for a person.
    Wide,
    /// On one line, for a reader of lines.
    OneLine,
}

/// A message of `dashwright.v1` as JSON, with a line feed at its end.
///
/// # Errors
/// When the message is not one of the schema.
pub(crate) fn json<M: Message>(name: &str, message: &M, layout: Layout) -> Result<String, Failure> {
    let pool = POOL.as_ref().map_err(|error| unreadable(error.into()))?;
    let name = format!("dashwright.v1.{name}");
    let descriptor = pool.get_message_by_name(&name).ok_or_else(|| unreadable(name.into()))?;
    let dynamic = DynamicMessage::decode(descriptor, message.encode_to_vec().as_slice())
        .map_err(|error| unreadable(error.into()))?;
    let text = match layout {
        Layout::Wide => serde_json::to_string_pretty(&dynamic),
        Layout::OneLine => serde_json::to_string(&dynamic),
    };
    text.map(|text| text + "\n").map_err(|error| unreadable(error.into()))
}

/// The schema, read once: a stream may have thousands of answers.
static POOL: LazyLock<Result<DescriptorPool, DescriptorError>> =
    LazyLock::new(|| DescriptorPool::decode(dashwright_api::DESCRIPTORS));

fn unreadable(cause: Box<dyn std::error::Error + Send + Sync>) -> Failure {
    Failure::Answer(cause)
}
