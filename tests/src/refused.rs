//! A refusal as a caller reads it: the status with its details taken apart.

use std::collections::BTreeMap;

use tonic::{Code, Status};
use tonic_types::StatusExt as _;

/// What a caller can read from a status.
#[derive(Debug, PartialEq, Eq)]
pub struct Refused {
    /// The code.
    pub code: Code,
    /// The domain of the ErrorInfo.
    pub domain: String,
    /// The reason of the ErrorInfo; empty when there is none.
    pub reason: String,
    /// The metadata of the ErrorInfo.
    pub metadata: BTreeMap<String, String>,
    /// The violated fields of the BadRequest.
    pub paths: Vec<String>,
    /// Whether there is a RetryInfo that names a delay.
    pub retry: bool,
    /// Bytes of all details together.
    pub detail_bytes: usize,
}

impl Refused {
    /// Takes a status apart.
    #[must_use]
    pub fn of(status: &Status) -> Self {
        let details = status.get_error_details();
        let info = details.error_info();
        let violations = details.bad_request().map(|bad| bad.field_violations.as_slice()).unwrap_or_default();
        Self {
            code: status.code(),
            domain: info.map(|info| info.domain.clone()).unwrap_or_default(),
            reason: info.map(|info| info.reason.clone()).unwrap_or_default(),
            metadata: info.map(|info| info.metadata.clone().into_iter().collect()).unwrap_or_default(),
            paths: violations.iter().map(|violation| violation.field.clone()).collect(),
            retry: details.retry_info().is_some_and(|retry| retry.retry_delay.is_some()),
            detail_bytes: status.details().len(),
        }
    }

    /// The names of the metadata, sorted.
    #[must_use]
    pub fn keys(&self) -> Vec<&str> {
        self.metadata.keys().map(String::as_str).collect()
    }
}
