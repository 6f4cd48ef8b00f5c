//! Kills at every named step of begin, start, load and end, with several clients at work: nothing that was acknowledged is
//! lost, and nothing is there by halves or twice.

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::{Duration, Instant};

use dashwright_api::v1::Role;
use dashwright_tests::binary::{Process, run};
use tempfile::TempDir;

use crate::interposer::{Effect, Operation, Stage, Step};
use crate::proof::Known;
use crate::work::{Asked, Caller, Client, Random, Request, Shared, locked};

/// Kills in the ordinary run; the environment variable asks for more.
const KILLS: usize = 64;
const KILLS_VARIABLE: &str = "DASHWRIGHT_KILLS";
/// Of the order of the steps and of what the clients do; the variable gives another one.
const SEED: u64 = 0x51_7c_c1_b7_27_22_0a_95;
const SEED_VARIABLE: &str = "DASHWRIGHT_SEED";
/// Clients that work at the same time.
const CLIENTS: usize = 4;
/// Rounds of a client after which a step is given up that was not reached, and the process killed where it is.
const CLIENT_ROUNDS: usize = 12;
/// Kills on one directory: it grows, and every restart proves more of it.
const KILLS_PER_DIRECTORY: usize = 25;
/// How long the clients may take to see that the process is gone.
const PATIENCE: Duration = Duration::from_secs(60);

/// What a process does when it is killed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Phase {
    /// It begins a dataset.
    Begin,
    /// It starts on one.
    Start,
    /// Clients change it.
    Load,
    /// It was asked to end.
    End,
}

/// A step at which a process can be killed.
#[derive(Clone, Debug)]
struct Point {
    phase: Phase,
    operation: Operation,
    /// How often it was seen.
    seen: usize,
    effect: Effect,
}

impl Point {
    fn title(&self) -> String {
        format!("{:?}: {}, {}", self.phase, self.operation.title(), self.effect.word())
    }

    fn step(&self, random: &mut Random) -> Step {
        // The first occurrences come soon enough for clients that do not work for ever.
        let bound = self.seen.min(if self.phase == Phase::Load { self.seen.div_ceil(3) } else { self.seen });
        let number = 1 + usize::try_from(random.below(bound as u64)).unwrap();
        // A path with a number in it is told by what stands before the number.
        let path = self.operation.path.split('N').next().unwrap_or_default();
        let path = if path.is_empty() { "*" } else { path };
        let (operation, path) = (self.operation.name.clone(), path.to_owned());
        Step { operation, path, number, effect: self.effect }
    }
}

/// A dataset under load.
struct Bench {
    _root: TempDir,
    data: PathBuf,
    signer: PathBuf,
    stage: Stage,
    key: String,
    known: Known,
}

impl Bench {
    /// A directory for a dataset that is not begun yet.
    fn new() -> Self {
        let root = tempfile::tempdir().unwrap();
        let data = root.path().join("data");
        let signer = root.path().join("signer");
        std::fs::write(&signer, "1f".repeat(32)).unwrap();
        let stage = Stage::new(&data).unwrap();
        let known = Known::default();
        Self { _root: root, data, signer, stage, key: String::new(), known }
    }

    async fn make_key(&mut self, address: &str) {
        let caller = Caller::connect(address, "").await.unwrap();
        let roles = [Role::Reader, Role::Curator, Role::Publisher, Role::Auditor, Role::Operator].to_vec();
        let request = Request::new(Asked::MakeKey { holder: "the test".to_owned(), roles });
        self.key = caller.ask(&request).await.unwrap().text;
    }

    fn start(&self, more: &[&str]) -> Process {
        let (data, signer) = (self.data.to_str().unwrap(), self.signer.to_str().unwrap());
        let common = ["serve", "--data", data, "--listen", "127.0.0.1:0", "--checkpoint-key", signer];
        self.stage.start(&[&common[..], more].concat()).unwrap()
    }

    /// Lets clients work until they are done or the process is gone.
    async fn load(&self, address: &str, random: &mut Random) -> Shared {
        let ledger = Shared::default();
        let mut clients = Vec::new();
        for number in 0..CLIENTS {
            let caller = Caller::connect(address, &self.key).await.unwrap();
            let (name, ledger) = (format!("client-{number}"), Arc::clone(&ledger));
            let random = Random(random.below(u64::MAX - 1) + 1);
            clients.push(tokio::spawn(
                Client { name, caller, ledger, random, makes_keys: true }.work(CLIENT_ROUNDS),
            ));
        }
        for client in clients {
            tokio::time::timeout(PATIENCE, client).await.expect("a client hangs").unwrap();
        }
        ledger
    }
}

/// What is counted.
#[derive(Default)]
struct Figures {
    kills: BTreeMap<String, usize>,
    missed: usize,
    acknowledged: usize,
    in_flight: usize,
}

impl Figures {
    fn add(&mut self, bench: &Bench) {
        self.acknowledged += bench.known.proven;
        self.in_flight += bench.known.settled;
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_kill_at_any_step_loses_nothing_that_was_acknowledged() {
    let (kills, seed) = (variable(KILLS_VARIABLE, KILLS), variable(SEED_VARIABLE, SEED));
    println!("{kills} kills with seed {seed:#x}; {KILLS_VARIABLE} and {SEED_VARIABLE} give others");
    let mut random = Random(seed);
    let begin = Instant::now();
    let points = survey(&mut random).await;
    let mut figures = Figures::default();
    let mut schedule = schedule(&points, kills, &mut random);
    let mut done = 0;
    while !schedule.is_empty() {
        let rest = schedule.split_off(schedule.len().min(KILLS_PER_DIRECTORY));
        let mut bench = Bench::new();
        let (mut server, mut address) = begun(&mut bench).await;
        for point in std::mem::replace(&mut schedule, rest) {
            done += 1;
            let step = point.step(&mut random);
            let place = format!("kill {done} at {}, number {}", point.title(), step.number);
            let hit = match point.phase {
                Phase::Begin => kill_begin(&step, &place),
                Phase::Start => {
                    drop(server);
                    bench.stage.clear().unwrap();
                    bench.stage.arm(&step).unwrap();
                    let started = bench.start(&[]).serving().is_ok();
                    let hit = bench.stage.chosen().unwrap().is_some();
                    assert!(started || hit, "{place}: it did not start");
                    (server, address) = restart(&bench);
                    hit
                }
                // It is done once in the life of a dataset.
                Phase::Load if point.seen == 1 => {
                    let mut bench = Bench::new();
                    let (server, address) = begun(&mut bench).await;
                    let held = (server, address);
                    let (_, hit) = kill_at_work(&mut bench, held, &point, &step, &mut random, &place).await;
                    figures.add(&bench);
                    hit
                }
                Phase::Load | Phase::End => {
                    let held = (server, address);
                    let (held, hit) =
                        kill_at_work(&mut bench, held, &point, &step, &mut random, &place).await;
                    (server, address) = held;
                    hit
                }
            };
            let title = if hit { point.title() } else { format!("{:?}: not reached", point.phase) };
            println!("{place}{}", if hit { "" } else { ": not reached, killed where it was" });
            *figures.kills.entry(title).or_default() += 1;
            figures.missed += usize::from(!hit);
        }
        let caller = Caller::connect(&address, &bench.key).await.unwrap();
        bench.known.prove_all(&caller, "the end").await;
        drop(server);
        prove_offline(&bench);
        figures.add(&bench);
    }
    report(&figures, done, begin);
    assert!(figures.missed * 4 <= done, "{} of {done} steps were not reached", figures.missed);
}

/// Begins a dataset and makes the key that everybody uses.
async fn begun(bench: &mut Bench) -> (Process, String) {
    let mut server = bench.start(&["--init"]);
    let (_, address) = server.serving().unwrap();
    bench.make_key(&address).await;
    (server, address)
}

/// Kills a server while clients work, or while it ends after they have, and proves what they were told by the next one.
async fn kill_at_work(
    bench: &mut Bench,
    (server, address): (Process, String),
    point: &Point,
    step: &Step,
    random: &mut Random,
    place: &str,
) -> ((Process, String), bool) {
    if point.phase == Phase::Load {
        bench.stage.arm(step).unwrap();
    }
    let ledger = bench.load(&address, random).await;
    if point.phase == Phase::End {
        bench.stage.arm(step).unwrap();
        server.terminate().unwrap();
        server.ended().unwrap();
    } else {
        drop(server);
    }
    let hit = bench.stage.chosen().unwrap().is_some();
    let (server, address) = restart(bench);
    let caller = Caller::connect(&address, &bench.key).await.unwrap();
    let ledger = std::mem::take(&mut *locked(&ledger));
    bench.known.prove(&caller, ledger, place).await;
    ((server, address), hit)
}

/// Kills a process that begins a dataset: what it leaves is a dataset, or can be begun again.
fn kill_begin(step: &Step, place: &str) -> bool {
    let root = tempfile::tempdir().unwrap();
    let data = root.path().join("data");
    let stage = Stage::new(&data).unwrap();
    stage.arm(step).unwrap();
    let serve = ["serve", "--data", data.to_str().unwrap(), "--listen", "127.0.0.1:0"];
    let begin = [&serve[..], &["--init"]].concat();
    let said = stage.start(&begin).unwrap().serving().is_ok();
    let hit = stage.chosen().unwrap().is_some();
    stage.clear().unwrap();
    let mut plain = stage.start(&serve).unwrap();
    match plain.serving() {
        Ok((revision, _)) => assert_eq!(revision, 0, "{place}"),
        Err(refused) => {
            assert!(!said, "{place}: it served, and is no dataset now: {refused}");
            drop(plain);
            let (revision, _) =
                stage.start(&begin).unwrap().serving().unwrap_or_else(|e| panic!("{place}: {e}"));
            assert_eq!(revision, 0, "{place}");
        }
    }
    hit
}

fn restart(bench: &Bench) -> (Process, String) {
    bench.stage.clear().unwrap();
    let mut server = bench.start(&[]);
    let (_, address) = server.serving().unwrap();
    (server, address)
}

/// Every checkpoint that was given out, against the files, by the binary.
fn prove_offline(bench: &Bench) {
    let directory = tempfile::tempdir().unwrap();
    let file = directory.path().join("checkpoint");
    let told: Vec<_> = bench.known.revisions.values().collect();
    let some = told.iter().step_by((told.len() / 4).max(1)).chain(told.last());
    for told in some {
        std::fs::write(&file, &told.checkpoint).unwrap();
        let (data, file) = (bench.data.to_str().unwrap(), file.to_str().unwrap());
        let verified = run(&["audit", "verify", data, "--checkpoint", file]).unwrap();
        assert!(verified.status.success(), "{verified:?}");
    }
}

/// Lists the operations of a process in each phase.
async fn survey(random: &mut Random) -> Vec<Point> {
    let mut bench = Bench::new();
    let mut seen: Vec<(Phase, Vec<Operation>)> = Vec::new();
    let mut server = bench.start(&["--init"]);
    let (_, address) = server.serving().unwrap();
    seen.push((Phase::Begin, bench.stage.trace().unwrap()));
    bench.make_key(&address).await;
    bench.stage.clear().unwrap();
    let ledger = bench.load(&address, random).await;
    assert!(locked(&ledger).open.is_empty(), "a client lost its connection although nobody was killed");
    seen.push((Phase::Load, bench.stage.trace().unwrap()));
    bench.stage.clear().unwrap();
    server.terminate().unwrap();
    assert!(server.ended().unwrap().success());
    seen.push((Phase::End, bench.stage.trace().unwrap()));
    bench.stage.clear().unwrap();
    bench.start(&[]).serving().unwrap();
    seen.push((Phase::Start, bench.stage.trace().unwrap()));
    let mut points = Vec::new();
    for (phase, operations) in seen {
        let mut counted: BTreeMap<Operation, usize> = BTreeMap::new();
        for operation in operations.into_iter().filter(|operation| !operation.only_reads()) {
            *counted.entry(operation).or_default() += 1;
        }
        for (operation, seen) in counted {
            let mut effects = vec![Effect::KillBefore, Effect::KillAfter];
            if operation.name.contains("write") && !operation.name.starts_with("open") {
                effects.push(Effect::KillHalf);
            }
            let point = |effect| Point { phase, operation: operation.clone(), seen, effect };
            points.extend(effects.into_iter().map(point));
        }
    }
    for phase in [Phase::Begin, Phase::Start, Phase::Load, Phase::End] {
        let of_phase = points.iter().filter(|point| point.phase == phase);
        let mut titles: Vec<_> = of_phase.map(|point| point.operation.title()).collect();
        titles.dedup();
        println!("{phase:?}: {}", titles.join(", "));
        assert!(!titles.is_empty(), "nothing to kill in {phase:?}");
    }
    points
}

/// So many points: mostly of the load, and of each phase every one before any comes again.
fn schedule(points: &[Point], kills: usize, random: &mut Random) -> Vec<Point> {
    let mut turns: BTreeMap<Phase, Vec<Point>> = BTreeMap::new();
    let mut schedule = Vec::new();
    for kill in 0..kills {
        let phase = match kill % 8 {
            0 | 5 => Phase::Start,
            3 => Phase::Begin,
            7 if kill % 16 == 7 => Phase::End,
            _ => Phase::Load,
        };
        let left = turns.entry(phase).or_default();
        if left.is_empty() {
            left.extend(points.iter().filter(|point| point.phase == phase).cloned());
            random.shuffle(left);
        }
        schedule.extend(left.pop());
    }
    schedule
}

fn report(figures: &Figures, done: usize, begin: Instant) {
    for (title, kills) in &figures.kills {
        println!("{kills:4}  {title}");
    }
    let Figures { kills, missed, acknowledged, in_flight } = figures;
    println!(
        "{done} kills at {} steps ({missed} not reached), {acknowledged} acknowledged, {in_flight} in flight, lost = 0, {} s",
        kills.len(),
        begin.elapsed().as_secs()
    );
}

fn variable<T: std::str::FromStr>(name: &str, otherwise: T) -> T {
    std::env::var(name).ok().and_then(|text| text.parse().ok()).unwrap_or(otherwise)
}

#[test]
fn the_schedule_has_every_phase_and_no_step_twice_before_its_turn() {
    let operation = |name: &str| Operation { name: name.to_owned(), path: String::new(), chosen: false };
    let phases = [Phase::Begin, Phase::Start, Phase::Load, Phase::End];
    let point =
        |phase, name: &str| Point { phase, operation: operation(name), seen: 1, effect: Effect::KillAfter };
    let points: Vec<_> =
        phases.into_iter().flat_map(|phase| ["a", "b", "c", "d"].map(|name| point(phase, name))).collect();
    let schedule = schedule(&points, 40, &mut Random(7));
    assert_eq!(schedule.len(), 40);
    let mut loads: Vec<_> = schedule.iter().filter(|it| it.phase == Phase::Load).take(4).collect();
    loads.sort_by(|one, other| one.operation.cmp(&other.operation));
    loads.dedup_by(|one, other| one.operation == other.operation);
    assert_eq!(loads.len(), 4);
    assert!(phases.iter().all(|phase| schedule.iter().any(|point| point.phase == *phase)));
}
