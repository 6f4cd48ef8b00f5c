//! What a look-up costs over a socket, beside a raw echo of the same bytes: `cargo bench --bench service`.
//!
//! The bench starts itself again as servers, each a process of its own on a core of its own, and asks them in turns from
//! the other core. Server CPU per call (user and system, from /proc) is the steadiest figure on a shared machine; every
//! ratio is taken within one run, round by round, and the median is told. Figures go to target/bench/service.json.

mod cpu;
mod floor;
mod load;
mod publish;
mod questions;
mod server;

use std::error::Error;

use load::Measured;
use server::{Kind, Running};

/// Vehicle lines of the smaller and of the larger dataset.
const SIZES: [usize; 2] = [150, 150_000];
/// Rounds; each asks every server once, so that a slow moment of the machine meets all of them.
const ROUNDS: usize = 7;

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
        // By itself: `cargo bench … --bench service -- beside-publish`.
        Some("beside-publish") => {
            cpu::pin(0)?;
            let table = Table { beside: Some(beside_publish(SIZES[1])?), ..Table::default() };
            table.print();
            Ok(())
        }
        // `cargo test` runs benches with `--test` to see that they work: one short round.
        _ if arguments.iter().any(|argument| argument == "--test") => compare(1, load::SHORT),
        _ => compare(ROUNDS, load::LONG),
    }
}

fn compare(rounds: usize, length: load::Length) -> Outcome<()> {
    cpu::pin(0)?;
    let vehicles = questions::sample(SIZES[0])?;
    let (asked, plans) = (questions::look_ups(&vehicles), questions::plans(&vehicles));
    let carts = questions::carts(&vehicles);
    let asked_large = questions::look_ups(&questions::sample(SIZES[1])?);
    let (small_root, large_root) = (server::warm(SIZES[0])?, server::warm(SIZES[1])?);
    let small = Running::start(&Kind::Service { directory: &small_root.path().join("data") })?;
    let large = Running::start(&Kind::Service { directory: &large_root.path().join("data") })?;
    let memory_per_line = large.resident()?.saturating_sub(small.resident()?) / (SIZES[1] - SIZES[0]) as u64;
    let replies = load::replies(&small, &load::LOOK_UP, &asked)?;
    let floor = Running::start(&Kind::Floor { replies: &replies })?;
    let mut table = Table { memory_per_line, start_seconds: large.start_seconds, ..Table::default() };
    for round in 0..rounds {
        let measured = Round {
            floor: load::measure(&floor, &load::LOOK_UP, &asked, length)?,
            small: load::measure(&small, &load::LOOK_UP, &asked, length)?,
            large: load::measure(&large, &load::LOOK_UP, &asked_large, length)?,
            plan: load::measure(&small, &load::PLAN, &plans, length)?,
            cart: load::measure_carts(&small, &carts, CARTS)?,
        };
        eprintln!("round {}: {measured}", round + 1);
        table.rounds.push(measured);
    }
    table.memory_per_line =
        large.resident()?.saturating_sub(small.resident()?) / (SIZES[1] - SIZES[0]) as u64;
    table.start_seconds = large.start_seconds;
    drop((small, large, floor));
    let lines = if rounds > 1 { SIZES[1] } else { SIZES[0] };
    table.beside = Some(beside_publish(lines)?);
    table.print();
    table.write()
}

fn beside_publish(lines: usize) -> Outcome<publish::Beside> {
    publish::measure(lines, &questions::look_ups(&questions::sample(lines)?))
}

/// One round: every server asked once.
struct Round {
    floor: Measured,
    small: Measured,
    large: Measured,
    plan: Measured,
    cart: Measured,
}

impl std::fmt::Display for Round {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(
            f,
            "echo {}; {} lines {}; {} lines {}",
            self.floor, SIZES[0], self.small, SIZES[1], self.large
        )?;
        write!(f, "; plan {}; cart {}", self.plan, self.cart)
    }
}

/// All rounds.
#[derive(Default)]
struct Table {
    rounds: Vec<Round>,
    memory_per_line: u64,
    start_seconds: f64,
    beside: Option<publish::Beside>,
}

impl Table {
    /// The median over the rounds.
    fn median(&self, figure: impl Fn(&Round) -> f64) -> f64 {
        let mut figures: Vec<f64> = self.rounds.iter().map(figure).collect();
        figures.sort_by(f64::total_cmp);
        figures.get(figures.len() / 2).copied().unwrap_or(f64::NAN)
    }

    fn figures(&self) -> Vec<(&'static str, f64)> {
        let mut figures = vec![
            ("echo_cpu_microseconds", self.median(|round| round.floor.cpu_microseconds)),
            ("lookup_cpu_microseconds", self.median(|round| round.large.cpu_microseconds)),
            ("lookup_cpu_over_floor", self.median(|r| r.small.cpu_microseconds / r.floor.cpu_microseconds)),
            ("lookup_growth", self.median(|r| r.large.cpu_microseconds / r.small.cpu_microseconds)),
            ("plan_cpu_microseconds", self.median(|round| round.plan.cpu_microseconds)),
            ("plan_cpu_over_lookup", self.median(|r| r.plan.cpu_microseconds / r.small.cpu_microseconds)),
            ("plan_cpu_over_floor", self.median(|r| r.plan.cpu_microseconds / r.floor.cpu_microseconds)),
            ("plan_calls_per_second", self.median(|round| round.plan.calls_per_second)),
            ("plan_reply_bytes", self.median(|round| round.plan.reply_bytes)),
            ("cart_cpu_microseconds", self.median(|round| round.cart.cpu_microseconds)),
            ("carts_per_second", self.median(|round| round.cart.calls_per_second)),
            ("echo_calls_per_second", self.median(|round| round.floor.calls_per_second)),
            ("lookup_calls_per_second", self.median(|round| round.large.calls_per_second)),
            ("reply_bytes", self.median(|round| round.small.reply_bytes)),
            ("resident_bytes_per_line", self.memory_per_line as f64),
            ("warm_start_seconds", self.start_seconds),
        ];
        if let Some(it) = &self.beside {
            figures.extend([
                ("lookup_idle_p50_milliseconds", it.idle_p50),
                ("lookup_idle_p99_milliseconds", it.idle_p99),
                ("lookup_beside_publish_p50_milliseconds", it.publish_p50),
                ("lookup_beside_publish_p99_milliseconds", it.publish_p99),
                ("lookup_beside_publish_max_milliseconds", it.publish_max),
                ("publish_seconds", it.publish_seconds),
            ]);
        }
        figures
    }

    fn print(&self) {
        println!("over a socket, {} rounds, median", self.rounds.len());
        for (name, figure) in self.figures() {
            println!("  {name:40} {figure:>12.3}");
        }
    }

    fn write(&self) -> Outcome<()> {
        let target = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../target/bench");
        std::fs::create_dir_all(&target)?;
        let figures: serde_json::Map<_, _> =
            self.figures().into_iter().map(|(name, figure)| (name.to_owned(), figure.into())).collect();
        std::fs::write(target.join("service.json"), serde_json::to_vec_pretty(&figures)?)?;
        Ok(())
    }
}
