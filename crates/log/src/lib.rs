//! The append-only log: entry bytes, hash chain, the port, and its file and memory implementations.
//!
//! Everything that ever happens to a dataset is one [`Entry`] in one log; all state is the fold of the log. The log
//! itself knows the order, the authorship and the integrity of entries and nothing of what their payloads mean.
//!
//! ```text
//! {"sha256":"<64 hex digits>","entry":{"sequence":1,"previous":"<64 hex digits>","time":…,"payload":…}}
//! ```
//!
//! The hash covers the exact bytes of the inner object, which stand at fixed offsets in the line, so that a line is
//! verified before anything decodes it. `previous` is the hash of the entry before, zero for the first.

mod checkpoint;
mod checkpoints;
mod digest;
mod entry;
mod file;
mod memory;
mod merkle;
mod note;
mod port;
mod signal;
mod trail;
mod verify;

#[cfg(any(test, feature = "testing"))]
pub mod conformance;

pub use checkpoint::{Checkpoint, CheckpointError, MAX_INCARNATION_BYTES, Note, Origin, OriginError};
pub use checkpoints::{
    CheckpointDamage, CheckpointFault, Checkpoints, KeepError, Kept, KeptList, MemoryCheckpoints,
};
pub use digest::{Digest, DigestError};
pub use entry::{
    Entry, EntryError, Kind, KindError, LineFault, MAX_ACTOR_BYTES, MAX_ENTRY_BYTES, MAX_KIND_BYTES,
    MAX_LINE_BYTES, MAX_REASON_BYTES, MAX_REQUEST_ID_BYTES, NewEntry, StoredEntry,
};
pub use file::{
    CHECKPOINTS_FILE, CheckpointsReport, FORMAT, FileCheckpoints, FileLog, FileOptions, OpenError,
    OpenReport, Opened, OpenedCheckpoints, RESERVE_BYTES, RestoreError, Restored, SEGMENT_BYTES, Tail,
    read_checkpoints,
};
pub use memory::MemoryLog;
pub use merkle::{Frontier, Tree, leaf_hash, verify_consistency, verify_inclusion};
pub use note::{
    KeyError, MAX_NOTE_BYTES, MAX_SIGNATURES, NoteError, PublicKey, Signature, SignedText, Signer,
};
pub use port::{
    AppendError, Damage, Head, IoFault, Log, MAX_BATCH_BYTES, MAX_READ_BYTES, Operation, ReadError, Sequence,
};
pub use trail::{
    ManifestFault, TRAIL_FORMAT, TrailError, TrailHeader, TrailReport, TrailWriteError, TrailWriter,
    read_trail,
};
pub use verify::{DirectoryReport, Disagreement, VerifyError, Witnessed, verify_directory, verify_trail};
