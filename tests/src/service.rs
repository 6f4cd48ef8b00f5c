//! The service in this process: the demo catalogue on file log and store in a temporary directory, served on a free port.

use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::num::NonZeroU32;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use dashwright_api::v1::catalogue_service_client::CatalogueServiceClient;
use dashwright_api::v1::fitment_service_client::FitmentServiceClient;
use dashwright_engine::keys::ServerSecret;
use dashwright_engine::{Engine, Ground, Origin, Published, Surroundings, initialise, restored, start};
use dashwright_grpc::auth::{Access, AuthFigures};
use dashwright_grpc::{Service, Serving, serve};
use dashwright_log::{FileCheckpoints, FileLog, FileOptions};
use dashwright_model::exchange::{ExchangeError, parse_line};
use dashwright_store::Store;
use tempfile::TempDir;
use tokio::net::TcpListener;
use tokio::sync::oneshot;
use tokio::task::{JoinHandle, spawn_blocking};
use tonic::transport::{Channel, Endpoint};

/// What a helper of the tests returns: the test says `?` or unwraps.
pub type Outcome<T> = Result<T, Box<dyn std::error::Error + Send + Sync>>;

/// A dataset in a temporary directory; it outlives the services that are started on it.
pub struct Home {
    directory: TempDir,
    incarnation: String,
    /// How many ids were given, over all starts: no draft has the name of an earlier one.
    given: Arc<AtomicU64>,
}

impl Home {
    /// An empty dataset: revision 0.
    ///
    /// # Errors
    /// When the directory can not be written.
    pub fn new(incarnation: &str) -> Outcome<Self> {
        let home = Self::nowhere(incarnation)?;
        let log = FileLog::create(&home.data(), FileOptions::default())?;
        initialise(&log, &home.surroundings(), &origin())?;
        Ok(home)
    }

    /// A dataset that is made from a backup.
    ///
    /// # Errors
    /// When the backup is not whole, or the directory can not be written.
    pub fn restored(incarnation: &str, backup: &[u8]) -> Outcome<Self> {
        let home = Self::nowhere(incarnation)?;
        FileLog::restore(&home.data(), backup, FileOptions::default(), |trail| {
            restored(trail.head, &home.surroundings(), &origin()).map_err(Into::into)
        })?;
        Ok(home)
    }

    /// The store is gone, as after somebody deleted it.
    ///
    /// # Errors
    /// When it can not be deleted.
    pub fn lose_store(&self) -> Outcome<()> {
        Ok(std::fs::remove_dir_all(self.store())?)
    }

    /// The engine of the dataset; one at a time.
    ///
    /// # Errors
    /// When the dataset is damaged or open already.
    pub fn engine(&self) -> Outcome<Engine> {
        let data = self.data();
        let ground = Ground {
            log: Arc::new(FileLog::open(&data, FileOptions::default())?.log),
            store: Store::open(&self.store())?.store,
            checkpoints: Arc::new(FileCheckpoints::open(&data)?.checkpoints),
            signer: None,
            key_secret: ServerSecret::new([7; 32]),
            surroundings: Arc::new(self.surroundings()),
        };
        Ok(start(ground)?.0)
    }

    fn nowhere(incarnation: &str) -> Outcome<Self> {
        let given = Arc::default();
        Ok(Self { directory: tempfile::tempdir()?, incarnation: incarnation.to_owned(), given })
    }

    fn data(&self) -> PathBuf {
        self.directory.path().join("data")
    }

    /// Where files are received.
    #[must_use]
    pub fn imports(&self) -> PathBuf {
        self.directory.path().join("imports")
    }

    fn store(&self) -> PathBuf {
        self.directory.path().join("store")
    }

    fn surroundings(&self) -> Fixed {
        Fixed { incarnation: self.incarnation.clone(), given: Arc::clone(&self.given) }
    }
}

/// A running service and its clients.
pub struct Running {
    /// Where it listens.
    pub address: SocketAddr,
    /// The engine that it answers from.
    pub engine: Engine,
    /// What it counts of callers.
    pub figures: Arc<AuthFigures>,
    /// A client of the fitment service.
    pub fitment: FitmentServiceClient<Channel>,
    /// A client of the catalogue service.
    pub catalogue: CatalogueServiceClient<Channel>,
    /// The connection of both.
    pub channel: Channel,
    serving: Serving,
    end: oneshot::Sender<()>,
    served: JoinHandle<Result<(), dashwright_grpc::ServeError>>,
}

impl Running {
    /// Starts the service on a dataset, for those who have one of its keys.
    ///
    /// # Errors
    /// When it does not start.
    pub async fn start(home: &Home) -> Outcome<Self> {
        let engine = home.engine()?;
        let access = Access::by(engine.keys());
        Self::run(Service::new(engine, home.imports()), access).await
    }

    /// Starts the service on a dataset, for those who may call.
    ///
    /// # Errors
    /// When it does not start.
    pub async fn start_for(home: &Home, access: Access) -> Outcome<Self> {
        Self::run(Service::new(home.engine()?, home.imports()), access).await
    }

    /// Starts the service on a dataset, for those who may call, so many times a second each.
    ///
    /// # Errors
    /// When it does not start.
    pub async fn start_at(home: &Home, access: Access, calls_per_second: NonZeroU32) -> Outcome<Self> {
        let service = Service::new(home.engine()?, home.imports());
        Self::run(service.with_calls_per_second(calls_per_second), access).await
    }

    async fn run(service: Service, access: Access) -> Outcome<Self> {
        let engine = service.engine().clone();
        let figures = service.auth_figures();
        let serving = Serving::new(service, access).await?;
        let listener = TcpListener::bind("127.0.0.1:0").await?;
        let address = listener.local_addr()?;
        let (end, ended) = oneshot::channel();
        let served = tokio::spawn(serve(serving.clone(), listener, async {
            let _ = ended.await;
        }));
        let channel = Endpoint::new(format!("http://{address}"))?.connect().await?;
        let (fitment, catalogue) =
            (FitmentServiceClient::new(channel.clone()), CatalogueServiceClient::new(channel.clone()));
        Ok(Self { address, engine, figures, fitment, catalogue, channel, serving, end, served })
    }

    /// Starts the service on a new dataset that holds the demo catalogue as revision 1.
    ///
    /// # Errors
    /// When it does not start.
    pub async fn demo() -> Outcome<(Home, Self)> {
        let home = Home::new("demo")?;
        let running = Self::start(&home).await?;
        running.load(demo_lines()).await?;
        Ok((home, running))
    }

    /// Starts the service on an empty dataset, where nobody may publish what they have edited.
    ///
    /// # Errors
    /// When it does not start.
    pub async fn with_separate_publisher() -> Outcome<(Home, Self)> {
        let home = Home::new("separate")?;
        let engine = home.engine()?;
        let access = Access::by(engine.keys());
        let service = Service::new(engine, home.imports()).with_separate_publisher(true);
        Ok((home, Self::run(service, access).await?))
    }

    /// Publishes records, given as JSON lines, as the next revision.
    ///
    /// # Errors
    /// When they are refused.
    pub async fn load(&self, lines: Vec<String>) -> Outcome<Published> {
        let engine = self.engine.clone();
        let records = move || {
            let lines = (1..).zip(lines);
            let records = lines.map(|(number, line)| parse_line(line.as_bytes(), number));
            engine.load::<ExchangeError>(records, &origin(), |_| ())
        };
        Ok(spawn_blocking(records).await??)
    }

    /// Ends the service; when this returns the dataset can be opened again.
    ///
    /// # Errors
    /// When it failed while it served.
    pub async fn stop(self) -> Outcome<()> {
        let Self { end, served, engine, fitment, catalogue, channel, serving, address: _, figures: _ } = self;
        drop((fitment, catalogue, channel));
        serving.going_down().await;
        let _ = end.send(());
        served.await??;
        drop(serving);
        spawn_blocking(move || drop(engine)).await?;
        Ok(())
    }
}

/// The lines of the demo catalogue.
#[must_use]
pub fn demo_lines() -> Vec<String> {
    dashwright_demo::lines().map(|(_, _, text)| text.to_owned()).collect()
}

/// The demo catalogue as plain JSON, read without the code under test: the records of each kind by their ids.
///
/// # Errors
/// When a line is not JSON or not of the form `{"kind":{"id":…}}`.
pub fn demo_json() -> Outcome<BTreeMap<String, BTreeMap<String, serde_json::Value>>> {
    let mut kinds: BTreeMap<String, BTreeMap<String, serde_json::Value>> = BTreeMap::new();
    for line in demo_lines() {
        let record: BTreeMap<String, serde_json::Value> = serde_json::from_str(&line)?;
        for (kind, fields) in record {
            let id = fields.get("id").and_then(serde_json::Value::as_str).ok_or("a record without id")?;
            kinds.entry(kind).or_default().insert(id.to_owned(), fields);
        }
    }
    Ok(kinds)
}

fn origin() -> Origin {
    Origin { actor: "tests".to_owned(), reason: "a test".to_owned(), request_id: None }
}

/// A clock that stands, and ids that count from the name of the dataset.
struct Fixed {
    incarnation: String,
    given: Arc<AtomicU64>,
}

impl Surroundings for Fixed {
    fn now(&self) -> String {
        "2026-01-31T09:05:00Z".to_owned()
    }

    fn new_id(&self) -> String {
        format!("{}-{}", self.incarnation, self.given.fetch_add(1, Ordering::Relaxed))
    }

    fn random(&self) -> Option<[u8; 32]> {
        let mut bytes = [0; 32];
        let number = self.given.fetch_add(1, Ordering::Relaxed).to_be_bytes();
        bytes.iter_mut().zip(number).for_each(|(to, from)| *to = from);
        Some(bytes)
    }
}
