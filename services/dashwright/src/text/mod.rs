//! Readable answers: plain, well ordered, numbers with units, at most as wide as the page.

mod audit;
mod bulk;
mod cart;
#[cfg(test)]
mod cart_tests;
mod checks;
mod curation;
mod exchange;
mod explain;
mod facets;
mod feed;
mod findings;
mod fitment;
mod frame;
mod golden_answers;
#[cfg(test)]
mod keeping_tests;
mod keys;
mod lists;
mod outcomes;
#[cfg(test)]
mod outcomes_tests;
mod page;
mod pieces;
mod plan;
#[cfg(test)]
mod plan_tests;
mod preview;
mod reverse;
mod terms;
#[cfg(test)]
mod tests;
mod work;

use dashwright_api::v1;

pub(crate) use audit::{Proven, checkpoint, diff, entries, proof, revisions, verified, watched};
pub(crate) use bulk::bulk_edited;
pub(crate) use cart::cart;
pub(crate) use curation::{
    draft, draft_begun, draft_discarded, draft_edited, draft_reverting, drafts, exported, published,
    would_be_published,
};
pub(crate) use exchange::imported;
pub(crate) use explain::{Records, records_of};
pub(crate) use feed::{FEED_CAUTIONS, feed, lacks};
pub(crate) use findings::{draft_findings, draft_holes, findings, holes};
pub(crate) use fitment::fitment;
pub(crate) use golden_answers::{draft_golden_answers, golden_added, golden_answers};
pub(crate) use keys::{backed_up, key_made, key_revoked, keys, restored};
pub(crate) use lists::{choices, hits, indented, info, record, records};
pub(crate) use outcomes::{outcome_reported, outcome_resolved, outcomes};
pub(crate) use plan::{Shown, plan};
pub(crate) use preview::preview;
pub(crate) use reverse::{radios, vehicles_for_part, vehicles_for_radio};

/// What can be tried after the demo's answer.
pub(crate) fn invitation(program: &str, server: &str) -> String {
    let address = server.trim_start_matches("http://");
    let commands = [
        "plan 2013 orvane tamsel hatchback --audio A8 --radio sonquill-rowan-2 --full",
        "plan 2013 orvane tamsel hatchback --audio A8 --radio sonquill-rowan-2 --explain",
        "cart 2013 orvane tamsel hatchback --audio B6 --radio sonquill-rowan-2 --item hwk-210 --item qm-7.214:2",
        "radios 2013 orvane tamsel hatchback",
        "choices --year 2018 --make orvane",
    ];
    let commands = commands.map(|command| format!("\n  {program} {command} --server {server}"));
    format!(
        "\nThe invented catalogue is served at {server} until Ctrl-C. To go on, in another window:\n{}\
         \n  grpcurl -plaintext {address} list          (any gRPC client that knows reflection)\n",
        commands.concat()
    )
}

/// The revision that an answer was made from.
fn what_was_read(revision: Option<&v1::DatasetRevision>) -> String {
    let Some(v1::DatasetRevision { token, number, content_hash: _ }) = revision else {
        return "a revision that the server does not name".to_owned();
    };
    format!("revision {number}, token {token}")
}
