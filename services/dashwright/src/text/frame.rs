//! What every answer about a vehicle has: what was asked, the question that is open, cautions, what it rests on.

use dashwright_api::v1;

use super::page::{Page, bad, good, warning};
use super::{terms, what_was_read};

/// Candidates and choices that are shown one by one; `--json` has them all.
const MOST_SHOWN: usize = 24;
/// Variants of an answer that are told one below the other; more are told in a row each, because a person at the counter
/// answers the question rather than reads them.
pub(super) const MOST_VARIANTS: usize = 4;
/// The width of labels.
pub(super) const LABEL: usize = 11;

/// What was asked, and what it was taken for.
pub(super) struct Asked<'a> {
    pub(super) question: &'a v1::VehicleQuestion,
    pub(super) matches: &'a [v1::Match],
    pub(super) vin_concerns: &'a [v1::VinConcern],
    pub(super) candidates: &'a [v1::Candidate],
    pub(super) remaining_lines: u32,
}

/// What was asked, and the vehicles that it leaves possible, with a heading.
pub(super) fn asked(page: &mut Page, answer: &Asked<'_>) {
    page.heading("Asked");
    taken(page, answer);
}

/// What was asked, and the vehicles that it leaves possible.
pub(super) fn taken(page: &mut Page, answer: &Asked<'_>) {
    page.labelled(2, "question", LABEL, &in_words(answer.question));
    let mut label = "taken";
    for found in answer.matches {
        page.labelled(2, label, LABEL, &terms::matched(found));
        label = "";
    }
    for concern in answer.vin_concerns {
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

/// Candidates by their numbers as they are shown, counted from 1, and by their audio option where they have one alike.
pub(super) fn names(places: &[u32], candidates: &[v1::Candidate]) -> String {
    let candidate = |place: &u32| candidates.get(usize::try_from(*place).ok()?);
    let mut audios = places.iter().filter_map(candidate).map(|it| (&it.audio_option, &it.audio_title));
    let Some(first) = audios.next() else { return numbers(places) };
    if audios.any(|other| other != first) {
        return numbers(places);
    }
    let (code, title) = first;
    let title = if title.is_empty() { String::new() } else { format!(": {title}") };
    format!("{} (audio {code}{title})", numbers(places))
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

/// The question that matters, and how to answer it.
pub(super) fn open_question(page: &mut Page, question: &v1::OpenQuestion) {
    page.heading("Still to be asked");
    page.line(2, &warning(&question.text));
    for choice in question.choices.iter().take(MOST_SHOWN) {
        let v1::QuestionChoice { value, title, how_to_tell, candidates } = choice;
        let title = if title == value { String::new() } else { format!(": {title}") };
        let leaves =
            if candidates.is_empty() { String::new() } else { format!(" ({})", numbers(candidates)) };
        page.line(4, &format!("{value}{title}{leaves}"));
        if !how_to_tell.is_empty() {
            page.line(6, &format!("how to tell: {how_to_tell}"));
        }
    }
    if let Some(more @ 1..) = question.choices.len().checked_sub(MOST_SHOWN) {
        page.line(4, &format!("and {more} more: see `dashwright choices`"));
    }
    page.line(2, &format!("ask again with {} VALUE", terms::option(question.attribute())));
}

/// What to beware of.
pub(super) fn cautions(page: &mut Page, cautions: &[v1::Caution]) {
    if cautions.is_empty() {
        return;
    }
    page.heading("Beware");
    for caution in cautions {
        page.line(2, &format!("- {}", caution.text));
    }
}

/// A verdict, coloured by what it means for the customer.
pub(super) fn verdict_text(verdict: v1::Verdict) -> String {
    let text = terms::verdict(verdict);
    match verdict {
        v1::Verdict::FitsAsIs | v1::Verdict::FitsWithParts => good(text),
        v1::Verdict::CannotFit | v1::Verdict::NoKnownWay | v1::Verdict::NotWithExclusions => bad(text),
        v1::Verdict::Depends | v1::Verdict::Unknown | v1::Verdict::Unspecified => warning(text),
    }
}

/// What an answer rests on.
pub(super) fn rests_on(
    page: &mut Page,
    weakest: Option<&v1::WeakestEvidence>,
    revision: Option<&v1::DatasetRevision>,
) {
    page.heading("Rests on");
    if let Some(weakest) = weakest {
        let record = weakest.record.as_ref().map(terms::record).unwrap_or_default();
        let grade = terms::grade(weakest.grade());
        page.labelled(2, "at weakest", LABEL, &format!("{grade}, in {record}"));
    }
    page.labelled(2, "dataset", LABEL, &what_was_read(revision));
    if let Some(revision) = revision {
        page.labelled(2, "content", LABEL, &format!("SHA-256 {}", revision.content_hash));
    }
}
