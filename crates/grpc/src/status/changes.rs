//! Refused changes and failed reads of the trail: code, reason, metadata.

use dashwright_api::v1::ErrorReason;
use dashwright_curation::BulkError;
use dashwright_engine::{
    BulkEditError, CHUNK_PATIENCE, EDIT_BYTES, EDIT_RECORDS, EtagMismatch, ImportError, LoadError,
    MAX_ACCEPTED_IN_DRAFT, MAX_KEPT_IMPORTS, MAX_OPEN_OUTCOMES, OutcomeError, ReceiveError, RevertError,
    TrailError, WriteError, Writes,
};
use dashwright_log::AppendError;
use dashwright_model::exchange::ExchangeError;
use dashwright_model::record::RecordKey;
use tonic::Code;

use super::Told;

/// A change that was not made.
pub(super) fn told_write(error: &WriteError) -> Told {
    let damaged = (Code::DataLoss, ErrorReason::DataDamaged, Vec::new());
    match error {
        WriteError::Stopped { writes } => told_stopped(*writes),
        WriteError::Log(error) => told_append(error),
        WriteError::RequestReused { request_id: _, kind, of } => (
            Code::AlreadyExists,
            ErrorReason::RequestIdReused,
            vec![("kind", kind.clone()), ("of", of.clone())],
        ),
        WriteError::Outdated { base, current } => (
            Code::Aborted,
            ErrorReason::DraftOutdated,
            vec![("base", base.to_string()), ("latest", current.to_string())],
        ),
        WriteError::Etags { first, total } => told_etags(first, *total),
        WriteError::Collides { draft, first, total } => {
            let (draft, total) = (draft.clone(), total.to_string());
            let metadata = vec![("draft", draft), ("total", total), ("first", first.join(", "))];
            (Code::Aborted, ErrorReason::DraftCollides, metadata)
        }
        WriteError::OwnEdits { draft } => {
            (Code::PermissionDenied, ErrorReason::OwnEdits, vec![("draft", draft.clone())])
        }
        WriteError::DraftMoved { draft } => {
            (Code::Aborted, ErrorReason::DraftMoved, vec![("draft", draft.clone())])
        }
        WriteError::NoOpenDraft { draft } => {
            (Code::NotFound, ErrorReason::DraftNotOpen, vec![("draft", draft.clone())])
        }
        WriteError::ImportUnfinished { draft, request_id } => (
            Code::FailedPrecondition,
            ErrorReason::ImportUnfinished,
            vec![("draft", draft.clone()), ("import_request_id", request_id.clone())],
        ),
        WriteError::EmptyDraft { draft } => {
            (Code::FailedPrecondition, ErrorReason::DraftEmpty, vec![("draft", draft.clone())])
        }
        WriteError::NoRecord { record } => {
            let (kind, id) = record.split_once('/').unwrap_or(("", record));
            let metadata = vec![("kind", kind.to_owned()), ("id", id.to_owned())];
            (Code::NotFound, ErrorReason::RecordNotFound, metadata)
        }
        WriteError::LargeEdit { .. } => (
            Code::ResourceExhausted,
            ErrorReason::EditTooLarge,
            vec![("most_records", EDIT_RECORDS.to_string()), ("most_bytes", EDIT_BYTES.to_string())],
        ),
        WriteError::TooManyLive(error) => {
            let live: Vec<&str> = error.live.iter().map(|id| id.as_str()).collect();
            let metadata = vec![("holder", error.holder.clone()), ("live", live.join(", "))];
            (Code::FailedPrecondition, ErrorReason::TooManyKeys, metadata)
        }
        WriteError::Outcome(error) => told_outcome(error),
        WriteError::FirstKey => (Code::FailedPrecondition, ErrorReason::FirstKeyNotOperator, Vec::new()),
        WriteError::NoKey { key } => (Code::NotFound, ErrorReason::KeyNotFound, vec![("key", key.clone())]),
        WriteError::ExpiryOver { .. } | WriteError::Time { .. } => {
            (Code::InvalidArgument, ErrorReason::FieldsInvalid, Vec::new())
        }
        WriteError::Ended => (Code::Unavailable, ErrorReason::Draining, Vec::new()),
        WriteError::Store(_) | WriteError::Layout(_) => damaged,
        // None of these comes of what a caller says.
        WriteError::DraftExists { .. }
        | WriteError::NoRandomness
        | WriteError::NotJson(_)
        | WriteError::Id(_)
        | WriteError::Kind(_) => (Code::Internal, ErrorReason::Internal, vec![("request_id", String::new())]),
    }
}

fn told_etags(first: &[EtagMismatch], total: usize) -> Told {
    let pair = |it: &EtagMismatch| format!("{}={}", it.record, it.current.as_deref().unwrap_or_default());
    let first = first.iter().map(pair).collect::<Vec<_>>().join(", ");
    (Code::Aborted, ErrorReason::EtagMismatch, vec![("total", total.to_string()), ("first", first)])
}

fn told_outcome(error: &OutcomeError) -> Told {
    let of = |outcome: &u64| vec![("outcome", outcome.to_string())];
    match error {
        OutcomeError::NotFound { outcome } => (Code::NotFound, ErrorReason::OutcomeNotFound, of(outcome)),
        OutcomeError::Resolved { outcome, state } => {
            let metadata = vec![("outcome", outcome.to_string()), ("state", state.name().to_owned())];
            (Code::FailedPrecondition, ErrorReason::OutcomeResolved, metadata)
        }
        OutcomeError::CountsNothing { outcome } => {
            (Code::FailedPrecondition, ErrorReason::OutcomeCountsNothing, of(outcome))
        }
        OutcomeError::QueueFull => {
            let most = vec![("most", MAX_OPEN_OUTCOMES.to_string())];
            (Code::ResourceExhausted, ErrorReason::OutcomeQueueFull, most)
        }
        OutcomeError::DraftTakesNoMore { draft } => {
            let metadata = vec![("draft", draft.clone()), ("most", MAX_ACCEPTED_IN_DRAFT.to_string())];
            (Code::ResourceExhausted, ErrorReason::DraftTakesNoMore, metadata)
        }
    }
}

fn told_stopped(writes: Writes) -> Told {
    let by = match writes {
        Writes::Taken => "",
        Writes::StoppedByLog => "log",
        Writes::StoppedByStore => "store",
        Writes::StoppedByCheckpoints => "checkpoints",
    };
    (Code::FailedPrecondition, ErrorReason::WritesStopped, vec![("by", by.to_owned())])
}

fn told_append(error: &AppendError) -> Told {
    match error {
        AppendError::NoSpace { free, needed } => (
            Code::ResourceExhausted,
            ErrorReason::DiskFull,
            vec![("free_bytes", free.to_string()), ("needed_bytes", needed.to_string())],
        ),
        AppendError::TooLarge { bytes: _, limit } => {
            (Code::ResourceExhausted, ErrorReason::MessageTooLarge, vec![("most_bytes", limit.to_string())])
        }
        AppendError::Invalid { .. } => (Code::InvalidArgument, ErrorReason::FieldsInvalid, Vec::new()),
        _ => told_stopped(Writes::StoppedByLog),
    }
}

/// A draft that was not published.
pub(super) fn told_publish(error: &LoadError<ExchangeError>) -> Told {
    let contradict = |total: usize, first: String| {
        let metadata = vec![("total", total.to_string()), ("first", first)];
        (Code::FailedPrecondition, ErrorReason::RecordsContradict, metadata)
    };
    match error {
        LoadError::Write(error) => told_write(error),
        LoadError::Contradictions { first, total } => {
            contradict(*total, first.first().map(ToString::to_string).unwrap_or_default())
        }
        LoadError::Build(error) => contradict(1, error.to_string()),
        LoadError::Unreadable { .. }
        | LoadError::Id(_)
        | LoadError::Key(_)
        | LoadError::NotJson(_)
        | LoadError::Current(_) => (Code::DataLoss, ErrorReason::DataDamaged, Vec::new()),
    }
}

/// A bulk edit that was not made.
pub(super) fn told_bulk_edit(error: &BulkEditError) -> Told {
    match error {
        BulkEditError::Write(error) => told_write(error),
        BulkEditError::Bulk(error) => told_bulk(error),
        BulkEditError::Records(error) => told_publish(error),
        BulkEditError::NotJson(_) | BulkEditError::Key(_) => {
            (Code::DataLoss, ErrorReason::DataDamaged, Vec::new())
        }
    }
}

fn told_bulk(error: &BulkError) -> Told {
    let of = |record: &RecordKey| vec![("record", record.to_string())];
    match error {
        BulkError::NoRecord(record) => (
            Code::NotFound,
            ErrorReason::RecordNotFound,
            vec![("kind", record.kind.to_string()), ("id", record.id.to_string())],
        ),
        BulkError::Exists(record) => (Code::AlreadyExists, ErrorReason::RecordExists, of(record)),
        BulkError::NothingToDo(record) => {
            (Code::FailedPrecondition, ErrorReason::NothingToChange, of(record))
        }
        BulkError::NoName(record)
        | BulkError::NotWithin(record)
        | BulkError::NoAnswer(record, _)
        | BulkError::NotToBeHad(record)
        | BulkError::Contradicts { record, faults: _ } => {
            (Code::FailedPrecondition, ErrorReason::EditContradicts, of(record))
        }
        BulkError::StillNamed { record, first, total } => {
            let pair = |(other, path): &(RecordKey, String)| format!("{other} {path}");
            let first = first.iter().map(pair).collect::<Vec<_>>().join(", ");
            let metadata =
                vec![("record", record.to_string()), ("total", total.to_string()), ("first", first)];
            (Code::FailedPrecondition, ErrorReason::StillNamed, metadata)
        }
        BulkError::Unreadable(_) | BulkError::Id(_) => (Code::DataLoss, ErrorReason::DataDamaged, Vec::new()),
    }
}

/// A file that was not imported.
pub(super) fn told_import(error: &ImportError) -> Told {
    match error {
        ImportError::Write(error) => told_write(error),
        ImportError::Read(error) => told_io(error),
    }
}

fn told_io(error: &std::io::Error) -> Told {
    tracing::error!(%error, "a file that is being imported can not be kept or read");
    (Code::Internal, ErrorReason::Internal, vec![("request_id", String::new())])
}

/// A file that was not received.
pub(super) fn told_receive(error: &ReceiveError) -> Told {
    let invalid = |reason, metadata| (Code::InvalidArgument, reason, metadata);
    match error {
        ReceiveError::Busy => (Code::Aborted, ErrorReason::ImportBusy, Vec::new()),
        ReceiveError::Full => {
            (Code::ResourceExhausted, ErrorReason::ImportsFull, vec![("most", MAX_KEPT_IMPORTS.to_string())])
        }
        ReceiveError::NoSpace { free, needed } => (
            Code::ResourceExhausted,
            ErrorReason::DiskFull,
            vec![("free_bytes", free.to_string()), ("needed_bytes", needed.to_string())],
        ),
        ReceiveError::OutOfPlace { sequence, offset, bytes } => invalid(
            ErrorReason::ChunkOutOfPlace,
            vec![
                ("sequence", sequence.to_string()),
                ("offset", offset.to_string()),
                ("bytes", bytes.to_string()),
            ],
        ),
        ReceiveError::AlteredChunk { offset } => {
            invalid(ErrorReason::ChunkAltered, vec![("offset", offset.to_string())])
        }
        ReceiveError::AlteredFile => invalid(ErrorReason::ChunkAltered, Vec::new()),
        ReceiveError::Incomplete { received, bytes } => invalid(
            ErrorReason::ImportIncomplete,
            vec![("received", received.to_string()), ("bytes", bytes.to_string())],
        ),
        ReceiveError::Silent => (
            Code::DeadlineExceeded,
            ErrorReason::Deadline,
            vec![("most_milliseconds", CHUNK_PATIENCE.as_millis().to_string())],
        ),
        ReceiveError::Io(error) => told_io(error),
    }
}

/// A draft that does not go back.
pub(super) fn told_revert(error: &RevertError) -> Told {
    match error {
        RevertError::Write(error) => told_write(error),
        RevertError::NothingToDo => (Code::FailedPrecondition, ErrorReason::NothingToRevert, Vec::new()),
        RevertError::ChangedSince { first, total } => {
            let first = first.iter().map(ToString::to_string).collect::<Vec<_>>().join(", ");
            let metadata = vec![("total", total.to_string()), ("first", first)];
            (Code::FailedPrecondition, ErrorReason::ChangedSince, metadata)
        }
        // The revision was found to be one before.
        RevertError::View(_) => (Code::DataLoss, ErrorReason::DataDamaged, Vec::new()),
    }
}

/// A trail that was not read.
pub(super) fn told_trail(error: &TrailError) -> Told {
    match error {
        TrailError::Beyond { wanted, size } => (
            Code::OutOfRange,
            ErrorReason::TrailShorter,
            vec![("wanted", wanted.to_string()), ("entries", size.to_string())],
        ),
        TrailError::Log(_) | TrailError::State(_) | TrailError::Payload(_) => {
            (Code::DataLoss, ErrorReason::DataDamaged, Vec::new())
        }
    }
}
