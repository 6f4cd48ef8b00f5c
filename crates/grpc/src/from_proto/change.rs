//! What every change carries, and what changes are made of.

use std::collections::BTreeSet;

use dashwright_api::v1;
use dashwright_engine::keys::{Caller, Role, moment};
use dashwright_engine::{Delete, Expected, Filter, NewKey, Origin, Put, Revert};
use dashwright_model::exchange;
use dashwright_model::record::{Record, RecordKey};
use dashwright_quantity::MAX_LABEL_CHARS;

use super::{FieldFaults, FieldProblem};

/// The most bytes of a reason: what an entry of the trail takes.
const REASON_BYTES: usize = 2_000;

/// Who asks for a change, why, and in which request.
pub(crate) fn change(
    message: Option<v1::Change>,
    caller: &Caller,
    faults: &mut FieldFaults,
) -> Option<Origin> {
    let v1::Change { request_id, reason } = faults.take("change", message.ok_or(FieldProblem::Missing))?;
    let request_id = faults.take("change.request_id", uuid(request_id));
    let reason = faults.take("change.reason", reason_of(reason));
    Some(Origin { actor: caller.actor(), reason: reason?, request_id: Some(request_id?) })
}

/// The same, where it need not be said why.
pub(crate) fn change_without_reason(
    message: Option<v1::Change>,
    caller: &Caller,
    faults: &mut FieldFaults,
) -> Option<Origin> {
    match message {
        Some(v1::Change { request_id, reason }) if reason.trim().is_empty() => {
            let request_id = faults.take("change.request_id", uuid(request_id))?;
            Some(Origin { actor: caller.actor(), reason: String::new(), request_id: Some(request_id) })
        }
        message => change(message, caller, faults),
    }
}

/// Why something is done.
pub(crate) fn reason_of(text: String) -> Result<String, FieldProblem> {
    if text.trim().is_empty() {
        return Err(FieldProblem::Missing);
    }
    if text.len() > REASON_BYTES {
        return Err(FieldProblem::LongText { bytes: text.len(), most: REASON_BYTES });
    }
    Ok(text)
}

/// A UUID in its usual form (RFC 9562); letters may be large.
fn uuid(text: String) -> Result<String, FieldProblem> {
    const HYPHENS: [usize; 4] = [8, 13, 18, 23];
    const LENGTH: usize = 36;
    let fits = |(place, byte): (usize, u8)| {
        if HYPHENS.contains(&place) { byte == b'-' } else { byte.is_ascii_hexdigit() }
    };
    if text.is_empty() {
        Err(FieldProblem::Missing)
    } else if text.len() == LENGTH && text.bytes().enumerate().all(fits) {
        Ok(text.to_ascii_lowercase())
    } else {
        Err(FieldProblem::NoUuid)
    }
}

/// The id of a draft; one that is no id of any draft is found out later.
pub(crate) fn draft_id(text: String, faults: &mut FieldFaults) -> Option<String> {
    draft_id_in("draft_id", text, faults)
}

/// The same, where it stands in another field.
pub(crate) fn draft_id_in(path: &str, text: String, faults: &mut FieldFaults) -> Option<String> {
    let known = if text.is_empty() { Err(FieldProblem::Missing) } else { Ok(text) };
    faults.take(path, known)
}

/// What an edit puts and deletes.
pub(crate) fn edits(
    puts: Vec<v1::RecordPut>,
    deletes: Vec<v1::RecordDelete>,
    faults: &mut FieldFaults,
) -> (Vec<Put>, Vec<Delete>) {
    if puts.is_empty() && deletes.is_empty() {
        faults.take::<()>("puts", Err(FieldProblem::Missing));
    }
    let (mut put, mut deleted, mut keys) = (Vec::new(), Vec::new(), BTreeSet::new());
    for (place, v1::RecordPut { json, etag }) in puts.into_iter().enumerate() {
        let path = format!("puts[{place}].json");
        let Some(record) = faults.take(&path, record_of(&json)) else { continue };
        let Some(key) = faults.take(&path, record.key().map_err(FieldProblem::Id)) else { continue };
        if keys.insert(key) {
            put.push(Put { record, expected: expected(etag) });
        } else {
            faults.take::<()>(&path, Err(FieldProblem::Twice));
        }
    }
    for (place, v1::RecordDelete { record, etag }) in deletes.into_iter().enumerate() {
        let path = format!("deletes[{place}]");
        if etag.is_empty() {
            faults.take::<()>(&format!("{path}.etag"), Err(FieldProblem::Missing));
        }
        let Some(key) = faults.take(&format!("{path}.record"), record_key_text(&record)) else { continue };
        if keys.insert(key.clone()) {
            deleted.push(Delete { key, expected: expected(etag) });
        } else {
            faults.take::<()>(&format!("{path}.record"), Err(FieldProblem::Twice));
        }
    }
    (put, deleted)
}

/// What is to be there before a change of a record.
fn expected(etag: String) -> Expected {
    match etag.as_str() {
        "" => Expected::Nothing,
        // As `If-Match: *` of RFC 9110.
        "*" => Expected::Anything,
        _ => Expected::Etag(etag),
    }
}

/// How to go back.
pub(crate) fn revert(number: i32) -> Result<Revert, FieldProblem> {
    match v1::RevertKind::try_from(number) {
        Ok(v1::RevertKind::Unspecified) => Err(FieldProblem::Missing),
        Ok(v1::RevertKind::TakeBack) => Ok(Revert::TakeBack),
        Ok(v1::RevertKind::Content) => Ok(Revert::Content),
        Err(_) => Err(FieldProblem::UnknownTerm { found: number }),
    }
}

/// The number of a revision that was published.
pub(crate) fn revision_number(number: u32, latest: u64, faults: &mut FieldFaults) -> Option<u64> {
    let most = usize::try_from(latest).unwrap_or(usize::MAX);
    let known = match u64::from(number) {
        0 => Err(FieldProblem::Missing),
        known if known <= latest => Ok(known),
        _ => Err(FieldProblem::Above { found: number, most }),
    };
    faults.take("revision", known)
}

/// A record as JSON.
pub(crate) fn record_of(json: &str) -> Result<Record, FieldProblem> {
    exchange::parse_line(json.as_bytes(), 0).map_err(|error| FieldProblem::Record(Box::new(error)))
}

/// A record's key as text.
pub(crate) fn record_key_text(text: &str) -> Result<RecordKey, FieldProblem> {
    text.parse().map_err(|_| FieldProblem::NoKey { found: text.to_owned() })
}

/// A key that is to be made.
pub(crate) fn new_key(holder: String, roles: &[i32], expires_at: String, faults: &mut FieldFaults) -> NewKey {
    let characters = holder.chars().count();
    if holder.trim().is_empty() {
        faults.take::<()>("holder", Err(FieldProblem::Missing));
    } else if characters > MAX_LABEL_CHARS || holder.chars().any(char::is_control) {
        faults.take::<()>("holder", Err(FieldProblem::NoName { most: MAX_LABEL_CHARS }));
    }
    if roles.is_empty() {
        faults.take::<()>("roles", Err(FieldProblem::Missing));
    }
    let named = roles.iter().enumerate();
    let roles = named.filter_map(|(place, number)| faults.take(&format!("roles[{place}]"), role(*number)));
    let roles = roles.collect();
    let expires = (!expires_at.is_empty()).then(|| faults.take("expires_at", time(expires_at))).flatten();
    NewKey { holder, roles, expires }
}

fn role(number: i32) -> Result<Role, FieldProblem> {
    match v1::Role::try_from(number) {
        Ok(v1::Role::Unspecified) => Err(FieldProblem::Missing),
        Ok(v1::Role::Reader) => Ok(Role::Reader),
        Ok(v1::Role::Curator) => Ok(Role::Curator),
        Ok(v1::Role::Publisher) => Ok(Role::Publisher),
        Ok(v1::Role::Auditor) => Ok(Role::Auditor),
        Ok(v1::Role::Operator) => Ok(Role::Operator),
        Err(_) => Err(FieldProblem::UnknownTerm { found: number }),
    }
}

/// A time, kept as it was written.
fn time(text: String) -> Result<String, FieldProblem> {
    if moment(&text).is_some() { Ok(text) } else { Err(FieldProblem::Time { found: text }) }
}

/// Which entries of the trail are asked for.
pub(crate) fn filter(request: &v1::ListEntriesRequest, faults: &mut FieldFaults) -> Filter {
    let v1::ListEntriesRequest {
        record,
        actor,
        kind,
        draft_id,
        from_time,
        to_time,
        latest_first: _,
        with_payload: _,
        page_size: _,
        page_token: _,
    } = request;
    let some = |text: &String| (!text.is_empty()).then(|| text.clone());
    if !record.is_empty() {
        faults.take("record", record_key_text(record));
    }
    let mut at = |path: &str, text: &String| some(text).and_then(|text| faults.take(path, time(text)));
    Filter {
        from_time: at("from_time", from_time),
        to_time: at("to_time", to_time),
        record: some(record),
        actor: some(actor),
        kind: some(kind),
        draft: some(draft_id),
    }
}
