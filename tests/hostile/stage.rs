//! A server as a process, honest clients that go on asking while something happens to it, and how much memory it takes.

use std::net::SocketAddr;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use dashwright_api::v1;
use dashwright_api::v1::fitment_service_client::FitmentServiceClient;
use dashwright_api::v1::key_service_client::KeyServiceClient;
use dashwright_tests::binary::Process;
use dashwright_tests::change::change;
use dashwright_tests::keys::with_key;
use dashwright_tests::service::demo_lines;
use tempfile::TempDir;
use tokio::sync::{Mutex, MutexGuard};
use tokio::task::JoinHandle;
use tonic::transport::{Channel, ClientTlsConfig, Endpoint};

/// How long an honest client waits for an answer: the service's own deadline and a little more.
const PATIENCE: Duration = Duration::from_secs(12);
/// How much the server's memory may grow by an attack unless the test names another bound: some thirty times what was seen, for
/// the server is built without optimisation, and far below what would harm a machine of 512 MB.
pub(crate) const MOST_GROWTH_KIB: u64 = 128 << 10;
/// How long a flood lasts.
pub(crate) const FLOOD: Duration = Duration::from_secs(1);

/// One attack at a time: two would blur each other's figures.
static TURN: Mutex<()> = Mutex::const_new(());

/// A server with keys on the demo catalogue.
pub(crate) struct Stage {
    pub(crate) address: SocketAddr,
    server: Process,
    operator: String,
    tls: Option<ClientTlsConfig>,
    _root: TempDir,
    _turn: Option<MutexGuard<'static, ()>>,
}

/// What honest clients met.
#[derive(Default)]
struct Met {
    waits: Vec<Duration>,
    failed: Vec<String>,
}

impl Stage {
    /// A server that no other test disturbs.
    pub(crate) async fn alone() -> Self {
        let turn = TURN.lock().await;
        Self::start(&[], None, Some(turn)).await
    }

    /// A server that no other test disturbs, behind TLS.
    pub(crate) async fn alone_behind_tls(certificate: &str, key: &str, tls: ClientTlsConfig) -> Self {
        let turn = TURN.lock().await;
        let arguments = ["--tls-cert", certificate, "--tls-key", key];
        Self::start(&arguments, Some(tls), Some(turn)).await
    }

    /// A server beside those of other tests: what happens to it is mostly waiting.
    pub(crate) async fn beside() -> Self {
        Self::start(&[], None, None).await
    }

    async fn start(
        more: &[&str],
        tls: Option<ClientTlsConfig>,
        turn: Option<MutexGuard<'static, ()>>,
    ) -> Self {
        let root = tempfile::tempdir().unwrap();
        let (data, file) = (root.path().join("data"), root.path().join("catalogue.jsonl"));
        std::fs::write(&file, demo_lines().join("\n") + "\n").unwrap();
        let begin = ["serve", "--init", "--listen", "127.0.0.1:0"];
        let paths = ["--data", data.to_str().unwrap(), "--load", file.to_str().unwrap()];
        let mut server = Process::start(&[&begin[..], &paths, more].concat()).unwrap();
        let (_, address) = server.serving().unwrap();
        let address = address.split_once("://").unwrap().1.parse().unwrap();
        let mut stage = Self { address, server, operator: String::new(), tls, _root: root, _turn: turn };
        stage.operator = stage.key(v1::Role::Operator).await;
        stage
    }

    /// Another key, of a holder of its own.
    pub(crate) async fn key(&self, role: v1::Role) -> String {
        let make = v1::CreateKeyRequest {
            change: change("a test"),
            holder: uuid::Uuid::new_v4().to_string(),
            roles: vec![role.into()],
            expires_at: String::new(),
        };
        let request = with_key(make, &self.operator).unwrap();
        // The first key is made without one.
        let request =
            if self.operator.is_empty() { tonic::Request::new(request.into_inner()) } else { request };
        let mut keys = KeyServiceClient::new(self.channel().await.unwrap());
        keys.create_key(request).await.unwrap().into_inner().text
    }

    /// A fresh connection.
    pub(crate) async fn channel(&self) -> Result<Channel, tonic::transport::Error> {
        connect(self.address, self.tls.clone()).await
    }

    /// Lets something happen while honest clients ask: every one of their calls is answered, and the memory stays bounded.
    pub(crate) async fn attacked<T>(&self, name: &str, attack: impl Future<Output = T>) -> T {
        self.attacked_within(name, MOST_GROWTH_KIB, attack).await
    }

    /// As [`attacked`](Self::attacked), with another bound of memory.
    pub(crate) async fn attacked_within<T>(
        &self,
        name: &str,
        most_growth_kib: u64,
        attack: impl Future<Output = T>,
    ) -> T {
        let before = self.memory_kib("VmRSS");
        let end = Arc::new(AtomicBool::new(false));
        let steady = self.honest(&end, Channels::One).await;
        let fresh = self.honest(&end, Channels::Fresh).await;
        let outcome = attack.await;
        end.store(true, Ordering::Relaxed);
        let (steady, fresh) = (steady.await.unwrap(), fresh.await.unwrap());
        let peak = self.memory_kib("VmHWM");
        println!(
            "{name}: others {} | each on a fresh connection {} | memory {} MiB before, {} MiB at most",
            steady.told(),
            fresh.told(),
            before >> 10,
            peak >> 10
        );
        for met in [steady, fresh] {
            assert!(met.waits.len() > 1, "{name}: only {} honest calls: {:?}", met.waits.len(), met.failed);
            assert_eq!(met.failed, [""; 0], "{name}: honest calls failed");
        }
        let growth = peak.saturating_sub(before);
        assert!(growth < most_growth_kib, "{name}: the memory grew by {growth} KiB");
        outcome
    }

    /// An honest client, until the end.
    async fn honest(&self, end: &Arc<AtomicBool>, channels: Channels) -> JoinHandle<Met> {
        let (end, address, tls) = (Arc::clone(end), self.address, self.tls.clone());
        let key = self.key(v1::Role::Reader).await;
        let first = self.channel().await.unwrap();
        tokio::spawn(async move {
            let mut met = Met::default();
            while !end.load(Ordering::Relaxed) {
                let begin = Instant::now();
                let answered = match channels {
                    Channels::One => look_up(first.clone(), &key).await,
                    Channels::Fresh => match connect(address, tls.clone()).await {
                        Ok(channel) => look_up(channel, &key).await,
                        Err(error) => Err(format!("{error:?}")),
                    },
                };
                met.waits.push(begin.elapsed());
                met.failed.extend(answered.err());
                // sleep: a till does not ask as fast as it can either
                tokio::time::sleep(Duration::from_millis(5)).await;
            }
            met
        })
    }

    /// A line of `/proc/PID/status`, in KiB.
    pub(crate) fn memory_kib(&self, line: &str) -> u64 {
        let status = std::fs::read_to_string(format!("/proc/{}/status", self.server.id())).unwrap();
        let found = status.lines().find_map(|it| it.strip_prefix(line)?.strip_prefix(':')).unwrap();
        found.trim().trim_end_matches(" kB").parse().unwrap()
    }

    /// How many connections the server has.
    pub(crate) fn sockets(&self) -> usize {
        let descriptors = std::fs::read_dir(format!("/proc/{}/fd", self.server.id())).unwrap();
        let targets = descriptors.filter_map(|it| std::fs::read_link(it.ok()?.path()).ok());
        targets.filter(|target| target.to_string_lossy().starts_with("socket:")).count()
    }
}

/// How an honest client connects.
#[derive(Clone, Copy)]
enum Channels {
    /// Once.
    One,
    /// For every call anew.
    Fresh,
}

impl Met {
    fn told(&self) -> String {
        let mut waits = self.waits.clone();
        waits.sort();
        let at = |share: usize| waits.get(waits.len() * share / 1000).copied().unwrap_or_default();
        let answered = self.waits.len() - self.failed.len();
        format!(
            "{answered} of {} answered, p50 {:.1?}, p99 {:.1?}, longest {:.1?}",
            self.waits.len(),
            at(500),
            at(990),
            at(999)
        )
    }
}

async fn connect(
    address: SocketAddr,
    tls: Option<ClientTlsConfig>,
) -> Result<Channel, tonic::transport::Error> {
    let scheme = if tls.is_some() { "https" } else { "http" };
    let endpoint =
        Endpoint::new(format!("{scheme}://{address}"))?.connect_timeout(PATIENCE).timeout(PATIENCE);
    let endpoint = tls.map_or(Ok(endpoint.clone()), |tls| endpoint.tls_config(tls))?;
    endpoint.connect().await
}

/// A question as a till asks it.
pub(crate) fn question() -> v1::LookUpFitmentRequest {
    let vehicle = v1::VehicleQuestion {
        make: "orvane".to_owned(),
        model: "Tamsel".to_owned(),
        model_year: 2010,
        ..Default::default()
    };
    v1::LookUpFitmentRequest { vehicle: Some(vehicle), ..Default::default() }
}

async fn look_up(channel: Channel, key: &str) -> Result<(), String> {
    let mut client = FitmentServiceClient::new(channel);
    let answer = client.look_up_fitment(with_key(question(), key).unwrap()).await;
    answer.map(|_| ()).map_err(|status| format!("{status:?}"))
}
