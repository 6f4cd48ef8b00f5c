//! The service that is asked: the demo catalogue in memory, and the words that mean something in it.

use std::convert::Infallible;
use std::net::{Ipv4Addr, SocketAddr};
use std::sync::Arc;
use std::time::Duration;

use bytes::{BufMut as _, Bytes, BytesMut};
use dashwright_engine::keys::KeyRing;
use dashwright_engine::{RevisionToken, initialise, start};
use dashwright_grpc::auth::Access;
use dashwright_grpc::{Peer, Serving};
use dashwright_log::MemoryLog;
use dashwright_model::exchange::{ExchangeError, parse_line};
use http::{Request, Response};
use http_body_util::{BodyExt as _, Full};
use prost::Message as _;
use prost_reflect::{DescriptorPool, DynamicMessage, MethodDescriptor, Value};
use tempfile::TempDir;
use tokio::runtime::Runtime;
use tokio::sync::watch;
use tonic::body::Body;
use tonic::{Code, Status};
use tower::util::{BoxCloneSyncService, ServiceExt as _};

use super::words::Words;
use crate::targets::house::{Fixed, ground, origin};

/// How long an answer is read that has no end of its own.
const ENDLESS: Duration = Duration::from_millis(2);

/// How the history is called: the first id that is given.
const INCARNATION: &str = "fuzz-0";

/// The one method whose answer has none.
const WATCH: &str = "/dashwright.v1.AuditService/WatchRevisions";

/// The deadline of a call that names none: a call that waits for a revision which never comes waits no longer.
const PATIENCE: &str = "150m";

/// That of a call whose answer is needed: a slow machine is no fault.
const LONG: &str = "10S";

/// What a path begins with whose method changes nothing.
const READS: &[&str] = &[
    "Get",
    "List",
    "Look",
    "ResolveVehicle",
    "Plan",
    "Check",
    "Search",
    "Size",
    "Render",
    "Diff",
    "Watch",
    "Export",
    "Validate",
    "Preview",
];

/// What was answered.
pub(super) struct Answer {
    /// The messages, each as its bytes.
    pub(super) messages: Vec<Vec<u8>>,
    /// Why it was refused, where it was.
    pub(super) status: Option<Status>,
}

/// A service in this process.
pub(super) struct Service {
    runtime: Runtime,
    calls: BoxCloneSyncService<Request<Body>, Response<Body>, Infallible>,
    methods: Vec<MethodDescriptor>,
    words: Words,
    changes: u32,
    // The service lives as long as these: whoever calls needs no key, and the store has a place.
    _keys: watch::Sender<Arc<KeyRing>>,
    _directory: TempDir,
}

impl Service {
    /// A service with the demo catalogue as revision 1, a draft, and words from its answers.
    pub(super) fn new() -> Self {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_time().build().expect("a runtime");
        let directory = tempfile::tempdir().expect("a temporary directory");
        let log = Arc::new(MemoryLog::new());
        initialise(&*log, &Fixed::default(), &origin()).expect("a new log");
        let (engine, _) = start(ground(log, &directory)).expect("a new dataset");
        let records = dashwright_demo::lines().map(|(_, number, text)| parse_line(text.as_bytes(), number));
        engine.load::<ExchangeError>(records, &origin(), |_| ()).expect("the demo catalogue");
        // A ring that no new key reaches: everybody stays who he is.
        let (keys, ring) = watch::channel(Arc::new(KeyRing::default()));
        let service = dashwright_grpc::Service::new(engine, directory.path().join("imports"));
        let serving = runtime.block_on(Serving::new(service, Access::by(ring))).expect("services");
        let calls = BoxCloneSyncService::new(serving.without_connection());
        let pool = DescriptorPool::decode(dashwright_api::DESCRIPTORS).expect("the schema");
        let methods = pool.services().flat_map(|service| service.methods().collect::<Vec<_>>()).collect();
        let (words, changes) = (Words::new(), 0);
        let mut new = Self { runtime, calls, methods, words, changes, _keys: keys, _directory: directory };
        new.learn();
        new
    }

    pub(super) fn methods(&self) -> &[MethodDescriptor] {
        &self.methods
    }

    pub(super) fn method(&self, path: &str) -> Option<MethodDescriptor> {
        self.methods.iter().find(|method| path_of(method) == path).cloned()
    }

    pub(super) fn words(&self) -> &Words {
        &self.words
    }

    /// How many calls may have changed something.
    pub(super) fn changes(&self) -> u32 {
        self.changes
    }

    /// Calls a method with messages; nothing where HTTP has no such path or header, so that it never reaches the service.
    pub(super) fn ask(
        &mut self,
        path: &str,
        messages: &[Vec<u8>],
        headers: &[(&str, String)],
    ) -> Option<Answer> {
        let mut framed = BytesMut::new();
        for message in messages {
            framed.put_u8(0);
            framed.put_u32(u32::try_from(message.len()).expect("a message of less than 4 GiB"));
            framed.put_slice(message);
        }
        let mut request =
            Request::post(path).header("content-type", "application/grpc").header("te", "trailers");
        if !headers.iter().any(|(name, _)| *name == "grpc-timeout") {
            request = request.header("grpc-timeout", PATIENCE);
        }
        for (name, value) in headers {
            request = request.header(*name, value.as_str());
        }
        let mut request = request.body(Body::new(Full::new(framed.freeze()))).ok()?;
        let address = SocketAddr::from((Ipv4Addr::LOCALHOST, 5_000));
        request.extensions_mut().insert(Peer { address: Some(address) });
        let (_, name) = path.rsplit_once('/').unwrap_or_default();
        self.changes += u32::from(!READS.iter().any(|start| name.starts_with(start)));
        let calls = self.calls.clone();
        self.runtime.block_on(async {
            let Ok(response) = calls.oneshot(request).await;
            Some(read(response, path == WATCH).await)
        })
    }

    /// Takes the words of some answers, so that requests can name what they say.
    fn learn(&mut self) {
        for (name, request) in ASKED {
            let method = self.methods.iter().find(|method| method.name() == *name).expect("a method").clone();
            let mut reader = serde_json::Deserializer::from_str(request);
            let message = DynamicMessage::deserialize(method.input(), &mut reader).expect("a request");
            let headers = [("grpc-timeout", LONG.to_owned())];
            let answer = self.ask(&path_of(&method), &[message.encode_to_vec()], &headers).expect("a path");
            assert!(answer.status.is_none(), "{name}: {:?}", answer.status);
            for message in answer.messages {
                let message = DynamicMessage::decode(method.output(), message.as_slice()).expect("an answer");
                self.words.learn("", &Value::Message(message));
            }
        }
        let token = |revision| RevisionToken::new(INCARNATION, revision).to_string();
        [0, 1, 2, u64::MAX].iter().for_each(|revision| self.words.add("token", &token(*revision)));
        // Whoever asks for a later one waits for it.
        [0, 1].iter().for_each(|revision| self.words.add("at_least", &token(*revision)));
        self.words.finish();
        self.changes = 0;
    }
}

/// The path of a method.
pub(super) fn path_of(method: &MethodDescriptor) -> String {
    format!("/{}/{}", method.parent_service().full_name(), method.name())
}

/// What is asked at the beginning, so that requests can name what its answers say.
const ASKED: &[(&str, &str)] = &[
    ("GetDatasetInfo", "{}"),
    ("CreateDraft", r#"{"change":{"requestId":"0198f2c4-5b7e-7d3a-9c10-2f6e8a4b1d55","reason":"a test"}}"#),
    ("ListDrafts", "{}"),
    ("ListRecords", r#"{"kind":"RECORD_KIND_PART","pageSize":2}"#),
    ("ListChoices", r#"{"pageSize":2}"#),
    ("ResolveVehicle", r#"{"vehicle":{"words":"orvane"},"pageSize":2}"#),
    ("ListRevisions", "{}"),
    ("ListEntries", r#"{"pageSize":1}"#),
    ("GetCheckpoint", "{}"),
    ("PlanInstall", r#"{"vehicle":{"words":"orvane ulvero 2019"},"radioId":"nordvale-loom-10f"}"#),
    ("GetRecord", r#"{"key":{"kind":"RECORD_KIND_RADIO","id":"nordvale-loom-10f"}}"#),
];

async fn read(response: Response<Body>, endless: bool) -> Answer {
    let (parts, mut body) = response.into_parts();
    assert_eq!(parts.status, http::StatusCode::OK, "gRPC answers with 200, whatever it answers");
    let (mut bytes, mut trailers) = (BytesMut::new(), None);
    loop {
        let frame =
            if endless { tokio::time::timeout(ENDLESS, body.frame()).await } else { Ok(body.frame().await) };
        let Ok(Some(frame)) = frame else { break };
        match frame.expect("a body of this process").into_data() {
            Ok(data) => bytes.put(data),
            Err(frame) => trailers = frame.into_trailers().ok(),
        }
    }
    let status = Status::from_header_map(&parts.headers);
    let status = status.or_else(|| Status::from_header_map(&trailers?));
    assert!(endless || status.is_some(), "an answer ends with a status");
    let refused = status.filter(|status| status.code() != Code::Ok);
    Answer { messages: messages(bytes.freeze()), status: refused }
}

/// The messages of an answer that is not compressed.
fn messages(mut bytes: Bytes) -> Vec<Vec<u8>> {
    let mut all = Vec::new();
    while let Some((head, _)) = bytes.split_first_chunk::<5>() {
        let [compressed, length @ ..] = *head;
        assert_eq!(compressed, 0, "nobody has asked for compression");
        let length = usize::try_from(u32::from_be_bytes(length)).expect("a length");
        let _ = bytes.split_to(head.len());
        all.push(bytes.split_to(length).to_vec());
    }
    assert!(bytes.is_empty(), "half a message is left");
    all
}
