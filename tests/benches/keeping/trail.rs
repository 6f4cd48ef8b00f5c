//! Looking things up in a trail of many entries: pages of it, one entry, proofs, checkpoints.

use std::hint::black_box;
use std::path::{Path, PathBuf};

use dashwright_engine::{Engine, Filter};
use dashwright_log::Sequence;
use dashwright_model::record::RecordKind;

use crate::figures::{Figures, Times};
use crate::{Outcome, Size, ground, process};

/// Entries of a page.
const PAGE: usize = 50;

pub(crate) fn measure(kept: &Path, size: Size, figures: &mut Figures) -> Outcome<()> {
    figures.add_all("trail", process::ask("trail", kept, size.rounds as u64)?);
    Ok(())
}

/// The role that looks up.
pub(crate) fn serve(directory: PathBuf, rounds: u64) -> Outcome<()> {
    let mut figures = Figures::default();
    let rounds = usize::try_from(rounds)?;
    let (engine, _) = ground::open(&directory)?;
    let size = engine.trail_size();
    figures.add("entries", size as f64);
    let mut first = Times::default();
    let everything = Filter::default();
    first.take(|| page(&engine, &everything, size, 0).map(drop))?;
    figures.add("first_look_up_milliseconds", first.microseconds(1.0) / 1e3);
    pages(&engine, size, rounds, &mut figures)?;
    single(&engine, size, rounds, &mut figures)?;
    proofs(&engine, size, rounds, &mut figures)?;
    figures.tell()
}

/// Pages by what entries concern, at the head and deep; in milliseconds, the median.
fn pages(engine: &Engine, size: u64, rounds: usize, figures: &mut Figures) -> Outcome<()> {
    let edited = last_edited(engine)?;
    let time = |sequence| Some(humantime::format_rfc3339_seconds(ground::time_of(sequence)).to_string());
    let middle = size / 2;
    let (from_time, to_time) = (time(middle), time(middle + PAGE as u64));
    let filters = [
        ("all", Filter::default()),
        ("record", Filter { record: Some(edited), ..Filter::default() }),
        ("actor", Filter { actor: Some(ground::actor_of(1)), ..Filter::default() }),
        ("rare_actor", Filter { actor: Some(ground::actor_of(ground::RARE)), ..Filter::default() }),
        ("kind", Filter { kind: Some(dashwright_engine::DRAFT_EDIT.to_owned()), ..Filter::default() }),
        ("time", Filter { from_time, to_time, ..Filter::default() }),
    ];
    for (name, filter) in filters {
        let total = page(engine, &filter, size, 0)?;
        figures.add(format!("{name}_total"), total as f64);
        for (place, skip) in [("head", 0), ("deep", usize::try_from(total)?.saturating_sub(PAGE))] {
            // A page takes milliseconds: fewer rounds suffice.
            let mut times = Times::of(rounds.div_ceil(8), |_| page(engine, &filter, size, skip).map(drop))?;
            figures.add(format!("{name}_{place}_page_milliseconds"), times.microseconds(0.5) / 1e3);
        }
    }
    Ok(())
}

/// How many entries there are, having read a page of them.
fn page(engine: &Engine, filter: &Filter, size: u64, skip: usize) -> Outcome<u64> {
    let listed = engine.entries(filter, size, true, (skip, PAGE))?;
    let total = listed.total;
    let expected = usize::try_from(total)?.saturating_sub(skip).min(PAGE);
    if black_box(listed).entries.len() == expected { Ok(total) } else { Err("not the whole page".into()) }
}

/// One entry by its number: a small one anywhere, and one of the large ones with which the records were loaded.
fn single(engine: &Engine, size: u64, rounds: usize, figures: &mut Figures) -> Outcome<()> {
    let read = |sequence: u64| -> Outcome<()> {
        let read = engine.log().read_from(Sequence(sequence), 1)?;
        if black_box(read).len() == 1 { Ok(()) } else { Err("no such entry".into()) }
    };
    let mut small = Times::of(rounds, |round| read(size - (round as u64 * 7919) % (size / 2)))?;
    figures.add_times("entry", &mut small);
    // The first entries are the beginning, the draft, and its edits of a thousand records each.
    let mut large = Times::of(rounds, |round| read(3 + round as u64 * 31 % (size / 100).max(1)))?;
    figures.add_times("loaded_entry", &mut large);
    Ok(())
}

fn proofs(engine: &Engine, size: u64, rounds: usize, figures: &mut Figures) -> Outcome<()> {
    let place = |round: usize| 1 + (round as u64 * 7919) % size;
    let mut inclusion = Times::of(rounds, |round| {
        black_box(engine.inclusion(place(round), size)?);
        Ok(())
    })?;
    figures.add("inclusion_p50_microseconds", inclusion.microseconds(0.5));
    let mut consistency = Times::of(rounds, |round| {
        black_box(engine.consistency(place(round), size)?);
        Ok(())
    })?;
    figures.add("consistency_p50_microseconds", consistency.microseconds(0.5));
    let mut at_head = Times::of(rounds, |_| {
        black_box(engine.checkpoint_at(size)?);
        Ok(())
    })?;
    figures.add("checkpoint_at_head_p50_microseconds", at_head.microseconds(0.5));
    // The slowest there is, which may take long.
    let mut first = Times::default();
    first.take(|| Ok(black_box(engine.checkpoint_at(1)?)))?;
    figures.add("checkpoint_at_first_microseconds", first.microseconds(1.0));
    Ok(())
}

/// The key of a record that was edited many times.
fn last_edited(engine: &Engine) -> Outcome<String> {
    let view = engine.view();
    let vehicles = view.snapshot().records(RecordKind::Vehicle);
    let edited = vehicles.iter().filter(|kept| kept.revision > 1).max_by_key(|kept| kept.revision);
    let edited = edited.ok_or("nothing was edited")?;
    Ok(format!("{}/{}", RecordKind::Vehicle, edited.id))
}
