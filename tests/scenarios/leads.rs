//! Leads and settings as lines that a scenario can name.

use dashwright_planner::{ColourTrap, Fetch, Join, Loose, Mismatch};

pub(super) fn join(_: &Join) -> String {
    String::new()
}

pub(super) fn loose(_: &Loose) -> String {
    String::new()
}

pub(super) fn fetched(fetch: &Fetch) -> String {
    format!("{}: at {}", fetch.function, fetch.found_at.as_ref().map(ToString::to_string).unwrap_or_default())
}

pub(super) fn trap(_: &ColourTrap) -> String {
    String::new()
}

pub(super) fn refused(mismatch: &Mismatch) -> String {
    format!("{mismatch:?}")
}

pub(super) fn settings<S>(_: &str, _: &[S]) -> Vec<String> {
    Vec::new()
}
