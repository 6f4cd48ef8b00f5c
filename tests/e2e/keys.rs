//! Keys over a real socket: each fault with its code and reason, each role with what it may, and streams that end.

use std::io::Write;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant, SystemTime};

use dashwright_api::v1::{CheckCartsRequest, CheckCartsResponse, GetDatasetInfoRequest};
use dashwright_engine::keys::{KeyId, KeyText, Role};
use dashwright_grpc::auth::Cause;
use dashwright_tests::keys::{Keys, with_key};
use dashwright_tests::raw::{call, call_with};
use dashwright_tests::refused::Refused;
use dashwright_tests::service::{Home, Running};
use tokio::sync::mpsc;
use tokio_stream::StreamExt as _;
use tokio_stream::wrappers::ReceiverStream;
use tonic::{Code, Status, Streaming};

/// How long a test waits for what has to happen, before it says that it did not.
const PATIENCE: Duration = Duration::from_secs(20);

/// A service for those who have one of the keys.
async fn served(keys: &Keys) -> (Home, Running) {
    let home = Home::new("keys").unwrap();
    let running = Running::start_for(&home, keys.access()).await.unwrap();
    (home, running)
}

/// What a read comes to, with this authorization header.
async fn read(running: &Running, header: Option<&str>) -> Result<(), Refused> {
    let mut request = tonic::Request::new(GetDatasetInfoRequest::default());
    if let Some(header) = header {
        request.metadata_mut().insert("authorization", header.parse().unwrap());
    }
    let answer = running.catalogue.clone().get_dataset_info(request).await;
    answer.map(|_| ()).map_err(|status| Refused::of(&status))
}

async fn read_with(running: &Running, key: &KeyText) -> Result<(), Refused> {
    read(running, Some(&format!("Bearer {}", key.reveal()))).await
}

#[tokio::test(flavor = "multi_thread")]
async fn each_fault_has_its_code_and_reason_and_is_counted() {
    let mut keys = Keys::none();
    let (good, revoked, foreign) = (
        keys.make(Role::Reader).unwrap(),
        keys.make(Role::Reader).unwrap(),
        keys.make(Role::Reader).unwrap(),
    );
    let expired = keys.make_until(Role::Reader, Some(SystemTime::now())).unwrap();
    keys.revoke(revoked.id()).unwrap();
    keys.disown(foreign.id()).unwrap();
    let (_home, running) = served(&keys).await;
    let forged = |id: &KeyId| KeyText::new(id.clone(), &[0; 32]).reveal().to_owned();
    let bearer = |key: &str| Some(format!("Bearer {key}"));
    let cases = [
        (None, "KEY_MISSING", Cause::Missing),
        (Some(format!("Basic {}", good.reveal())), "KEY_MALFORMED", Cause::Malformed),
        (bearer("open sesame"), "KEY_MALFORMED", Cause::Malformed),
        (bearer(&good.reveal().replacen("c0", "c1", 1)), "KEY_MALFORMED", Cause::Mistyped),
        (bearer(&forged(&KeyId::new([0x77; 8]))), "KEY_UNKNOWN", Cause::Unknown),
        (bearer(&forged(good.id())), "KEY_UNKNOWN", Cause::WrongSecret),
        // Of a key that was revoked or has expired, only its holder learns it.
        (bearer(&forged(revoked.id())), "KEY_UNKNOWN", Cause::WrongSecret),
        (bearer(&forged(expired.id())), "KEY_UNKNOWN", Cause::WrongSecret),
        (bearer(foreign.reveal()), "KEY_UNKNOWN", Cause::OtherServerSecret),
        (bearer(revoked.reveal()), "KEY_REVOKED", Cause::Revoked),
        (bearer(expired.reveal()), "KEY_EXPIRED", Cause::Expired),
    ];
    for (header, reason, cause) in cases {
        let before = running.figures.refused()[&cause];
        let refused = read(&running, header.as_deref()).await.unwrap_err();
        assert_eq!((refused.code, refused.reason.as_str()), (Code::Unauthenticated, reason), "{cause:?}");
        assert_eq!(running.figures.refused()[&cause], before + 1, "{cause:?}");
    }
    let (stranger, guess) = (bearer(&forged(&KeyId::new([0x77; 8]))), bearer(&forged(good.id())));
    let (stranger, guess) =
        (read(&running, stranger.as_deref()).await, read(&running, guess.as_deref()).await);
    assert_eq!(stranger, guess, "a guesser sees which keys exist");

    let begin = SystemTime::now();
    assert_eq!(running.figures.uses(good.id()), None);
    for _ in 0..3 {
        read_with(&running, &good).await.unwrap();
    }
    let uses = running.figures.uses(good.id()).unwrap();
    assert_eq!(uses.count, 3);
    assert!(uses.last + Duration::from_millis(1) > begin, "figures keep milliseconds");
    assert_eq!(running.figures.uses(revoked.id()), None);
    running.stop().await.unwrap();
}

/// One call for each role; section "Services" of the design names who may make it.
const CALLS: [(Role, &str); 5] = [
    (Role::Reader, "/dashwright.v1.FitmentService/ListChoices"),
    (Role::Curator, "/dashwright.v1.CurationService/CreateDraft"),
    (Role::Publisher, "/dashwright.v1.CurationService/PublishDraft"),
    (Role::Auditor, "/dashwright.v1.AuditService/GetProof"),
    (Role::Operator, "/dashwright.v1.KeyService/CreateKey"),
];

#[tokio::test(flavor = "multi_thread")]
async fn a_role_may_do_its_own_and_read() {
    let mut keys = Keys::none();
    let all: Vec<KeyText> = Role::ALL.iter().map(|role| keys.make(*role).unwrap()).collect();
    let (_home, running) = served(&keys).await;
    for (role, key) in Role::ALL.iter().zip(&all) {
        for (needed, path) in CALLS {
            // Bytes that are no message: who may not call does not learn that.
            let answer = call_with(&running.channel, path, vec![0xff; 40], Some(key.reveal())).await.unwrap();
            let refused = Refused::of(&answer.unwrap_err());
            if needed == *role || needed == Role::Reader {
                let let_in = ![Code::PermissionDenied, Code::Unauthenticated].contains(&refused.code);
                assert!(let_in, "{role} at {path}: {refused:?}");
            } else {
                let expected = (Code::PermissionDenied, "ROLE_MISSING");
                assert_eq!((refused.code, refused.reason.as_str()), expected, "{role} at {path}");
                assert_eq!(refused.metadata["needed"], needed.to_string(), "{role} at {path}");
            }
        }
    }
    running.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn a_stranger_does_not_learn_what_exists() {
    let mut keys = Keys::none();
    let key = keys.make(Role::Reader).unwrap();
    let (_home, running) = served(&keys).await;
    for path in
        ["/dashwright.v1.FitmentService/NoSuchCall", "/no.such.Service/Call", "/grpc.health.v1.Health/No"]
    {
        let stranger = call(&running.channel, path, Vec::new()).await.unwrap().unwrap_err();
        assert_eq!(Refused::of(&stranger).reason, "KEY_MISSING", "{path}");
        let holder = call_with(&running.channel, path, Vec::new(), Some(key.reveal())).await.unwrap();
        assert_eq!(holder.unwrap_err().code(), Code::Unimplemented, "{path}");
    }
    let health = call(&running.channel, "/grpc.health.v1.Health/Check", Vec::new()).await.unwrap();
    // grpc.health.v1: field 1, value SERVING = 1.
    assert_eq!(health.unwrap(), [0x08, 0x01]);
    running.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn this_machine_needs_no_key_until_the_first_is_made() {
    let mut keys = Keys::none();
    let (_home, running) = served(&keys).await;
    read(&running, None).await.unwrap();
    read(&running, Some("Bearer of what was served here before")).await.unwrap();
    let mut passed_on = tonic::Request::new(GetDatasetInfoRequest::default());
    passed_on.metadata_mut().insert("x-forwarded-for", "192.0.2.7".parse().unwrap());
    let refused = running.catalogue.clone().get_dataset_info(passed_on).await.unwrap_err();
    assert_eq!(Refused::of(&refused).reason, "KEY_MISSING");

    let key = keys.make(Role::Operator).unwrap();
    assert_eq!(read(&running, None).await.unwrap_err().reason, "KEY_MISSING");
    read_with(&running, &key).await.unwrap();
    keys.revoke(key.id()).unwrap();
    assert_eq!(
        read(&running, None).await.unwrap_err().reason,
        "KEY_MISSING",
        "a key that was revoked was made"
    );
    running.stop().await.unwrap();
}

/// A stream of carts that is open: what it was opened with, and its answers.
struct Open {
    carts: mpsc::Sender<CheckCartsRequest>,
    answers: Streaming<CheckCartsResponse>,
}

impl Open {
    async fn new(running: &Running, key: Option<&KeyText>) -> Self {
        let (carts, stream) = mpsc::channel(1);
        let stream = ReceiverStream::new(stream);
        let request = match key {
            Some(key) => with_key(stream, key.reveal()).unwrap(),
            None => tonic::Request::new(stream),
        };
        let answers = running.fitment.clone().check_carts(request).await.unwrap().into_inner();
        let mut open = Self { carts, answers };
        open.ask().await;
        open
    }

    /// One cart, which is answered.
    async fn ask(&mut self) {
        let cart = CheckCartsRequest { correlation_id: "one".to_owned(), cart: None };
        self.carts.send(cart).await.unwrap();
        assert_eq!(self.answers.next().await.unwrap().unwrap().correlation_id, "one");
    }

    /// What ends it while nothing is asked.
    async fn end(mut self) -> Refused {
        let next: Option<Result<_, Status>> =
            tokio::time::timeout(PATIENCE, self.answers.next()).await.expect("the stream stays open");
        Refused::of(&next.unwrap().unwrap_err())
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn an_idle_stream_ends_when_its_key_is_revoked_and_another_goes_on() {
    let mut keys = Keys::none();
    let (one, other) = (keys.make(Role::Reader).unwrap(), keys.make(Role::Reader).unwrap());
    let (_home, running) = served(&keys).await;
    let (ended, mut goes_on) =
        (Open::new(&running, Some(&one)).await, Open::new(&running, Some(&other)).await);
    keys.revoke(one.id()).unwrap();
    let refused = ended.end().await;
    assert_eq!((refused.code, refused.reason.as_str()), (Code::Unauthenticated, "KEY_REVOKED"));
    assert_eq!(refused.metadata["key_id"], one.id().as_str());
    assert_eq!(running.figures.refused()[&Cause::Revoked], 1);
    goes_on.ask().await;
    drop(goes_on);
    running.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn an_idle_stream_ends_when_its_key_expires() {
    let mut keys = Keys::none();
    let end = SystemTime::now() + Duration::from_secs(1);
    let key = keys.make_until(Role::Reader, Some(end)).unwrap();
    let (_home, running) = served(&keys).await;
    let refused = Open::new(&running, Some(&key)).await.end().await;
    assert_eq!((refused.code, refused.reason.as_str()), (Code::Unauthenticated, "KEY_EXPIRED"));
    assert!(SystemTime::now() + Duration::from_millis(1) >= end, "it ended before its time");
    running.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn a_stream_without_a_key_ends_when_the_first_is_made() {
    let mut keys = Keys::none();
    let (_home, running) = served(&keys).await;
    let open = Open::new(&running, None).await;
    keys.make(Role::Operator).unwrap();
    assert_eq!(open.end().await.reason, "KEY_MISSING");
    running.stop().await.unwrap();
}

/// What is logged, for a test to read.
#[derive(Clone, Default)]
struct Log(Arc<Mutex<Vec<u8>>>);

impl Write for Log {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.0.lock().unwrap().extend_from_slice(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

/// One thread, so that everything is logged where the test listens.
#[tokio::test]
async fn the_log_tells_a_refusal_and_no_secret() {
    // With a listener of one thread alone, a place in the code that another thread comes to first is taken for one that nobody
    // listens to; beside a second listener all of them are asked.
    let _ = tracing::subscriber::set_global_default(tracing_subscriber::registry());
    let (log, mut keys) = (Log::default(), Keys::none());
    let writer = log.clone();
    let subscriber = tracing_subscriber::fmt()
        .with_max_level(tracing::Level::TRACE)
        .json()
        .with_writer(move || writer.clone())
        .finish();
    let _guard = tracing::subscriber::set_default(subscriber);
    let key = keys.make(Role::Reader).unwrap();
    let (_home, running) = served(&keys).await;
    read_with(&running, &key).await.unwrap();
    keys.revoke(key.id()).unwrap();
    let begin = Instant::now();
    for _ in 0..3 {
        read_with(&running, &key).await.unwrap_err();
    }
    let seconds = usize::try_from(begin.elapsed().as_secs()).unwrap();
    let text = String::from_utf8(log.0.lock().unwrap().clone()).unwrap();
    let told: Vec<&str> = text.lines().filter(|line| line.contains("a call was refused")).collect();
    assert!((1..=1 + seconds).contains(&told.len()), "one line a second: {told:#?}");
    let line: serde_json::Value = serde_json::from_str(told[0]).unwrap();
    let field = |name: &str| line["fields"][name].as_str().unwrap_or_default().to_owned();
    assert_eq!((line["level"].as_str(), field("cause").as_str()), (Some("WARN"), "revoked"));
    assert_eq!(field("key"), key.id().as_str());
    assert_eq!(field("method"), "/dashwright.v1.CatalogueService/GetDatasetInfo");
    assert!(field("peer").starts_with("127.0.0.1:"), "{line}");
    let secret = key.reveal().split('_').nth(2).unwrap();
    assert!(!text.contains(secret), "the secret was logged");
    running.stop().await.unwrap();
}
