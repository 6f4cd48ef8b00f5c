//! The one writer and the current view: folds the log into state and publishes immutable views.
//!
//! Everything that happens is one entry of the log; all state is the fold of the log. The [`Engine`] has a thread that
//! alone appends, and a [`View`] of the last published revision that any thread takes without a lock.
//!
//! ```text
//! load ─▶ check ─▶ compile ─▶ log: draft.create, draft.edit …, revision.publish ─▶ store ─▶ view swapped
//! ```
//!
//! A publish is one small entry that names a draft, so that a dataset of any size goes live at one instant or not at all.
//! To start, open the store, then the log from the store's applied head on, and hand both to [`start`]; a store that
//! is behind is brought forward, and one that is doubtful is filled anew from the log.

mod bulk;
mod collide;
mod content;
mod drafts;
mod edit;
mod engine;
mod entry;
mod examine;
mod figures;
mod fold;
mod import;
mod inbox;
pub mod keys;
mod layout;
mod load;
mod outcomes;
mod revert;
mod shared;
mod start;
mod state;
mod surroundings;
#[cfg(test)]
mod tests;
mod token;
mod trail;
mod view;
mod writer;

pub use bulk::{BulkEditError, BulkEdited, DraftWork};
pub use collide::{Collision, ItemState};
pub use drafts::{Conditions, DraftItem};
pub use edit::{Delete, EtagMismatch, Expected, Put, etag};
pub use engine::Engine;
pub use entry::{
    DATASET_INIT, DATASET_RESTORE, DRAFT_CREATE, DRAFT_DISCARD, DRAFT_EDIT, DatasetInit, DatasetRestore,
    DraftCreate, DraftDiscard, DraftEdit, FORMAT, ImportPart, KEY_CREATE, KEY_REVOKE, KeyRevoke,
    OPERATOR_CALL, OUTCOME_REJECT, OUTCOME_REPORT, OnConflict, OperatorCall, PayloadError, REVISION_PUBLISH,
    RevisionPublish,
};
pub use examine::{DraftExamined, DraftPreview, Examined};
pub use figures::Figures;
pub use fold::{FoldError, SETTLED_PER_ENTRY};
pub use import::{
    Import, ImportCounts, ImportError, ImportProgress, Imported, MAX_IMPORT_FAULTS, MAX_IMPORT_RECORDS, Rows,
};
pub use inbox::{
    Announced, CHUNK_PATIENCE, Chunk, IMPORT_KEPT, Inbox, MAX_IMPORT_BYTES, MAX_KEPT_IMPORTS, ReceiveError,
    Receiving,
};
pub use layout::LayoutError;
pub use load::{EDIT_BYTES, EDIT_RECORDS, LoadError, MAX_REPORTED};
pub use outcomes::{
    Acceptance, Accepted, AcceptedIn, MAX_ACCEPTED_IN_DRAFT, MAX_OPEN_OUTCOMES, OUTCOMES_LOOKED_AT,
    OutcomeAcceptance, OutcomeError, OutcomeFacts, OutcomeFilter, OutcomePlace, OutcomeReject, OutcomeReport,
    OutcomeState, OutcomesListed, Rejected, Reported, Resolution, WrongRecord,
};
pub use revert::{Revert, RevertError};
pub use start::{Ground, InitError, RebuildCause, StartError, StartReport, initialise, restored, start};
pub use state::{DraftFacts, Fate, RevisionFacts, StateError};
pub use surroundings::{Origin, Surroundings};
pub use token::{RevisionToken, TokenError};
pub use trail::{Filter, Listed, Proof, TrailError};
pub use view::{AS_OF_KEPT, Freshness, View, ViewError};
pub use writer::{Drafted, MadeKey, NewKey, Published, QUEUED_COMMANDS, WriteError, Writes};
