//! What a vehicle identification number says.

use std::collections::BTreeMap;

use dashwright_model::record::vehicle::Attribute;
use dashwright_model::vin::{Position7Rule, Vin, VinConcern};
use dashwright_quantity::ModelYear;

use super::filter::Test;
use super::query::{Query, Reach};
use super::years::YearSet;
use super::{IdentifyError, Match, MatchKind, Source, Stated};
use crate::line::{LineIx, MakeIx};

/// Takes a number: its concerns, its years, and the lines whose patterns know it.
pub(crate) fn read(query: &mut Query<'_>, vin: &Vin) -> Result<(), IdentifyError> {
    let concerns = vin.concerns();
    if concerns.iter().any(|concern| VinConcern::is_error(*concern)) {
        return Err(IdentifyError::WrongVin { vin: *vin, concerns });
    }
    query.concerns = concerns;
    let known = known_by_pattern(query, vin);
    if !known.is_empty() {
        query.by_number = Some(known);
    }
    let years = vin.model_years(Position7Rule::MayNot);
    if years.is_unknown() {
        return Ok(());
    }
    let value = one_or_other(years.possible());
    if let Some(test) = Test::number_years(vin) {
        query.filter(year_of(&value), test, false);
    }
    let how = MatchKind::YearCode { standing: years.standing() };
    let attribute = Some(Attribute::ModelYear);
    let typed = vin.to_string();
    query.matched.push(Match { source: Source::Vin, attribute, typed, matched: value, how });
    Ok(())
}

/// The lines whose patterns know a number, in order: of each make those whose patterns fix the most.
fn known_by_pattern(query: &mut Query<'_>, vin: &Vin) -> Vec<LineIx> {
    let snapshot = query.snapshot;
    let mut most: BTreeMap<MakeIx, usize> = BTreeMap::new();
    let mut lines = Vec::new();
    let places = snapshot.index.patterns_for(vin);
    // Patterns stand in the order of how much they fix, so the first of a make says how much counts.
    for (pattern, line) in places.into_iter().filter_map(|place| snapshot.vin_patterns.get(place)) {
        if !pattern.matches(vin) {
            continue;
        }
        let Some(make) =
            snapshot.line(*line).and_then(|line| snapshot.model_of(line)).map(|model| model.make)
        else {
            continue;
        };
        let fixed = pattern.specificity();
        if *most.entry(make).or_insert(fixed) == fixed {
            lines.push(*line);
            let (typed, matched) = (vin.to_string(), pattern.to_string());
            let how = MatchKind::VinPattern { fixed };
            let found = Match { source: Source::Vin, attribute: None, typed, matched, how };
            if !query.matched.contains(&found) {
                query.matched.push(found);
            }
        }
    }
    lines.sort_unstable();
    lines.dedup();
    lines
}

/// Refuses a year that a number excludes whatever the line.
pub(crate) fn agree_on_year(
    query: &Query<'_>,
    stated: &Stated,
    year: ModelYear,
) -> Result<(), IdentifyError> {
    let excluding = query
        .filters
        .iter()
        .find(|filter| matches!(&filter.test, Test::NumberYears { other, .. } if !other.contains(year)));
    excluding.map_or(Ok(()), |filter| {
        Err(IdentifyError::Contradiction { left: filter.stated.clone(), right: stated.clone() })
    })
}

/// A number that no pattern knows is no help: something else has to name make or model.
pub(crate) fn expect_known(query: &mut Query<'_>, vin: &Vin) -> Result<(), IdentifyError> {
    if query.by_number.is_some() {
        return Ok(());
    }
    let maker = vin.maker_code();
    if query.reach == Reach::All {
        return Err(IdentifyError::UnknownVin { vin: *vin, maker });
    }
    let how = MatchKind::NoVinPattern { maker };
    let (typed, matched) = (vin.to_string(), String::new());
    query.matched.push(Match { source: Source::Vin, attribute: None, typed, matched, how });
    Ok(())
}

/// The number as a statement about the year.
fn year_of(value: &str) -> Stated {
    Stated { source: Source::Vin, attribute: Attribute::ModelYear, value: value.to_owned() }
}

/// Years as a person says them.
pub(crate) fn one_or_other(years: &[ModelYear]) -> String {
    let years: Vec<String> = years.iter().map(ToString::to_string).collect();
    years.join(" or ")
}

/// The reading of the year code for what is left: position 7 counts only where every line lets it count.
pub(crate) fn years(vin: &Vin, all_light: bool, left: YearSet) -> super::NumberYears {
    let rule = if all_light { Position7Rule::MayBeUsed } else { Position7Rule::MayNot };
    let reading = vin.model_years(rule);
    let agrees = left.iter().any(|year| reading.allows(year));
    super::NumberYears { reading, agrees }
}
