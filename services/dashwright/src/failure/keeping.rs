//! Why drafts, the trail, keys and backups failed on this side of the connection.

use std::io;
use std::path::PathBuf;

use dashwright_engine::WriteError;
use dashwright_log::{
    CheckpointError, Digest, Disagreement, NoteError, OpenError, RestoreError, TrailError, VerifyError,
};

use dashwright_model::exchange::ExchangeError;
use dashwright_model::record::RecordKey;

use crate::dataset::LoadFailure;

use super::Failure;

/// Why something that is kept was not made, not changed, or not believed.
#[derive(Debug, thiserror::Error)]
pub(crate) enum KeepingFailure {
    /// A file can not be written.
    #[error("`{}` can not be written", path.display())]
    Unwritable {
        /// The file.
        path: PathBuf,
        /// What the operating system says.
        source: io::Error,
    },
    /// A file can not be read.
    #[error("`{}` can not be read", path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// What the operating system says.
        source: io::Error,
    },
    /// A file that must not be replaced is there.
    #[error("`{}` is there already, and is not replaced", path.display())]
    Exists {
        /// The file.
        path: PathBuf,
    },
    /// Records for a draft can not be sent.
    #[error(transparent)]
    Edits(LoadFailure),
    /// What was asked for was checked, and is wrong; what was found has said how.
    #[error("{errors} {} found", if *errors == 1 { "error was" } else { "errors were" })]
    ErrorsFound {
        /// How many.
        errors: u64,
    },
    /// What is to be kept as a golden question is none.
    #[error("this is no question that can be kept")]
    Question(#[source] ExchangeError),
    /// An identification number was given.
    #[error("a question that is kept names no vehicle identification number: it tells of a person's car")]
    NumberInQuestion,
    /// A file that was to be imported has faults; they were told.
    #[error("the file has {faults} {}, and nothing was imported", if *faults == 1 { "fault" } else { "faults" })]
    FileFaults {
        /// How many.
        faults: u64,
        /// Whether its name says that it is a table, and nothing else did.
        untold_table: bool,
    },
    /// An import ended before its end.
    #[error("the server ended the import before it was whole")]
    ImportCutShort,
    /// A preview ended before its end.
    #[error("the server ended the preview before it was whole")]
    PreviewCutShort,
    /// Golden questions were asked, and not all answers are the right ones.
    #[error("{wrong} {} otherwise", if *wrong == 1 { "question is answered" } else { "questions are answered" })]
    AnsweredOtherwise {
        /// How many.
        wrong: u64,
    },
    /// One of several requests of an edit failed.
    #[error("the edit stopped after {done} of {total} records")]
    EditStopped {
        /// Records that the draft has taken.
        done: usize,
        /// Records that it was to take.
        total: usize,
        /// Why the next request failed.
        #[source]
        failure: Box<Failure>,
    },
    /// A record is both put and deleted.
    #[error("`{record}` is put and deleted by the same command")]
    PutAndDeleted {
        /// The record.
        record: RecordKey,
    },
    /// A stream without an end has ended.
    #[error("the server ended the stream")]
    StreamEnded,
    /// A stream says nothing any more.
    #[error("the server said nothing for {seconds} s")]
    Silent {
        /// For how long.
        seconds: u64,
    },
    /// A stream ended too early.
    #[error("the server ended the stream after {bytes} bytes, before all was sent")]
    CutShort {
        /// Bytes that came.
        bytes: u64,
    },
    /// An export has another length than is stated.
    #[error("the export has {found} bytes, and the server states {stated}")]
    Length {
        /// As the server states.
        stated: u64,
        /// As received.
        found: u64,
    },
    /// An export has another hash than is stated.
    #[error("the export has the SHA-256 {found}, and {} states `{stated}`", by.words())]
    Content {
        /// Who states it.
        by: StatedBy,
        /// As stated.
        stated: String,
        /// As received.
        found: Digest,
    },
    /// The checkpoint of an export names another revision.
    #[error("the export is of revision {revision}, and its checkpoint names revision {named}")]
    OtherRevision {
        /// The revision of the export.
        revision: u64,
        /// The revision in the checkpoint.
        named: u64,
    },
    /// A checkpoint of the server can not be read.
    #[error("the server's checkpoint can not be read")]
    Checkpoint(#[source] CheckpointError),
    /// A kept checkpoint can not be read.
    #[error("`{}` is no checkpoint", path.display())]
    KeptCheckpoint {
        /// The file.
        path: PathBuf,
        /// Why.
        source: CheckpointError,
    },
    /// A checkpoint is not signed with the key that was named.
    #[error("the checkpoint is not signed as it should be")]
    Signature(#[source] NoteError),
    /// There is no revision of this number.
    #[error("there is no revision {number}, the latest is {latest}")]
    NoRevision {
        /// The number.
        number: u64,
        /// The latest revision.
        latest: u64,
    },
    /// A proof does not prove.
    #[error(transparent)]
    Proof(ProofFault),
    /// A repeated request for a key, whose text is nowhere kept.
    #[error("key `{key_id}` was made before, and its text was told then: it is nowhere kept")]
    KeyTextGone {
        /// The key.
        key_id: String,
    },
    /// A backup is not what a backup is.
    #[error("the backup is not whole, and was not kept")]
    Backup(#[source] TrailError),
    /// A directory can not be verified to its end.
    #[error(transparent)]
    Directory(VerifyError),
    /// A backup is damaged, or is none.
    #[error("`{}` is not a whole backup", path.display())]
    Trail {
        /// The file.
        path: PathBuf,
        /// Where, and what is wrong.
        source: TrailError,
    },
    /// A history is not the one of a checkpoint.
    #[error("`{}` is not what it was", path.display())]
    Disagrees {
        /// The directory or the file.
        path: PathBuf,
        /// How it differs.
        source: Box<Disagreement>,
    },
    /// A file is neither a backup, nor is there a checkpoint for it.
    #[error("`{}` is no backup, and its checkpoint `{}` can not be read", path.display(), beside.display())]
    NoCheckpoint {
        /// The file.
        path: PathBuf,
        /// Where its checkpoint should be.
        beside: PathBuf,
        /// What the operating system says.
        source: io::Error,
    },
    /// An export is not the one of a checkpoint.
    #[error(
        "`{}` has the SHA-256 {found}, and revision {revision} of the checkpoint has {stated}", path.display()
    )]
    OtherExport {
        /// The file.
        path: PathBuf,
        /// As the checkpoint states.
        stated: Digest,
        /// The revision of the checkpoint.
        revision: u64,
        /// As it is.
        found: Digest,
    },
    /// A signature was to be checked, and there is no checkpoint.
    #[error("no checkpoint is kept there, so that there is no signature to check")]
    NothingSigned,
    /// A backup was not restored.
    #[error("`{}` was not restored into `{}`", file.display(), directory.display())]
    Restore {
        /// The backup.
        file: PathBuf,
        /// The data directory.
        directory: PathBuf,
        /// Why.
        source: Box<RestoreError>,
    },
    /// A key was not made in a data directory.
    #[error("the key was not made")]
    Key(#[source] Box<WriteError>),
    /// Nobody says which editor.
    #[error("neither VISUAL nor EDITOR names an editor")]
    NoEditor,
    /// The editor did not end well.
    #[error("`{editor}` ended with {ended}")]
    Editor {
        /// As the environment names it.
        editor: String,
        /// How it ended.
        ended: String,
    },
    /// What was edited is no record, and was left so.
    #[error("nothing was put into the draft: {text}")]
    NotMended {
        /// What is wrong.
        text: String,
    },
    /// A signal came.
    #[error("stopped by a signal; nothing was written")]
    Stopped,
}

/// Who states a hash.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum StatedBy {
    /// The server.
    Server,
    /// A checkpoint.
    Checkpoint,
}

/// Why a proof does not prove what it should.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub(crate) enum ProofFault {
    /// A hash in the answer has another length.
    #[error("the proof is malformed: `{field}` has a hash of {bytes} bytes, not 32")]
    Hash {
        /// The field.
        field: &'static str,
        /// Its length.
        bytes: usize,
    },
    /// The hashes do not lead to the root.
    #[error("the proof is wrong: its hashes do not lead from entry {entry} to the root of {size} entries")]
    NotIncluded {
        /// The entry.
        entry: u64,
        /// The size of the trail.
        size: u64,
    },
    /// The hashes do not lead from one root to the other.
    #[error("the proof is wrong: the trail of {to} entries does not continue that of {from}")]
    NotContinued {
        /// The shorter trail.
        from: u64,
        /// The longer trail.
        to: u64,
    },
    /// The proof is of another size than was asked for.
    #[error("the proof is of {found} entries, and {asked} were asked for")]
    OtherSize {
        /// As asked.
        asked: u64,
        /// As answered.
        found: u64,
    },
    /// The trail is not the one of a kept checkpoint.
    #[error("the trail is another one: at {size} entries its root is {found}, the checkpoint has {kept}")]
    OtherTrail {
        /// The size of the checkpoint.
        size: u64,
        /// The root of the checkpoint.
        kept: Digest,
        /// The root that the server states.
        found: Digest,
    },
}

/// A change that failed, and how it is repeated.
#[derive(Debug)]
pub(crate) struct ChangeFailure {
    /// Why.
    pub(crate) failure: Failure,
    /// The id of the request.
    pub(crate) request_id: uuid::Uuid,
    /// The command that repeats it.
    pub(crate) command: String,
    /// Whether the change reads standard input, which has to be given again.
    pub(crate) reads_input: bool,
}

impl KeepingFailure {
    /// What a script tells failures apart by.
    pub(super) fn code(&self) -> Option<&'static str> {
        match self {
            Self::EditStopped { failure, .. } => Some(failure.code()),
            Self::Content { .. } | Self::Length { .. } | Self::OtherRevision { .. } | Self::Proof(_) => {
                Some("UNPROVEN")
            }
            Self::Signature(_) | Self::NothingSigned => Some("UNPROVEN"),
            Self::Trail { .. } | Self::Disagrees { .. } | Self::OtherExport { .. } => Some("DAMAGED"),
            _ => None,
        }
    }

    pub(super) fn details(&self) -> Vec<String> {
        match self {
            Self::Edits(failure) => failure.details(),
            Self::EditStopped { failure, .. } => {
                let mut details = failure.details();
                details.push(
                    "what the draft has taken stays in it; a record that is put again is replaced".into(),
                );
                details
            }
            _ => Vec::new(),
        }
    }

    pub(super) fn next(&self) -> Option<String> {
        let text = match self {
            Self::Unwritable { .. } => "name a file in a directory that you may write to",
            Self::Unreadable { .. } => "name a file that you may read",
            Self::Exists { .. } => "name another file, or move this one away",
            Self::Edits(LoadFailure::File { .. }) => "name a file that you may read, or - for standard input",
            Self::Edits(_) => "mend the records and edit again; nothing was sent",
            Self::ErrorsFound { .. } => "mend them in a draft: a draft that brings one in is not published",
            Self::AnsweredOtherwise { .. } => {
                "mend the draft, or accept the answers that are right with `dashwright golden accept`"
            }
            Self::NumberInQuestion => "say year, make, model and what else tells the car apart instead",
            Self::FileFaults { untold_table: true, .. } => {
                "it was read as JSON Lines; of a table (CSV) say which records are in it: --table part, or --table vehicle"
            }
            Self::FileFaults { .. } => {
                "mend the file, and import it again; `--on-conflict replace` lets its records take others' places"
            }
            Self::ImportCutShort => "repeat it: what has come is kept",
            Self::PreviewCutShort => "ask again; a preview changes nothing",
            Self::Question(_) => "say it otherwise; nothing was sent",
            Self::PutAndDeleted { .. } => "say one of the two; nothing was sent",
            Self::EditStopped { failure, .. } => return failure.next(),
            Self::Backup(TrailError::Incomplete { .. }) => "the stream broke off: take the backup again",
            Self::Backup(_) => "the server's data may be damaged: `dashwright audit verify DIR` says where",
            Self::Trail { source: TrailError::Incomplete { .. }, .. } => {
                "it is the rest of an interrupted backup: take another"
            }
            Self::Trail { .. } => "use another backup; nothing was changed",
            Self::Disagrees { .. } => {
                "entries were changed or left out since: use a backup that agrees with the checkpoint"
            }
            Self::NoCheckpoint { .. } => "name its checkpoint: --checkpoint FILE",
            Self::OtherExport { .. } => "export it again, or use the checkpoint that belongs to it",
            Self::NoEditor => "say which: EDITOR=nano dashwright draft open …",
            Self::Restore { source, .. } if is_taken(source) => {
                "name a directory that is missing or empty; nothing was changed"
            }
            Self::Restore { .. } => "the directory is no dataset, and may be restored into again",
            Self::NothingSigned => "bring one: --checkpoint FILE",
            Self::CutShort { .. } => "ask again; nothing was written",
            Self::Length { .. } | Self::Content { .. } | Self::OtherRevision { .. } => {
                "do not rely on it; ask again, and tell the operator of the service if it comes again"
            }
            Self::NoRevision { .. } => "see what there is with `dashwright revisions`",
            Self::Proof(ProofFault::OtherTrail { .. }) => {
                "do not rely on this server: entries were changed or left out since the checkpoint was given out, \
                 or it is of another dataset"
            }
            Self::Proof(_) | Self::Signature(_) => "do not rely on this server, and tell its operator",
            Self::KeyTextGone { key_id } => {
                return Some(format!(
                    "revoke it with `dashwright key revoke {key_id} --reason TEXT`, and make another"
                ));
            }
            _ => return None,
        };
        Some(text.to_owned())
    }
}

impl ChangeFailure {
    /// Whether the change may have been made all the same.
    pub(super) fn is_open(&self) -> bool {
        is_open(&self.failure)
    }

    /// What to do next: repeat the change where nobody knows whether it was made, and otherwise what the refusal says.
    pub(super) fn next(&self) -> Option<String> {
        if !self.is_open() {
            return self.failure.next();
        }
        let input = if self.reads_input { ", with the same standard input" } else { "" };
        Some(format!(
            "the change may have been made; repeat it, which makes it once{input}:\n  {}",
            self.command
        ))
    }
}

/// Whether a failure leaves open what the server did.
fn is_open(failure: &Failure) -> bool {
    /// Codes with which a call is refused before it has changed anything.
    const REFUSED: &[&str] = &[
        "INVALID_ARGUMENT",
        "NOT_FOUND",
        "ALREADY_EXISTS",
        "PERMISSION_DENIED",
        "RESOURCE_EXHAUSTED",
        "FAILED_PRECONDITION",
        "ABORTED",
        "OUT_OF_RANGE",
        "UNIMPLEMENTED",
        "UNAUTHENTICATED",
    ];
    match failure {
        Failure::Refused(refusal) => {
            let before = ["OVERLOADED", "DRAINING"].contains(&refusal.reason.as_str());
            // It was made, and what it came to was more than the caller may leave unread.
            let after = refusal.reason == "ANSWERS_UNREAD";
            after || !before && !REFUSED.contains(&refusal.code.as_str())
        }
        Failure::Keeping(KeepingFailure::EditStopped { failure, .. }) => is_open(failure),
        Failure::Keeping(KeepingFailure::Edits(_) | KeepingFailure::KeyTextGone { .. }) => false,
        Failure::Keeping(KeepingFailure::Exists { .. }) => false,
        _ => true,
    }
}

/// Whether something else is in the directory already.
fn is_taken(error: &RestoreError) -> bool {
    matches!(error, RestoreError::Open(OpenError::AlreadyADataset { .. } | OpenError::Occupied { .. }))
}

impl StatedBy {
    fn words(self) -> &'static str {
        match self {
            Self::Server => "the server",
            Self::Checkpoint => "its checkpoint",
        }
    }
}
