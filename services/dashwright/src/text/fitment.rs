//! The answer to a look-up: what was asked, what the dash takes, by what, what goes on working, what is still open.

use std::collections::BTreeMap;

use dashwright_api::v1;

use super::page::{Page, bad, good, warning};
use super::{facets, terms, what_was_read};

/// Candidates and choices that are shown one by one; `--json` has them all.
const MOST_SHOWN: usize = 24;
/// The width of labels.
const LABEL: usize = 11;

/// The answer to a question.
pub(crate) fn fitment(
    question: &v1::VehicleQuestion,
    answer: &v1::LookUpFitmentResponse,
    columns: usize,
) -> String {
    let mut page = Page::new(columns);
    let parts: Parts = answer.parts.iter().map(|part| (part.id.as_str(), part)).collect();
    asked(&mut page, question, answer);
    verdict(&mut page, answer);
    if let Some(question) = &answer.question {
        open_question(&mut page, question);
    }
    if let Some(settled) = &answer.settled {
        let several = answer.candidates.len() > 1;
        facets::facets(&mut page, settled, &parts, if several { ", whichever it is" } else { "" });
    }
    for variant in &answer.depends {
        depends(&mut page, variant, answer, &parts);
    }
    named_parts(&mut page, &answer.parts, &parts);
    cautions(&mut page, &answer.cautions);
    rests_on(&mut page, answer);
    page.finish()
}

/// The parts of an answer by their ids.
pub(super) type Parts<'a> = BTreeMap<&'a str, &'a v1::PartSummary>;

fn asked(page: &mut Page, question: &v1::VehicleQuestion, answer: &v1::LookUpFitmentResponse) {
    page.heading("Asked");
    page.labelled(2, "question", LABEL, &in_words(question));
    let mut label = "taken";
    for found in &answer.matches {
        page.labelled(2, label, LABEL, &terms::matched(found));
        label = "";
    }
    for concern in &answer.vin_concerns {
        page.labelled(2, "number", LABEL, &warning(&concern.text));
    }
    for (number, candidate) in answer.candidates.iter().take(MOST_SHOWN).enumerate() {
        let label = if number == 0 { "vehicles" } else { "" };
        page.labelled(2, label, LABEL, &format!("{}. {}", number + 1, candidate_text(candidate)));
    }
    let shown = answer.candidates.len().min(MOST_SHOWN);
    if let Some(more @ 1..) = answer.candidates.len().checked_sub(shown) {
        page.labelled(2, "", LABEL, &format!("and {more} more, with --json"));
    }
    if answer.candidates.is_empty() && answer.remaining_lines > 0 {
        let lines = answer.remaining_lines;
        page.labelled(2, "vehicles", LABEL, &format!("{lines} vehicle lines remain, too many to weigh"));
    }
}

/// What was asked, as it was given.
fn in_words(question: &v1::VehicleQuestion) -> String {
    let v1::VehicleQuestion {
        vin,
        model_year,
        make,
        model,
        trim,
        build_month,
        market,
        drive_side: _,
        body,
        drivetrain,
        audio_option,
        words,
    } = question;
    let year = if *model_year == 0 { String::new() } else { model_year.to_string() };
    let side = match question.drive_side() {
        v1::DriveSide::Unspecified => "",
        v1::DriveSide::Left => "left",
        v1::DriveSide::Right => "right",
    };
    let given = [
        ("", words.as_str()),
        ("number ", vin),
        ("model year ", &year),
        ("make ", make),
        ("model ", model),
        ("trim ", trim),
        ("built ", build_month),
        ("market ", market),
        ("driver on the ", side),
        ("body ", body),
        ("drivetrain ", drivetrain),
        ("audio option ", audio_option),
    ];
    let given = given.iter().filter(|(_, value)| !value.is_empty());
    let given: Vec<_> = given.map(|(name, value)| format!("{name}{value}")).collect();
    if given.is_empty() { "nothing".to_owned() } else { given.join(", ") }
}

fn candidate_text(candidate: &v1::Candidate) -> String {
    let v1::Candidate {
        vehicle_id: _,
        make,
        model,
        first_year,
        last_year,
        distinction,
        audio_option,
        audio_title,
        how_to_tell: _,
    } = candidate;
    let years =
        if first_year == last_year { first_year.to_string() } else { format!("{first_year} to {last_year}") };
    let distinction = if distinction.is_empty() { String::new() } else { format!(", {distinction}") };
    format!("{make} {model}, {years}{distinction}; audio {audio_option}: {audio_title}")
}

fn verdict(page: &mut Page, answer: &v1::LookUpFitmentResponse) {
    page.heading("Answer");
    page.line(2, &verdict_text(answer.verdict()));
    facets::why(page, &answer.verdict_reasons);
    if !answer.depends.is_empty() {
        page.line(2, "with which parts depends on what is still to be asked");
    }
}

/// A verdict, coloured by what it means for the customer.
pub(super) fn verdict_text(verdict: v1::Verdict) -> String {
    let text = terms::verdict(verdict);
    match verdict {
        v1::Verdict::FitsAsIs | v1::Verdict::FitsWithParts => good(text),
        v1::Verdict::CannotFit | v1::Verdict::NoKnownWay => bad(text),
        v1::Verdict::Depends | v1::Verdict::Unknown | v1::Verdict::Unspecified => warning(text),
    }
}

fn depends(page: &mut Page, variant: &v1::Variant, answer: &v1::LookUpFitmentResponse, parts: &Parts<'_>) {
    let only = format!(", only for {}", names(&variant.candidates, answer));
    page.heading(&format!("Answer{only}"));
    page.line(2, &verdict_text(variant.verdict()));
    facets::why(page, &variant.verdict_reasons);
    if let Some(facets) = &variant.facets {
        facets::facets(page, facets, parts, &only);
    }
}

/// Candidates by their numbers as they are shown, counted from 1; a single one also by its audio option.
fn names(candidates: &[u32], answer: &v1::LookUpFitmentResponse) -> String {
    let audio = |place: u32| answer.candidates.get(usize::try_from(place).ok()?);
    match candidates {
        [only] => {
            let audio = audio(*only).map(|it| format!(" (audio {})", it.audio_option));
            format!("{}{}", numbers(candidates), audio.unwrap_or_default())
        }
        _ => numbers(candidates),
    }
}

/// Candidates by their numbers as they are shown, counted from 1.
fn numbers(candidates: &[u32]) -> String {
    if candidates.len() > MOST_SHOWN {
        return format!("{} vehicles", candidates.len());
    }
    let numbers: Vec<_> = candidates.iter().map(|place| (place + 1).to_string()).collect();
    match numbers.split_last() {
        Some((last, [])) => format!("vehicle {last}"),
        Some((last, others)) => format!("vehicles {} and {last}", others.join(", ")),
        None => "none".to_owned(),
    }
}

fn open_question(page: &mut Page, question: &v1::OpenQuestion) {
    page.heading("Still to be asked");
    page.line(2, &warning(&question.text));
    for choice in question.choices.iter().take(MOST_SHOWN) {
        let v1::QuestionChoice { value, title, how_to_tell, candidates } = choice;
        let title = if title == value { String::new() } else { format!(": {title}") };
        let leaves =
            if candidates.is_empty() { String::new() } else { format!(" ({})", numbers(candidates)) };
        page.line(4, &format!("{value}{title}{leaves}"));
        if !how_to_tell.is_empty() {
            page.line(8, &format!("how to tell: {how_to_tell}"));
        }
    }
    if let Some(more @ 1..) = question.choices.len().checked_sub(MOST_SHOWN) {
        page.line(4, &format!("and {more} more: see `dashwright choices`"));
    }
    page.line(2, &format!("ask again with {} VALUE", terms::option(question.attribute())));
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

fn cautions(page: &mut Page, cautions: &[v1::Caution]) {
    if cautions.is_empty() {
        return;
    }
    page.heading("Beware");
    for caution in cautions {
        page.line(2, &format!("- {}", caution.text));
    }
}

fn rests_on(page: &mut Page, answer: &v1::LookUpFitmentResponse) {
    page.heading("Rests on");
    if let Some(weakest) = &answer.weakest_evidence {
        let record = weakest.record.as_ref().map(terms::record).unwrap_or_default();
        let grade = terms::grade(weakest.grade());
        page.labelled(2, "at weakest", LABEL, &format!("{grade}, in {record}"));
    }
    page.labelled(2, "dataset", LABEL, &what_was_read(answer.revision.as_ref()));
    if let Some(revision) = &answer.revision {
        page.labelled(2, "content", LABEL, &format!("SHA-256 {}", revision.content_hash));
    }
}
