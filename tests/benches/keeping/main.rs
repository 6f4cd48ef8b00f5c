//! What keeping everything for good costs: `cargo bench -p dashwright-tests --bench keeping`.
//!
//! The directory with 150,000 vehicle lines and 5,000 revisions is made once, below target/bench, and used again while the
//! formats stay as they are. Every start and every reading of it is a process of its own, so that time and peak memory are
//! those of a fresh one. Files come from the page cache; a ratio is taken within one run. Figures go to
//! target/bench/keeping.json.

mod appends;
mod as_of;
mod examine;
mod figures;
mod ground;
mod process;
mod starts;
mod trail;

use std::error::Error;
use std::path::{Path, PathBuf};
use std::time::Duration;

use figures::Figures;

/// As the binary has it: what is measured is what is shipped.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

type Outcome<T> = Result<T, Box<dyn Error + Send + Sync>>;

/// How much is made and measured.
#[derive(Clone, Copy)]
struct Size {
    /// Generated vehicle lines.
    lines: usize,
    /// Revisions.
    revisions: u64,
    /// Repetitions of what is quick.
    rounds: usize,
    /// How long writers write at once.
    writing: Duration,
}

/// For figures.
const FULL: Size = Size { lines: 150_000, revisions: 5_000, rounds: 400, writing: Duration::from_secs(4) };

/// To see that it works.
const SHORT: Size = Size { lines: 200, revisions: 30, rounds: 5, writing: Duration::from_millis(100) };

fn main() -> Outcome<()> {
    let arguments: Vec<String> = std::env::args().collect();
    match arguments.get(1).map(String::as_str) {
        Some("start") => starts::serve(process::directory(&arguments)?),
        Some("as-of") => as_of::serve(process::directory(&arguments)?),
        Some("examine") => examine::serve(process::directory(&arguments)?),
        Some("trail") => trail::serve(process::directory(&arguments)?, process::number(&arguments)?),
        Some("publish") => appends::publish(process::directory(&arguments)?),
        Some("load") => appends::load(process::directory(&arguments)?, process::number(&arguments)?),
        // `cargo test` runs benches with `--test` to see that they work.
        _ if arguments.iter().any(|argument| argument == "--test") => {
            let root = tempfile::tempdir_in(below_target()?)?;
            measure(&root.path().join("keeping-data"), root.path(), SHORT).map(drop)
        }
        _ => {
            let target = below_target()?;
            let scratch = tempfile::tempdir_in(&target)?;
            measure(&target.join("keeping-data"), scratch.path(), FULL)?.write(&target.join("keeping.json"))
        }
    }
}

/// Measures everything on the dataset in `kept`, which is made where it is missing; copies of it go to `scratch`.
fn measure(kept: &Path, scratch: &Path, size: Size) -> Outcome<Figures> {
    let mut figures = Figures::default();
    ground::make(kept, size, &mut figures)?;
    starts::measure(kept, scratch, &mut figures)?;
    as_of::measure(kept, &mut figures)?;
    trail::measure(kept, size, &mut figures)?;
    examine::measure(kept, scratch, &mut figures)?;
    appends::measure(kept, scratch, size, &mut figures)?;
    figures.print();
    Ok(figures)
}

fn below_target() -> Outcome<PathBuf> {
    let target = Path::new(env!("CARGO_MANIFEST_DIR")).join("../target/bench");
    std::fs::create_dir_all(&target)?;
    Ok(target.canonicalize()?)
}
