//! Real sockets in one process: that the parts are wired together, and that what a caller can see is as the schema says.

#[cfg(test)]
#[path = "e2e/answers.rs"]
mod answers;
#[cfg(test)]
#[path = "e2e/as_of.rs"]
mod as_of;
#[cfg(test)]
#[path = "e2e/audit.rs"]
mod audit;
#[cfg(test)]
#[path = "e2e/bulk.rs"]
mod bulk;
#[cfg(test)]
#[path = "e2e/callers.rs"]
mod callers;
#[cfg(test)]
#[path = "e2e/carts.rs"]
mod carts;
#[cfg(test)]
#[path = "e2e/checks.rs"]
mod checks;
#[cfg(test)]
#[path = "e2e/curation.rs"]
mod curation;
#[cfg(test)]
#[path = "e2e/drafts.rs"]
mod drafts;
#[cfg(test)]
#[path = "e2e/errors.rs"]
mod errors;
#[cfg(test)]
#[path = "e2e/exchange.rs"]
mod exchange;
#[cfg(test)]
#[path = "e2e/feedback.rs"]
mod feedback;
#[cfg(test)]
#[path = "e2e/feeds.rs"]
mod feeds;
#[cfg(test)]
#[path = "e2e/findings.rs"]
mod findings;
#[cfg(test)]
#[path = "e2e/golden.rs"]
mod golden;
#[cfg(test)]
#[path = "e2e/identify.rs"]
mod identify;
#[cfg(test)]
#[path = "e2e/keys.rs"]
mod keys;
#[cfg(test)]
#[path = "e2e/limits.rs"]
mod limits;
#[cfg(test)]
#[path = "e2e/operations.rs"]
mod operations;
#[cfg(test)]
#[path = "e2e/plans.rs"]
mod plans;
#[cfg(test)]
#[path = "e2e/preview.rs"]
mod preview;
#[cfg(test)]
#[path = "e2e/records.rs"]
mod records;
#[cfg(test)]
#[path = "e2e/reflection.rs"]
mod reflection;
#[cfg(test)]
#[path = "e2e/revert.rs"]
mod revert;
#[cfg(test)]
#[path = "e2e/revisions.rs"]
mod revisions;
#[cfg(test)]
#[path = "e2e/sheets.rs"]
mod sheets;
#[cfg(test)]
#[path = "e2e/tls.rs"]
mod tls;
