//! The service as a process of its own, and the handle by which the bench holds a server.

use std::convert::Infallible;
use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::path::Path;
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::Arc;
use std::time::Instant;

use dashwright_engine::keys::ServerSecret;
use dashwright_engine::{Engine, Ground, Origin, Put, Surroundings};
use dashwright_grpc::LIMITS;
use dashwright_log::{FileCheckpoints, FileLog, FileOptions, Head, Log};
use dashwright_model::exchange::parse_line;
use dashwright_model::record::RecordKind;
use dashwright_store::Store;
use tokio::net::TcpListener;
use tonic::body::Body;
use tonic::server::NamedService;
use tonic::transport::Server;

use crate::postgres::Cluster;
use crate::{Outcome, cpu, sqlite};

/// The core of the servers; the bench itself runs on the other one.
pub(crate) const CORE: usize = 1;

/// Records of an edit: what 480 KiB surely hold.
const DRAFTED_AT_ONCE: usize = 200;

/// What kind of server.
pub(crate) enum Kind<'a> {
    /// Dashwright on a warm directory.
    Service {
        /// The directory.
        directory: &'a Path,
    },
    /// Dashwright on a warm directory, on whatever core it gets.
    Unpinned {
        /// The directory.
        directory: &'a Path,
    },
    /// An echo of these replies, in turns.
    Floor {
        /// The replies.
        replies: &'a [Vec<u8>],
    },
    /// SQLite in the process of the handler.
    Sqlite {
        /// How it answers.
        form: sqlite::Form,
        /// The file.
        file: &'a Path,
    },
    /// PostgreSQL beside the process of the handler.
    Postgres {
        /// The server.
        cluster: &'a Cluster,
        /// The database.
        database: &'a str,
    },
}

/// A directory with so many generated vehicle lines, made by a process of its own, so that the server starts warm and with
/// memory that nothing else has used.
pub(crate) fn warm(lines: usize) -> Outcome<tempfile::TempDir> {
    made(lines, false)
}

/// The same, with an open draft that changes every generated line.
pub(crate) fn with_draft(lines: usize) -> Outcome<tempfile::TempDir> {
    made(lines, true)
}

fn made(lines: usize, draft: bool) -> Outcome<tempfile::TempDir> {
    let root = tempfile::tempdir()?;
    let made = Command::new(std::env::current_exe()?)
        .arg("prepare")
        .arg(root.path().join("data"))
        .arg(lines.to_string())
        .args(draft.then_some("draft"))
        .status()?;
    if made.success() { Ok(root) } else { Err("the dataset could not be made".into()) }
}

/// A server that runs until it is dropped.
pub(crate) struct Running {
    child: Child,
    /// The process of a database that works for it.
    beside: Option<u32>,
    _input: ChildStdin,
    pub(crate) address: String,
    pub(crate) start_seconds: f64,
}

impl Running {
    pub(crate) fn start(kind: &Kind<'_>) -> Outcome<Self> {
        let began = Instant::now();
        let mut command = Command::new(std::env::current_exe()?);
        match kind {
            Kind::Service { directory } => command.arg("serve").arg(directory),
            Kind::Unpinned { directory } => command.arg("serve-unpinned").arg(directory),
            Kind::Floor { .. } => command.arg("floor"),
            Kind::Sqlite { form: sqlite::Form::Joined, file } => command.arg("sqlite-joined").arg(file),
            Kind::Sqlite { form: sqlite::Form::Encoded, file } => command.arg("sqlite-encoded").arg(file),
            Kind::Postgres { cluster, database } => {
                command.arg("postgres").arg(cluster.socket()).arg(database)
            }
        };
        let beside = match kind {
            Kind::Postgres { cluster, .. } => Some(cluster.process()),
            _ => None,
        };
        let mut child = command.stdin(Stdio::piped()).stdout(Stdio::piped()).spawn()?;
        let mut input = child.stdin.take().ok_or("no input")?;
        if let Kind::Floor { replies } = kind {
            input.write_all(&serde_json::to_vec(replies)?)?;
            input.write_all(b"\n")?;
        }
        let mut address = String::new();
        BufReader::new(child.stdout.take().ok_or("no output")?).read_line(&mut address)?;
        let start_seconds = began.elapsed().as_secs_f64();
        if address.is_empty() {
            return Err("a server did not begin".into());
        }
        Ok(Self { child, beside, _input: input, address: address.trim().to_owned(), start_seconds })
    }

    pub(crate) fn cpu_microseconds(&self) -> Outcome<f64> {
        let beside = self.beside.map(cpu::tree_microseconds).transpose()?;
        Ok(cpu::microseconds(self.child.id())? + beside.unwrap_or_default())
    }

    /// Memory of it and of a database that works for it, what processes share counted once.
    pub(crate) fn memory(&self) -> Outcome<u64> {
        let beside = self.beside.map(cpu::tree_resident).transpose()?;
        Ok(cpu::tree_resident(self.child.id())? + beside.unwrap_or_default())
    }

    pub(crate) fn resident(&self) -> Outcome<u64> {
        cpu::resident(self.child.id())
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        // The child ends by itself when its input closes; this only makes sure.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Runs a server on a fresh port until the input closes, and tells the address first.
pub(crate) fn run<F: Future<Output = Outcome<()>>>(
    pinned: bool,
    serve: impl FnOnce(TcpListener) -> F,
) -> Outcome<()> {
    if pinned {
        cpu::pin(CORE)?;
    } else {
        cpu::unpin()?;
    }
    // On one core one thread does it all; otherwise as the binary has it.
    let mut builder = match pinned {
        true => tokio::runtime::Builder::new_current_thread(),
        false => tokio::runtime::Builder::new_multi_thread(),
    };
    let runtime = builder.enable_all().build()?;
    runtime.block_on(async {
        let listener = TcpListener::bind("127.0.0.1:0").await?;
        println!("{}", listener.local_addr()?);
        let served = serve(listener);
        tokio::select! {
            served = served => served,
            () = input_closed() => Ok(()),
        }
    })
}

/// Serves one service as it is, the way that the floor is served.
pub(crate) async fn serve_alone<S>(service: S, listener: TcpListener) -> Outcome<()>
where
    S: tower::Service<http::Request<Body>, Response = http::Response<Body>, Error = Infallible>
        + NamedService
        + Clone
        + Send
        + Sync
        + 'static,
    S::Future: Send + 'static,
{
    let incoming = tokio_stream::wrappers::TcpListenerStream::new(listener);
    let nodelay = tokio_stream::StreamExt::map(incoming, |stream| {
        stream.and_then(|stream| stream.set_nodelay(true).map(|()| stream))
    });
    let (call, all) = (LIMITS.call_window_bytes, LIMITS.window_bytes);
    // As the service has it: the transport takes many small frames that it has not worked off for an attack, and after a
    // standstill of the machine there are as many as calls may be in flight.
    let mut server = Server::builder()
        .initial_stream_window_size(call)
        .initial_connection_window_size(all)
        .max_concurrent_streams(Some(LIMITS.streams_per_connection));
    Ok(server.add_service(service).serve_with_incoming(nodelay).await?)
}

async fn input_closed() {
    let read = || std::io::stdin().read_to_end(&mut Vec::new());
    let _ = tokio::task::spawn_blocking(read).await;
}

/// The role that makes a dataset of so many generated lines in a directory.
pub(crate) fn prepare(arguments: &[String]) -> Outcome<()> {
    let [_, _, directory, lines, draft @ ..] = arguments else {
        return Err("which directory, and how many lines?".into());
    };
    let directory = Path::new(directory);
    let log: Arc<dyn Log> = Arc::new(FileLog::create(directory, FileOptions::default())?);
    let origin = Origin { actor: "bench".into(), reason: "measure".into(), request_id: None };
    dashwright_engine::initialise(&*log, &Fixed, &origin)?;
    let store = Store::open(&directory.join("store"))?.store;
    let (engine, _) = dashwright_engine::start(ground(directory, log, store)?)?;
    let records = dashwright_demo::scaled(lines.parse()?).map(Ok::<_, std::io::Error>);
    engine.load(records, &origin, |_| ())?;
    if draft.is_empty() { Ok(()) } else { begin_draft(&engine, &origin) }
}

/// A draft that gives every generated line a note.
fn begin_draft(engine: &Engine, origin: &Origin) -> Outcome<()> {
    let draft = engine.create_draft(origin)?.id;
    let view = engine.view();
    let lines = view.snapshot().records(RecordKind::Vehicle).iter();
    let noted = lines.filter(|kept| kept.id.as_str().starts_with("gen-")).map(|kept| {
        // The evidence of the line stands last; its audio options have their own.
        let (fields, evidence) = kept.text.rsplit_once("\"evidence\"").ok_or("a line without evidence")?;
        let line = format!("{fields}\"note\":\"seen again\",\"evidence\"{evidence}");
        Ok(Put::over(parse_line(line.as_bytes(), 0)?))
    });
    let puts = noted.collect::<Outcome<Vec<Put>>>()?;
    for some in puts.chunks(DRAFTED_AT_ONCE) {
        engine.edit_draft(origin, &draft, some.to_vec(), Vec::new(), false)?;
    }
    Ok(())
}

/// The role of the service, on a directory that was made before.
pub(crate) fn serve(arguments: &[String], pinned: bool) -> Outcome<()> {
    let directory = Path::new(arguments.get(2).ok_or("which directory?")?);
    let store = Store::open(&directory.join("store"))?.store;
    let known = store.applied().unwrap_or(Head::EMPTY);
    let log = FileLog::open_trusting(directory, known, FileOptions::default())?.log;
    let (engine, _) = dashwright_engine::start(ground(directory, Arc::new(log), store)?)?;
    cpu::give_back();
    let access = dashwright_grpc::auth::Access::by(engine.keys());
    let service = dashwright_grpc::Service::new(engine, directory.join("imports"));
    run(pinned, |listener| async {
        let serving = dashwright_grpc::Serving::new(service, access).await?;
        Ok(dashwright_grpc::serve(serving, listener, std::future::pending()).await?)
    })
}

fn ground(directory: &Path, log: Arc<dyn Log>, store: Store) -> Outcome<Ground> {
    let checkpoints = Arc::new(FileCheckpoints::open(directory)?.checkpoints);
    let (key_secret, surroundings) = (ServerSecret::new([0; 32]), Arc::new(Fixed));
    Ok(Ground { log, store, checkpoints, signer: None, key_secret, surroundings })
}

/// Time and ids that need not be true.
struct Fixed;

impl Surroundings for Fixed {
    fn now(&self) -> String {
        "2026-01-01T00:00:00Z".to_owned()
    }

    fn new_id(&self) -> String {
        static NEXT: std::sync::atomic::AtomicU64 = std::sync::atomic::AtomicU64::new(0);
        format!("bench-{}", NEXT.fetch_add(1, std::sync::atomic::Ordering::Relaxed))
    }

    fn random(&self) -> Option<[u8; 32]> {
        // No key is made here.
        None
    }
}
