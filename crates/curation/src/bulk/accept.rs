//! Golden questions that are put with the answer that they are given, and those that accept another one, each by its name.

use dashwright_model::Valid;
use dashwright_model::record::{GoldenQuestion, Record, RecordKey, RecordKind};
use dashwright_quantity::GoldenId;

use super::{BulkError, BulkOutcome, Drafted, Touch, Touched};
use crate::golden::GoldenAnswer;

impl Drafted<'_> {
    /// Puts a golden question, with the answer that it is given.
    ///
    /// # Errors
    /// See [`BulkError`].
    pub fn ask(
        &self,
        question: &Valid<GoldenQuestion>,
        answer: GoldenAnswer,
    ) -> Result<BulkOutcome, BulkError> {
        let key = answer.key();
        if self.line_of(&key).is_some() {
            return Err(BulkError::Exists(key));
        }
        let mut outcome = BulkOutcome::default();
        outcome.own.push(expecting(question.clone(), &key, answer)?);
        outcome.touched.push(Touched { record: key, touch: Touch::Made, paths: Vec::new() });
        Ok(outcome)
    }

    /// Has golden questions expect the answers that they are given, which are those of these records.
    ///
    /// # Errors
    /// See [`BulkError`].
    pub fn accept(&self, answers: &[GoldenAnswer], questions: &[GoldenId]) -> Result<BulkOutcome, BulkError> {
        let mut outcome = BulkOutcome::default();
        for id in questions {
            let key = RecordKey { kind: RecordKind::GoldenQuestion, id: id.as_term() };
            let answer = answers.iter().find(|answer| answer.id == *id);
            let answer = answer.ok_or_else(|| BulkError::NoRecord(key.clone()))?;
            if answer.is_right() {
                return Err(BulkError::NothingToDo(key));
            }
            let Record::GoldenQuestion(question) = self.get(&key)? else {
                return Err(BulkError::NoRecord(key));
            };
            outcome.own.push(expecting(question, &key, answer.clone())?);
            outcome.touched.push(Touched {
                record: key,
                touch: Touch::Accepts,
                paths: vec!["expected".to_owned()],
            });
        }
        outcome.touched.sort_by(|one, other| one.record.cmp(&other.record));
        Ok(outcome)
    }
}

/// The question with the answer that it is given.
fn expecting(
    question: Valid<GoldenQuestion>,
    key: &RecordKey,
    answer: GoldenAnswer,
) -> Result<Record, BulkError> {
    let found = answer.found.map_err(|why| BulkError::NoAnswer(key.clone(), why))?;
    let question = question.changed(|question| question.expected = found);
    let question = question.map_err(|faults| BulkError::Contradicts { record: key.clone(), faults })?;
    Ok(Record::GoldenQuestion(question))
}
