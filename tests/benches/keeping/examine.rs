//! Examining: everything that is found in the dataset with a draft in it.

use std::path::{Path, PathBuf};

use crate::appends::{puts, record};
use crate::figures::{Figures, Times};
use crate::{Outcome, ground, process};

/// Drafts that are examined, each once.
const DRAFTS: u64 = 5;

/// Examines drafts on a copy of the dataset.
pub(crate) fn measure(kept: &Path, scratch: &Path, figures: &mut Figures) -> Outcome<()> {
    let copy = scratch.join("examine");
    ground::copy(kept, &copy)?;
    figures.add_all("examine", process::ask("examine", &copy, 0)?);
    Ok(std::fs::remove_dir_all(copy)?)
}

/// The role that examines drafts of one record each.
pub(crate) fn serve(directory: PathBuf) -> Outcome<()> {
    let mut figures = Figures::default();
    let (engine, _) = ground::open(&directory)?;
    let (mut times, mut found) = (Times::default(), 0);
    for round in 0..DRAFTS {
        let draft = engine.create_draft(&ground::origin())?.id;
        // A number that no earlier edit had.
        let records = [record(2_000_000 + round)?];
        engine.edit_draft(&ground::origin(), &draft, puts(&records), vec![], false)?;
        times.take(|| {
            let examined = engine.examine_draft(&draft)?.examined;
            found = examined.findings.len();
            if examined.complete { Ok(()) } else { Err("not everything was looked for".into()) }
        })?;
    }
    figures.add("findings", found as f64);
    figures.add("p50_seconds", times.microseconds(0.5) / 1e6);
    figures.add("peak_megabytes", process::peak()? as f64 / 1e6);
    figures.tell()
}
