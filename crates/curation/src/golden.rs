//! Golden questions: asked of a dataset, and whether the answer is the one that a person found right.

use std::fmt;

use dashwright_model::record::golden::{ExpectedAnswer, PlanAim, PlanVerdict};
use dashwright_model::record::{GoldenQuestion, RecordKey, RecordKind};
use dashwright_planner::{Aim, Plans, Request, Verdict, Wishes, may_be_lost, one_by_one, plan};
use dashwright_quantity::{GoldenId, PartId};
use dashwright_snapshot::{MAX_CANDIDATES, Snapshot};

use crate::findings::{Finding, FindingKind};

/// A golden question with the answer that a dataset gives.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct GoldenAnswer {
    /// The id of the question.
    pub id: GoldenId,
    /// What it is kept for.
    pub title: String,
    /// The answer that a person found right.
    pub expected: ExpectedAnswer,
    /// The answer; where there is none, why.
    pub found: Result<ExpectedAnswer, String>,
}

impl GoldenAnswer {
    /// Whether the answer is the right one.
    #[must_use]
    pub fn is_right(&self) -> bool {
        // In one order: what is kept may have been written in another.
        let expected = ExpectedAnswer::of(self.expected.verdict, self.expected.plans.clone());
        self.found.as_ref() == Ok(&expected)
    }

    /// The key of the question.
    #[must_use]
    pub fn key(&self) -> RecordKey {
        RecordKey { kind: RecordKind::GoldenQuestion, id: self.id.as_term() }
    }
}

/// Asks every golden question of a dataset, in the order of their ids.
#[must_use]
pub fn golden_answers(snapshot: &Snapshot) -> Vec<GoldenAnswer> {
    let questions = snapshot.golden_questions().iter();
    questions.map(|(_, question)| golden_answer(snapshot, question)).collect()
}

/// Asks one golden question.
#[must_use]
pub fn golden_answer(snapshot: &Snapshot, question: &GoldenQuestion) -> GoldenAnswer {
    GoldenAnswer {
        id: question.id.clone(),
        title: question.title.to_string(),
        expected: question.expected.clone(),
        found: answer(snapshot, question),
    }
}

fn answer(snapshot: &Snapshot, question: &GoldenQuestion) -> Result<ExpectedAnswer, String> {
    let found = snapshot.identify(&question.vehicle.question()).map_err(|error| error.to_string())?;
    if let [first, ..] = found.unmatched.as_slice() {
        // A caller is told and goes on; a question that is kept must go on meaning what it meant.
        return Err(format!("the word `{first}` means nothing"));
    }
    if let Some(need) = question.order.consents.iter().find(|need| !may_be_lost(**need)) {
        return Err(format!("nobody can consent to losing `{need}`"));
    }
    if found.total > MAX_CANDIDATES {
        return Ok(ExpectedAnswer::of(PlanVerdict::Depends, Vec::new()));
    }
    let (radio, _) = snapshot
        .radios()
        .find(question.radio.as_str())
        .ok_or_else(|| format!("there is no radio `{}`", question.radio))?;
    let plans = plan(snapshot, &one_by_one(&found.candidates), radio, &request(question));
    Ok(short(snapshot, &plans))
}

fn request(question: &GoldenQuestion) -> Request {
    let order = &question.order;
    let named = order.wishes.iter().map(|wish| (wish.need, wish.weight)).collect();
    Request {
        wishes: Wishes { only_named: order.only_named_wishes, named },
        aim: match order.aim {
            PlanAim::LowestPrice => Aim::LowestPrice,
            PlanAim::FewestParts => Aim::FewestParts,
            PlanAim::LeastBenchTime => Aim::LeastBenchTime,
        },
        consents: order.consents.iter().copied().collect(),
        ..Request::default()
    }
}

/// What of an answer is kept: the verdict, and the parts of each plan.
#[must_use]
pub fn short(snapshot: &Snapshot, plans: &Plans) -> ExpectedAnswer {
    let chosen = plans.groups.iter().filter_map(|group| group.plan.chosen.as_ref());
    let ids = |part| snapshot.parts().get(part).map(|part| part.id.clone());
    let lists =
        chosen.map(|chosen| chosen.parts.iter().filter_map(|planned| ids(planned.part)).collect::<Vec<_>>());
    ExpectedAnswer::of(short_verdict(plans.verdict), lists.collect())
}

/// The verdict as records spell it.
#[must_use]
pub const fn short_verdict(verdict: Verdict) -> PlanVerdict {
    match verdict {
        Verdict::FitsAsIs => PlanVerdict::FitsAsIs,
        Verdict::FitsWithParts => PlanVerdict::FitsWithParts,
        Verdict::Depends => PlanVerdict::Depends,
        Verdict::CannotFit => PlanVerdict::CannotFit,
        Verdict::NoKnownWay => PlanVerdict::NoKnownWay,
        Verdict::Unknown => PlanVerdict::Unknown,
        Verdict::NotWithExclusions => PlanVerdict::NotWithExclusions,
    }
}

impl From<&GoldenAnswer> for Finding {
    /// For an answer that is not the right one.
    fn from(answer: &GoldenAnswer) -> Self {
        let record = answer.key();
        let found = match &answer.found {
            Ok(found) => Said(found).to_string(),
            Err(why) => format!("not at all ({why})"),
        };
        let text = format!("`{record}` is answered {found}, and was {}", Said(&answer.expected));
        Self { record, path: "expected".to_owned(), kind: FindingKind::GoldenAnswer, other: None, text }
    }
}

/// An answer in words.
struct Said<'a>(&'a ExpectedAnswer);

impl fmt::Display for Said<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let ExpectedAnswer { verdict, plans } = self.0;
        write!(f, "{verdict}")?;
        for (place, parts) in plans.iter().enumerate() {
            let before = if place == 0 { " with" } else { ", or with" };
            let parts: Vec<&str> = parts.iter().map(PartId::as_str).collect();
            let parts = if parts.is_empty() { "no part".to_owned() } else { parts.join(" + ") };
            write!(f, "{before} {parts}")?;
        }
        Ok(())
    }
}
