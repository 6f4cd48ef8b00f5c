//! Identifying: from whatever a caller knows of a vehicle to the lines and audio options that are still possible.
//!
//! A question is read into a *query*: what makes and models are in reach, and one filter for each statement about lines.
//! Everything that the question says narrows, is reported as matched, unchecked or unmatched, or is an error. A look-up
//! that names make or model looks at the lines of those models only; by year alone it looks at counts that were worked
//! out when the snapshot was built. Only what is said without make and model (a trim, a body) looks at every line.

mod answer;
mod choices;
mod dictionary;
mod error;
mod explain;
mod filter;
pub(crate) mod index;
mod names;
mod number;
mod query;
mod reading;
mod resolve;
mod sentence;
mod values;
mod years;

use dashwright_model::question::VehicleQuestion;
use dashwright_model::record::vehicle::{Attribute, Trims, WeightClass};

pub use answer::{
    Answer, Answers, Built, Candidate, Choice, Choices, Identified, MAX_CANDIDATES, Match, MatchKind,
    NumberYears, PossibleYears, Source, Stated, another,
};
pub use dictionary::{CHARS_PER_SLIP, SHORT_WORD_CHARS};
pub use error::{IdentifyError, MAX_EXISTING, MAX_NEAREST, name};
pub use years::YearSet;

use crate::Snapshot;
use crate::line::ModelIx;
use filter::Standing;
use index::value_of;
use query::Query;

impl Snapshot {
    /// The vehicle lines and audio options that a question leaves possible.
    ///
    /// # Errors
    /// When the question says nothing, contradicts itself, names what is not known, or describes no line.
    pub fn identify(&self, question: &VehicleQuestion) -> Result<Identified, IdentifyError> {
        let query = reading::read(self, question)?;
        let Narrowed { candidates, total, years, all_light } =
            if query.is_by_year_alone() { by_year_alone(&query) } else { by_line(&query) };
        if total == 0 {
            return Err(explain::why_none(&query));
        }
        let number = question.vin.as_ref().map(|vin| number::years(vin, all_light, years));
        let stated = query.year();
        Ok(Identified {
            candidates: candidates.iter().map(candidate).collect(),
            total,
            matched: query.matched,
            unmatched: query.unmatched,
            concerns: query.concerns,
            model_years: PossibleYears { years, stated, number },
        })
    }

    /// The values of an attribute that a candidate is compatible with: every one where the line stands for all.
    #[must_use]
    pub fn attribute_values(&self, candidate: &Candidate, attribute: Attribute) -> Answers {
        let Some(line) = self.line(candidate.line) else { return Answers::Every };
        let these =
            |answer: Option<Answer>| answer.map_or(Answers::Every, |answer| Answers::These(vec![answer]));
        match attribute {
            Attribute::ModelYear => Answers::These(candidate.years.iter().map(Answer::ModelYear).collect()),
            Attribute::Make => {
                let make = self
                    .model_of(line)
                    .and_then(|model| Some((model.make, self.makes.get(model.make.get())?)));
                these(make.map(|(index, make)| Answer::Make(index, make.name.clone())))
            }
            Attribute::Model => {
                these(self.model_of(line).map(|model| Answer::Model(line.model, model.name.clone())))
            }
            Attribute::Trim => match &*line.trims {
                Trims::All => Answers::Every,
                Trims::AllOthers => these(Some(Answer::Another(Attribute::Trim))),
                Trims::These(trims) => {
                    let mut trims: Vec<Answer> = trims.iter().cloned().map(Answer::Trim).collect();
                    trims.sort();
                    Answers::These(trims)
                }
            },
            Attribute::BuildMonth => these(line.facts.build.map(|window| Answer::Built(Built(window)))),
            Attribute::DriveSide => these(line.facts.drive_side.map(Answer::DriveSide)),
            Attribute::Market => these(value_of(line, attribute).cloned().map(Answer::Market)),
            Attribute::Body => these(value_of(line, attribute).cloned().map(Answer::Body)),
            Attribute::Drivetrain => these(value_of(line, attribute).cloned().map(Answer::Drivetrain)),
            Attribute::AudioOption => {
                let options = self.options_of(line);
                let left = candidate.options.iter().filter_map(|number| options.get(usize::from(*number)));
                let answer = |option: &crate::line::LineOption| Answer::AudioOption {
                    code: option.option.code.clone(),
                    title: option.option.title.clone(),
                };
                Answers::These(left.map(answer).collect())
            }
        }
    }
}

/// What a query leaves.
struct Narrowed {
    /// At most [`MAX_CANDIDATES`].
    candidates: Vec<Standing>,
    total: usize,
    years: YearSet,
    /// Whether position 7 of a number may be read for every line.
    all_light: bool,
}

/// Looks at every line in reach.
fn by_line(query: &Query<'_>) -> Narrowed {
    let mut narrowed =
        Narrowed { candidates: Vec::new(), total: 0, years: YearSet::default(), all_light: true };
    for standing in query.standing() {
        narrowed.total += 1;
        narrowed.years = narrowed.years.or(standing.years);
        let line = query.snapshot.line(standing.line);
        narrowed.all_light &= line.is_some_and(|line| line.facts.weight_class == Some(WeightClass::Light));
        if narrowed.candidates.len() < MAX_CANDIDATES {
            narrowed.candidates.push(standing);
        }
    }
    narrowed
}

/// Counts by year, and looks only at the lines that will be shown.
fn by_year_alone(query: &Query<'_>) -> Narrowed {
    let index = &query.snapshot.index;
    let ranges = query.model_ranges();
    let (models, total): (Vec<ModelIx>, usize) = match query.year() {
        Some(year) => {
            let found = ranges.iter().flat_map(|(models, _)| index.models_in_year(year, models));
            let models = found.map(|(model, _)| *model).take(MAX_CANDIDATES).collect();
            (models, query.lines_in_year(year))
        }
        None => {
            let models = ranges.iter().flat_map(|(models, _)| models.clone()).map(ModelIx);
            let total = ranges.iter().map(|(models, _)| query.lines_of(models).len()).sum();
            (models.take(MAX_CANDIDATES).collect(), total)
        }
    };
    let shown = models.into_iter().flat_map(|model| query.standing_of(model));
    let candidates: Vec<Standing> = shown.take(MAX_CANDIDATES).collect();
    let years = match query.year() {
        Some(year) => std::iter::once(year).filter(|_| total > 0).collect(),
        None => query.years_in_reach(),
    };
    Narrowed { candidates, total, years, all_light: false }
}

fn candidate(standing: &Standing) -> Candidate {
    let options = standing.option_numbers();
    Candidate { line: standing.line, years: standing.years, options, likeness: standing.likeness }
}

#[cfg(test)]
mod tests;
