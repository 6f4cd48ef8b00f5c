//! The one file that builds a gRPC status: each refusal has a code, a published reason and its metadata.

mod changes;
mod spent;

use std::borrow::Cow;
use std::collections::HashMap;
use std::fmt;
use std::time::Duration;

use dashwright_api::v1::{CartError, ErrorReason};
use dashwright_engine::keys::{AuthFault, KeyId};
use dashwright_engine::{
    BulkEditError, ImportError, LoadError, ReceiveError, RevertError, TrailError, ViewError, WriteError,
};
use dashwright_model::exchange::ExchangeError;
use dashwright_model::record::RecordKind;
use dashwright_model::record::golden::PlanVerdict;
use dashwright_model::record::vehicle::Attribute;
use dashwright_model::vin::VinConcern;
use dashwright_sheet::SheetError;
use dashwright_snapshot::IdentifyError;
use dashwright_snapshot::identify::{Source, Stated, name as attribute_name};
use tonic::{Code, Status};
use tonic_types::{ErrorDetails, StatusExt as _};

use crate::auth::Denied;
use crate::callers::Spent;
use crate::from_proto::{FieldFault, FieldProblem};
use crate::limits::{CARTS_PER_STREAM, LIMITS, SHEET_BYTES};

/// The domain of every reason.
const DOMAIN: &str = "dashwright";
/// The longest text of one metadata value or violation: several fit into the details of an error.
const MOST_TEXT_CHARS: usize = 160;
/// Violations that are told one by one; the rest is counted.
const MOST_VIOLATIONS: usize = 12;
/// How long a caller waits before it tries an overloaded service again.
const RETRY_AFTER: Duration = Duration::from_millis(250);

/// Why a call is refused.
#[derive(Debug)]
pub enum Refusal {
    /// The caller is not let in.
    Denied(Denied),
    /// Fields of the request are malformed; all of them.
    Fields(Vec<FieldFault>),
    /// No vehicle can be named. Boxed: refusals are rare and travel in every result.
    Identify(Box<IdentifyError>),
    /// There is no such record.
    RecordNotFound {
        /// The kind.
        kind: RecordKind,
        /// The id.
        id: String,
    },
    /// There is no view to answer from.
    View {
        /// The incarnation of the dataset that is served.
        incarnation: String,
        /// Why.
        error: Box<ViewError>,
    },
    /// A change was not made.
    Write(Box<WriteError>),
    /// The question has not this plan in that revision.
    PlanNotFound {
        /// The fingerprint that was given.
        fingerprint: String,
    },
    /// No job can have been done by the plan as it is.
    PlanNotSettled {
        /// What it says.
        verdict: PlanVerdict,
        /// How many plans the question leaves.
        plans: usize,
    },
    /// A sheet can not be made of several plans.
    SheetNotSettled {
        /// How many the question leaves; none where too many vehicles are left.
        plans: usize,
        /// What is to be asked next.
        open: Option<Attribute>,
    },
    /// A sheet, or pictures, larger than an answer may be.
    SheetTooLarge {
        /// How large.
        bytes: usize,
    },
    /// A sheet was not made.
    Sheet(SheetError),
    /// A bulk edit was not made.
    BulkEdit(Box<BulkEditError>),
    /// A draft was not published.
    Publish(Box<LoadError<ExchangeError>>),
    /// A file was not received.
    Receive(Box<ReceiveError>),
    /// A file was not imported.
    Import(Box<ImportError>),
    /// No draft goes back.
    Revert(Box<RevertError>),
    /// The trail was not read.
    Trail(Box<TrailError>),
    /// The request is larger than allowed.
    TooLarge,
    /// A stream has more carts than allowed.
    TooManyCarts,
    /// More calls than the service takes at once.
    Overloaded,
    /// The caller has taken as much as one may.
    Spent(Spent),
    /// The service is going down.
    Draining,
    /// The call took too long.
    Deadline {
        /// The deadline that was passed.
        most: Duration,
    },
    /// The call failed for a reason that is not the caller's.
    Internal {
        /// The request, as the log has it.
        request_id: String,
    },
    /// A stored record can not be read.
    Damaged,
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Denied(denied) => write!(f, "{denied}"),
            Self::Fields(faults) => match faults.as_slice() {
                [only] => write!(f, "`{}` {}", only.path, only.problem),
                faults => write!(f, "{} fields of the request are malformed", faults.len()),
            },
            Self::Identify(error) => write!(f, "{error}"),
            Self::RecordNotFound { kind, id } => write!(f, "there is no {kind} record `{id}`"),
            Self::View { error, .. } => write!(f, "{error}"),
            Self::Write(error) => write!(f, "{error}"),
            Self::PlanNotFound { fingerprint } => {
                write!(f, "the question has no plan `{fingerprint}` in that revision")
            }
            Self::PlanNotSettled { verdict, plans: 1 } => {
                write!(f, "the plan says `{verdict}`, so that nothing was done by it that could have worked")
            }
            Self::PlanNotSettled { verdict: _, plans } => {
                write!(f, "the question leaves {plans} plans, and a job is done by one")
            }
            Self::SheetNotSettled { plans, open } => {
                match plans {
                    0 => write!(f, "the question leaves too many vehicles for a sheet")?,
                    plans => write!(f, "the question leaves {plans} plans, and a sheet is of one")?,
                }
                open.map_or(Ok(()), |open| write!(f, ": say the {}", attribute_name(open)))
            }
            Self::SheetTooLarge { bytes } => {
                write!(f, "the sheet has {bytes} bytes, {SHEET_BYTES} are the most that are sent")
            }
            Self::Sheet(error) => write!(f, "{error}"),
            Self::BulkEdit(error) => write!(f, "{error}"),
            Self::Publish(error) => write!(f, "{error}"),
            Self::Receive(error) => write!(f, "{error}"),
            Self::Import(error) => write!(f, "{error}"),
            Self::Revert(error) => write!(f, "{error}"),
            Self::Trail(error) => write!(f, "{error}"),
            Self::TooLarge => write!(f, "the request is larger than {} bytes", LIMITS.request_bytes),
            Self::TooManyCarts => {
                write!(f, "a stream has at most {CARTS_PER_STREAM} carts; send the rest in another one")
            }
            Self::Overloaded => write!(f, "{} calls are in flight, which is the limit", LIMITS.calls),
            Self::Spent(spent) => write!(f, "{spent}"),
            Self::Draining => write!(f, "the service is going down"),
            Self::Deadline { most } => write!(f, "the call took longer than {} ms", most.as_millis()),
            Self::Internal { .. } => write!(f, "the call failed inside the service"),
            Self::Damaged => write!(f, "a stored record can not be read"),
        }
    }
}

impl std::error::Error for Refusal {}

impl From<IdentifyError> for Refusal {
    fn from(error: IdentifyError) -> Self {
        Self::Identify(Box::new(error))
    }
}

impl From<WriteError> for Refusal {
    fn from(error: WriteError) -> Self {
        Self::Write(Box::new(error))
    }
}

impl From<LoadError<ExchangeError>> for Refusal {
    fn from(error: LoadError<ExchangeError>) -> Self {
        Self::Publish(Box::new(error))
    }
}

impl From<ReceiveError> for Refusal {
    fn from(error: ReceiveError) -> Self {
        Self::Receive(Box::new(error))
    }
}

impl From<ImportError> for Refusal {
    fn from(error: ImportError) -> Self {
        Self::Import(Box::new(error))
    }
}

impl From<TrailError> for Refusal {
    fn from(error: TrailError) -> Self {
        Self::Trail(Box::new(error))
    }
}

impl Refusal {
    /// What a bare status of the transport means, where the transport has a word of its own for a refusal.
    pub(crate) fn of_transport(code: Code) -> Option<Self> {
        match code {
            // tonic's word for a message over its limit.
            Code::OutOfRange | Code::ResourceExhausted => Some(Self::TooLarge),
            // tonic's word for bytes that it could not decode: no handler of this service says it without details.
            Code::Internal => {
                let problem = FieldProblem::NoMessage;
                Some(Self::Fields(vec![FieldFault { path: String::new(), problem }]))
            }
            // tonic's word for a timeout of its own.
            Code::Cancelled => Some(Self::Deadline { most: LIMITS.deadline }),
            Code::Ok
            | Code::Unknown
            | Code::InvalidArgument
            | Code::DeadlineExceeded
            | Code::NotFound
            | Code::AlreadyExists
            | Code::PermissionDenied
            | Code::FailedPrecondition
            | Code::Aborted
            | Code::Unimplemented
            | Code::Unavailable
            | Code::DataLoss
            | Code::Unauthenticated => None,
        }
    }

    /// The refusal of one cart of a stream: as a unary call would say it, without ending the stream.
    pub(crate) fn told_in_stream(&self) -> CartError {
        let (code, reason, _) = told(self);
        let faults = if let Self::Fields(faults) = self { faults.as_slice() } else { &[] };
        let told = |fault: &FieldFault| format!("{}: {}", cut(&fault.path), cut(&fault.problem.to_string()));
        let fields = faults.iter().take(MOST_VIOLATIONS).map(told).collect();
        CartError {
            code: code as u32,
            reason: name(reason).to_owned(),
            message: cut(&self.to_string()).into_owned(),
            fields,
        }
    }
}

/// The name of a reason as callers see it.
fn name(reason: ErrorReason) -> &'static str {
    reason.as_str_name().trim_start_matches("ERROR_REASON_")
}

/// What a refusal becomes: code, reason, metadata.
type Told = (Code, ErrorReason, Vec<(&'static str, String)>);

impl From<Refusal> for Status {
    fn from(refusal: Refusal) -> Self {
        let (code, reason, metadata) = told(&refusal);
        let metadata: HashMap<String, String> =
            metadata.into_iter().map(|(key, value)| (key.to_owned(), cut(&value).into_owned())).collect();
        let mut details = ErrorDetails::with_error_info(name(reason), DOMAIN, metadata);
        add_violations(&mut details, &refusal);
        if let Refusal::Spent(spent) = &refusal {
            details.set_retry_info(Some(spent::retry_after(spent)));
        } else if code == Code::Unavailable {
            details.set_retry_info(Some(RETRY_AFTER));
        }
        Self::with_error_details(code, cut(&refusal.to_string()), details)
    }
}

fn told(refusal: &Refusal) -> Told {
    match refusal {
        Refusal::Denied(denied) => told_denied(denied),
        Refusal::Fields(faults) => told_faults(faults),
        Refusal::Identify(error) => told_identify(error),
        Refusal::RecordNotFound { kind, id } => (
            Code::NotFound,
            ErrorReason::RecordNotFound,
            vec![("kind", kind.to_string()), ("id", id.clone())],
        ),
        Refusal::View { incarnation, error } => told_view(incarnation, error),
        Refusal::Write(error) => changes::told_write(error),
        Refusal::PlanNotFound { fingerprint } => {
            (Code::NotFound, ErrorReason::PlanNotFound, vec![("fingerprint", fingerprint.clone())])
        }
        Refusal::PlanNotSettled { verdict, plans } => {
            let metadata = vec![("verdict", verdict.to_string()), ("plans", plans.to_string())];
            (Code::FailedPrecondition, ErrorReason::PlanNotSettled, metadata)
        }
        Refusal::SheetNotSettled { plans, open } => {
            let mut metadata = vec![("plans", plans.to_string())];
            metadata.extend(open.map(|open| ("open", attribute_name(open).to_owned())));
            (Code::FailedPrecondition, ErrorReason::SheetNotSettled, metadata)
        }
        Refusal::SheetTooLarge { bytes } => {
            let metadata = vec![("bytes", bytes.to_string()), ("most_bytes", SHEET_BYTES.to_string())];
            (Code::ResourceExhausted, ErrorReason::SheetTooLarge, metadata)
        }
        Refusal::Sheet(SheetError::OtherSnapshot | SheetError::Template) => {
            (Code::Internal, ErrorReason::SheetNotMade, Vec::new())
        }
        Refusal::BulkEdit(error) => changes::told_bulk_edit(error),
        Refusal::Publish(error) => changes::told_publish(error),
        Refusal::Receive(error) => changes::told_receive(error),
        Refusal::Import(error) => changes::told_import(error),
        Refusal::Revert(error) => changes::told_revert(error),
        Refusal::Trail(error) => changes::told_trail(error),
        Refusal::TooLarge => {
            let most = LIMITS.request_bytes.to_string();
            (Code::ResourceExhausted, ErrorReason::MessageTooLarge, vec![("most_bytes", most)])
        }
        Refusal::TooManyCarts => {
            let most = CARTS_PER_STREAM.to_string();
            (Code::ResourceExhausted, ErrorReason::StreamTooLong, vec![("most_items", most)])
        }
        Refusal::Overloaded => {
            (Code::Unavailable, ErrorReason::Overloaded, vec![("most_calls", LIMITS.calls.to_string())])
        }
        Refusal::Spent(spent) => spent::told(spent),
        Refusal::Draining => (Code::Unavailable, ErrorReason::Draining, Vec::new()),
        Refusal::Deadline { most } => {
            let most = most.as_millis().to_string();
            (Code::DeadlineExceeded, ErrorReason::Deadline, vec![("most_milliseconds", most)])
        }
        Refusal::Internal { request_id } => {
            (Code::Internal, ErrorReason::Internal, vec![("request_id", request_id.clone())])
        }
        Refusal::Damaged => (Code::DataLoss, ErrorReason::DataDamaged, Vec::new()),
    }
}

/// Who guesses is not told whether there is such a key; what became of a key is told to who has it.
fn told_denied(denied: &Denied) -> Told {
    let refused = |reason, metadata| (Code::Unauthenticated, reason, metadata);
    let of = |id: &KeyId| vec![("key_id", id.to_string())];
    match denied {
        Denied::Missing => refused(ErrorReason::KeyMissing, Vec::new()),
        Denied::Key(AuthFault::Malformed | AuthFault::Mistyped) => {
            refused(ErrorReason::KeyMalformed, Vec::new())
        }
        Denied::Key(
            AuthFault::Unknown { .. } | AuthFault::WrongSecret { .. } | AuthFault::OtherServerSecret { .. },
        ) => refused(ErrorReason::KeyUnknown, Vec::new()),
        Denied::Key(AuthFault::Revoked { id }) => refused(ErrorReason::KeyRevoked, of(id)),
        Denied::Key(AuthFault::Expired { id }) => refused(ErrorReason::KeyExpired, of(id)),
        Denied::Role { needed, key: _ } => {
            (Code::PermissionDenied, ErrorReason::RoleMissing, vec![("needed", needed.to_string())])
        }
    }
}

/// A token that is wrong has a reason of its own, unless other fields are wrong too.
fn told_faults(faults: &[FieldFault]) -> Told {
    let malformed = || (Code::InvalidArgument, ErrorReason::FieldsInvalid, Vec::new());
    let [FieldFault { path, problem }] = faults else { return malformed() };
    let reason = match problem {
        FieldProblem::RevisionToken(_) => ErrorReason::RevisionTokenInvalid,
        FieldProblem::PageToken => ErrorReason::PageTokenInvalid,
        FieldProblem::Missing
        | FieldProblem::Text(_)
        | FieldProblem::Vin(_)
        | FieldProblem::Date(_)
        | FieldProblem::Id(_)
        | FieldProblem::NoMessage
        | FieldProblem::Money(_)
        | FieldProblem::Record(_)
        | FieldProblem::OtherKind { .. }
        | FieldProblem::NoKey { .. }
        | FieldProblem::NoUuid
        | FieldProblem::NoSha256
        | FieldProblem::Measure(_)
        | FieldProblem::Time { .. }
        | FieldProblem::NoName { .. }
        | FieldProblem::LongText { .. }
        | FieldProblem::Twice
        | FieldProblem::NeverLost { .. }
        | FieldProblem::NoSuchRecord { .. }
        | FieldProblem::NotRestedOn { .. }
        | FieldProblem::ManyLines { .. }
        | FieldProblem::OnlyInFirst
        | FieldProblem::OnlyWith { .. }
        | FieldProblem::UnknownTerm { .. }
        | FieldProblem::Above { .. } => return malformed(),
    };
    (Code::InvalidArgument, reason, vec![("field", path.clone())])
}

fn told_identify(error: &IdentifyError) -> Told {
    match error {
        IdentifyError::Nothing => (Code::InvalidArgument, ErrorReason::QuestionEmpty, Vec::new()),
        IdentifyError::WrongVin { vin, concerns } => {
            let mut metadata = vec![("vin", vin.as_str().to_owned())];
            if let Some(concern) = concerns.iter().find(|concern| concern.is_error()) {
                metadata.extend(told_concern(*concern));
            }
            (Code::InvalidArgument, ErrorReason::VinRefused, metadata)
        }
        IdentifyError::UnknownVin { vin, .. } => {
            let typed = vin.as_str().to_owned();
            let metadata =
                vec![("attribute", "vin".to_owned()), ("typed", typed), ("nearest", String::new())];
            (Code::NotFound, ErrorReason::WordUnknown, metadata)
        }
        IdentifyError::NoMatch { attribute, typed, nearest } => {
            let attribute = attribute_name(*attribute).to_owned();
            let metadata =
                vec![("attribute", attribute), ("typed", typed.clone()), ("nearest", nearest.join(", "))];
            (Code::NotFound, ErrorReason::WordUnknown, metadata)
        }
        IdentifyError::NothingRecognised { words, nearest } => {
            let metadata = vec![
                ("attribute", "words".to_owned()),
                ("typed", words.join(" ")),
                ("nearest", nearest.join(", ")),
            ];
            (Code::NotFound, ErrorReason::WordUnknown, metadata)
        }
        IdentifyError::Contradiction { left, right } => {
            (Code::InvalidArgument, ErrorReason::InputsContradict, both(left, right))
        }
        IdentifyError::NoLine { left, right, beside: _, exist } => {
            let metadata = vec![
                ("attribute", attribute_name(right.attribute).to_owned()),
                ("typed", right.value.clone()),
                ("beside", format!("{} {}", attribute_name(left.attribute), left.value)),
                ("known", exist.join(", ")),
            ];
            (Code::NotFound, ErrorReason::NoVehicleLine, metadata)
        }
    }
}

fn told_concern(concern: VinConcern) -> Vec<(&'static str, String)> {
    match concern {
        VinConcern::CheckDigit { found: _, expected, required: _ } => {
            vec![("position", "9".to_owned()), ("expected", expected.to_string())]
        }
        VinConcern::YearCode { found: _ } => vec![("position", "10".to_owned())],
        VinConcern::SerialLetter { position, found: _ } => vec![("position", position.to_string())],
    }
}

fn both(left: &Stated, right: &Stated) -> Vec<(&'static str, String)> {
    vec![
        ("left", left.source.to_string()),
        ("left_value", left.value.clone()),
        ("right", right.source.to_string()),
        ("right_value", right.value.clone()),
    ]
}

fn told_view(incarnation: &str, error: &ViewError) -> Told {
    let revision = |name: &'static str, revision: u64| (name, revision.to_string());
    match error {
        ViewError::OtherHistory => (
            Code::FailedPrecondition,
            ErrorReason::RevisionOfAnotherDataset,
            vec![("incarnation", incarnation.to_owned())],
        ),
        ViewError::NotReached { wanted, current } => (
            Code::FailedPrecondition,
            ErrorReason::RevisionNotReached,
            vec![revision("wanted", *wanted), revision("latest", *current)],
        ),
        ViewError::NotKept { revision: wanted, oldest } => (
            Code::OutOfRange,
            ErrorReason::RevisionNotKept,
            vec![revision("wanted", *wanted), revision("oldest", *oldest)],
        ),
        ViewError::Unreadable(_)
        | ViewError::NotCompiled { .. }
        | ViewError::Altered { .. }
        | ViewError::BrokenOff => (Code::DataLoss, ErrorReason::DataDamaged, Vec::new()),
    }
}

/// Every violated field with its path, as many as fit.
fn add_violations(details: &mut ErrorDetails, refusal: &Refusal) {
    let one = |details: &mut ErrorDetails, field: &str| {
        details.add_bad_request_violation(field, cut(&refusal.to_string()));
    };
    match refusal {
        Refusal::Fields(faults) => {
            for fault in faults.iter().take(MOST_VIOLATIONS) {
                details.add_bad_request_violation(cut(&fault.path), cut(&fault.problem.to_string()));
            }
            if let Some(more @ 1..) = faults.len().checked_sub(MOST_VIOLATIONS) {
                details.add_bad_request_violation("", format!("and {more} more"));
            }
        }
        Refusal::Identify(error) => match &**error {
            IdentifyError::Nothing => one(details, "vehicle"),
            IdentifyError::WrongVin { .. } => one(details, "vehicle.vin"),
            IdentifyError::Contradiction { left, right } => {
                for stated in [left, right] {
                    one(details, field_of(stated));
                }
            }
            IdentifyError::UnknownVin { .. }
            | IdentifyError::NoMatch { .. }
            | IdentifyError::NothingRecognised { .. }
            | IdentifyError::NoLine { .. } => {}
        },
        Refusal::Receive(error) => {
            if let Some(field) = error.field() {
                one(details, field);
            }
        }
        Refusal::Write(error) => {
            if let WriteError::ExpiryOver { .. } = **error {
                one(details, "expires_at");
            }
        }
        Refusal::Denied(_)
        | Refusal::RecordNotFound { .. }
        | Refusal::View { .. }
        | Refusal::PlanNotFound { .. }
        | Refusal::PlanNotSettled { .. }
        | Refusal::SheetNotSettled { .. }
        | Refusal::SheetTooLarge { .. }
        | Refusal::Sheet(_)
        | Refusal::BulkEdit(_)
        | Refusal::Publish(_)
        | Refusal::Import(_)
        | Refusal::Revert(_)
        | Refusal::Trail(_)
        | Refusal::TooLarge
        | Refusal::TooManyCarts
        | Refusal::Overloaded
        | Refusal::Spent(_)
        | Refusal::Draining
        | Refusal::Deadline { .. }
        | Refusal::Internal { .. }
        | Refusal::Damaged => {}
    }
}

/// The field of the request that stated something.
fn field_of(stated: &Stated) -> &'static str {
    match (stated.source, stated.attribute) {
        (Source::Vin, _) => "vehicle.vin",
        (Source::Words, _) => "vehicle.words",
        (Source::Attribute, Attribute::ModelYear) => "vehicle.model_year",
        (Source::Attribute, Attribute::Make) => "vehicle.make",
        (Source::Attribute, Attribute::Model) => "vehicle.model",
        (Source::Attribute, Attribute::Trim) => "vehicle.trim",
        (Source::Attribute, Attribute::BuildMonth) => "vehicle.build_month",
        (Source::Attribute, Attribute::Market) => "vehicle.market",
        (Source::Attribute, Attribute::DriveSide) => "vehicle.drive_side",
        (Source::Attribute, Attribute::Body) => "vehicle.body",
        (Source::Attribute, Attribute::Drivetrain) => "vehicle.drivetrain",
        (Source::Attribute, Attribute::AudioOption) => "vehicle.audio_option",
    }
}

/// A text cut to what fits into an error, with a sign that it was.
fn cut(text: &str) -> Cow<'_, str> {
    cut_at(text, MOST_TEXT_CHARS)
}

/// A text cut to so many characters, with a sign that it was.
pub(crate) fn cut_at(text: &str, chars: usize) -> Cow<'_, str> {
    match text.char_indices().nth(chars) {
        None => Cow::Borrowed(text),
        Some((end, _)) => Cow::Owned(format!("{}…", text.get(..end).unwrap_or_default())),
    }
}
