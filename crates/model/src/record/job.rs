//! What a job makes of a record: its evidence moves, and nothing else.

use super::Record;
use crate::check::{Check, Faults, Valid};
use crate::evidence::{Evidence, JobSays};

impl Record {
    /// The record once one more job counts for it or against it.
    ///
    /// # Errors
    /// Never for a record that exists: no check looks at evidence.
    pub fn after_job(self, says: JobSays) -> Result<Self, Faults> {
        Ok(match self {
            Self::Vocabulary(term) => Self::Vocabulary(counted(term, says, |it| &mut it.evidence)?),
            Self::Dash(dash) => Self::Dash(counted(dash, says, |it| &mut it.evidence)?),
            Self::FactoryAudio(audio) => Self::FactoryAudio(counted(audio, says, |it| &mut it.evidence)?),
            Self::Radio(radio) => Self::Radio(counted(radio, says, |it| &mut it.evidence)?),
            Self::Part(part) => Self::Part(counted(part, says, |it| &mut it.evidence)?),
            Self::Vehicle(vehicle) => Self::Vehicle(counted(vehicle, says, |it| &mut it.evidence)?),
            Self::GoldenQuestion(question) => {
                Self::GoldenQuestion(counted(question, says, |it| &mut it.evidence)?)
            }
        })
    }
}

fn counted<T: Check>(
    record: Valid<T>,
    says: JobSays,
    evidence: fn(&mut T) -> &mut Evidence,
) -> Result<Valid<T>, Faults> {
    let mut record = record.into_inner();
    let evidence = evidence(&mut record);
    *evidence = evidence.after_job(says);
    Valid::new(record)
}
