//! Refusals as a person reads them.

use std::collections::HashMap;

use tonic::{Code, Status};
use tonic_types::{ErrorDetails, StatusExt as _};

use super::Refusal;

fn refusal(code: Code, message: &str, details: ErrorDetails) -> Refusal {
    Refusal::of(&Status::with_error_details(code, message, details))
}

fn reason(reason: &str, metadata: &[(&str, &str)]) -> ErrorDetails {
    let metadata: HashMap<_, _> =
        metadata.iter().map(|(key, value)| ((*key).to_owned(), (*value).to_owned())).collect();
    ErrorDetails::with_error_info(reason, "dashwright", metadata)
}

#[test]
fn every_violated_field_is_told_with_its_argument() {
    let mut details = reason("FIELDS_INVALID", &[]);
    details.add_bad_request_violation("vehicle.vin", "has 12 characters");
    details.add_bad_request_violation("vehicle.model_year", "is outside 1950 to 2059");
    let refusal = refusal(Code::InvalidArgument, "2 fields of the request are malformed", details);
    assert_eq!(
        refusal.details(),
        ["`vehicle.vin` has 12 characters", "`vehicle.model_year` is outside 1950 to 2059"]
    );
    assert_eq!(refusal.next().as_deref(), Some("correct --vin, --year"));
    assert_eq!((refusal.code.as_str(), refusal.reason.as_str()), ("INVALID_ARGUMENT", "FIELDS_INVALID"));
}

#[test]
fn what_is_wrong_in_an_order_or_a_cart_names_its_argument_once() {
    let mut details = reason("FIELDS_INVALID", &[]);
    for field in [
        "radio_id",
        "order.wishes.0.weight",
        "order.wishes.2.need",
        "order.excluded_part_ids.1",
        "order.currency",
        "lines.4.quantity",
        "order.unheard",
    ] {
        details.add_bad_request_violation(field, "is wrong");
    }
    let refusal = refusal(Code::InvalidArgument, "fields of the request are malformed", details);
    let next = "correct --radio, --wish, --exclude, --currency, line 5 of the cart";
    assert_eq!(refusal.next().as_deref(), Some(next));
}

#[test]
fn what_the_message_says_is_not_repeated() {
    let details = reason("WORD_UNKNOWN", &[("attribute", "model"), ("nearest", "One, Two")]);
    let said = refusal(Code::NotFound, "no model `x` is known; the nearest: One, Two", details.clone());
    assert_eq!(said.details(), Vec::<String>::new());
    let unsaid = refusal(Code::NotFound, "no model `x` is known", details);
    assert_eq!(unsaid.details(), ["the nearest known: One, Two"]);
}

#[test]
fn an_overloaded_server_says_when_to_try_again() {
    let mut details = reason("OVERLOADED", &[("most_calls", "2")]);
    details.set_retry_info(Some(std::time::Duration::from_millis(250)));
    let refusal = refusal(Code::Unavailable, "2 calls are in flight", details);
    assert_eq!(refusal.next().as_deref(), Some("try again after 250 ms"));
}

#[test]
fn a_status_without_details_is_still_a_refusal() {
    let refusal = refusal(Code::Unimplemented, "", ErrorDetails::new());
    assert_eq!(refusal.reason, "");
    assert!(refusal.next().is_some_and(|next| next.contains("another version")));
}

#[test]
fn who_may_not_change_something_is_told_what_to_do() {
    for (code, reason_of, said) in [
        (Code::NotFound, "DRAFT_NOT_OPEN", "dashwright draft list"),
        (Code::Aborted, "DRAFT_OUTDATED", "begin another draft"),
        (Code::FailedPrecondition, "WRITES_STOPPED", "starts the service again"),
        (Code::FailedPrecondition, "FIRST_KEY_NOT_OPERATOR", "--role operator"),
    ] {
        let refusal = refusal(code, "no", reason(reason_of, &[]));
        assert!(refusal.next().unwrap().contains(said), "{reason_of}");
    }
    assert_eq!(refusal(Code::Internal, "no", reason("ANOTHER", &[])).next(), None);
    let mut details = reason("FIELDS_INVALID", &[]);
    details.add_bad_request_violation("change.reason", "is missing");
    details.add_bad_request_violation("puts[7]", "is no record");
    let refusal = refusal(Code::InvalidArgument, "no", details);
    assert_eq!(refusal.next().as_deref(), Some("correct --reason, --put"));
}
