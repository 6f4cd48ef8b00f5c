//! The question that matters: of the attributes that are open, the one whose answers separate the plans best.

use std::collections::{BTreeMap, BTreeSet};

use dashwright_model::record::vehicle::Attribute;
use dashwright_quantity::Prose;
use dashwright_snapshot::{Answer, Answers, Candidate, Snapshot};

use crate::answer::{OpenQuestion, QuestionChoice};

/// The attributes that may be asked, the easier to tell first: where two separate equally well, the first is asked.
const ASKED: &[Attribute] = &[
    Attribute::ModelYear,
    Attribute::Make,
    Attribute::Model,
    Attribute::DriveSide,
    Attribute::Body,
    Attribute::AudioOption,
    Attribute::Trim,
    Attribute::Drivetrain,
    Attribute::Market,
    Attribute::BuildMonth,
];

/// The question, given the number of the plan of each candidate; none when every candidate has the same plan, or when
/// no answer would tell plans apart.
pub(crate) fn that_matters(
    snapshot: &Snapshot,
    candidates: &[Candidate],
    plans: &[usize],
) -> Option<OpenQuestion> {
    let distinct = count(plans.iter());
    if distinct < 2 {
        return None;
    }
    let questions = ASKED.iter().filter_map(|attribute| {
        let question = ask(snapshot, candidates, *attribute)?;
        let left = PlansLeft::after(&question, plans);
        left.fewer_than(distinct).then_some((left, question))
    });
    // `min_by` keeps the first of equals.
    questions.min_by(|(one, _), (other, _)| one.cmp(other)).map(|(_, question)| question)
}

/// How many plans are left on average once a question is answered, as a fraction.
struct PlansLeft {
    sum: usize,
    weight: usize,
}

impl PlansLeft {
    /// Every candidate counts the same: nothing is known of how many cars there are of each.
    fn after(question: &OpenQuestion, plans: &[usize]) -> Self {
        let mut left = Self { sum: 0, weight: 0 };
        for choice in &question.choices {
            let remaining = choice.candidates.iter().filter_map(|candidate| plans.get(*candidate as usize));
            left.sum += choice.candidates.len() * count(remaining);
            left.weight += choice.candidates.len();
        }
        left
    }

    fn fewer_than(&self, plans: usize) -> bool {
        self.sum < plans * self.weight
    }

    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        (self.sum * other.weight).cmp(&(other.sum * self.weight))
    }
}

fn count<'a>(plans: impl Iterator<Item = &'a usize>) -> usize {
    plans.collect::<BTreeSet<_>>().len()
}

/// A question about an attribute, with every answer that some candidate gives; none when there is only one.
fn ask(snapshot: &Snapshot, candidates: &[Candidate], attribute: Attribute) -> Option<OpenQuestion> {
    let answers: Vec<Answers> =
        candidates.iter().map(|one| snapshot.attribute_values(one, attribute)).collect();
    let mut choices: BTreeMap<&Answer, Option<Prose>> = BTreeMap::new();
    for (answers, candidate) in answers.iter().zip(candidates) {
        for answer in stated(answers) {
            let told = choices.entry(answer).or_default();
            if told.is_none() {
                *told = how_to_tell(snapshot, candidate, attribute);
            }
        }
    }
    if choices.len() < 2 {
        return None;
    }
    let compatible = |answer: &Answer| {
        let allows = |answers: &Answers| *answers == Answers::Every || stated(answers).contains(answer);
        let numbered = answers.iter().zip(0_u32..);
        numbered.filter(|(answers, _)| allows(answers)).map(|(_, number)| number).collect()
    };
    let choices = choices.into_iter().map(|(answer, how_to_tell)| QuestionChoice {
        value: answer.value(),
        title: answer.to_string(),
        how_to_tell,
        candidates: compatible(answer),
    });
    Some(OpenQuestion { attribute, choices: choices.collect() })
}

/// The values that an answer names.
fn stated(answers: &Answers) -> &[Answer] {
    match answers {
        Answers::Every => &[],
        Answers::These(answers) => answers,
    }
}

/// How to tell that a vehicle is of the candidate by the attribute.
fn how_to_tell(snapshot: &Snapshot, candidate: &Candidate, attribute: Attribute) -> Option<Prose> {
    let line = snapshot.line(candidate.line)?;
    if attribute != Attribute::AudioOption {
        return line.facts.how_to_tell.get(&attribute).cloned();
    }
    let option = snapshot.options_of(line).get(usize::from(*candidate.options.first()?))?;
    Some(option.option.how_to_tell.clone())
}
