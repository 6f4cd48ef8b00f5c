//! From answers to messages: free functions named by the noun. Text for a person is made here and nowhere below.

mod bulk;
mod cart;
mod caution;
mod check;
mod common;
mod exchange;
mod feed;
mod findings;
mod fitment;
mod outcome;
mod plan;
mod preview;
mod reason;
mod record;
mod sheet;
mod step;
mod terms;
mod trail;
mod vehicle;
mod wiring;

pub(crate) use bulk::bulk_edited;
pub(crate) use cart::{cart, radio_for_vehicle, vehicle_for_part, vehicle_for_radio};
pub(crate) use common::{dataset_revision, weakest_evidence, writes};
pub(crate) use exchange::{import_end, import_progress};
pub(crate) use feed::sized_feed;
pub(crate) use findings::{findings, golden_answer, hole};
pub(crate) use fitment::FitmentText;
pub(crate) use fitment::{question_text, shared_answer};
pub(crate) use outcome::{job_counts, job_outcome};
pub(crate) use plan::plan;
pub(crate) use preview::{plan_change_group, preview_end};
pub(crate) use record::record;
pub(crate) use sheet::picture;
pub(crate) use terms::{attribute, record_kind};
pub(crate) use trail::{draft, draft_item, key, published, record_diff, revision, trail_entry};
pub(crate) use vehicle::{candidate, choice, matches, vin_concerns};
