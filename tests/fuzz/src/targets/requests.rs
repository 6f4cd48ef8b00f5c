//! Requests of every method, put to the real handlers behind the real guard: bytes as they come, and messages that are filled
//! by their descriptors.
//!
//! An input that begins with a slash is a path, a line feed and the bytes of messages, framed here one by one. Any other input
//! is a row of choices: the method, the headers, and what each field holds.

#[path = "requests/fill.rs"]
mod fill;
#[path = "requests/service.rs"]
mod service;
#[path = "requests/words.rs"]
mod words;

use std::sync::{LazyLock, Mutex, PoisonError};

use dashwright_api::v1::ErrorReason;
use dashwright_grpc::LIMITS;
use prost::Message as _;
use prost_reflect::{DynamicMessage, MethodDescriptor, ReflectMessage as _};
use tonic::{Code, Status};
use tonic_types::StatusExt as _;

use fill::Choices;
use service::{Answer, Service};

/// What stands between the messages of a stream.
const BETWEEN: &[u8] = b"\n===\n";

/// Streams of more messages are cut: more of the same finds nothing new.
const MOST_MESSAGES: usize = 4;

/// Calls that may have changed something before the service is begun anew: its state stays small, and what is found can be
/// found again.
const MOST_CHANGES: u32 = 400;

static SERVICE: LazyLock<Mutex<Service>> = LazyLock::new(|| Mutex::new(Service::new()));

/// Every request is answered within bounds, or refused with a published reason; nothing is a fault of the service.
pub(crate) fn hold(bytes: &[u8]) {
    let mut service = SERVICE.lock().unwrap_or_else(PoisonError::into_inner);
    if service.changes() > MOST_CHANGES {
        *service = Service::new();
    }
    let (path, messages, headers) = match bytes {
        [b'/', ..] => raw(bytes),
        _ => filled(bytes, &service),
    };
    let Some(answer) = service.ask(&path, &messages, &headers) else { return };
    let method = service.method(&path);
    match &answer.status {
        None => answered(&path, method.as_ref(), &answer),
        Some(status) => refused(&path, status),
    }
}

type Asked = (String, Vec<Vec<u8>>, Vec<(&'static str, String)>);

fn raw(bytes: &[u8]) -> Asked {
    let end = bytes.iter().position(|byte| *byte == b'\n').unwrap_or(bytes.len());
    let (path, mut rest) =
        (String::from_utf8_lossy(&bytes[..end]).into_owned(), bytes.get(end + 1..).unwrap_or(b""));
    let mut messages = Vec::new();
    while let Some(at) = rest.windows(BETWEEN.len()).position(|window| window == BETWEEN)
        && messages.len() < MOST_MESSAGES
    {
        messages.push(rest[..at].to_vec());
        rest = &rest[at + BETWEEN.len()..];
    }
    messages.push(rest.to_vec());
    (path, messages, Vec::new())
}

fn filled(bytes: &[u8], service: &Service) -> Asked {
    let mut choices = Choices::new(bytes, service.words());
    let method = choices.one_of(service.methods()).clone();
    let headers = choices.headers();
    let count = if method.is_client_streaming() { usize::from(choices.byte() % 4) + 1 } else { 1 };
    let messages = (0..count).map(|_| choices.message(&method.input(), 0).encode_to_vec());
    (service::path_of(&method), messages.collect(), headers)
}

/// An answer is one of its method, and within its limit.
fn answered(path: &str, method: Option<&MethodDescriptor>, answer: &Answer) {
    let Some(method) = method else { return };
    for message in &answer.messages {
        assert!(message.len() <= LIMITS.answer_bytes, "{path} answers {} bytes", message.len());
        let read = DynamicMessage::decode(method.output(), message.as_slice());
        let read =
            read.unwrap_or_else(|error| panic!("{path} answers what is none of its messages: {error}"));
        assert_eq!(read.unknown_fields().count(), 0, "{path} answers fields that its message has not");
        as_json(path, &read);
    }
    assert!(method.is_server_streaming() || answer.messages.len() == 1, "{path} answers nothing");
}

/// What the client writes as JSON is read back as the same message.
fn as_json(path: &str, message: &DynamicMessage) {
    let text =
        serde_json::to_string(message).unwrap_or_else(|error| panic!("{path} has no JSON form: {error}"));
    let mut reader = serde_json::Deserializer::from_str(&text);
    let read = DynamicMessage::deserialize(message.descriptor(), &mut reader);
    assert_eq!(read.ok().as_ref(), Some(message), "{path}: {text}");
}

fn refused(path: &str, status: &Status) {
    let (code, said) = (status.code(), status.message());
    assert!(!matches!(code, Code::Internal | Code::Unknown | Code::DataLoss), "{path}: {status:?}");
    assert!(!said.is_empty() || code == Code::Unimplemented, "{path}: {code:?} without words");
    if code == Code::Unimplemented && status.details().is_empty() {
        // The router's word for a path of no method.
        return;
    }
    assert!(status.details().len() <= LIMITS.error_detail_bytes, "{path}: {} bytes", status.details().len());
    let details = status.get_error_details();
    let info = details.error_info().unwrap_or_else(|| panic!("{path}: {status:?} without a reason"));
    let reason = ErrorReason::from_str_name(&format!("ERROR_REASON_{}", info.reason));
    assert!(
        reason.is_some_and(|it| it != ErrorReason::Unspecified),
        "{path}: `{}` is not published",
        info.reason
    );
    if reason == Some(ErrorReason::FieldsInvalid) {
        let faults = details.bad_request().map(|it| it.field_violations.as_slice()).unwrap_or_default();
        assert!(!faults.is_empty(), "{path}: {status:?} without a field");
        assert!(faults.iter().all(|it| !it.description.is_empty()), "{path}: {status:?}");
    }
}
