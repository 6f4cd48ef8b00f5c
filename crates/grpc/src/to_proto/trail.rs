//! Drafts, revisions, entries of the trail, differences, keys.

use std::sync::Arc;

use dashwright_api::v1;
use dashwright_curation::{FieldDiff, RecordChange, RecordDiff};
use dashwright_engine::keys::{KeyFacts, Role};
use dashwright_engine::{
    Collision, DraftFacts, DraftItem, Engine, ImportPart, ItemState, Published, RevisionFacts,
};
use dashwright_log::StoredEntry;

use super::common::dataset_revision;
use super::record::record_key;
use crate::Refusal;
use crate::auth::KeyUse;

/// An open draft.
pub(crate) fn draft(engine: &Engine, id: &str, facts: &DraftFacts) -> Result<v1::Draft, Refusal> {
    let DraftFacts { number: _, base_revision, owner, time, reason, edits, editors, import, fate: _ } = facts;
    let unfinished = |it: &ImportPart| v1::UnfinishedImport {
        request_id: it.request_id.clone(),
        sha256: it.content.to_string(),
    };
    let view = engine.view();
    let base = if view.revision() == *base_revision {
        // From memory: a change that was made is told also where the store fails at this moment.
        dataset_revision(&view)
    } else {
        let base = engine.revision(*base_revision)?;
        base.map_or_else(|| revision_zero(engine), |facts| revision_name(engine, &facts))
    };
    Ok(v1::Draft {
        draft_id: id.to_owned(),
        base: Some(base),
        owner: owner.clone(),
        created_at: time.clone(),
        reason: reason.clone(),
        edits: *edits,
        etag: facts.etag(id),
        editors: editors.iter().cloned().collect(),
        unfinished_import: import.as_deref().map(unfinished),
    })
}

/// What a draft does to a record, and how that stands to the latest revision; with the fields that differ, if wanted.
pub(crate) fn draft_item(
    item: &DraftItem,
    state: &ItemState,
    change: Option<RecordChange<'_>>,
    with_fields: bool,
) -> Result<v1::DraftItem, Refusal> {
    let DraftItem { record, line, seen: _ } = item;
    let ItemState { etag, collision } = state;
    let json = |line: &Option<Arc<str>>| line.as_deref().unwrap_or_default().to_owned();
    let collision = collision
        .as_ref()
        .map(|Collision { before, now }| v1::Collision { before_json: json(before), now_json: json(now) });
    let kind = change.map_or(v1::DiffKind::Unspecified, diff_kind).into();
    let fields = change.filter(|_| with_fields).map_or_else(|| Ok(Vec::new()), field_diffs)?;
    Ok(v1::DraftItem {
        record: record.clone(),
        json: json(line),
        etag: etag.clone(),
        collision,
        kind,
        fields,
    })
}

/// What a publish has made.
pub(crate) fn published(done: Published) -> v1::PublishDraftResponse {
    let Published { revision, token, content_hash, changed, records, checkpoint, repeated } = done;
    let revision = v1::DatasetRevision {
        token: token.to_string(),
        number: revision,
        content_hash: content_hash.to_string(),
    };
    v1::PublishDraftResponse {
        revision: Some(revision),
        changed_records: changed,
        records,
        checkpoint,
        repeated,
    }
}

/// A revision and how it came to be.
pub(crate) fn revision(engine: &Engine, facts: &RevisionFacts) -> v1::Revision {
    let RevisionFacts {
        revision: _,
        sequence,
        content_hash: _,
        time,
        actor,
        reason,
        draft,
        changed,
        records,
    } = facts;
    v1::Revision {
        revision: Some(revision_name(engine, facts)),
        published_at: time.clone(),
        actor: actor.clone(),
        reason: reason.clone(),
        draft_id: draft.clone(),
        changed_records: *changed,
        records: *records,
        sequence: *sequence,
    }
}

pub(crate) fn revision_name(engine: &Engine, facts: &RevisionFacts) -> v1::DatasetRevision {
    v1::DatasetRevision {
        token: engine.token_of(facts.revision).to_string(),
        number: facts.revision,
        content_hash: facts.content_hash.to_string(),
    }
}

/// The revision before the first, which nobody published: nothing is in it.
pub(crate) fn revision_zero(engine: &Engine) -> v1::DatasetRevision {
    let content_hash = dashwright_log::Digest::of(b"").to_string();
    v1::DatasetRevision { token: engine.token_of(0).to_string(), number: 0, content_hash }
}

/// An entry of the trail.
pub(crate) fn trail_entry(stored: &StoredEntry, revision: Option<u64>, with_payload: bool) -> v1::TrailEntry {
    let entry = &stored.entry;
    v1::TrailEntry {
        sequence: entry.sequence.0,
        time: entry.time.clone(),
        actor: entry.actor.clone(),
        reason: entry.reason.clone(),
        request_id: entry.request_id.clone().unwrap_or_default(),
        kind: entry.kind.to_string(),
        sha256: stored.digest.to_string(),
        payload: if with_payload { entry.payload.get().to_owned() } else { String::new() },
        published_in_revision: revision.unwrap_or(0),
    }
}

/// How a record differs.
pub(crate) fn record_diff(diff: &RecordDiff<'_>) -> Result<v1::RecordDiff, Refusal> {
    Ok(v1::RecordDiff {
        key: Some(record_key(&diff.key)),
        kind: diff_kind(diff.change).into(),
        fields: field_diffs(diff.change)?,
    })
}

fn diff_kind(change: RecordChange<'_>) -> v1::DiffKind {
    match change {
        RecordChange::Added(_) => v1::DiffKind::Added,
        RecordChange::Deleted(_) => v1::DiffKind::Deleted,
        RecordChange::Changed(..) => v1::DiffKind::Changed,
    }
}

fn field_diffs(change: RecordChange<'_>) -> Result<Vec<v1::FieldDiff>, Refusal> {
    let text = |value: Option<serde_json::Value>| value.map(|value| value.to_string()).unwrap_or_default();
    let field = |FieldDiff { path, before, after }: FieldDiff| v1::FieldDiff {
        path,
        before: text(before),
        after: text(after),
    };
    Ok(change.fields().map_err(|_| Refusal::Damaged)?.into_iter().map(field).collect())
}

/// A key, without its text.
pub(crate) fn key(facts: &KeyFacts, live: bool, uses: Option<KeyUse>) -> v1::Key {
    // What proves a key is nobody's business.
    let KeyFacts { id, holder, roles, mac: _, secret_id: _, created, expires, revoked } = facts;
    v1::Key {
        key_id: id.to_string(),
        holder: holder.clone(),
        roles: roles.iter().map(|role| self::role(*role).into()).collect(),
        created_at: created.clone(),
        expires_at: expires.clone().unwrap_or_default(),
        revoked_at: revoked.clone().unwrap_or_default(),
        live,
        uses: uses.as_ref().map_or(0, |uses| uses.count),
        last_used_at: uses
            .map(|uses| humantime::format_rfc3339_seconds(uses.last).to_string())
            .unwrap_or_default(),
    }
}

fn role(role: Role) -> v1::Role {
    match role {
        Role::Reader => v1::Role::Reader,
        Role::Curator => v1::Role::Curator,
        Role::Publisher => v1::Role::Publisher,
        Role::Auditor => v1::Role::Auditor,
        Role::Operator => v1::Role::Operator,
    }
}
