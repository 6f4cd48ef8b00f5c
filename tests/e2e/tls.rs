//! TLS over a real socket: who is answered, what replaces an identity, and that a slow handshake keeps nobody waiting.
//!
//! Certificates are made here by a library of others (rcgen), and the client's side is rustls' own as tonic uses it.

use std::net::SocketAddr;
use std::time::Duration;

use dashwright_api::v1::GetDatasetInfoRequest;
use dashwright_api::v1::catalogue_service_client::CatalogueServiceClient;
use dashwright_engine::keys::Role;
use dashwright_grpc::auth::Access;
use dashwright_grpc::operations::Operations;
use dashwright_grpc::tls::{Identity, Tls};
use dashwright_grpc::{LIMITS, Service, Serving, serve_encrypted};
use dashwright_tests::keys::{Keys, with_key};
use dashwright_tests::refused::Refused;
use dashwright_tests::service::Home;
use rcgen::{
    BasicConstraints, CertificateParams, ExtendedKeyUsagePurpose, IsCa, Issuer, KeyPair, KeyUsagePurpose,
};
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::{TcpListener, TcpSocket, TcpStream};
use tokio::sync::oneshot;
use tokio::task::JoinHandle;
use tonic::transport::{Certificate, Channel, ClientTlsConfig, Endpoint, Error};

/// How long a test waits for what has to happen, before it says that it did not.
const PATIENCE: Duration = Duration::from_secs(20);

/// An authority that signs certificates.
struct Authority {
    pem: String,
    issuer: Issuer<'static, KeyPair>,
}

/// A certificate and its key.
struct Pair {
    certificate: String,
    key: String,
}

impl Authority {
    fn new(name: &str) -> Self {
        let mut params = CertificateParams::default();
        params.distinguished_name.push(rcgen::DnType::CommonName, name);
        params.is_ca = IsCa::Ca(BasicConstraints::Unconstrained);
        params.key_usages = vec![KeyUsagePurpose::KeyCertSign];
        let key = KeyPair::generate().unwrap();
        let pem = params.self_signed(&key).unwrap().pem();
        Self { pem, issuer: Issuer::new(params, key) }
    }

    fn sign(&self, name: &str, purpose: ExtendedKeyUsagePurpose) -> Pair {
        let mut params = CertificateParams::new([name.to_owned()]).unwrap();
        params.extended_key_usages = vec![purpose];
        let key = KeyPair::generate().unwrap();
        let certificate = params.signed_by(&key, &self.issuer).unwrap().pem();
        Pair { certificate, key: key.serialize_pem() }
    }

    fn server(&self) -> Pair {
        self.sign("localhost", ExtendedKeyUsagePurpose::ServerAuth)
    }

    fn client(&self) -> Pair {
        self.sign("a client", ExtendedKeyUsagePurpose::ClientAuth)
    }

    /// A client that trusts this authority.
    fn trusted(&self) -> ClientTlsConfig {
        ClientTlsConfig::new().ca_certificate(Certificate::from_pem(&self.pem)).domain_name("localhost")
    }
}

impl Pair {
    fn identity(&self) -> Identity<'_> {
        Identity {
            certificates: self.certificate.as_bytes(),
            key: self.key.as_bytes(),
            client_authorities: None,
        }
    }

    /// As a client shows it.
    fn shown(&self) -> tonic::transport::Identity {
        tonic::transport::Identity::from_pem(&self.certificate, &self.key)
    }
}

/// A service behind TLS.
struct Encrypted {
    address: SocketAddr,
    tls: Tls,
    end: oneshot::Sender<()>,
    served: JoinHandle<Result<(), dashwright_grpc::ServeError>>,
    operations: Operations,
    _home: Home,
}

impl Encrypted {
    async fn start(tls: Tls, access: Option<Access>) -> Self {
        let home = Home::new("tls").unwrap();
        let engine = home.engine().unwrap();
        let access = access.unwrap_or_else(|| Access::by(engine.keys()));
        let serving = Serving::new(Service::new(engine, home.imports()), access).await.unwrap();
        let operations = Operations::default();
        operations.tell_of(&serving, Vec::new()).unwrap();
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let address = listener.local_addr().unwrap();
        let (end, ended) = oneshot::channel();
        let served = tokio::spawn(serve_encrypted(serving, listener, tls.clone(), async {
            let _ = ended.await;
        }));
        Self { address, tls, end, served, operations, _home: home }
    }

    async fn shows(pair: &Pair) -> Self {
        Self::start(Tls::new(pair.identity()).unwrap(), None).await
    }

    async fn connect(&self, client: ClientTlsConfig) -> Result<Channel, Error> {
        let endpoint = Endpoint::new(format!("https://{}", self.address))?.connect_timeout(PATIENCE);
        endpoint.tls_config(client)?.connect().await
    }

    /// Whether a client that connects anew is answered.
    async fn answers(&self, client: ClientTlsConfig) -> bool {
        // With TLS 1.3 a client learns only from its first call that the server has refused its certificate.
        match self.connect(client).await {
            Ok(channel) => ask(&channel).await.is_ok(),
            Err(_) => false,
        }
    }

    async fn stop(self) {
        let _ = self.end.send(());
        self.served.await.unwrap().unwrap();
    }
}

async fn ask(channel: &Channel) -> Result<u64, tonic::Status> {
    let mut client = CatalogueServiceClient::new(channel.clone());
    let info = client.get_dataset_info(GetDatasetInfoRequest::default()).await?;
    Ok(info.into_inner().revision.unwrap_or_default().number)
}

#[tokio::test(flavor = "multi_thread")]
async fn who_trusts_the_authority_is_answered_and_nobody_else() {
    let (authority, stranger) = (Authority::new("ours"), Authority::new("another"));
    let service = Encrypted::shows(&authority.server()).await;
    let channel = service.connect(authority.trusted()).await.unwrap();
    assert_eq!(ask(&channel).await.unwrap(), 0);
    assert!(!service.answers(stranger.trusted()).await, "another authority");
    assert!(!service.answers(authority.trusted().domain_name("elsewhere.invalid")).await, "another name");
    drop(channel);
    service.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn with_an_authority_of_clients_a_certificate_of_theirs_is_needed_and_a_key_still() {
    let (authority, clients, stranger) =
        (Authority::new("ours"), Authority::new("of clients"), Authority::new("another"));
    let pair = authority.server();
    let identity = Identity { client_authorities: Some(clients.pem.as_bytes()), ..pair.identity() };
    let mut keys = Keys::none();
    let key = keys.make(Role::Reader).unwrap();
    let service = Encrypted::start(Tls::new(identity).unwrap(), Some(keys.access())).await;
    for (client, why) in [
        (authority.trusted(), "no certificate"),
        (authority.trusted().identity(stranger.client().shown()), "one of another authority"),
        (authority.trusted().identity(clients.server().shown()), "one that is for servers"),
    ] {
        let answer = match service.connect(client).await {
            Ok(channel) => Refused::of(&ask(&channel).await.unwrap_err()).reason,
            Err(_) => String::new(),
        };
        assert_eq!(answer, "", "{why}: the service itself answered");
    }
    let channel = service.connect(authority.trusted().identity(clients.client().shown())).await.unwrap();
    assert_eq!(Refused::of(&ask(&channel).await.unwrap_err()).reason, "KEY_MISSING");
    let request = with_key(GetDatasetInfoRequest::default(), key.reveal()).unwrap();
    CatalogueServiceClient::new(channel).get_dataset_info(request).await.unwrap();
    service.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn an_identity_is_replaced_while_calls_go_on_and_a_broken_one_changes_nothing() {
    let (before, after) = (Authority::new("before"), Authority::new("after"));
    let service = Encrypted::shows(&before.server()).await;
    let channel = service.connect(before.trusted()).await.unwrap();
    let calls = tokio::spawn({
        let channel = channel.clone();
        async move {
            for _ in 0..300 {
                ask(&channel).await.unwrap();
            }
        }
    });
    let next = after.server();
    let broken = Identity { key: b"no key", ..next.identity() };
    assert!(service.tls.replace(broken).is_err());
    let foreign = before.server();
    let mixed = Identity { key: foreign.key.as_bytes(), ..next.identity() };
    assert!(service.tls.replace(mixed).is_err(), "the key of another certificate");
    assert!(service.answers(before.trusted()).await);
    assert_eq!(service.tls.replaced(), 0);

    service.tls.replace(next.identity()).unwrap();
    assert!(service.answers(after.trusted()).await);
    assert!(!service.answers(before.trusted()).await);
    calls.await.unwrap();
    ask(&channel).await.unwrap();
    drop(channel);
    service.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn who_does_not_encrypt_is_cut_off_and_the_others_are_answered() {
    let authority = Authority::new("ours");
    let service = Encrypted::shows(&authority.server()).await;
    for bytes in [&b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n"[..], b"GET / HTTP/1.1\r\n\r\n", &[0; 4096]] {
        let mut stream = TcpStream::connect(service.address).await.unwrap();
        let _ = stream.write_all(bytes).await;
        let mut answer = Vec::new();
        let ended = tokio::time::timeout(PATIENCE, stream.read_to_end(&mut answer)).await;
        assert!(ended.is_ok(), "the connection stays open after {bytes:?}");
        // RFC 8446, section 5.1: what comes back is at most an alert, whose record begins with 21.
        assert!(answer.first().is_none_or(|kind| *kind == 21), "{answer:?}");
    }
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let figures = listener.local_addr().unwrap();
    let answers = tokio::spawn(service.operations.clone().serve(listener));
    let (_, metrics) = crate::operations::get(figures, "/metrics").await;
    let told = r#"closed_unheard_total{cause="HANDSHAKE_FAILED",listener="calls"} 3"#;
    assert!(metrics.lines().any(|line| line.ends_with(told)), "{metrics}");
    answers.abort();
    let plain = Endpoint::new(format!("http://{}", service.address)).unwrap().connect().await;
    let answered = match plain {
        Ok(channel) => ask(&channel).await.is_ok(),
        Err(_) => false,
    };
    assert!(!answered, "a plain client was answered");
    assert!(service.answers(authority.trusted()).await);
    service.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_handshake_that_is_never_made_keeps_nobody_waiting_and_is_dropped() {
    let authority = Authority::new("ours");
    let pair = authority.server();
    let patient = Encrypted::shows(&pair).await;
    let silent = TcpStream::connect(patient.address).await.unwrap();
    let answered = tokio::time::timeout(LIMITS.handshake, patient.answers(authority.trusted())).await;
    assert_eq!(answered, Ok(true), "another one waits for a handshake that is not made");
    drop(silent);
    patient.stop().await;

    let tls = Tls::new(pair.identity()).unwrap().with_patience(Duration::from_millis(300));
    let service = Encrypted::start(tls, None).await;
    // As many as may be in flight, of as many addresses as that takes: only because they are dropped is anybody else answered.
    let mut all = Vec::new();
    for number in 0..LIMITS.handshakes {
        let from = u8::try_from(2 + number / LIMITS.handshakes_per_address).unwrap();
        let socket = TcpSocket::new_v4().unwrap();
        socket.bind(([127, 0, 0, from], 0).into()).unwrap();
        all.push(socket.connect(service.address).await.unwrap());
    }
    let answered = tokio::time::timeout(PATIENCE, service.answers(authority.trusted())).await;
    assert_eq!(answered, Ok(true));
    for mut stream in all {
        let mut answer = Vec::new();
        let ended = tokio::time::timeout(PATIENCE, stream.read_to_end(&mut answer)).await;
        assert!(ended.is_ok() && answer.is_empty(), "{ended:?} {answer:?}");
    }
    service.stop().await;
}
