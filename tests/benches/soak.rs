//! What hours do to a server: `cargo bench -p dashwright-tests --bench soak -- [--minutes 10] [--rate 200] [--lines 15000]
//! [--publish-every 5] [--binary FILE]`.
//!
//! The binary serves a directory of its own, is asked look-ups, plans, carts, lists and earlier revisions at a fixed rate, and gets a new
//! revision every few seconds, each a draft that is edited and published. Memory, file descriptors, disk and waits are sampled; the end
//! tells the slope of each, its first and its last third. It fails on failed calls and on descriptors that grow, never on speed.
//! Figures go to target/bench/soak.json.

use std::collections::{BTreeMap, VecDeque};
use std::error::Error;
use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitCode, Stdio};
use std::time::{Duration, Instant};

use dashwright_api::v1;
use dashwright_api::v1::catalogue_service_client::CatalogueServiceClient;
use dashwright_api::v1::curation_service_client::CurationServiceClient;
use dashwright_api::v1::fitment_service_client::FitmentServiceClient;
use dashwright_model::exchange::to_line;
use dashwright_model::record::Record;
use dashwright_tests::change::publish;
use tokio::sync::mpsc;
use tonic::transport::{Channel, Endpoint};

type Outcome<T> = Result<T, Box<dyn Error + Send + Sync>>;

/// How long a server may take until it answers.
const START: Duration = Duration::from_secs(120);
/// Lines that are asked for in turns, and changed in turns.
const ASKED: usize = 256;
/// Records that a publish changes.
const CHANGED: usize = 20;
/// The last so many revisions are asked for again: more than the server keeps compiled.
const REMEMBERED: usize = 12;
/// Radios of plans and carts, in turns.
const RADIOS: [&str; 4] = ["sonquill-rowan-2", "sonquill-larch-1", "kelvora-tern-2", "nordvale-loom-2"];
/// Descriptors that may come and go with connections and with files that are written anew.
const SPARE_DESCRIPTORS: f64 = 8.0;
/// Faults that are told one by one.
const TOLD: usize = 10;

/// How much is asked, and for how long.
struct Options {
    time: Duration,
    sample: Duration,
    publish: Duration,
    calls_per_second: f64,
    lines: usize,
    binary: Option<PathBuf>,
    short: bool,
}

impl Options {
    fn of(arguments: &[String]) -> Outcome<Self> {
        let after = |name: &str| {
            let mut rest = arguments.iter().skip_while(|argument| *argument != name);
            rest.next().and_then(|_| rest.next())
        };
        // `cargo test` runs benches with `--test` to see that they work.
        let short = arguments.iter().any(|argument| argument == "--test");
        let minutes: f64 =
            after("--minutes").map_or(Ok(if short { 0.1 } else { 10.0 }), |text| text.parse())?;
        let lines = after("--lines").map_or(Ok(if short { 150 } else { 15_000 }), |text| text.parse())?;
        Ok(Self {
            time: Duration::from_secs_f64(minutes * 60.0),
            sample: Duration::from_secs(if short { 1 } else { 10 }),
            publish: Duration::from_secs_f64(
                after("--publish-every").map_or(Ok(if short { 1.0 } else { 5.0 }), |text| text.parse())?,
            ),
            calls_per_second: after("--rate").map_or(Ok(200.0), |text| text.parse())?,
            lines,
            binary: after("--binary").map(PathBuf::from),
            short,
        })
    }
}

fn main() -> Outcome<ExitCode> {
    let arguments: Vec<String> = std::env::args().collect();
    let options = Options::of(&arguments)?;
    let root = tempfile::tempdir()?;
    let catalogue = Catalogue::write(&root.path().join("catalogue.jsonl"), options.lines)?;
    let server = Server::start(&binary(&options)?, root.path())?;
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    let soaked = runtime.block_on(soak(&server, &catalogue, &options))?;
    soaked.print();
    if !options.short {
        soaked.write()?;
    }
    let faults = soaked.faults();
    for fault in &faults {
        eprintln!("{fault}");
    }
    Ok(if faults.is_empty() { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}

/// The binary that was named, the one of the tests, or the released one, built where it is not.
fn binary(options: &Options) -> Outcome<PathBuf> {
    if let Some(binary) = &options.binary {
        return Ok(binary.canonicalize()?);
    }
    if options.short {
        return Ok(dashwright_tests::binary::binary()?.to_owned());
    }
    let target = Path::new(env!("CARGO_MANIFEST_DIR")).join("../target");
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    if !Command::new(cargo).args(["build", "--release", "-p", "dashwright"]).status()?.success() {
        return Err("the binary can not be built".into());
    }
    let below = std::env::var_os("CARGO_TARGET_DIR").map_or(target, PathBuf::from);
    Ok(below.join("release/dashwright").canonicalize()?)
}

/// What is asked for and changed.
struct Catalogue {
    vehicles: Vec<v1::VehicleQuestion>,
    /// The records of the same lines as JSON.
    records: Vec<String>,
}

impl Catalogue {
    /// Writes a dataset of so many generated lines, and chooses some of them.
    fn write(file: &Path, lines: usize) -> Outcome<Self> {
        let mut out = std::io::BufWriter::new(fs::File::create(file)?);
        let (mut names, mut number) = (BTreeMap::new(), 0);
        let mut own = Self { vehicles: Vec::new(), records: Vec::new() };
        for record in dashwright_demo::scaled(lines) {
            let line = to_line(&record)?;
            writeln!(out, "{line}")?;
            match record {
                // The makes stand before the lines.
                Record::Vocabulary(term) => {
                    names.insert(term.id.to_string(), term.name.to_string());
                }
                Record::Vehicle(vehicle) if vehicle.id.as_str().starts_with("gen-") => {
                    if number % (lines / ASKED).max(1) == 0 && own.records.len() < ASKED {
                        let option = vehicle.audio_options.first().map(|it| it.code.to_string());
                        own.vehicles.push(v1::VehicleQuestion {
                            model_year: vehicle.years.from().get().into(),
                            make: names.get(vehicle.make.as_str()).cloned().unwrap_or_default(),
                            model: vehicle.model.to_string(),
                            audio_option: option.unwrap_or_default(),
                            ..v1::VehicleQuestion::default()
                        });
                        own.records.push(line);
                    }
                    number += 1;
                }
                _ => {}
            }
        }
        out.flush()?;
        if own.records.is_empty() { Err("no lines".into()) } else { Ok(own) }
    }

    /// Some records with a note that says which publish they go with.
    fn changed(&self, publish: usize) -> Outcome<Vec<String>> {
        let some = self.records.iter().cycle().skip(publish * CHANGED % self.records.len()).take(CHANGED);
        let noted = some.map(|line| {
            // The evidence of the line stands last; its audio options have their own.
            let (fields, evidence) = line.rsplit_once("\"evidence\"").ok_or("a line without evidence")?;
            Ok(format!("{fields}\"note\":\"seen in publish {publish}\",\"evidence\"{evidence}"))
        });
        noted.collect()
    }
}

/// The binary, serving.
struct Server {
    child: Child,
    data: PathBuf,
    address: String,
}

impl Server {
    fn start(binary: &Path, root: &Path) -> Outcome<Self> {
        let listener = std::net::TcpListener::bind("127.0.0.1:0")?;
        let address = listener.local_addr()?.to_string();
        drop(listener);
        let data = root.join("data");
        let mut command = Command::new(binary);
        command.args(["serve", "--init", "--listen", &address, "--load"]).arg(root.join("catalogue.jsonl"));
        command.arg("--data").arg(&data);
        let log = fs::File::create(root.join("server.log"))?;
        let child = command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(log).spawn()?;
        let server = Self { child, data, address };
        let begin = Instant::now();
        while std::net::TcpStream::connect(&server.address).is_err() {
            if begin.elapsed() > START {
                let log = fs::read_to_string(root.join("server.log"))?;
                return Err(format!("the server does not answer: {log}").into());
            }
            // sleep: it loads its dataset before it listens.
            std::thread::sleep(Duration::from_millis(50));
        }
        Ok(server)
    }

    fn resident(&self) -> Outcome<f64> {
        let status = fs::read_to_string(format!("/proc/{}/status", self.child.id()))?;
        let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:")).ok_or("no VmRSS")?;
        Ok(line.trim().trim_end_matches(" kB").trim().parse::<f64>()? * 1024.0)
    }

    fn descriptors(&self) -> Outcome<f64> {
        Ok(fs::read_dir(format!("/proc/{}/fd", self.child.id()))?.count() as f64)
    }

    async fn channel(&self) -> Outcome<Channel> {
        Ok(Endpoint::from_shared(format!("http://{}", self.address))?.connect().await?)
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        // Nothing here has to end in order: the directory goes with it.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Bytes and number of files below a directory. What goes away meanwhile is not counted.
fn disk(directory: &Path) -> (f64, f64) {
    let (mut bytes, mut files) = (0.0, 0.0);
    for entry in fs::read_dir(directory).into_iter().flatten().flatten() {
        let Ok(about) = entry.metadata() else { continue };
        if about.is_dir() {
            let (more_bytes, more_files) = disk(&entry.path());
            bytes += more_bytes;
            files += more_files;
        } else {
            bytes += about.len() as f64;
            files += 1.0;
        }
    }
    (bytes, files)
}

/// Kinds of calls with their share of the calls, in percent.
const KINDS: [(&str, usize); 5] =
    [("look-up", 60), ("plan", 20), ("cart", 10), ("list", 9), ("earlier revision", 1)];

/// How a call went.
struct Told {
    kind: &'static str,
    milliseconds: f64,
    fault: Option<String>,
}

/// What the server was like at a time.
struct Sample {
    seconds: f64,
    resident: f64,
    descriptors: f64,
    /// What the log and everything beside the store take: it grows for ever.
    log_bytes: f64,
    /// What the store takes, which is made anew from the log where it is lost.
    store_bytes: f64,
    files: f64,
    publishes: f64,
    p50: f64,
    p99: f64,
}

/// Asks, publishes and samples until the time is over.
async fn soak(server: &Server, catalogue: &Catalogue, options: &Options) -> Outcome<Soaked> {
    let channel = server.channel().await?;
    let mut curation = CurationServiceClient::new(server.channel().await?);
    let (tell, mut told) = mpsc::unbounded_channel();
    let (begin, mut soaked) = (Instant::now(), Soaked::default());
    let step = Duration::from_secs_f64(1.0 / options.calls_per_second);
    let (mut due, mut sample_due, mut publish_due) = (begin, begin + options.sample, begin + options.publish);
    let (mut number, mut publishes, mut tokens) = (0, 0, VecDeque::new());
    let (made, mut published) = mpsc::channel(1);
    let mut waits = Vec::new();
    while begin.elapsed() < options.time {
        // sleep: the pace.
        tokio::time::sleep_until(due.into()).await;
        let (channel, tell) = (channel.clone(), tell.clone());
        let call = Call::of(number, catalogue, tokens.get(number / 100 % tokens.len().max(1)).cloned());
        tokio::spawn(async move {
            let fault = call.make(channel).await.err().map(|fault| fault.to_string());
            let milliseconds = due.elapsed().as_secs_f64() * 1e3;
            tell.send(Told { kind: call.kind, milliseconds, fault })
        });
        number += 1;
        due += step;
        if Instant::now() >= publish_due {
            publish_due += options.publish;
            let (records, made, mut client) = (catalogue.changed(publishes)?, made.clone(), curation.clone());
            publishes += 1;
            tokio::spawn(async move {
                let begun = Instant::now();
                let fault = publish(&mut client, records).await;
                made.send((begun.elapsed().as_secs_f64() * 1e3, fault)).await
            });
        }
        while let Ok((milliseconds, done)) = published.try_recv() {
            let fault = match done {
                Ok(done) => {
                    tokens.push_front(done.revision.unwrap_or_default().token);
                    tokens.truncate(REMEMBERED);
                    None
                }
                Err(status) => Some(status.to_string()),
            };
            soaked.take(Told { kind: "publish", milliseconds, fault });
        }
        while let Ok(one) = told.try_recv() {
            waits.push(one.milliseconds);
            soaked.take(one);
        }
        if Instant::now() >= sample_due {
            sample_due += options.sample;
            soaked.sample(server, begin, publishes, &mut waits)?;
        }
    }
    drop((tell, made));
    // What is in flight still counts.
    while let Some((milliseconds, done)) = published.recv().await {
        let fault = done.err().map(|status| status.to_string());
        soaked.take(Told { kind: "publish", milliseconds, fault });
    }
    while let Some(one) = told.recv().await {
        soaked.take(one);
    }
    curation.list_drafts(v1::ListDraftsRequest {}).await?;
    Ok(soaked)
}

/// One call.
struct Call {
    kind: &'static str,
    number: usize,
    vehicle: v1::VehicleQuestion,
    /// An earlier revision.
    token: Option<String>,
}

impl Call {
    fn of(number: usize, catalogue: &Catalogue, token: Option<String>) -> Self {
        let vehicle = catalogue.vehicles.get(number % catalogue.vehicles.len()).cloned().unwrap_or_default();
        let mut below = 0;
        // Neighbours are of different kinds: 37 and 100 have no common divisor.
        let place = number * 37 % 100;
        let kind = KINDS.iter().find(|(_, share)| {
            below += share;
            place < below
        });
        let token = token.filter(|_| kind.is_some_and(|(name, _)| *name == "earlier revision"));
        Self { kind: kind.map_or("look-up", |(name, _)| name), number, vehicle, token }
    }

    async fn make(&self, channel: Channel) -> Outcome<()> {
        let mut fitment = FitmentServiceClient::new(channel.clone());
        let (vehicle, radio_id) = (Some(self.vehicle.clone()), RADIOS.iter().cycle().nth(self.number % 4));
        let radio_id = radio_id.copied().unwrap_or_default().to_owned();
        match self.kind {
            "plan" => {
                let plan = v1::PlanInstallRequest { vehicle, radio_id, ..v1::PlanInstallRequest::default() };
                fitment.plan_install(plan).await?;
            }
            "cart" => {
                let lines = ["hwk-210", "mw-12", "qm-7.214"];
                let lines = lines.map(|item| v1::CartLine { item: item.to_owned(), quantity: 1 }).to_vec();
                let cart =
                    v1::CheckCartRequest { vehicle, radio_id, lines, ..v1::CheckCartRequest::default() };
                fitment.check_cart(cart).await?;
            }
            "list" => {
                let mut catalogue = CatalogueServiceClient::new(channel);
                let kind = v1::RecordKind::Part.into();
                let list =
                    v1::ListRecordsRequest { kind, page_size: 50, ..v1::ListRecordsRequest::default() };
                catalogue.list_records(list).await?;
            }
            _ => {
                let at = self.token.clone().map(v1::read_at::At::Exactly);
                let read_at = at.map(|at| v1::ReadAt { at: Some(at) });
                fitment.look_up_fitment(v1::LookUpFitmentRequest { read_at, vehicle }).await?;
            }
        }
        Ok(())
    }
}

/// What was seen.
#[derive(Default)]
struct Soaked {
    samples: Vec<Sample>,
    waits: BTreeMap<&'static str, Vec<f64>>,
    failed: Vec<String>,
}

/// A figure of a sample.
type Pick = fn(&Sample) -> f64;

/// The figures that are told over time.
const OVER_TIME: [(&str, &str, Pick); 7] = [
    ("resident", "bytes", |it| it.resident),
    ("descriptors", "", |it| it.descriptors),
    ("log", "bytes", |it| it.log_bytes),
    ("store", "bytes", |it| it.store_bytes),
    ("files", "", |it| it.files),
    ("p50", "ms", |it| it.p50),
    ("p99", "ms", |it| it.p99),
];

impl Soaked {
    fn take(&mut self, told: Told) {
        self.waits.entry(told.kind).or_default().push(told.milliseconds);
        self.failed.extend(told.fault.map(|fault| format!("{}: {fault}", told.kind)));
    }

    fn sample(
        &mut self,
        server: &Server,
        begin: Instant,
        publishes: usize,
        waits: &mut Vec<f64>,
    ) -> Outcome<()> {
        let ((bytes, files), (store_bytes, _)) = (disk(&server.data), disk(&server.data.join("store")));
        let sample = Sample {
            seconds: begin.elapsed().as_secs_f64(),
            resident: server.resident()?,
            descriptors: server.descriptors()?,
            log_bytes: bytes - store_bytes,
            store_bytes,
            files,
            publishes: publishes as f64,
            p50: quantile(waits, 0.5),
            p99: quantile(waits, 0.99),
        };
        waits.clear();
        eprintln!(
            "{:6.0} s  {:6.1} MB  {:3.0} descriptors  {:7.2} MB on disk in {:3.0} files  p50 {:.2} ms  p99 {:.2} ms",
            sample.seconds,
            sample.resident / 1e6,
            sample.descriptors,
            bytes / 1e6,
            sample.files,
            sample.p50,
            sample.p99,
        );
        self.samples.push(sample);
        Ok(())
    }

    /// Every figure by name.
    fn figures(&self) -> Vec<(String, f64)> {
        let mut figures = Vec::new();
        for (name, _, pick) in OVER_TIME {
            figures.push((format!("{name}_per_hour"), 3600.0 * self.slope(|it| it.seconds, pick)));
            figures.push((format!("{name}_first_third"), mean(self.thirds().0, pick)));
            figures.push((format!("{name}_last_third"), mean(self.thirds().1, pick)));
        }
        figures.push(("log_bytes_per_publish".into(), self.slope(|it| it.publishes, |it| it.log_bytes)));
        figures.push(("store_bytes_per_publish".into(), self.slope(|it| it.publishes, |it| it.store_bytes)));
        for (kind, waits) in &self.waits {
            let mut waits = waits.clone();
            let name = kind.replace([' ', '-'], "_");
            figures.push((format!("{name}_calls"), waits.len() as f64));
            figures.push((format!("{name}_p50_milliseconds"), quantile(&mut waits, 0.5)));
            figures.push((format!("{name}_p99_milliseconds"), quantile(&mut waits, 0.99)));
            figures.push((format!("{name}_max_milliseconds"), quantile(&mut waits, 1.0)));
        }
        figures.push(("failed_calls".into(), self.failed.len() as f64));
        figures
    }

    fn print(&self) {
        println!("  {:12} {:>16} {:>16} {:>16}", "", "first third", "last third", "per hour");
        for (name, unit, pick) in OVER_TIME {
            let (first, last) = self.thirds();
            let per_hour = 3600.0 * self.slope(|it| it.seconds, pick);
            println!(
                "  {name:12} {:>16.3} {:>16.3} {per_hour:>+16.3} {unit}",
                mean(first, pick),
                mean(last, pick)
            );
        }
        for (name, figure) in self.figures() {
            println!("  {name:36} {figure:>16.3}");
        }
    }

    fn write(&self) -> Outcome<()> {
        let target = Path::new(env!("CARGO_MANIFEST_DIR")).join("../target/bench");
        fs::create_dir_all(&target)?;
        let figures: serde_json::Map<_, _> =
            self.figures().into_iter().map(|(name, figure)| (name, figure.into())).collect();
        Ok(fs::write(target.join("soak.json"), serde_json::to_vec_pretty(&figures)?)?)
    }

    /// What must not be.
    fn faults(&self) -> Vec<String> {
        let mut faults: Vec<String> = self.failed.iter().take(TOLD).cloned().collect();
        if !self.failed.is_empty() {
            faults.push(format!("{} calls failed", self.failed.len()));
        }
        let (first, last) = self.thirds();
        let (first, last) = (mean(first, |it| it.descriptors), mean(last, |it| it.descriptors));
        if last > first + SPARE_DESCRIPTORS {
            faults.push(format!("file descriptors grow: from {first:.1} to {last:.1}"));
        }
        if self.samples.is_empty() {
            faults.push("nothing was sampled: the time was too short".into());
        }
        faults
    }

    /// The samples but for the first tenth, in which the server warms up.
    fn settled(&self) -> &[Sample] {
        self.samples.get(self.samples.len() / 10..).unwrap_or_default()
    }

    /// The first and the last third of them, one sample at least.
    fn thirds(&self) -> (&[Sample], &[Sample]) {
        let samples = self.settled();
        let third = (samples.len() / 3).max(1);
        let first = samples.get(..third).unwrap_or_default();
        let last = samples.get(samples.len().saturating_sub(third)..).unwrap_or_default();
        (first, last)
    }

    /// Least squares: by how much a figure grows with another.
    fn slope(&self, along: impl Fn(&Sample) -> f64, figure: impl Fn(&Sample) -> f64) -> f64 {
        let samples = self.settled();
        let (x_mean, y_mean) = (mean(samples, &along), mean(samples, &figure));
        let (mut product, mut square) = (0.0, 0.0);
        for sample in samples {
            let x = along(sample) - x_mean;
            product += x * (figure(sample) - y_mean);
            square += x * x;
        }
        if square > 0.0 { product / square } else { 0.0 }
    }
}

fn mean(samples: &[Sample], figure: impl Fn(&Sample) -> f64) -> f64 {
    samples.iter().map(figure).sum::<f64>() / samples.len().max(1) as f64
}

/// A quantile of numbers, which are sorted for it; 0 where there are none.
fn quantile(numbers: &mut [f64], part: f64) -> f64 {
    numbers.sort_by(f64::total_cmp);
    let place = ((numbers.len() as f64 * part) as usize).min(numbers.len().saturating_sub(1));
    numbers.get(place).copied().unwrap_or_default()
}
