//! Edits that touch many records: what they touch, and what they leave for a person to decide.

use dashwright_api::v1;

use super::curation::{about, repeated};
use super::lists::count;
use super::page::{Page, warning};

/// What a bulk edit came to.
pub(crate) fn bulk_edited(answer: &v1::BulkEditDraftResponse, validate_only: bool, columns: usize) -> String {
    let v1::BulkEditDraftResponse { draft, repeated: again, touched, touched_total, remarks, remarks_total } =
        answer;
    let mut page = Page::new(columns);
    let draft = draft.clone().unwrap_or_default();
    about(&mut page, &draft);
    repeated(&mut page, *again);
    if !again {
        let would = if validate_only { "It would touch" } else { "It touches" };
        page.heading(&format!("{would} {}", count((*touched_total).into(), "record")));
    }
    let rows =
        touched.iter().map(|it| vec![it.record.clone(), becomes(it.kind()).to_owned(), places(&it.fields)]);
    if !touched.is_empty() {
        page.table(&["record", "becomes", "in"], rows.collect());
    }
    and_more(&mut page, touched.len(), *touched_total);
    if !remarks.is_empty() {
        page.heading(&warning("For you to decide"));
    }
    for it in remarks {
        page.line(2, &format!("{}: {} (`{}`)", it.record, left(it.kind()), it.field));
    }
    and_more(&mut page, remarks.len(), *remarks_total);
    let id = &draft.draft_id;
    let next = if validate_only {
        "nothing is changed; the same without --validate-only makes it".to_owned()
    } else {
        format!("next: `dashwright draft show {id}`, `dashwright draft publish {id} --reason TEXT`")
    };
    page.line(0, &next);
    page.finish()
}

fn and_more(page: &mut Page, told: usize, total: u32) {
    let total = usize::try_from(total).unwrap_or(usize::MAX);
    if let Some(more @ 1..) = total.checked_sub(told) {
        page.line(2, &format!("and {more} more"));
    }
}

/// Where in a record, by its fields: of several places in one field, how many.
fn places(paths: &[String]) -> String {
    let mut fields: Vec<(&str, Vec<&str>)> = Vec::new();
    for path in paths {
        let field = path.split(['.', '[']).next().unwrap_or_default();
        match fields.iter_mut().find(|(known, _)| *known == field) {
            Some((_, within)) => within.push(path),
            None => fields.push((field, vec![path])),
        }
    }
    let told = fields.into_iter().map(|(field, within)| match within.as_slice() {
        [only] => (*only).to_owned(),
        several => format!("{field} ({} places)", several.len()),
    });
    told.collect::<Vec<_>>().join(", ")
}

fn becomes(kind: v1::TouchKind) -> &'static str {
    match kind {
        v1::TouchKind::Unspecified => "",
        v1::TouchKind::Made => "made",
        v1::TouchKind::Renamed => "renamed",
        v1::TouchKind::Named => "named anew",
        v1::TouchKind::Follows => "follows the new name",
        v1::TouchKind::Superseded => "superseded",
        v1::TouchKind::NamesSuccessor => "names the successor too",
        v1::TouchKind::Shortened => "ends earlier",
        v1::TouchKind::Discontinued => "discontinued",
        v1::TouchKind::Deleted => "deleted",
        v1::TouchKind::Forgets => "no longer names it",
        v1::TouchKind::Accepts => "expects the answer of now",
    }
}

fn left(kind: v1::BulkRemarkKind) -> &'static str {
    match kind {
        v1::BulkRemarkKind::Unspecified => "",
        v1::BulkRemarkKind::StillInTheBox => "the part is still what lies in this box",
        v1::BulkRemarkKind::NeedsTheRetired => {
            "needs the retired part and no other will do, so that no plan has it"
        }
        v1::BulkRemarkKind::LosesItsSuccessor => {
            "was superseded by the retired part, and nothing takes its place now"
        }
        v1::BulkRemarkKind::HoldsForOneHalf => {
            "did not hold for the whole line, and holds for one half of it now"
        }
        v1::BulkRemarkKind::SharesVinPatterns => {
            "has the same patterns of vehicle identification numbers as the other half"
        }
    }
}

#[cfg(test)]
mod tests {
    use super::places;

    #[test]
    fn places_in_one_field_are_counted() {
        let paths = ["covers.0.pins", "note", "covers.3.pins", "leads[1].joins"].map(str::to_owned);
        assert_eq!(places(&paths), "covers (2 places), note, leads[1].joins");
        assert_eq!(places(&[]), "");
    }
}
