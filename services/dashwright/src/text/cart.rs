//! Carts, and lists of radios and vehicles.

use dashwright_api::v1;

use super::facets::why;
use super::fitment::Parts;
use super::frame::{self, Asked, LABEL, names, verdict_text};
use super::page::{Page, bad, good, warning};
use super::pieces::total_text;
use super::{terms, what_was_read};

/// A cart that was checked.
pub(crate) fn cart(question: &v1::VehicleQuestion, answer: &v1::CheckCartResponse, columns: usize) -> String {
    let mut page = Page::new(columns);
    let v1::CheckCartResponse { matches, vin_concerns, candidates, remaining_lines, .. } = answer;
    let remaining_lines = *remaining_lines;
    let parts: Parts<'_> = answer.parts.iter().map(|part| (part.id.as_str(), part)).collect();
    frame::asked(&mut page, &Asked { question, matches, vin_concerns, candidates, remaining_lines });
    let radio =
        answer.radio.as_ref().map(|radio| format!("{} {} (radio/{})", radio.brand, radio.model, radio.id));
    let none = || warning("none: name one with --radio, or put it into the cart");
    page.labelled(2, "radio", LABEL, &radio.unwrap_or_else(none));
    page.heading("Cart");
    page.line(2, &verdict(answer.verdict()));
    let rows = answer.lines.iter().enumerate().map(|(number, line)| {
        let serves: Vec<String> = line.serves().map(terms::need).collect();
        let title = parts.get(line.part_id.as_str()).map(|part| part.title.clone()).unwrap_or_default();
        vec![(number + 1).to_string(), line.item.clone(), title, line.text.clone(), serves.join(", ")]
    });
    page.table(&["line", "item", "part", "", "for"], rows.collect());
    for (number, line) in answer.lines.iter().enumerate() {
        line_remarks(&mut page, number + 1, line);
    }
    if let Some(question) = &answer.question {
        frame::open_question(&mut page, question);
    }
    for completion in &answer.completions {
        let several = answer.completions.len() > 1;
        let only = if several {
            format!(", for {}", names(&completion.candidates, candidates))
        } else {
            String::new()
        };
        self::completion(&mut page, completion, &parts, &only);
    }
    page.heading("Rests on");
    page.labelled(2, "dataset", LABEL, &what_was_read(answer.revision.as_ref()));
    page.finish()
}

fn line_remarks(page: &mut Page, number: usize, line: &v1::CheckedLine) {
    if !line.successor_part_id.is_empty() {
        let text =
            format!("line {number}: {} has taken the place of {}", line.successor_part_id, line.part_id);
        page.line(2, &warning(&text));
    }
    if !line.known_part_ids.is_empty() {
        let text =
            format!("line {number}: several parts have this number: {}", line.known_part_ids.join(", "));
        page.line(2, &warning(&text));
    }
    if !line.reasons.is_empty() {
        page.line(2, &format!("line {number}:"));
        why(page, &line.reasons);
    }
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

fn completion(page: &mut Page, completion: &v1::Completion, parts: &Parts<'_>, only: &str) {
    page.heading(&format!("To add{only}"));
    page.line(2, &verdict_text(completion.verdict()));
    why(page, &completion.verdict_reasons);
    let number = |id: &String| parts.get(id.as_str()).map_or_else(|| id.clone(), |part| part.number.clone());
    let rows = completion.add_part_ids.iter().map(|id| {
        let part = parts.get(id.as_str());
        let title = part.map(|part| part.title.clone()).unwrap_or_default();
        vec![number(id), title, part.map(|part| super::fitment::price(part)).unwrap_or_default()]
    });
    page.table(&["number", "part", "list price"], rows.collect());
    match (&completion.total, completion.add_part_ids.is_empty()) {
        (Some(_), true) => page.line(2, &good("nothing")),
        (Some(total), false) => page.labelled(2, "in all", LABEL, &total_text(total)),
        (None, _) => {}
    }
    if let Some(v1::CheaperList { part_ids, price, than }) = &completion.cheaper {
        let numbers: Vec<String> = part_ids.iter().map(number).collect();
        let text =
            |money: &Option<v1::Money>| money.as_ref().map(|money| money.text.clone()).unwrap_or_default();
        let hint = format!("from scratch {}: {} instead of {}", numbers.join(" + "), text(price), text(than));
        page.labelled(2, "cheaper", LABEL, &hint);
    }
}

/// Radios for a vehicle.
pub(crate) fn radios(answer: &v1::ListRadiosForVehicleResponse, last: bool, columns: usize) -> String {
    let mut page = Page::new(columns);
    let rows = answer.radios.iter().map(|row| {
        let radio = row.radio.clone().unwrap_or_default();
        vec![
            radio.id,
            format!("{} {}", radio.brand, radio.model),
            terms::verdict(row.verdict()).to_owned(),
            span(row.least.as_ref(), row.most.as_ref()),
        ]
    });
    page.table(&["radio", "", "verdict", "parts"], rows.collect());
    if last {
        if !answer.next_page_token.is_empty() {
            page.line(0, &format!("there are more: say --all, or --page-token {}", answer.next_page_token));
        }
        page.line(0, &what_was_read(answer.revision.as_ref()));
    }
    page.finish()
}

fn span(least: Option<&v1::Total>, most: Option<&v1::Total>) -> String {
    let price = |total: Option<&v1::Total>| Some(total?.price.as_ref()?.text.clone());
    match (price(least), price(most)) {
        (Some(least), Some(most)) if least != most => format!("{least} to {most}"),
        (Some(price), _) | (None, Some(price)) => price,
        (None, None) => String::new(),
    }
}

/// Vehicles that a radio goes into.
pub(crate) fn vehicles_for_radio(
    answer: &v1::ListVehiclesForRadioResponse,
    last: bool,
    columns: usize,
) -> String {
    let rows = answer.vehicles.iter().map(|row| {
        let verdict = terms::verdict(row.verdict()).to_owned();
        let mut cells = vehicle(row.vehicle.as_ref());
        cells.extend([verdict, span(row.total.as_ref(), None)]);
        cells
    });
    let (token, revision) = (&answer.next_page_token, answer.revision.as_ref());
    vehicles(&["verdict", "parts"], rows.collect(), (last, token, revision), columns)
}

/// Vehicles that a part serves.
pub(crate) fn vehicles_for_part(
    answer: &v1::ListVehiclesForPartResponse,
    last: bool,
    columns: usize,
) -> String {
    let rows = answer.vehicles.iter().map(|row| {
        let needs: Vec<String> = row.serves().map(terms::need).collect();
        let mut cells = vehicle(row.vehicle.as_ref());
        cells.push(needs.join(", "));
        cells
    });
    let (token, revision) = (&answer.next_page_token, answer.revision.as_ref());
    vehicles(&["for"], rows.collect(), (last, token, revision), columns)
}

fn vehicle(candidate: Option<&v1::Candidate>) -> Vec<String> {
    let Some(it) = candidate else { return vec![String::new(); 3] };
    let years = format!("{}-{}", it.first_year, it.last_year);
    vec![it.vehicle_id.clone(), format!("{} {} {years}", it.make, it.model), it.audio_option.clone()]
}

fn vehicles(
    header: &[&str],
    rows: Vec<Vec<String>>,
    (last, token, revision): (bool, &str, Option<&v1::DatasetRevision>),
    columns: usize,
) -> String {
    let mut page = Page::new(columns);
    let header: Vec<&str> = ["vehicle line", "", "audio"].iter().chain(header).copied().collect();
    if rows.is_empty() && last {
        page.line(0, "none");
    }
    page.table(&header, rows);
    if last {
        if !token.is_empty() {
            page.line(0, &format!("there are more: say --all, or --page-token {token}"));
        }
        page.line(0, &what_was_read(revision));
    }
    page.finish()
}
