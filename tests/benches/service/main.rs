//! What a look-up costs over a socket, beside a raw echo of the same bytes and beside what a user would pick instead:
//! `cargo bench -p dashwright-tests --bench service -- [--sizes 150,15000] [--rounds 7] [--only-floor]`.
//!
//! The bench starts itself again as servers, each a process of its own on a core of its own, and asks them in turns from
//! the other core: our service, an echo, and the same look-up on SQLite and on PostgreSQL (`rivals.rs`). Server CPU per call
//! (user and system, from /proc) is the steadiest figure on a shared machine; every ratio is taken within one run, round by
//! round, and the median is told. Figures go to target/bench/service.json.

mod cpu;
mod filling;
mod floor;
mod half_load;
mod load;
mod options;
mod postgres;
mod publish;
mod questions;
mod rivals;
mod rows;
mod server;
mod sqlite;
mod table;

use std::error::Error;
use std::path::Path;
use std::time::Instant;

use filling::Filling;
use half_load::Waits;
use load::Measured;
use options::Options;
use postgres::Cluster;
use server::{Kind, Running};
use sqlite::Form;
use table::Table;

/// Carts of a round, through one stream.
const CARTS: usize = 2_000;

/// As the binary has it: what is measured is what is shipped.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

type Outcome<T> = Result<T, Box<dyn Error + Send + Sync>>;

fn main() -> Outcome<()> {
    let arguments: Vec<String> = std::env::args().collect();
    match arguments.get(1).map(String::as_str) {
        Some("prepare") => server::prepare(&arguments),
        Some("serve") => server::serve(&arguments, true),
        Some("serve-unpinned") => server::serve(&arguments, false),
        Some("floor") => floor::serve(&arguments),
        Some("sqlite-joined" | "sqlite-encoded") => sqlite::serve(&arguments),
        Some("postgres") => postgres::serve(&arguments),
        // By itself: `cargo bench … --bench service -- beside-publish`.
        Some("beside-publish") => {
            cpu::pin(0)?;
            let mut table = Table::default();
            table.beside = Some(beside_publish(options::BESIDE_PUBLISH)?);
            table.print();
            Ok(())
        }
        _ => compare(&Options::of(&arguments)?),
    }
}

/// Server CPU of a look-up beside the echo's, round by round, and the median of the ratio.
fn beside_floor(options: &Options) -> Outcome<()> {
    let lines = options.sizes.first().copied().ok_or("no size")?;
    let asked = questions::look_ups(&questions::sample(lines)?);
    let data = server::warm(lines)?;
    let service = Running::start(&Kind::Service { directory: &data.path().join("data") })?;
    let floor = Running::start(&Kind::Floor { replies: &load::replies(&service, &load::LOOK_UP, &asked)? })?;
    let mut ratios = Vec::new();
    for _ in 0..options.rounds {
        let [echo, look_up] =
            [&floor, &service].map(|server| load::measure(server, &load::LOOK_UP, &asked, options.length));
        let (echo, look_up) = (echo?, look_up?);
        ratios.push(look_up.cpu_microseconds / echo.cpu_microseconds);
        println!("echo {echo}; look-up {look_up}");
    }
    let ratio = table::median(ratios).ok_or("no round")?;
    println!("{lines} lines: a look-up takes {ratio:.3} of the echo's CPU");
    Ok(())
}

fn compare(options: &Options) -> Outcome<()> {
    cpu::pin(0)?;
    if options.only_floor {
        return beside_floor(options);
    }
    let cluster = Cluster::start()?;
    if cluster.is_none() {
        eprintln!("PostgreSQL is not installed: its figures are left out");
    }
    let scratch = tempfile::tempdir()?;
    let grounds = options.sizes.iter().map(|lines| Ground::new(*lines, scratch.path(), cluster.as_ref()));
    let grounds = grounds.collect::<Outcome<Vec<Ground>>>()?;
    let (Some(small), Some(large)) = (grounds.first(), grounds.last()) else { return Err("no size".into()) };
    let vehicles = questions::sample(small.lines)?;
    let (plans, carts) = (questions::plans(&vehicles), questions::carts(&vehicles));
    let floor = Running::start(&Kind::Floor { replies: &small.replies })?;
    let mut table = Table::new(&options.sizes);
    for round in 0..options.rounds {
        let length = options.length;
        let measured = Round {
            floor: Asked::of(&floor, &small.asked, length)?,
            sizes: grounds.iter().map(|it| it.round(length)).collect::<Outcome<_>>()?,
            plan: load::measure(&small.service, &load::PLAN, &plans, length)?,
            cart: load::measure_carts(&small.service, &carts, CARTS)?,
        };
        eprintln!("round {}\n{}", round + 1, measured.told(&options.sizes));
        table.rounds.push(measured);
    }
    table.resident_per_line = large.service.resident()?.saturating_sub(small.service.resident()?)
        / (large.lines - small.lines).max(1) as u64;
    table.start_seconds = large.service.start_seconds;
    table.memory = grounds.iter().map(Ground::memory).collect::<Outcome<_>>()?;
    drop((grounds, floor, cluster));
    table.beside = Some(beside_publish(options.beside_publish)?);
    table.print();
    if options.kept { table.write() } else { Ok(()) }
}

fn beside_publish(lines: usize) -> Outcome<publish::Beside> {
    publish::measure(lines, &questions::look_ups(&questions::sample(lines)?))
}

/// A dataset of one size with every server on it.
struct Ground {
    lines: usize,
    asked: Vec<Vec<u8>>,
    replies: Vec<Vec<u8>>,
    service: Running,
    joined: Running,
    encoded: Running,
    postgres: Option<Running>,
    _data: tempfile::TempDir,
}

impl Ground {
    fn new(lines: usize, scratch: &Path, cluster: Option<&Cluster>) -> Outcome<Self> {
        let begin = Instant::now();
        let told = |what: &str| eprintln!("{:6.1} s {lines} lines: {what}", begin.elapsed().as_secs_f64());
        let asked = questions::look_ups(&questions::sample(lines)?);
        let data = server::warm(lines)?;
        told("the service is filled");
        let service = Running::start(&Kind::Service { directory: &data.path().join("data") })?;
        let replies = load::replies(&service, &load::LOOK_UP, &asked)?;
        let filling = Filling::new(lines, &replies)?;
        let on_sqlite = |form: Form, name: &str| -> Outcome<Running> {
            let file = scratch.join(format!("{name}-{lines}"));
            sqlite::fill(&file, form, &filling)?;
            let rival = Running::start(&Kind::Sqlite { form, file: &file })?;
            rivals::compare(name, &rival, &asked, &replies)?;
            told(&format!("{name} is filled, {} bytes", std::fs::metadata(&file)?.len()));
            Ok(rival)
        };
        let joined = on_sqlite(Form::Joined, "SQLite joined")?;
        let encoded = on_sqlite(Form::Encoded, "SQLite encoded")?;
        let on_postgres = |cluster: &Cluster| -> Outcome<Running> {
            let database = format!("lines_{lines}");
            cluster.fill(&database, &filling)?;
            let rival = Running::start(&Kind::Postgres { cluster, database: &database })?;
            rivals::compare("PostgreSQL", &rival, &asked, &replies)?;
            told("PostgreSQL is filled");
            Ok(rival)
        };
        let postgres = cluster.map(on_postgres).transpose()?;
        Ok(Self { lines, asked, replies, service, joined, encoded, postgres, _data: data })
    }

    fn round(&self, length: load::Length) -> Outcome<Servers<Asked>> {
        let of = |server: &Running| Asked::of(server, &self.asked, length);
        Ok(Servers {
            service: of(&self.service)?,
            joined: of(&self.joined)?,
            encoded: of(&self.encoded)?,
            postgres: self.postgres.as_ref().map(of).transpose()?,
        })
    }

    fn memory(&self) -> Outcome<Servers<u64>> {
        Ok(Servers {
            service: self.service.memory()?,
            joined: self.joined.memory()?,
            encoded: self.encoded.memory()?,
            postgres: self.postgres.as_ref().map(Running::memory).transpose()?,
        })
    }
}

/// One thing of every server.
struct Servers<T> {
    service: T,
    joined: T,
    encoded: T,
    postgres: Option<T>,
}

/// What a server did in a round: at most, and how long callers waited at half of it.
struct Asked {
    most: Measured,
    half: Waits,
}

impl Asked {
    fn of(server: &Running, requests: &[Vec<u8>], length: load::Length) -> Outcome<Self> {
        let most = load::measure(server, &load::LOOK_UP, requests, length)?;
        let half = half_load::measure(server, &load::LOOK_UP, requests, most.calls_per_second, length)?;
        Ok(Self { most, half })
    }
}

/// One round: every server asked once, so that a slow moment of the machine meets all of them.
struct Round {
    floor: Asked,
    sizes: Vec<Servers<Asked>>,
    plan: Measured,
    cart: Measured,
}

impl Round {
    fn told(&self, sizes: &[usize]) -> String {
        let of =
            |it: &Asked| format!("{}, at half of it {:.3} and {:.3} ms", it.most, it.half.p50, it.half.p99);
        let mut text = format!("  echo {}\n", of(&self.floor));
        for (lines, it) in sizes.iter().zip(&self.sizes) {
            text += &format!("  {lines} lines {}\n", of(&it.service));
            text +=
                &format!("    SQLite joined {}\n    SQLite encoded {}\n", of(&it.joined), of(&it.encoded));
            text +=
                &it.postgres.as_ref().map(|it| format!("    PostgreSQL {}\n", of(it))).unwrap_or_default();
        }
        text + &format!("  plan {}; cart {}", self.plan, self.cart)
    }
}
