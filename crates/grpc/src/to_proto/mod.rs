//! From answers to messages: free functions named by the noun. Text for a person is made here and nowhere below.

mod caution;
mod common;
mod fitment;
mod reason;
mod record;
mod terms;
mod vehicle;

pub(crate) use common::{dataset_revision, weakest_evidence};
pub(crate) use fitment::{question_text, shared_answer};
pub(crate) use record::record;
pub(crate) use terms::{attribute, record_kind};
pub(crate) use vehicle::{candidate, choice, matches, vin_concerns};
