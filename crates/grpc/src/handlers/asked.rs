//! What a question about a vehicle leaves possible, and what every answer says of it.

use dashwright_api::v1;
use dashwright_engine::View;
use dashwright_model::question::VehicleQuestion;
use dashwright_model::record::vehicle::Attribute;
use dashwright_model::record::{RecordKey, RecordKind};
use dashwright_planner::{JobCounts, WeakestEvidence, one_by_one};
use dashwright_snapshot::{Candidate, Choices, Identified, MAX_CANDIDATES, Snapshot};

use crate::{Refusal, to_proto};

/// The candidates of a question. Where more lines remain than are weighed there are none, and the question is the next
/// choice.
pub(crate) struct Asked<'a> {
    snapshot: &'a Snapshot,
    found: Identified,
    next: Option<Choices>,
    /// Each vehicle line with each of its audio options that are possible.
    pub(crate) candidates: Vec<Candidate>,
}

impl<'a> Asked<'a> {
    pub(crate) fn of(view: &'a View, question: &VehicleQuestion) -> Result<Self, Refusal> {
        let snapshot = view.snapshot();
        let found = snapshot.identify(question)?;
        let too_many = found.total > MAX_CANDIDATES;
        let next = if too_many { Some(snapshot.choices(question)?) } else { None };
        let candidates = if too_many { Vec::new() } else { one_by_one(&found.candidates) };
        Ok(Self { snapshot, found, next, candidates })
    }

    pub(crate) fn too_many(&self) -> bool {
        self.next.is_some()
    }

    pub(crate) fn candidate_messages(&self) -> Vec<v1::Candidate> {
        self.candidates.iter().filter_map(|one| to_proto::candidate(self.snapshot, one)).collect()
    }

    pub(crate) fn remaining_lines(&self) -> u32 {
        u32::try_from(self.found.total).unwrap_or(u32::MAX)
    }

    pub(crate) fn matches(&self) -> Vec<v1::Match> {
        to_proto::matches(&self.found.matched, &self.found.unmatched)
    }

    pub(crate) fn vin_concerns(&self) -> Vec<v1::VinConcern> {
        to_proto::vin_concerns(&self.found.concerns)
    }

    pub(crate) fn weakest(&self, answer: Option<WeakestEvidence>) -> Option<WeakestEvidence> {
        weakest(self.snapshot, &self.candidates, answer)
    }

    /// What jobs have said of an answer and of the vehicle lines that it is for.
    pub(crate) fn jobs(&self, mut answer: JobCounts) -> JobCounts {
        for line in self.candidates.iter().filter_map(|candidate| self.snapshot.line(candidate.line)) {
            answer.add(&line.facts.evidence, || {
                let id = self.snapshot.line_id(line).parse().ok()?;
                Some(RecordKey { kind: RecordKind::Vehicle, id })
            });
        }
        answer
    }

    /// What is to be asked next, where more lines remain than are weighed.
    pub(crate) fn next_attribute(&self) -> Option<Attribute> {
        self.next.as_ref()?.attribute
    }

    /// The next choice, where more lines remain than are weighed.
    pub(crate) fn next_question(&self) -> Option<v1::OpenQuestion> {
        next_question(self.next.as_ref()?)
    }
}

/// The next choice as a question.
pub(crate) fn next_question(next: &Choices) -> Option<v1::OpenQuestion> {
    let choices = next.choices.iter().map(|choice| v1::QuestionChoice {
        value: choice.value.clone(),
        title: choice.title.clone(),
        how_to_tell: choice.how_to_tell.as_ref().map(ToString::to_string).unwrap_or_default(),
        candidates: Vec::new(),
    });
    next.attribute.map(|attribute| v1::OpenQuestion {
        attribute: to_proto::attribute(attribute).into(),
        text: to_proto::question_text(attribute).to_owned(),
        choices: choices.collect(),
    })
}

/// The weakest evidence of an answer and of the vehicle lines that it is for.
pub(crate) fn weakest(
    snapshot: &Snapshot,
    candidates: &[Candidate],
    answer: Option<WeakestEvidence>,
) -> Option<WeakestEvidence> {
    let lines = candidates.iter().filter_map(|candidate| {
        let line = snapshot.line(candidate.line)?;
        let option = snapshot.options_of(line).get(usize::from(*candidate.options.first()?))?;
        let evidence = option.option.evidence.as_ref().unwrap_or(&line.facts.evidence);
        Some((evidence.grade.max(line.facts.evidence.grade), line))
    });
    // The first of equals, so that the answer is the same for the same question.
    let weakest = lines.reduce(|one, other| if other.0 > one.0 { other } else { one });
    let Some((grade, line)) = weakest else { return answer };
    if answer.as_ref().is_some_and(|answer| answer.grade >= grade) {
        return answer;
    }
    let id = snapshot.line_id(line).parse().ok()?;
    Some(WeakestEvidence { grade, record: RecordKey { kind: RecordKind::Vehicle, id } })
}
