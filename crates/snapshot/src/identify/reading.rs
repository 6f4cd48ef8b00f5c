//! From a question to a query: everything that it says becomes reach, filter, match or error.

use dashwright_model::question::VehicleQuestion;
use dashwright_quantity::{Label, ModelYear};

use super::filter::Test;
use super::names::Names;
use super::query::Query;
use super::sentence::{Sentence, nothing_recognised};
use super::values::Values;
use super::{IdentifyError, Match, MatchKind, Source, Stated, number};
use crate::Snapshot;
use dashwright_model::record::vehicle::Attribute;

/// Understands a question.
pub(crate) fn read<'a>(
    snapshot: &'a Snapshot,
    question: &VehicleQuestion,
) -> Result<Query<'a>, IdentifyError> {
    let VehicleQuestion { vin, model_year, make, model, words, .. } = question;
    let mut query = Query::new(snapshot);
    if let Some(vin) = vin {
        number::read(&mut query, vin)?;
    }
    let mut sentence = Sentence::of(snapshot, words.as_ref().map_or("", Label::as_str));
    let says_nothing_else = question.is_empty_beside_words();
    if says_nothing_else && sentence.is_empty() {
        return Err(IdentifyError::Nothing);
    }
    if let Some(year) = model_year {
        add_year(&mut query, Source::Attribute, *year)?;
    }
    for year in sentence.take_years(model_year.is_some()) {
        add_year(&mut query, Source::Words, year)?;
    }
    let mut names = Names::new(snapshot);
    if let Some(typed) = make {
        names.make(&mut query, typed.as_str())?;
    }
    sentence.name_makes(&mut query, &mut names)?;
    if let Some(typed) = model {
        names.model(&mut query, Source::Attribute, typed.as_str())?;
    }
    sentence.name_models(&mut query, &mut names)?;
    names.set_reach(&mut query)?;
    if let Some(vin) = vin {
        number::expect_known(&mut query, vin)?;
    }
    let mut values = Values::default();
    values.read(&mut query, question)?;
    sentence.say_values(&mut query, &mut values)?;
    if says_nothing_else && query.matched.is_empty() {
        return Err(nothing_recognised(snapshot, query.unmatched));
    }
    Ok(query)
}

fn add_year(query: &mut Query<'_>, source: Source, year: ModelYear) -> Result<(), IdentifyError> {
    let typed = year.to_string();
    let stated = Stated { source, attribute: Attribute::ModelYear, value: typed.clone() };
    number::agree_on_year(query, &stated, year)?;
    let before = query.filters.iter().find(|filter| matches!(filter.test, Test::Year(_)));
    match before {
        Some(before) if query.year() != Some(year) => {
            return Err(IdentifyError::Contradiction { left: before.stated.clone(), right: stated });
        }
        Some(_) => {}
        None => query.filter(stated, Test::Year(year), true),
    }
    let matched = typed.clone();
    let attribute = Some(Attribute::ModelYear);
    query.matched.push(Match { source, attribute, typed, matched, how: MatchKind::Exact });
    Ok(())
}
