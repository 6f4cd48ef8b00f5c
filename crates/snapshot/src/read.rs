//! Reading records: in parallel, and vehicle lines in two passes, so that a large dataset is never held parsed.
//!
//! The first pass reads of a vehicle line only what puts it in its place. The second reads whole lines, a chunk at a time
//! in the order of their places; each chunk is compiled and let go before the next is read.

use dashwright_model::record::{Record, RecordKind, Vehicle};
use dashwright_model::{Valid, exchange};
use dashwright_quantity::TermId;
use serde::Deserialize;

use crate::build::{BuildError, SourceRecord};
use crate::records::Records;

/// The least number of lines that are worth a second thread.
const PARALLEL_FROM: usize = 4_096;
/// Vehicle lines that are held parsed at once: enough to keep the threads busy, a few megabytes.
pub(crate) const CHUNK: usize = 8_192;
/// How the writer begins a vehicle line.
const VEHICLE: &str = "{\"vehicle\":";

/// A record after the first pass.
pub(crate) enum First {
    /// Read whole. Boxed: most records are vehicle lines, which are small here.
    Whole(Box<Record>),
    /// A vehicle line, of which only the place is known.
    Vehicle(Place),
}

/// What puts a vehicle line in its place: lines of a make, and those of a model, stand together.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Place {
    make: Box<str>,
    model: Box<str>,
    first_year: u16,
    pub(crate) id: TermId,
    /// Which of the sources it is.
    pub(crate) index: usize,
}

impl Place {
    /// The place of a line that was read whole.
    pub(crate) fn of(vehicle: &Vehicle, id: TermId, index: usize) -> Self {
        let Vehicle { make, model, years, .. } = vehicle;
        Self {
            make: make.as_str().into(),
            model: model.as_str().into(),
            first_year: years.from().get(),
            id,
            index,
        }
    }
}

/// The fields of a place.
#[derive(Deserialize)]
struct PlaceLine<'a> {
    #[serde(borrow)]
    vehicle: PlaceFields<'a>,
}

#[derive(Deserialize)]
struct PlaceFields<'a> {
    id: TermId,
    #[serde(borrow)]
    make: std::borrow::Cow<'a, str>,
    #[serde(borrow)]
    model: std::borrow::Cow<'a, str>,
    years: PlaceYears,
}

#[derive(Deserialize)]
struct PlaceYears {
    from: u16,
}

/// The first pass over every source.
pub(crate) fn first_pass(sources: &[SourceRecord]) -> Result<Vec<First>, BuildError> {
    in_parallel(sources, |offset, source| {
        place(&source.text, offset).map_or_else(
            || whole(&source.text, offset).map(|record| First::Whole(Box::new(record))),
            |place| Ok(First::Vehicle(place)),
        )
    })
}

/// The second pass over a chunk of places.
pub(crate) fn vehicles(chunk: &[Place], records: &Records) -> Result<Vec<Valid<Vehicle>>, BuildError> {
    let text =
        |place: &Place| records.find(RecordKind::Vehicle, place.id.as_str()).map(|(_, kept)| &kept.text);
    let records = in_parallel(chunk, |_, place| whole(text(place).map_or("", |text| &**text), place.index))?;
    let vehicles = records.into_iter().filter_map(|record| match record {
        Record::Vehicle(vehicle) => Some(vehicle),
        _ => None,
    });
    Ok(vehicles.collect())
}

/// The place of a vehicle line; nothing for another record, and for a line that has to be read whole to say what is wrong.
fn place(text: &str, index: usize) -> Option<Place> {
    if !text.starts_with(VEHICLE) {
        return None;
    }
    let PlaceLine { vehicle } = serde_json::from_str(text).ok()?;
    let PlaceFields { id, make, model, years } = vehicle;
    Some(Place { make: make.into(), model: model.into(), first_year: years.from, id, index })
}

fn whole(text: &str, index: usize) -> Result<Record, BuildError> {
    exchange::parse_line(text.as_bytes(), index as u64 + 1)
        .map_err(|source| BuildError::NotARecord { index, source })
}

/// Reads items on every core, keeping their order; the first fault in that order is told.
fn in_parallel<T: Sync, R: Send>(
    items: &[T],
    read: impl Fn(usize, &T) -> Result<R, BuildError> + Sync,
) -> Result<Vec<R>, BuildError> {
    let slice = |first: usize, items: &[T]| -> Result<Vec<R>, BuildError> {
        items.iter().enumerate().map(|(offset, item)| read(first + offset, item)).collect()
    };
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    if threads < 2 || items.len() < PARALLEL_FROM {
        return slice(0, items);
    }
    let size = items.len().div_ceil(threads);
    std::thread::scope(|scope| {
        let slice = &slice;
        let chunks = items.chunks(size).enumerate();
        let workers: Vec<_> =
            chunks.map(|(number, chunk)| scope.spawn(move || slice(number * size, chunk))).collect();
        let mut all = Vec::with_capacity(items.len());
        for worker in workers {
            match worker.join() {
                Ok(chunk) => all.append(&mut chunk?),
                Err(panic) => std::panic::resume_unwind(panic),
            }
        }
        Ok(all)
    })
}
