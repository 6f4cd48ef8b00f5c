//! What the entries of the log mean: their kinds and payloads.

use std::borrow::Cow;

use dashwright_log::{Digest, Entry, Head};
use dashwright_model::record::RecordKind;
use serde::{Deserialize, Serialize};
use serde_json::value::RawValue;

use crate::outcomes::{OutcomeAcceptance, OutcomeReport};

/// The first entry of every log.
pub const DATASET_INIT: &str = "dataset.init";
/// A dataset was restored from a backup: from here on the history is another one.
pub const DATASET_RESTORE: &str = "dataset.restore";
/// A draft is begun.
pub const DRAFT_CREATE: &str = "draft.create";
/// Records are put into a draft, or marked in it for deletion.
pub const DRAFT_EDIT: &str = "draft.edit";
/// A draft is thrown away.
pub const DRAFT_DISCARD: &str = "draft.discard";
/// What a draft holds becomes the next revision.
pub const REVISION_PUBLISH: &str = "revision.publish";

/// What came of a job is reported; the payload is an [`OutcomeReport`](crate::OutcomeReport).
pub const OUTCOME_REPORT: &str = "outcome.report";
/// A reported outcome does not count. One that does is an edit of a draft.
pub const OUTCOME_REJECT: &str = "outcome.reject";

/// A key is made; the payload is a [`KeyFacts`](crate::KeyFacts).
pub const KEY_CREATE: &str = "key.create";
/// A key is ended.
pub const KEY_REVOKE: &str = "key.revoke";
/// The operator did something that changes nothing but is to be known: took a backup, listed the keys.
pub const OPERATOR_CALL: &str = "operator.call";

/// The number of the format of these payloads; it changes with anything that an older version would misread.
pub const FORMAT: u32 = 1;

/// Payload of [`DATASET_INIT`].
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DatasetInit {
    /// Tells this history from every other, also from a copy of it that was restored.
    pub incarnation: String,
    /// See [`FORMAT`].
    pub format: u32,
}

/// Payload of [`DATASET_RESTORE`].
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DatasetRestore {
    /// The name of the history from here on.
    pub incarnation: String,
    /// See [`FORMAT`].
    pub format: u32,
    /// The last entry of the backup.
    pub backup: Head,
}

/// Payload of [`DRAFT_CREATE`].
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DraftCreate {
    /// The id of the draft.
    pub draft: String,
    /// The revision that the draft starts from.
    pub base_revision: u64,
}

/// Payload of [`DRAFT_EDIT`].
#[derive(Clone, Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DraftEdit {
    /// The id of the draft.
    pub draft: String,
    /// Records, as their lines.
    pub puts: Vec<Box<RawValue>>,
    /// Keys of records, as `part/kit-7`.
    pub deletes: Vec<String>,
    /// Those of the records whose earlier item in this draft the curator had seen, and not what the dataset has become since:
    /// they go on to be compared with the revision that the earlier item was made on.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub keeps: Vec<String>,
    /// The outcome whose acceptance the edit is. Boxed: few edits are.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub accepts: Option<Box<OutcomeAcceptance>>,
    /// The import that this edit is a part of. Boxed: few edits are.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub import: Option<Box<ImportPart>>,
}

/// What the edits of an import have in common: all of them are made, or the draft takes nothing else and is not published.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ImportPart {
    /// The request: its repetition makes what is missing.
    pub request_id: String,
    /// SHA-256 of the file.
    pub content: Digest,
    /// What becomes of records of which there are others already.
    pub on_conflict: OnConflict,
    /// The last revision when the file was compared with the dataset.
    pub seen: u64,
    /// Whether this is the last edit of the import.
    pub last: bool,
}

/// What becomes of a record of a file when there is another one of its key, in the draft or in the dataset.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum OnConflict {
    /// It takes the place of the other.
    Replace,
    /// The other stays.
    Keep,
    /// It is a fault of the file.
    Refuse,
}

impl DraftEdit {
    /// An edit that does nothing yet.
    pub(crate) fn new(draft: &str) -> Self {
        Self {
            draft: draft.to_owned(),
            puts: Vec::new(),
            deletes: Vec::new(),
            keeps: Vec::new(),
            accepts: None,
            import: None,
        }
    }
}

/// Payload of [`DRAFT_DISCARD`].
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DraftDiscard {
    /// The id of the draft.
    pub draft: String,
}

/// Payload of [`KEY_REVOKE`].
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct KeyRevoke {
    /// The id of the key.
    pub key: String,
}

/// Payload of [`OPERATOR_CALL`].
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OperatorCall {
    /// The call, as `Backup`.
    pub call: String,
}

/// Payload of [`REVISION_PUBLISH`].
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RevisionPublish {
    /// The id of the draft.
    pub draft: String,
    /// The number of the revision; one more than that of the revision before.
    pub revision: u64,
    /// The hash of the dataset's content in this revision.
    pub content_hash: Digest,
    /// How many records the draft puts or deletes.
    pub changed: u64,
    /// How many records the dataset holds in this revision.
    pub records: u64,
}

/// Why a payload is not one of its kind.
#[derive(Debug, thiserror::Error)]
#[error("the payload is none of a `{kind}`")]
pub struct PayloadError {
    /// The kind.
    pub kind: String,
    /// What is wrong.
    pub source: serde_json::Error,
}

/// Reads the payload of an entry.
pub(crate) fn payload<'e, T: Deserialize<'e>>(entry: &'e Entry) -> Result<T, PayloadError> {
    let malformed = |source| PayloadError { kind: entry.kind.as_str().to_owned(), source };
    serde_json::from_str(entry.payload.get()).map_err(malformed)
}

/// The draft that an entry is of.
pub(crate) fn draft_of(entry: &Entry) -> Result<Option<String>, PayloadError> {
    Ok(match entry.kind.as_str() {
        DRAFT_CREATE => Some(payload::<DraftCreate>(entry)?.draft),
        DRAFT_EDIT => Some(payload::<DraftEdit>(entry)?.draft),
        DRAFT_DISCARD => Some(payload::<DraftDiscard>(entry)?.draft),
        REVISION_PUBLISH => Some(payload::<RevisionPublish>(entry)?.draft),
        _ => None,
    })
}

/// The keys of the records that an entry puts or deletes, or that a report rests on.
pub(crate) fn records_of(entry: &Entry) -> Result<Vec<String>, PayloadError> {
    match entry.kind.as_str() {
        DRAFT_EDIT => edited_by(entry),
        OUTCOME_REPORT => Ok(payload::<OutcomeReport>(entry)?.rests_on),
        _ => Ok(Vec::new()),
    }
}

fn edited_by(entry: &Entry) -> Result<Vec<String>, PayloadError> {
    let DraftEdit { draft: _, puts, mut deletes, keeps: _, accepts: _, import: _ } = payload(entry)?;
    let malformed = |source| PayloadError { kind: DRAFT_EDIT.to_owned(), source };
    for line in puts {
        deletes.push(key_of_line(line.get()).map_err(malformed)?);
    }
    Ok(deletes)
}

/// The key of a record's line, as `part/kit-7`. Reads no more of the line than that takes: it was checked when it was
/// written, and is checked again when it is compiled.
pub(crate) fn key_of_line(line: &str) -> Result<String, serde_json::Error> {
    let keyed: Keyed<'_> = serde_json::from_str(line)?;
    let (kind, Id { id }) = match keyed {
        Keyed::Vocabulary(id) => (RecordKind::Vocabulary, id),
        Keyed::Dash(id) => (RecordKind::Dash, id),
        Keyed::FactoryAudio(id) => (RecordKind::FactoryAudio, id),
        Keyed::Radio(id) => (RecordKind::Radio, id),
        Keyed::Part(id) => (RecordKind::Part, id),
        Keyed::Vehicle(id) => (RecordKind::Vehicle, id),
        Keyed::GoldenQuestion(id) => (RecordKind::GoldenQuestion, id),
    };
    Ok(format!("{kind}/{id}"))
}

#[derive(Deserialize)]
#[serde(rename_all = "snake_case")]
enum Keyed<'l> {
    #[serde(borrow)]
    Vocabulary(Id<'l>),
    Dash(Id<'l>),
    FactoryAudio(Id<'l>),
    Radio(Id<'l>),
    Part(Id<'l>),
    Vehicle(Id<'l>),
    GoldenQuestion(Id<'l>),
}

#[derive(Deserialize)]
struct Id<'l> {
    #[serde(borrow)]
    id: Cow<'l, str>,
}
