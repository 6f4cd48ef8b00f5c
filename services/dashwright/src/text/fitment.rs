//! The answer to a look-up: what was asked, what the dash takes, by what, what goes on working, what is still open.

use std::collections::BTreeMap;

use dashwright_api::v1;

use super::frame::{self, Asked, names, verdict_text};
use super::page::Page;
use super::{facets, terms};

/// The answer to a question.
pub(crate) fn fitment(
    question: &v1::VehicleQuestion,
    answer: &v1::LookUpFitmentResponse,
    columns: usize,
) -> String {
    let mut page = Page::new(columns);
    let parts: Parts = answer.parts.iter().map(|part| (part.id.as_str(), part)).collect();
    let v1::LookUpFitmentResponse { matches, vin_concerns, candidates, remaining_lines, .. } = answer;
    let remaining_lines = *remaining_lines;
    frame::asked(&mut page, &Asked { question, matches, vin_concerns, candidates, remaining_lines });
    verdict(&mut page, answer);
    if let Some(question) = &answer.question {
        frame::open_question(&mut page, question);
    }
    if let Some(settled) = &answer.settled {
        let several = answer.candidates.len() > 1;
        facets::facets(&mut page, settled, &parts, if several { ", whichever it is" } else { "" });
    }
    for variant in &answer.depends {
        depends(&mut page, variant, answer, &parts);
    }
    named_parts(&mut page, &answer.parts, &parts);
    frame::cautions(&mut page, &answer.cautions);
    frame::rests_on(&mut page, answer.weakest_evidence.as_ref(), answer.revision.as_ref());
    page.finish()
}

/// The parts of an answer by their ids.
pub(super) type Parts<'a> = BTreeMap<&'a str, &'a v1::PartSummary>;

fn verdict(page: &mut Page, answer: &v1::LookUpFitmentResponse) {
    page.heading("Answer");
    page.line(2, &verdict_text(answer.verdict()));
    facets::why(page, &answer.verdict_reasons);
    if !answer.depends.is_empty() {
        page.line(2, "with which parts depends on what is still to be asked");
    }
}

fn depends(page: &mut Page, variant: &v1::Variant, answer: &v1::LookUpFitmentResponse, parts: &Parts<'_>) {
    let only = format!(", only for {}", names(&variant.candidates, &answer.candidates));
    page.heading(&format!("Answer{only}"));
    page.line(2, &verdict_text(variant.verdict()));
    facets::why(page, &variant.verdict_reasons);
    if let Some(facets) = &variant.facets {
        facets::facets(page, facets, parts, &only);
    }
}

fn named_parts(page: &mut Page, named: &[v1::PartSummary], parts: &Parts<'_>) {
    if named.is_empty() {
        return;
    }
    page.heading("Parts named above");
    let rows = named.iter().map(|part| {
        let needs: Vec<_> = part.requires.iter().map(|group| one_of(group, parts)).collect();
        vec![
            part.number.clone(),
            part.brand.clone(),
            part_title(part),
            price(part),
            part.bench_minutes.map(|minutes| format!("{} min", terms::number(minutes))).unwrap_or_default(),
            needs.join("; "),
        ]
    });
    page.table(&["number", "brand", "part", "list price", "bench", "needs too"], rows.collect());
}

/// The title of a part, and what tells it from its like where the title does not.
fn part_title(part: &v1::PartSummary) -> String {
    let v1::PartSummary { title, variant, .. } = part;
    if title.contains(variant.as_str()) { title.clone() } else { format!("{title}; {variant}") }
}

fn one_of(group: &v1::PartGroup, parts: &Parts<'_>) -> String {
    let number = |id: &String| parts.get(id.as_str()).map_or(id.clone(), |part| part.number.clone());
    group.part_ids.iter().map(number).collect::<Vec<_>>().join(" or ")
}

/// The list price of a part and its day.
pub(super) fn price(part: &v1::PartSummary) -> String {
    let amount = part.price.as_ref().and_then(|price| price.amount.as_ref());
    amount.map_or("no price".to_owned(), |amount| amount.text.clone())
}
