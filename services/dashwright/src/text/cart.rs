//! A cart that was checked: its verdict, what each line is worth, what is lacking.

use dashwright_api::v1;

use super::facets::{joined, why};
use super::fitment::{Parts, price};
use super::frame::{self, Asked, LABEL, names, verdict_text};
use super::page::{Page, bad, good, warning};
use super::pieces::total_text;
use super::{terms, what_was_read};

/// A cart that was checked.
pub(crate) fn cart(question: &v1::VehicleQuestion, answer: &v1::CheckCartResponse, columns: usize) -> String {
    let mut page = Page::new(columns);
    let parts: Parts<'_> = answer.parts.iter().map(|part| (part.id.as_str(), part)).collect();
    head(&mut page, question, answer);
    lines(&mut page, answer, &parts);
    if let Some(question) = &answer.question {
        frame::open_question(&mut page, question);
    }
    completions(&mut page, answer, &parts);
    page.blank();
    page.line(0, &what_was_read(answer.revision.as_ref()));
    page.finish()
}

/// The verdict, and what it is a verdict on.
fn head(page: &mut Page, question: &v1::VehicleQuestion, answer: &v1::CheckCartResponse) {
    page.heading("Cart");
    page.line(2, &verdict(answer.verdict()));
    let radio = answer.radio.as_ref();
    let radio = radio.map(|radio| format!("{} {} (radio/{})", radio.brand, radio.model, radio.id));
    let none = || warning("none: name one with --radio, or put it into the cart");
    page.labelled(2, "radio", LABEL, &radio.unwrap_or_else(none));
    let v1::CheckCartResponse { matches, vin_concerns, candidates, remaining_lines, .. } = answer;
    // What was taken as it was typed is clear from the vehicles.
    let doubtful = matches.iter().filter(|found| found.kind() != v1::MatchKind::Exact);
    let matches: Vec<_> = doubtful.cloned().collect();
    let (matches, remaining_lines) = (matches.as_slice(), *remaining_lines);
    frame::taken(page, &Asked { question, matches, vin_concerns, candidates, remaining_lines });
}

fn verdict(verdict: v1::CartVerdict) -> String {
    use v1::CartVerdict as V;
    match verdict {
        V::Complete => good("complete: everything is there, and nothing too much"),
        V::CompleteWithSurplus => warning("complete, with lines that are of no use"),
        V::Incomplete => warning("something is lacking"),
        V::Depends => warning("depends on what is still open"),
        V::NoWay => bad("nothing makes an installation of it"),
        V::Unspecified => "not stated".to_owned(),
    }
}

fn lines(page: &mut Page, answer: &v1::CheckCartResponse, parts: &Parts<'_>) {
    if answer.lines.is_empty() {
        return;
    }
    page.heading("Lines");
    let rows = answer.lines.iter().enumerate().map(|(place, line)| {
        let title = parts.get(line.part_id.as_str()).map(|part| part.title.clone());
        let title = title.or_else(|| (!line.radio_id.is_empty()).then(|| format!("radio/{}", line.radio_id)));
        let serves: Vec<String> = line.serves().map(terms::need).collect();
        let worth = format!("{}{}", line.text, beside(line));
        vec![(place + 1).to_string(), line.item.clone(), title.unwrap_or_default(), worth, serves.join(", ")]
    });
    page.table(&["line", "item", "", "what it is worth", "for"], rows.collect());
    for (place, line) in answer.lines.iter().enumerate() {
        remarks(page, place + 1, line);
    }
}

/// The other line that a line is in conflict with or in the box of, unless its text says so.
fn beside(line: &v1::CheckedLine) -> String {
    let other = line.other_line.map(|place| format!("line {}", place + 1));
    other.filter(|other| !line.text.contains(other)).map(|other| format!(" ({other})")).unwrap_or_default()
}

fn remarks(page: &mut Page, number: usize, line: &v1::CheckedLine) {
    let v1::CheckedLine { part_id, successor_part_id, known_part_ids, reasons, .. } = line;
    if !successor_part_id.is_empty() {
        page.line(
            2,
            &warning(&format!("line {number}: {successor_part_id} has taken the place of {part_id}")),
        );
    }
    if !known_part_ids.is_empty() {
        let known = known_part_ids.join(", ");
        page.line(2, &warning(&format!("line {number}: say which of these it is, by its id: {known}")));
    }
    if !reasons.is_empty() {
        page.line(2, &format!("line {number}: {}", joined(reasons)));
    }
}

/// What is lacking for each group of vehicles; where there are many groups, a row each.
fn completions(page: &mut Page, answer: &v1::CheckCartResponse, parts: &Parts<'_>) {
    let who = |completion: &v1::Completion| names(&completion.candidates, &answer.candidates);
    match answer.completions.as_slice() {
        [only] => to_add(page, only, parts, ""),
        few if few.len() <= frame::MOST_VARIANTS => {
            few.iter().for_each(|it| to_add(page, it, parts, &format!(", for {}", who(it))));
        }
        many => {
            page.heading("To add, by vehicle");
            let rows = many.iter().map(|it| {
                let total = it.total.as_ref().map(total_text).unwrap_or_default();
                vec![who(it), terms::verdict(it.verdict()).to_owned(), total]
            });
            page.table(&["for", "verdict", "to add"], rows.collect());
            page.line(2, "answer the question to see the parts");
        }
    }
}

/// What completes the cart, and whether a list from scratch costs less.
fn to_add(page: &mut Page, completion: &v1::Completion, parts: &Parts<'_>, only: &str) {
    let v1::Completion { candidates: _, verdict: _, verdict_reasons, add_part_ids, total, cheaper } =
        completion;
    page.heading(&format!("To add{only}"));
    page.line(2, &verdict_text(completion.verdict()));
    why(page, verdict_reasons);
    let number = |id: &String| parts.get(id.as_str()).map_or_else(|| id.clone(), |part| part.number.clone());
    let rows = add_part_ids.iter().map(|id| match parts.get(id.as_str()) {
        Some(part) => vec![number(id), part.brand.clone(), part.title.clone(), price(part)],
        None => vec![id.clone()],
    });
    page.table(&["number", "brand", "part", "list price"], rows.collect());
    match (total, add_part_ids.is_empty()) {
        (Some(_), true) => page.line(2, &good("nothing")),
        (Some(total), false) => page.labelled(2, "in all", LABEL, &total_text(total)),
        (None, _) => {}
    }
    if let Some(v1::CheaperList { part_ids, price, than }) = cheaper {
        let numbers: Vec<String> = part_ids.iter().map(number).collect();
        let text = |money: &Option<v1::Money>| money.as_ref().map(|it| it.text.clone()).unwrap_or_default();
        let list = format!("{}: {} instead of {}", numbers.join(" + "), text(price), text(than));
        page.labelled(2, "cheaper", LABEL, &format!("from scratch, {list}"));
    }
}
