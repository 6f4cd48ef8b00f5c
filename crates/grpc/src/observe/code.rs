//! Status codes: as answers tell them, and as the metrics of the gRPC ecosystem name them.

use http::HeaderMap;
use tonic::{Code, Status};

/// Every code, in the order of its number.
pub(super) const CODES: [Code; 17] = [
    Code::Ok,
    Code::Cancelled,
    Code::Unknown,
    Code::InvalidArgument,
    Code::DeadlineExceeded,
    Code::NotFound,
    Code::AlreadyExists,
    Code::PermissionDenied,
    Code::ResourceExhausted,
    Code::FailedPrecondition,
    Code::Aborted,
    Code::OutOfRange,
    Code::Unimplemented,
    Code::Internal,
    Code::Unavailable,
    Code::DataLoss,
    Code::Unauthenticated,
];

/// The name of a code: that of the constant in gRPC's Go library, which the metrics of every language took over.
pub(super) const fn name(code: Code) -> &'static str {
    match code {
        Code::Ok => "OK",
        Code::Cancelled => "Canceled",
        Code::Unknown => "Unknown",
        Code::InvalidArgument => "InvalidArgument",
        Code::DeadlineExceeded => "DeadlineExceeded",
        Code::NotFound => "NotFound",
        Code::AlreadyExists => "AlreadyExists",
        Code::PermissionDenied => "PermissionDenied",
        Code::ResourceExhausted => "ResourceExhausted",
        Code::FailedPrecondition => "FailedPrecondition",
        Code::Aborted => "Aborted",
        Code::OutOfRange => "OutOfRange",
        Code::Unimplemented => "Unimplemented",
        Code::Internal => "Internal",
        Code::Unavailable => "Unavailable",
        Code::DataLoss => "DataLoss",
        Code::Unauthenticated => "Unauthenticated",
    }
}

/// The code that a head or trailers tell; none where they tell none.
pub(crate) fn of(headers: &HeaderMap) -> Option<Code> {
    headers.get(Status::GRPC_STATUS).map(|code| Code::from_bytes(code.as_bytes()))
}

/// Whether a code is a fault of the service, which a person is to look at.
pub(super) const fn is_fault(code: Code) -> bool {
    matches!(code, Code::Unknown | Code::Internal | Code::DataLoss)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_stand_at_their_numbers() {
        for (number, code) in (0..).zip(CODES) {
            assert_eq!(code as i32, number, "{}", name(code));
        }
    }
}
