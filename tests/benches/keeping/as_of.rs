//! Questions as of earlier revisions: the first one, which compiles the revision, and those after it.

use std::hint::black_box;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use dashwright_engine::{Engine, Freshness};
use tokio::runtime::Runtime;

use crate::figures::{Figures, Times};
use crate::{Outcome, ground, process};

/// How long a revision may take.
const PATIENCE: Duration = Duration::from_secs(600);
/// Views that are taken warm.
const TAKEN: usize = 10_000;

pub(crate) fn measure(kept: &Path, figures: &mut Figures) -> Outcome<()> {
    figures.add_all("as_of", process::ask("as-of", kept, 0)?);
    Ok(())
}

/// The role that takes views.
pub(crate) fn serve(directory: PathBuf) -> Outcome<()> {
    let mut figures = Figures::default();
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    let (engine, _) = ground::open(&directory)?;
    process::resident()?;
    let last = engine.view().revision();
    for (name, revision) in [("near_head", last - 2), ("middle", last / 2), ("first", 1)] {
        let began = Instant::now();
        take(&runtime, &engine, Freshness::Exactly(engine.token_of(revision)), revision)?;
        figures.add(format!("{name}_cold_seconds"), began.elapsed().as_secs_f64());
    }
    let first = Freshness::Exactly(engine.token_of(1));
    let mut warm = Times::of(TAKEN, |_| take(&runtime, &engine, first, 1))?;
    figures.add("first_warm_p50_microseconds", warm.microseconds(0.5));
    let exactly = Freshness::Exactly(engine.token_of(last));
    let mut same = Times::of(TAKEN, |_| take(&runtime, &engine, exactly, last))?;
    figures.add("head_p50_microseconds", same.microseconds(0.5));
    let mut latest = Times::of(TAKEN, |_| take(&runtime, &engine, Freshness::Latest, last))?;
    figures.add("latest_p50_microseconds", latest.microseconds(0.5));
    figures.add("peak_megabytes", process::peak()? as f64 / 1e6);
    figures.add("resident_megabytes", process::resident()? as f64 / 1e6);
    figures.tell()
}

fn take(runtime: &Runtime, engine: &Engine, freshness: Freshness, revision: u64) -> Outcome<()> {
    let view = runtime.block_on(engine.view_at(freshness, Instant::now() + PATIENCE))?;
    if black_box(view).revision() == revision { Ok(()) } else { Err("another revision".into()) }
}
