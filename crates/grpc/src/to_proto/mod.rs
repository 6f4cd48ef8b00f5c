//! From answers to messages: free functions named by the noun. Text for a person is made here and nowhere below.

mod cart;
mod caution;
mod common;
mod fitment;
mod plan;
mod reason;
mod record;
mod step;
mod terms;
mod vehicle;
mod wiring;

pub(crate) use cart::{cart, radio_for_vehicle};
pub(crate) use common::{dataset_revision, weakest_evidence};
pub(crate) use fitment::FitmentText;
pub(crate) use fitment::{question_text, shared_answer};
pub(crate) use plan::{plan, total};
pub(crate) use record::record;
pub(crate) use terms::{attribute, need, record_kind, verdict};
pub(crate) use vehicle::{candidate, choice, line_with_option, matches, vin_concerns};
