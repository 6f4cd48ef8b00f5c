//! Histories whose hashes all hold and whose entries say anything: what somebody puts into a backup on purpose.

use std::sync::Arc;

use dashwright_engine::start;
use dashwright_log::{Head, Log as _, MAX_KIND_BYTES, MemoryLog, NewEntry};
use serde_json::value::RawValue;

use super::house::ground;

/// Entries of one history: a start reads all of them.
const MOST_ENTRIES: usize = 40;

/// A history, of which every line is the kind of an entry, a space and its payload, is folded or refused with words.
pub(crate) fn hold(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    let entries: Vec<NewEntry> = text.split('\n').take(MOST_ENTRIES).filter_map(entry).collect();
    let log = MemoryLog::new();
    if entries.is_empty() || log.append_all(Head::EMPTY, entries).is_err() {
        return;
    }
    let log = Arc::new(log);
    let directory = tempfile::tempdir().expect("a temporary directory");
    match start(ground(log.clone(), &directory)) {
        Ok((engine, _)) => {
            let head = engine.view().token().to_string();
            drop(engine);
            // What is kept of a history is the same when it is read anew.
            let directory = tempfile::tempdir().expect("a temporary directory");
            let (engine, _) = start(ground(log, &directory)).expect("it was folded before");
            assert_eq!(engine.view().token().to_string(), head);
        }
        Err(error) => assert!(!error.to_string().is_empty()),
    }
}

fn entry(line: &str) -> Option<NewEntry> {
    let (kind, payload) = line.split_once(' ')?;
    let payload = RawValue::from_string(payload.to_owned()).ok()?;
    Some(NewEntry {
        time: "2026-01-31T09:05:00Z".to_owned(),
        actor: "fuzz".to_owned(),
        reason: String::new(),
        request_id: None,
        kind: kind.get(..MAX_KIND_BYTES).unwrap_or(kind).parse().ok()?,
        payload,
    })
}
