//! Choices, records, search hits and what is served, as tables.

use dashwright_api::v1;

use super::page::Page;
use super::{terms, what_was_read};

/// The next choices of a vehicle.
pub(crate) fn choices(answer: &v1::ListChoicesResponse, last: bool, columns: usize) -> String {
    let mut page = Page::new(columns);
    for found in &answer.matches {
        page.line(0, &terms::matched(found));
    }
    for concern in &answer.vin_concerns {
        page.line(0, &format!("number: {}", concern.text));
    }
    let lines = count(answer.remaining_lines.into(), "vehicle line");
    if answer.attribute() == v1::Attribute::Unspecified {
        page.line(0, &format!("{lines} and one factory audio option: nothing is left to choose"));
    } else {
        page.heading(&format!("{}, of {lines}", terms::attribute(answer.attribute())));
        let rows = answer.choices.iter().map(|choice| {
            let v1::Choice { value, title, how_to_tell, lines } = choice;
            let title = if title == value { String::new() } else { title.clone() };
            vec![value.clone(), title, lines.to_string(), how_to_tell.clone()]
        });
        page.table(&["value", "", "lines", "how to tell"], rows.collect());
        if last {
            let option = terms::option(answer.attribute());
            page.line(0, &format!("next: add {option} VALUE to the same command"));
        }
    }
    more(&mut page, &answer.next_page_token, last);
    if last {
        page.line(0, &what_was_read(answer.revision.as_ref()));
    }
    page.finish()
}

/// The records of a kind.
pub(crate) fn records(answer: &v1::ListRecordsResponse, last: bool, columns: usize) -> String {
    let mut page = Page::new(columns);
    let rows = answer.records.iter().map(|record| {
        let evidence = record.evidence.as_ref().map(|evidence| terms::grade(evidence.grade()));
        let key = record.key.as_ref().map(terms::record).unwrap_or_default();
        vec![key, record.title.clone(), record.changed_in_revision.to_string(), evidence.unwrap_or_default()]
    });
    page.table(&["record", "title", "changed in", "evidence"], rows.collect());
    if last {
        page.line(0, &format!("{} in all", count(answer.total, "record")));
    }
    more(&mut page, &answer.next_page_token, last);
    if last {
        page.line(0, &what_was_read(answer.revision.as_ref()));
    }
    page.finish()
}

/// Records that resemble some words.
pub(crate) fn hits(answer: &v1::SearchRecordsResponse, columns: usize) -> String {
    let mut page = Page::new(columns);
    let rows = answer.hits.iter().map(|hit| {
        let v1::SearchHit { key, title, similarity_percent, matched } = hit;
        let key = key.as_ref().map(terms::record).unwrap_or_default();
        vec![key, title.clone(), format!("{similarity_percent} %"), matched.clone()]
    });
    page.table(&["record", "title", "alike", "by"], rows.collect());
    if answer.hits.is_empty() {
        page.line(0, "no record resembles these words");
    }
    page.line(0, &what_was_read(answer.revision.as_ref()));
    page.finish()
}

/// One record.
pub(crate) fn record(answer: &v1::GetRecordResponse, columns: usize) -> String {
    let mut page = Page::new(columns);
    let record = answer.record.clone().unwrap_or_default();
    let v1::Record { key, title, changed_in_revision, etag, evidence, json } = &record;
    page.heading(&key.as_ref().map(terms::record).unwrap_or_default());
    page.labelled(2, "title", LABEL, title);
    page.labelled(2, "changed in", LABEL, &format!("revision {changed_in_revision}, etag {etag}"));
    if let Some(evidence) = evidence {
        page.labelled(2, "evidence", LABEL, &terms::evidence(evidence));
    }
    page.labelled(2, "read from", LABEL, &what_was_read(answer.revision.as_ref()));
    page.finish() + &indented(json)
}

/// What is served.
pub(crate) fn info(server: &str, answer: &v1::GetDatasetInfoResponse, columns: usize) -> String {
    let mut page = Page::new(columns);
    let v1::GetDatasetInfoResponse {
        revision,
        incarnation,
        published_at,
        counts,
        limits,
        server_version,
        writes: _,
    } = answer;
    page.heading("Dataset");
    page.labelled(2, "served by", LABEL, &format!("{server}, version {server_version}"));
    page.labelled(2, "read from", LABEL, &what_was_read(revision.as_ref()));
    if let Some(revision) = revision {
        page.labelled(2, "content", LABEL, &format!("SHA-256 {}", revision.content_hash));
    }
    page.labelled(2, "incarnation", LABEL, incarnation);
    page.labelled(2, "published", LABEL, published_at);
    page.labelled(2, "changes", LABEL, terms::writes(answer.writes()));
    page.heading("Records");
    let rows = counts.iter().map(|count| vec![terms::record_kind(count.kind()), count.count.to_string()]);
    page.table(&["kind", "records"], rows.collect());
    page.heading("Limits");
    let mut limits: Vec<_> = limits.iter().collect();
    limits.sort();
    let rows = limits.into_iter().map(|(name, value)| vec![name.clone(), value.to_string()]);
    page.table(&["limit", "value"], rows.collect());
    page.finish()
}

/// JSON over many lines, its keys in their order; as it is where it is none.
pub(crate) fn indented(json: &str) -> String {
    let mut wide = Vec::new();
    let mut reader = serde_json::Deserializer::from_str(json);
    let copied = serde_transcode::transcode(&mut reader, &mut serde_json::Serializer::pretty(&mut wide));
    match (copied, String::from_utf8(wide)) {
        (Ok(()), Ok(text)) => text + "\n",
        _ => format!("{json}\n"),
    }
}

/// The width of labels.
const LABEL: usize = 11;

/// That there is another page, where somebody may not see it.
pub(super) fn more(page: &mut Page, token: &str, last: bool) {
    if last && !token.is_empty() {
        page.line(0, &format!("there are more: say --all, or --page-token {token}"));
    }
}

/// A number of things.
pub(super) fn count(number: u64, what: &str) -> String {
    if number == 1 { format!("1 {what}") } else { format!("{number} {what}s") }
}
