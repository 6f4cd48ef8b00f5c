//! The answer to a plan question: the essentials for the counter, and the whole of it for the bench.

use std::collections::BTreeSet;

use dashwright_api::v1;

use super::explain::{self, Records};
use super::facets::why;
use super::fitment::Parts;
use super::frame::{self, Asked, LABEL, names, verdict_text};
use super::page::{Page, bad};
use super::{pieces, terms};

/// How much of a plan is shown.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Shown {
    /// Joins, settings, steps and everything else.
    pub(crate) full: bool,
    /// Why: need, rule, record and evidence of each part and outcome.
    pub(crate) explain: bool,
}

/// The cautions that stand in a short plan; the others are in the full one.
const SHORT_CAUTIONS: [v1::CautionCode; 3] = [
    v1::CautionCode::InterlockFeigned,
    v1::CautionCode::MakersInformationPrevails,
    v1::CautionCode::RestraintSystem,
];

/// The answer to a plan question. The records are those that it rests on, where they are to be told.
pub(crate) fn plan(
    question: &v1::VehicleQuestion,
    answer: &v1::PlanInstallResponse,
    records: &Records,
    shown: Shown,
    columns: usize,
) -> String {
    let mut page = Page::new(columns);
    let writer = Writer {
        parts: answer.parts.iter().map(|part| (part.id.as_str(), part)).collect(),
        shown,
        kept_by_each: kept_by_each(answer),
        currency: currency(answer),
    };
    head(&mut page, question, answer, shown);
    if let Some(question) = &answer.question {
        frame::open_question(&mut page, question);
    }
    body(&mut page, answer, &writer);
    if shown.explain {
        explain::explain(&mut page, answer, &writer, records);
    }
    cautions(&mut page, &answer.cautions, shown);
    ending(&mut page, answer, shown);
    page.finish()
}

/// What the sections of a plan are written with.
pub(super) struct Writer<'a> {
    parts: Parts<'a>,
    pub(super) shown: Shown,
    /// Features that every variant keeps, each in its own way: a short plan tells them once.
    pub(super) kept_by_each: BTreeSet<i32>,
    /// The currency of the plan's prices.
    pub(super) currency: Option<&'a str>,
}

impl Writer<'_> {
    /// A part as the answer describes it.
    pub(super) fn part(&self, id: &str) -> Option<&v1::PartSummary> {
        self.parts.get(id).copied()
    }

    /// A part by its number.
    pub(super) fn number(&self, id: &str) -> String {
        self.part(id).map_or_else(|| id.to_owned(), |part| part.number.clone())
    }

    /// Parts by their numbers.
    pub(super) fn numbers(&self, ids: &[String], between: &str) -> String {
        ids.iter().map(|id| self.number(id)).collect::<Vec<_>>().join(between)
    }
}

/// Which candidates pieces are true of, and whether their sections have headings.
pub(super) struct Place<'a> {
    /// Said behind each heading.
    pub(super) only: &'a str,
    /// The sections have headings; otherwise they stand under one that is there already.
    pub(super) headed: bool,
    /// The pieces are true of every candidate.
    pub(super) settled: bool,
    /// There is a plan; without one nothing can be said of what it keeps.
    pub(super) planned: bool,
}

impl Place<'_> {
    /// Begins a section.
    pub(super) fn heading(&self, page: &mut Page, text: &str) {
        if self.headed {
            page.heading(&format!("{text}{}", self.only));
        }
    }
}

/// The losses that were consented to, the verdict, and what it is a verdict on.
fn head(page: &mut Page, question: &v1::VehicleQuestion, answer: &v1::PlanInstallResponse, shown: Shown) {
    page.heading("Plan");
    for text in consented(answer) {
        page.line(2, &bad(&text));
    }
    let open = !answer.depends.is_empty() && answer.verdict() != v1::Verdict::Depends;
    let open = if open { "; in which way depends on what is still to be asked" } else { "" };
    page.line(2, &format!("{}{open}", verdict_text(answer.verdict())));
    why(page, &untold(&answer.verdict_reasons, answer.settled.as_ref()));
    if let Some(radio) = &answer.radio {
        self::radio(page, radio, shown);
    }
    let v1::PlanInstallResponse { matches, vin_concerns, candidates, remaining_lines, .. } = answer;
    // What was taken as it was typed is clear from the vehicles.
    let doubtful = |found: &&v1::Match| shown.full || found.kind() != v1::MatchKind::Exact;
    let matches: Vec<_> = matches.iter().filter(doubtful).cloned().collect();
    let (matches, remaining_lines) = (matches.as_slice(), *remaining_lines);
    frame::taken(page, &Asked { question, matches, vin_concerns, candidates, remaining_lines });
}

/// Every loss that was consented to; one that some candidates have only says which.
fn consented(answer: &v1::PlanInstallResponse) -> Vec<String> {
    let is_consent = |reason: &&v1::Reason| reason.code() == v1::ReasonCode::LossConsented;
    let overall = answer.verdict_reasons.iter().filter(is_consent).map(|reason| reason.text.clone());
    let mut texts: Vec<String> = overall.collect();
    for variant in &answer.depends {
        for reason in variant.verdict_reasons.iter().filter(is_consent) {
            if !texts.contains(&reason.text) {
                texts.push(format!("{}: {}", names(&variant.candidates, &answer.candidates), reason.text));
            }
        }
    }
    texts
}

/// The reasons of a verdict that are told neither above it nor with the needs that are not met.
fn untold(reasons: &[v1::Reason], pieces: Option<&v1::PlanPieces>) -> Vec<v1::Reason> {
    let needs: Vec<&v1::PlannedNeed> = pieces.map(pieces::lacking).unwrap_or_default();
    let below = |reason: &v1::Reason| {
        reason.code() == v1::ReasonCode::NoPartMeets
            || needs.iter().any(|need| need.reasons.iter().any(|told| told.text == reason.text))
    };
    let told = |reason: &&v1::Reason| {
        reason.code() == v1::ReasonCode::LossConsented || (!needs.is_empty() && below(reason))
    };
    reasons.iter().filter(|reason| !told(reason)).cloned().collect()
}

/// Whether a verdict has a plan, or may have one once the question is answered.
const fn is_planned(verdict: v1::Verdict) -> bool {
    use v1::Verdict as V;
    match verdict {
        V::FitsAsIs | V::FitsWithParts | V::Depends => true,
        V::CannotFit | V::NoKnownWay | V::Unknown | V::NotWithExclusions | V::Unspecified => false,
    }
}

fn radio(page: &mut Page, radio: &v1::RadioSummary, shown: Shown) {
    let v1::RadioSummary { id, brand, model, chassis_class: _, floating_screen, price, brings, evidence: _ } =
        radio;
    let price = price.as_ref().and_then(|price| price.amount.as_ref());
    let price = price.map(|amount| format!(", {}", amount.text)).unwrap_or_default();
    let screen = if *floating_screen { ", floating screen" } else { "" };
    let class = terms::chassis_class(radio.chassis_class());
    page.labelled(2, "radio", LABEL, &format!("{brand} {model}, {class}{screen}{price} (radio/{id})"));
    if shown.full && !brings.is_empty() {
        page.labelled(2, "brings", LABEL, &brings.join(", "));
    }
}

/// What is settled, and then what is true of some candidates only.
fn body(page: &mut Page, answer: &v1::PlanInstallResponse, writer: &Writer<'_>) {
    if let Some(settled) = &answer.settled {
        let only = if answer.candidates.len() > 1 { ", whichever it is" } else { "" };
        let planned = is_planned(answer.verdict());
        pieces::pieces(writer, page, settled, &Place { only, headed: true, settled: true, planned });
    }
    if answer.depends.len() > frame::MOST_VARIANTS && !writer.shown.full {
        return variants_in_brief(page, answer);
    }
    for variant in &answer.depends {
        let v1::PlanVariant { candidates, verdict: _, verdict_reasons, pieces: some } = variant;
        let only = format!(", only for {}", names(candidates, &answer.candidates));
        page.heading(&format!("Plan{only}: {}", verdict_text(variant.verdict())));
        why(page, &untold(verdict_reasons, some.as_ref()));
        if let Some(some) = some {
            let (headed, planned) = (writer.shown.full, is_planned(variant.verdict()));
            pieces::pieces(writer, page, some, &Place { only: &only, headed, settled: false, planned });
        }
    }
}

/// Many variants, a row each: nobody reads so many plans to find the one.
fn variants_in_brief(page: &mut Page, answer: &v1::PlanInstallResponse) {
    page.heading("Plans, by vehicle");
    let rows = answer.depends.iter().map(|variant| {
        let total = variant.pieces.as_ref().and_then(|pieces| pieces.total.as_ref());
        let who = names(&variant.candidates, &answer.candidates);
        vec![
            who,
            terms::verdict(variant.verdict()).to_owned(),
            total.map(pieces::total_text).unwrap_or_default(),
        ]
    });
    page.table(&["for", "verdict", "its parts"], rows.collect());
    page.line(2, "answer the question to see the plan of one, or add --full to see them all");
}

/// Features that every variant keeps without a limit, so that keeping them is settled although the way is not.
fn kept_by_each(answer: &v1::PlanInstallResponse) -> BTreeSet<i32> {
    let kept = |variant: &v1::PlanVariant| -> BTreeSet<i32> {
        let features = variant.pieces.iter().flat_map(|pieces| &pieces.features);
        features.filter(|it| it.outcome() == v1::Outcome::Kept).map(|it| it.feature).collect()
    };
    let each = answer.depends.iter().map(kept);
    each.reduce(|one, other| &one & &other).unwrap_or_default()
}

/// The currency of the first price of an answer; all have the same.
fn currency(answer: &v1::PlanInstallResponse) -> Option<&str> {
    let variants = answer.depends.iter().filter_map(|variant| variant.pieces.as_ref());
    let prices = answer.settled.iter().chain(variants).flat_map(|pieces| {
        let total = pieces.total.as_ref().and_then(|total| total.price.as_ref());
        total.into_iter().chain(pieces.parts.iter().filter_map(|part| part.price.as_ref()))
    });
    prices.map(|price| price.currency.as_str()).next()
}

fn cautions(page: &mut Page, cautions: &[v1::Caution], shown: Shown) {
    let told = |caution: &&v1::Caution| shown.full || SHORT_CAUTIONS.contains(&caution.code());
    frame::cautions(page, &cautions.iter().filter(told).cloned().collect::<Vec<_>>());
}

/// What the plan rests on, and where the rest of it is.
fn ending(page: &mut Page, answer: &v1::PlanInstallResponse, shown: Shown) {
    let (weakest, revision) = (answer.weakest_evidence.as_ref(), answer.revision.as_ref());
    if shown.full || shown.explain {
        frame::rests_on(page, weakest, revision);
        jobs(page, answer);
        return fingerprint(page, answer);
    }
    let weakest = weakest.map(|weakest| {
        let record = weakest.record.as_ref().map(terms::record).unwrap_or_default();
        format!(", rests at its weakest on {record} ({})", terms::grade(weakest.grade()))
    });
    let number = revision.map_or("not named".to_owned(), |revision| revision.number.to_string());
    page.blank();
    page.line(0, &format!("revision {number}{}", weakest.unwrap_or_default()));
    jobs(page, answer);
    page.line(0, "joins, settings, steps and all cautions: add --full; why: add --explain");
    fingerprint(page, answer);
}

/// What jobs have said of what the plan rests on, at its weakest.
fn jobs(page: &mut Page, answer: &v1::PlanInstallResponse) {
    let Some(v1::JobCounts { confirmed_jobs, least_confirmed, contradicted_jobs, most_contradicted }) =
        &answer.jobs
    else {
        return;
    };
    let record = |it: &Option<v1::RecordKey>| {
        it.as_ref().map(|key| format!(" ({})", terms::record(key))).unwrap_or_default()
    };
    let confirmed = format!(
        "confirmed at its weakest by {}{}",
        terms::number_of_jobs(*confirmed_jobs),
        record(least_confirmed)
    );
    let contradicted =
        format!("contradicted by {}{}", terms::number_of_jobs(*contradicted_jobs), record(most_contradicted));
    let contradicted = if *contradicted_jobs > 0 { bad(&contradicted) } else { contradicted };
    page.line(0, &format!("{confirmed}, {contradicted}"));
}

/// By what the plan is named when it is told how the job went.
fn fingerprint(page: &mut Page, answer: &v1::PlanInstallResponse) {
    if answer.fingerprint.is_empty() {
        return;
    }
    let token = answer.revision.as_ref().map_or("", |revision| revision.token.as_str());
    page.line(0, &format!("fingerprint {}, of revision {token}", answer.fingerprint));
    // A job is done by one plan.
    if !answer.depends.is_empty() || answer.verdict() == v1::Verdict::Depends {
        return;
    }
    let when = if is_planned(answer.verdict()) { "after the job" } else { "if it goes in all the same" };
    page.line(0, &format!("{when}: `dashwright outcome report`, the same words, --fingerprint and --at"));
}
