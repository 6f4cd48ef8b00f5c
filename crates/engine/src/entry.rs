//! What the entries of the log mean: their kinds and payloads.

use std::borrow::Cow;

use dashwright_log::{Digest, Entry};
use dashwright_model::record::RecordKind;
use serde::{Deserialize, Serialize};
use serde_json::value::RawValue;

/// The first entry of every log.
pub const DATASET_INIT: &str = "dataset.init";
/// A draft is begun.
pub const DRAFT_CREATE: &str = "draft.create";
/// Records are put into a draft, or marked in it for deletion.
pub const DRAFT_EDIT: &str = "draft.edit";
/// What a draft holds becomes the next revision.
pub const REVISION_PUBLISH: &str = "revision.publish";

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
}

#[derive(Deserialize)]
struct Id<'l> {
    #[serde(borrow)]
    id: Cow<'l, str>,
}
