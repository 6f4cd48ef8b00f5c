//! A refused call as a person reads it: what is wrong, in which field, the nearest words, what to do next.

use std::collections::BTreeMap;
use std::time::Duration;

use tonic::Status;
use tonic_types::StatusExt as _;

/// A refusal with all of its details.
#[derive(Debug, Default, PartialEq, Eq)]
pub(crate) struct Refusal {
    /// The gRPC code, as `NOT_FOUND`.
    pub(crate) code: String,
    /// What is wrong.
    pub(crate) message: String,
    /// The published reason, as `WORD_UNKNOWN`; empty when the refusal is not the service's own.
    pub(crate) reason: String,
    /// What the reason documents.
    pub(crate) metadata: BTreeMap<String, String>,
    /// Violated fields and what is wrong with each.
    pub(crate) violations: Vec<(String, String)>,
    /// When to try again.
    pub(crate) retry_after: Option<Duration>,
}

impl Refusal {
    /// Reads a refusal from a status.
    pub(crate) fn of(status: &Status) -> Self {
        let details = status.get_error_details();
        let (reason, metadata) = details
            .error_info()
            .map(|info| (info.reason.clone(), info.metadata.clone().into_iter().collect()))
            .unwrap_or_default();
        let violations = details.bad_request().map(|request| {
            let violation = |it: &tonic_types::FieldViolation| (it.field.clone(), it.description.clone());
            request.field_violations.iter().map(violation).collect()
        });
        Self {
            code: code_name(status.code()).to_owned(),
            message: status.message().to_owned(),
            reason,
            metadata,
            violations: violations.unwrap_or_default(),
            retry_after: details.retry_info().and_then(|info| info.retry_delay),
        }
    }

    /// The violated fields, and what the reason adds to the message.
    pub(crate) fn details(&self) -> Vec<String> {
        let told = |text: &str| self.message.contains(text);
        let violations = self.violations.iter().filter(|(_, text)| !told(text));
        let mut lines: Vec<_> = violations
            .map(|(field, text)| if field.is_empty() { text.clone() } else { format!("`{field}` {text}") })
            .collect();
        for (key, words) in [
            ("nearest", "the nearest known: "),
            ("known", "known there: "),
            ("expected", "expected there: "),
            ("oldest", "the oldest kept: revision "),
            ("latest", "the latest: revision "),
            ("request_id", "the server's log has it under request id "),
        ] {
            if let Some(value) = self.metadata.get(key).filter(|value| !value.is_empty() && !told(value)) {
                lines.push(format!("{words}{value}"));
            }
        }
        lines
    }

    /// What to do next.
    pub(crate) fn next(&self) -> Option<String> {
        let kind = self.metadata.get("kind").map_or("KIND", String::as_str);
        let attribute = self.metadata.get("attribute").map_or("", String::as_str);
        let text = match self.reason.as_str() {
            "FIELDS_INVALID" => return self.correct(),
            "QUESTION_EMPTY" => {
                "say what is known of the vehicle: `dashwright look-up YEAR MAKE MODEL`, or see what can be \
                 chosen with `dashwright choices`"
            }
            "VIN_REFUSED" => "read the number again from the vehicle; I, O and Q are never in it",
            "INPUTS_CONTRADICT" => "leave out the one that is wrong",
            "WORD_UNKNOWN" if attribute == "vin" => {
                "say year, make and model instead: the catalogue does not know this maker's numbers"
            }
            "WORD_UNKNOWN" | "NO_VEHICLE_LINE" => {
                "see what the catalogue knows with `dashwright choices`, leaving out what was refused"
            }
            "RECORD_NOT_FOUND" => {
                return Some(format!(
                    "find it with `dashwright record search WORDS` or `dashwright record list {kind}`"
                ));
            }
            "PAGE_TOKEN_INVALID" => "begin again without --page-token, and ask the same question",
            "REVISION_TOKEN_INVALID" | "REVISION_OF_ANOTHER_DATASET" => {
                "take the token from an answer of this server: `dashwright info` prints the latest"
            }
            "REVISION_NOT_REACHED" => "ask a server that has it, or leave out --at-least",
            "REVISION_NOT_KEPT" => "leave out --at to read the latest revision",
            "OVERLOADED" | "DRAINING" | "CALLS_TOO_FREQUENT" | "CALLS_TOO_MANY" | "ANSWERS_UNREAD" => {
                let wait = self.retry_after.map_or(0, |wait| wait.as_millis());
                return Some(format!("try again after {wait} ms"));
            }
            "KEY_MISSING" => {
                "name the file of your key with --key-file, or put the key into DASHWRIGHT_KEY; the operator of the \
                 service makes keys"
            }
            "KEY_MALFORMED" | "KEY_UNKNOWN" => {
                "check that the key is whole and is one of this server; the operator of the service makes keys"
            }
            "KEY_REVOKED" | "KEY_EXPIRED" => "ask the operator of the service for another key",
            "ROLE_MISSING" => {
                let needed = self.metadata.get("needed").map_or("", String::as_str);
                return Some(format!("ask the operator of the service for a key with the role {needed}"));
            }
            "" if self.code == "UNIMPLEMENTED" => "the server is of another version, or is no dashwright",
            reason => CHANGES.iter().find(|(of, _)| *of == reason)?.1,
        };
        Some(text.to_owned())
    }

    /// Which arguments to correct, each once.
    fn correct(&self) -> Option<String> {
        let mut arguments: Vec<String> = Vec::new();
        for argument in self.violations.iter().filter_map(|(path, _)| argument(path)) {
            if !arguments.contains(&argument) {
                arguments.push(argument);
            }
        }
        (!arguments.is_empty()).then(|| format!("correct {}", arguments.join(", ")))
    }
}

/// Why changes are refused, and what to do next.
const CHANGES: &[(&str, &str)] = &[
    ("REQUEST_ID_REUSED", "leave out --request-id, which belongs to another change"),
    (
        "DRAFT_NOT_OPEN",
        "see which drafts are open with `dashwright draft list`, and what became of this one with `dashwright \
         audit list --draft ID`",
    ),
    (
        "DRAFT_OUTDATED",
        "begin another draft, which starts from the latest revision, and put the same records into it; `dashwright \
         diff BASE` shows what was published meanwhile",
    ),
    ("DRAFT_MOVED", "look at it with `dashwright draft show ID`, and publish it again"),
    (
        "DRAFT_EMPTY",
        "put records into it with `dashwright draft edit`, or end it with `dashwright draft discard`",
    ),
    ("EDIT_TOO_LARGE", "send the records in several edits of the same draft"),
    ("RECORDS_CONTRADICT", "mend the draft with `dashwright draft edit`, and publish it again"),
    (
        "RECORD_EXISTS",
        "choose another id; `dashwright record get KIND ID` shows the record that has this one",
    ),
    ("NOTHING_TO_CHANGE", "see how the draft has it with `dashwright draft show ID --full`"),
    ("STILL_NAMED", "edit or retire the records that name it first, in the same draft"),
    ("EDIT_CONTRADICTS", "see the record with `dashwright record get KIND ID`, and say something else of it"),
    (
        "IMPORT_UNFINISHED",
        "see which import it is with `dashwright draft show ID`; repeat it with the same file and --request-id, or discard \
         the draft",
    ),
    ("IMPORT_BUSY", "wait until the other transfer of the same import has ended, and repeat it"),
    ("IMPORTS_FULL", "repeat it when another import is finished; what is left of others goes after 36 hours"),
    ("CHUNK_OUT_OF_PLACE", "repeat it: it goes on with what has come"),
    ("CHUNK_ALTERED", "see that nothing changes the file meanwhile, and repeat it"),
    ("IMPORT_INCOMPLETE", "repeat it: it goes on with what has come"),
    (
        "PLAN_NOT_FOUND",
        "ask for the plan again with the same words, and take --fingerprint and --at from its end",
    ),
    ("PLAN_NOT_SETTLED", "say more of the vehicle: the plan tells what is still to be asked"),
    (
        "SHEET_NOT_SETTLED",
        "say more of the vehicle: `dashwright plan` with the same words tells how to answer",
    ),
    ("SHEET_TOO_LARGE", "ask for one picture with --subject, or tell the operator of the service"),
    (
        "SHEET_NOT_MADE",
        "tell the operator of the service; the plan itself is there with `dashwright plan --full`",
    ),
    ("OUTCOME_NOT_FOUND", "see which outcomes there are with `dashwright outcome list --state all`"),
    ("OUTCOME_RESOLVED", "see by whom and why with `dashwright outcome list --state all`"),
    ("OUTCOME_COUNTS_NOTHING", "say with --record which records it was, or reject the outcome"),
    ("OUTCOME_QUEUE_FULL", "a curator works through `dashwright outcome list` first"),
    ("DRAFT_TAKES_NO_MORE", "publish the draft, and accept the others in another one"),
    ("WRITES_STOPPED", "the operator starts the service again; its log says why it stopped writing"),
    ("DISK_FULL", "the operator makes room on the server's disk; nothing was changed"),
    ("KEY_NOT_FOUND", "see which keys there are with `dashwright key list`"),
    ("TOO_MANY_KEYS", "revoke one of them with `dashwright key revoke`, then make the new one"),
    ("FIRST_KEY_NOT_OPERATOR", "say --role operator; the others are then made with that key"),
    ("TRAIL_SHORTER", "see how many entries there are with `dashwright audit checkpoint`"),
];

/// Fields of requests and the arguments that state them.
const ARGUMENTS: &[(&str, &str)] = &[
    ("vehicle.vin", "--vin"),
    ("vehicle.model_year", "--year"),
    ("vehicle.make", "--make"),
    ("vehicle.model", "--model"),
    ("vehicle.trim", "--trim"),
    ("vehicle.build_month", "--build-month"),
    ("vehicle.market", "--market"),
    ("vehicle.drive_side", "--drive-side"),
    ("vehicle.body", "--body"),
    ("vehicle.drivetrain", "--drivetrain"),
    ("vehicle.audio_option", "--audio"),
    ("vehicle.words", "WORDS"),
    ("radio_id", "--radio"),
    ("part_id", "--part"),
    ("paper", "--paper"),
    ("picture", "--picture"),
    ("order.wishes", "--wish"),
    ("order.excluded_part_ids", "--exclude"),
    ("order.stocked_part_ids", "--stock"),
    ("order.in_hand_part_ids", "--in-hand"),
    ("order.consented_losses", "--consent"),
    ("order.own_prices", "--price"),
    ("order.currency", "--currency"),
    ("lines", "--item or --file"),
    ("query", "WORDS"),
    ("page_size", "--page-size"),
    ("id_prefix", "--prefix"),
    ("key.id", "KIND/ID"),
    ("change.reason", "--reason"),
    ("change.request_id", "--request-id"),
    ("draft_id", "ID"),
    ("begin.format", "--table"),
    ("begin.on_conflict", "--on-conflict"),
    ("begin.bytes", "FILE"),
    ("begin.sha256", "FILE"),
    ("puts", "--put"),
    ("deletes", "--delete"),
    ("rename.record", "KIND/ID"),
    ("rename.new_id", "--to"),
    ("rename.new_name", "--name"),
    ("supersede.part_id", "PART"),
    ("supersede.successor_id", "--by"),
    ("split.line_id", "LINE"),
    ("split.new_line_id", "--new-line"),
    ("split.model_year", "--at-year"),
    ("split.build_month", "--at-month"),
    ("split.how_to_tell", "--how-to-tell"),
    ("retire.record", "KIND/ID"),
    ("fingerprint", "--fingerprint"),
    ("result", "--worked or --did-not"),
    ("wrong", "--wrong"),
    ("note", "--note"),
    ("outcome", "OUTCOME"),
    ("accept.draft_id", "--draft"),
    ("accept.records", "--record"),
    ("holder", "--holder"),
    ("roles", "--role"),
    ("expires_at", "--expires"),
];

/// The argument that states a field or holds it: `order.wishes.2.weight` is one of `--wish`.
fn argument(path: &str) -> Option<String> {
    if let Some(rest) = path.strip_prefix("lines.") {
        let place = rest.split('.').next()?.parse::<usize>().ok()?;
        return Some(format!("line {} of the cart", place + 1));
    }
    let path = path.strip_prefix("question.").unwrap_or(path);
    let holds = |field: &str| {
        path.strip_prefix(field).is_some_and(|rest| rest.is_empty() || rest.starts_with(['.', '[']))
    };
    ARGUMENTS.iter().find(|(field, _)| holds(field)).map(|(_, argument)| (*argument).to_owned())
}

fn code_name(code: tonic::Code) -> &'static str {
    use tonic::Code;
    match code {
        Code::Ok => "OK",
        Code::Cancelled => "CANCELLED",
        Code::Unknown => "UNKNOWN",
        Code::InvalidArgument => "INVALID_ARGUMENT",
        Code::DeadlineExceeded => "DEADLINE_EXCEEDED",
        Code::NotFound => "NOT_FOUND",
        Code::AlreadyExists => "ALREADY_EXISTS",
        Code::PermissionDenied => "PERMISSION_DENIED",
        Code::ResourceExhausted => "RESOURCE_EXHAUSTED",
        Code::FailedPrecondition => "FAILED_PRECONDITION",
        Code::Aborted => "ABORTED",
        Code::OutOfRange => "OUT_OF_RANGE",
        Code::Unimplemented => "UNIMPLEMENTED",
        Code::Internal => "INTERNAL",
        Code::Unavailable => "UNAVAILABLE",
        Code::DataLoss => "DATA_LOSS",
        Code::Unauthenticated => "UNAUTHENTICATED",
    }
}

#[cfg(test)]
#[path = "refusal_tests.rs"]
mod tests;
