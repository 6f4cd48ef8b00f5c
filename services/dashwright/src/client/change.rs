//! Changes: each has an id, so that one whose answer was lost is repeated without being made twice.

use std::ffi::OsString;

use dashwright_api::v1;
use uuid::Uuid;

use crate::args::Changing;
use crate::failure::{ChangeFailure, Failure};

/// The argument that repeats a change.
const REQUEST_ID: &str = "--request-id";

/// A change that is being made.
pub(super) struct Change {
    id: Uuid,
    reason: String,
    reads_input: bool,
}

impl Change {
    /// The change of a command.
    pub(super) fn of(changing: Changing) -> Self {
        let id = changing.request_id.unwrap_or_else(Uuid::now_v7);
        Self { id, reason: changing.reason, reads_input: false }
    }

    /// The same, where the command reads standard input.
    pub(super) fn reading_input(self, reads_input: bool) -> Self {
        Self { reads_input, ..self }
    }

    /// The change as the service takes it.
    pub(super) fn message(&self) -> Option<v1::Change> {
        Some(self.part(0))
    }

    /// The reason, and the id of the request.
    pub(super) fn parts(&self) -> (&str, String) {
        (&self.reason, self.id.to_string())
    }

    /// One of the requests that a large change is made by. A repetition of the command has the same ids for the same
    /// parts.
    pub(super) fn part(&self, number: usize) -> v1::Change {
        let id = Uuid::from_u128(self.id.as_u128().wrapping_add(number as u128));
        v1::Change { request_id: id.to_string(), reason: self.reason.clone() }
    }

    /// The outcome, and in a failure how the change is repeated.
    pub(super) fn outcome<T>(&self, outcome: Result<T, Failure>) -> Result<T, Failure> {
        outcome.map_err(|failure| {
            Failure::Change(Box::new(ChangeFailure {
                failure,
                request_id: self.id,
                command: repeating(std::env::args_os(), self.id),
                reads_input: self.reads_input,
            }))
        })
    }
}

/// The command that repeats a change: as it was typed, with the id.
fn repeating(arguments: impl Iterator<Item = OsString>, id: Uuid) -> String {
    let mut words: Vec<_> = arguments.map(|argument| argument.to_string_lossy().into_owned()).collect();
    let named = |word: &String| word == REQUEST_ID || word.starts_with("--request-id=");
    if !words.iter().any(named) {
        words.extend([REQUEST_ID.to_owned(), id.to_string()]);
    }
    words.iter().map(|word| quoted(word)).collect::<Vec<_>>().join(" ")
}

/// A word as a POSIX shell takes it.
fn quoted(word: &str) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || "-_./:=@%+,".contains(c);
    if !word.is_empty() && word.chars().all(plain) {
        return word.to_owned();
    }
    format!("'{}'", word.replace('\'', r"'\''"))
}

#[cfg(test)]
#[path = "change_tests.rs"]
mod tests;
