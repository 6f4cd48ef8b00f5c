//! What the tables of the rivals are filled with: the answers that the service gave, and for every line that nobody asks for a row of the
//! same shape.

use std::collections::HashMap;

use dashwright_api::v1;
use prost::Message as _;

use crate::Outcome;
use crate::questions::{Generated, generated};
use crate::rows::{self, Row};

/// Answers of the service, taken apart.
pub(crate) struct Filling {
    lines: usize,
    revision: v1::DatasetRevision,
    /// What lines share; the number of a fitment is its place.
    fitments: Vec<v1::LookUpFitmentResponse>,
    /// What is a line's own, and its fitment.
    asked: Vec<(v1::LookUpFitmentResponse, i64)>,
    /// Places in `asked` by the vehicle record.
    by_vehicle: HashMap<String, usize>,
}

impl Filling {
    /// From the replies to the questions that will be asked, for tables of so many lines.
    pub(crate) fn new(lines: usize, replies: &[Vec<u8>]) -> Outcome<Self> {
        let (mut fitments, mut numbers) = (Vec::new(), HashMap::new());
        let (mut asked, mut by_vehicle) = (Vec::new(), HashMap::new());
        let mut revision = None;
        for reply in replies {
            let (own, shared) = apart(v1::LookUpFitmentResponse::decode(reply.as_slice())?);
            let [candidate] = own.candidates.as_slice() else {
                return Err("a question that leaves more than one candidate".into());
            };
            if shared.question.is_some() || !shared.depends.is_empty() {
                return Err("a question that settles nothing".into());
            }
            by_vehicle.insert(candidate.vehicle_id.clone(), asked.len());
            revision.clone_from(&own.revision);
            let fit = *numbers.entry(shared.encode_to_vec()).or_insert_with(|| {
                fitments.push(shared);
                fitments.len() as i64 - 1
            });
            asked.push((own, fit));
        }
        let revision = revision.ok_or("nothing is asked")?;
        Ok(Self { lines, revision, fitments, asked, by_vehicle })
    }

    /// The row that names the revision.
    pub(crate) fn about(&self) -> Outcome<Row> {
        let number = self.revision.number.try_into()?;
        Ok(Row::new([number], []).blobs([Some(self.revision.encode_to_vec())]))
    }

    /// Fitments with their numbers.
    pub(crate) fn fitments(&self) -> impl Iterator<Item = (i64, &v1::LookUpFitmentResponse)> {
        (0..).zip(&self.fitments)
    }

    /// Every line: what is its own, and its fitment. The lines that are asked for are as the service told them; the others are
    /// like them in turns, under their own names.
    pub(crate) fn each_line(
        &self,
        mut take: impl FnMut(&v1::LookUpFitmentResponse, i64) -> Outcome<()>,
    ) -> Outcome<()> {
        generated(self.lines, |number, line| {
            let line = line()?;
            match self.by_vehicle.get(&line.vehicle_id).and_then(|place| self.asked.get(*place)) {
                Some((own, fit)) => take(own, *fit),
                None => {
                    let (like, fit) = self.asked.get(number % self.asked.len()).ok_or("nothing is asked")?;
                    take(&renamed(like, &line), *fit)
                }
            }
        })
    }

    /// The line's row of the joined form.
    pub(crate) fn line_row(own: &v1::LookUpFitmentResponse, fit: i64) -> Outcome<Row> {
        let candidate = own.candidates.first().ok_or("no candidate")?;
        rows::line_row(candidate, own.weakest_evidence.as_ref().ok_or("no evidence")?, fit)
    }

    /// The line's row of the encoded form.
    pub(crate) fn own_row(own: &v1::LookUpFitmentResponse, fit: i64) -> Outcome<Row> {
        let candidate = own.candidates.first().ok_or("no candidate")?;
        let texts = [&candidate.make, &candidate.model, &candidate.audio_option];
        let row = Row::new([candidate.first_year.into(), fit], texts.map(String::as_str));
        Ok(row.blobs([Some(own.encode_to_vec())]))
    }
}

/// What is the call's own, and what it shares with others.
fn apart(mut answer: v1::LookUpFitmentResponse) -> (v1::LookUpFitmentResponse, v1::LookUpFitmentResponse) {
    let own = v1::LookUpFitmentResponse {
        revision: answer.revision.take(),
        candidates: std::mem::take(&mut answer.candidates),
        remaining_lines: std::mem::take(&mut answer.remaining_lines),
        matches: std::mem::take(&mut answer.matches),
        vin_concerns: std::mem::take(&mut answer.vin_concerns),
        weakest_evidence: answer.weakest_evidence.take(),
        ..v1::LookUpFitmentResponse::default()
    };
    (own, answer)
}

fn renamed(like: &v1::LookUpFitmentResponse, line: &Generated) -> v1::LookUpFitmentResponse {
    let mut own = like.clone();
    let question = &line.question;
    let typed = [
        question.model_year.to_string(),
        question.make.clone(),
        question.model.clone(),
        question.audio_option.clone(),
    ];
    for (one, text) in own.matches.iter_mut().zip(typed) {
        one.typed.clone_from(&text);
        one.matched = text;
    }
    for candidate in &mut own.candidates {
        candidate.vehicle_id.clone_from(&line.vehicle_id);
        candidate.make.clone_from(&question.make);
        candidate.model.clone_from(&question.model);
        candidate.audio_option.clone_from(&question.audio_option);
        candidate.first_year = question.model_year;
        candidate.last_year = line.last_year;
    }
    if let Some(record) = own.weakest_evidence.as_mut().and_then(|weakest| weakest.record.as_mut()) {
        record.id.clone_from(&line.vehicle_id);
    }
    own
}
