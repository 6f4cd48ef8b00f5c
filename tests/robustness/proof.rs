//! What must hold after a restart: everything that was acknowledged is there, once, and nothing by halves.

use std::collections::{BTreeMap, BTreeSet};

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use dashwright_api::v1;
use dashwright_api::v1::get_proof_request::Proof;
use dashwright_api::v1::read_at::At;
use serde_json::Value;
use sha2::{Digest as _, Sha256};

use crate::work::{Asked, Caller, Ledger, NoAnswer, PAIR};

/// Most entries of a page: what the service allows.
const PAGE: u32 = 500;

/// A dataset across restarts, as those who were told of it know it.
#[derive(Debug, Default)]
pub(crate) struct Known {
    /// The entry of each request id.
    entries: BTreeMap<String, u64>,
    /// The hash of each entry: no restart may change one.
    hashes: BTreeMap<u64, String>,
    /// What each revision was when it was acknowledged.
    pub(crate) revisions: BTreeMap<u64, v1::PublishDraftResponse>,
    /// How many acknowledgements were proven.
    pub(crate) proven: usize,
    /// How many requests had no answer, and were asked again.
    pub(crate) settled: usize,
}

impl Known {
    /// Proves what was acknowledged since the last time, and settles what was left open.
    ///
    /// # Panics
    /// When something that was acknowledged is not there, or not as it was told.
    pub(crate) async fn prove(&mut self, caller: &Caller, ledger: Ledger, place: &str) {
        let Ledger { acknowledged, refused, open } = ledger;
        let told = acknowledged.iter().filter_map(|(_, answer)| answer.published.clone());
        let told: Vec<_> = told.collect();
        let acknowledged_revision = told.iter().map(number).max().unwrap_or_default();
        let latest = caller.latest().await.unwrap();
        assert!(latest.number >= acknowledged_revision, "{place}: revision {acknowledged_revision} is lost");
        for (request, answer) in &acknowledged {
            let again = caller.ask(request).await;
            let again = again.unwrap_or_else(|no| panic!("{place}: {request:?} is lost, {no:?}"));
            assert!(again.repeated, "{place}: {request:?} was done again");
            assert_eq!(again.told, answer.told, "{place}: {request:?} is told otherwise");
        }
        self.follow(caller, place).await;
        for (request, _) in &acknowledged {
            assert!(self.entries.contains_key(&request.id), "{place}: no entry of {request:?}");
        }
        for request in &refused {
            assert!(!self.entries.contains_key(&request.id), "{place}: {request:?} was refused and done");
        }
        self.revisions.extend(told.iter().map(|told| (number(told), told.clone())));
        for told in &told {
            prove_checkpoint(caller, &told.checkpoint, place).await;
        }
        // The first and the last are enough for each time; all are proven at the end.
        for told in told.iter().take(1).chain(told.iter().skip(1).next_back()) {
            prove_revision(caller, told, place).await;
        }
        self.proven += acknowledged.len();
        self.settled += open.len();
        for request in open {
            let again = caller.ask(&request).await;
            let outdated = matches!(&again, Err(NoAnswer::Refused(reason)) if reason == "DRAFT_OUTDATED");
            let may_be_outdated = matches!(request.asked, Asked::Publish { .. });
            assert!(again.is_ok() || outdated && may_be_outdated, "{place}: {request:?}: {again:?}");
            if let Ok(answer) = again
                && let Some(published) = answer.published
            {
                self.revisions.insert(number(&published), published);
            }
        }
        self.follow(caller, place).await;
    }

    /// Proves every revision again, and that the trail as a whole is what it was.
    ///
    /// # Panics
    /// When one is not as it was acknowledged.
    pub(crate) async fn prove_all(&mut self, caller: &Caller, place: &str) {
        for told in self.revisions.values() {
            prove_revision(caller, told, place).await;
        }
        self.read_trail(caller, 0, place).await;
    }

    /// Reads the entries that are new.
    async fn follow(&mut self, caller: &Caller, place: &str) {
        let known = self.hashes.last_key_value().map_or(0, |(sequence, _)| *sequence);
        self.read_trail(caller, known, place).await;
    }

    async fn read_trail(&mut self, caller: &Caller, down_to: u64, place: &str) {
        let mut page_token = String::new();
        let mut below = None;
        'pages: loop {
            let ask = v1::ListEntriesRequest {
                latest_first: true,
                page_size: PAGE,
                page_token,
                ..v1::ListEntriesRequest::default()
            };
            let page = caller.audit().list_entries(ask).await.unwrap().into_inner();
            for entry in page.entries {
                let v1::TrailEntry { sequence, request_id, sha256, .. } = entry;
                assert!(below.is_none_or(|below| sequence + 1 == below), "{place}: a gap at {sequence}");
                below = Some(sequence);
                let known = self.hashes.entry(sequence).or_insert_with(|| sha256.clone());
                assert_eq!(*known, sha256, "{place}: entry {sequence} is another one now");
                if !request_id.is_empty() {
                    let first = *self.entries.entry(request_id.clone()).or_insert(sequence);
                    assert_eq!(first, sequence, "{place}: request {request_id} was done twice");
                }
                if sequence <= down_to.max(1) {
                    break 'pages;
                }
            }
            page_token = page.next_page_token;
            assert!(!page_token.is_empty(), "{place}: the trail ends at {below:?}");
        }
    }
}

fn number(told: &v1::PublishDraftResponse) -> u64 {
    told.revision.as_ref().map_or(0, |revision| revision.number)
}

/// The root of a note: base64 on its third line, after origin and size (C2SP tlog-checkpoint).
async fn prove_checkpoint(caller: &Caller, note: &str, place: &str) {
    let lines: Vec<_> = note.lines().collect();
    let from_size: u64 = lines[1].parse().unwrap();
    let proof = Some(Proof::Consistency(v1::ConsistencyProofRequest { from_size, to_size: 0 }));
    let proof = caller.audit().get_proof(v1::GetProofRequest { proof }).await.unwrap().into_inner();
    assert_eq!(
        STANDARD.encode(proof.from_root),
        lines[2],
        "{place}: the trail of {from_size} is another one"
    );
}

/// The records as of a revision are those that were published, and every pair is whole.
async fn prove_revision(caller: &Caller, told: &v1::PublishDraftResponse, place: &str) {
    let revision = told.revision.clone().unwrap();
    let text = String::from_utf8(exported(caller, &revision, place).await).unwrap();
    let mut names: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    let mut sides: BTreeMap<String, usize> = BTreeMap::new();
    for line in text.lines() {
        let record: Value = serde_json::from_str(line).unwrap();
        let term = &record["vocabulary"];
        let Some((client, side)) = term["id"].as_str().and_then(|id| id.rsplit_once('-')) else { continue };
        if PAIR.contains(&side) {
            names.entry(client.to_owned()).or_default().insert(term["name"].as_str().unwrap().to_owned());
            *sides.entry(client.to_owned()).or_default() += 1;
        }
    }
    assert_eq!(text.lines().count() as u64, told.records, "{place}: revision {}", revision.number);
    let whole = names.values().all(|names| names.len() == 1) && sides.values().all(|sides| *sides == 2);
    assert!(whole, "{place}: revision {} holds half an edit: {text}", revision.number);
}

/// Reads of the latest revision go on from memory, whatever has failed below: its records a page at a time, and all of them.
pub(crate) async fn reads_go_on(caller: &Caller, place: &str) -> v1::DatasetRevision {
    let latest = caller.latest().await.unwrap_or_else(|status| panic!("{place}: {status}"));
    let list = v1::ListRecordsRequest { kind: v1::RecordKind::Vocabulary.into(), ..Default::default() };
    let listed = caller.catalogue().list_records(list).await.unwrap_or_else(|s| panic!("{place}: {s}"));
    assert_eq!(listed.into_inner().revision, Some(latest.clone()), "{place}");
    exported(caller, &latest, place).await;
    latest
}

/// Every record of a revision, whose hash is the one that was told.
async fn exported(caller: &Caller, revision: &v1::DatasetRevision, place: &str) -> Vec<u8> {
    let bytes = export(caller, &revision.token).await;
    assert_eq!(
        hex(&Sha256::digest(&bytes)),
        revision.content_hash,
        "{place}: revision {} has changed",
        revision.number
    );
    bytes
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// Every record as of a revision.
pub(crate) async fn export(caller: &Caller, token: &str) -> Vec<u8> {
    let read_at = Some(v1::ReadAt { at: Some(At::Exactly(token.to_owned())) });
    let request = v1::ExportRecordsRequest { read_at, ..Default::default() };
    let mut pieces = caller.curation().export_records(request).await.unwrap().into_inner();
    let mut bytes = Vec::new();
    while let Some(piece) = pieces.message().await.unwrap() {
        bytes.extend(piece.chunk);
    }
    bytes
}
