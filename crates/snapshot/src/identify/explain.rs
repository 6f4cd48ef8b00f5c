//! Why nothing is left: the statements that exclude each other, and what there is instead.

use std::collections::BTreeSet;

use dashwright_model::record::vehicle::{Attribute, Trims, WeightClass};

use super::error::{MAX_EXISTING, MAX_NEAREST};
use super::filter::{Filter, Seen, Standing, Test};
use super::index::{VALUE_ATTRIBUTES, value_of};
use super::number::one_or_other;
use super::query::Query;
use super::years::YearSet;
use super::{IdentifyError, Source, Stated};
use crate::line::Line;

/// Names the statements that leave no line: two where two suffice.
pub(crate) fn why_none(query: &Query<'_>) -> IdentifyError {
    let filters: Vec<&Filter> = query.filters.iter().collect();
    let Some(last) =
        (1..=filters.len()).find(|count| filters.get(..*count).is_some_and(|some| none(query, some)))
    else {
        return nothing_in_reach(query);
    };
    let before = filters.get(..last - 1).unwrap_or_default();
    let Some(culprit) = filters.get(last - 1).copied() else { return nothing_in_reach(query) };
    let named = of_reach(query);
    if none(query, &[culprit]) {
        return match named.split_last() {
            Some((left, beside)) => conflict(query, left.clone(), culprit, beside.to_vec(), &[]),
            None => nowhere(query, culprit),
        };
    }
    match before.iter().find(|other| none(query, &[other, culprit])) {
        Some(other) => conflict(query, said(query, other), culprit, named, &[other]),
        None => match before.split_last() {
            Some((other, rest)) => {
                let beside = named.into_iter().chain(rest.iter().map(|filter| filter.stated.clone()));
                conflict(query, said(query, other), culprit, beside.collect(), before)
            }
            None => nowhere(query, culprit),
        },
    }
}

/// Without lines there is nothing to name but the number of lines: an empty catalogue knows no vehicle.
fn nothing_in_reach(query: &Query<'_>) -> IdentifyError {
    match query.named.last().or_else(|| query.filters.first().map(|filter| &filter.stated)) {
        Some(Stated { attribute, value, .. }) => {
            IdentifyError::NoMatch { attribute: *attribute, typed: value.clone(), nearest: Vec::new() }
        }
        None => IdentifyError::Nothing,
    }
}

/// Two statements of which one is the number's, or which are about one attribute, contradict each other; any others are
/// only without a line.
fn conflict(
    query: &Query<'_>,
    left: Stated,
    culprit: &Filter,
    beside: Vec<Stated>,
    given: &[&Filter],
) -> IdentifyError {
    let right = said(query, culprit);
    if left.source == Source::Vin || right.source == Source::Vin || left.attribute == right.attribute {
        return IdentifyError::Contradiction { left, right };
    }
    let exist = existing(query, culprit, given);
    IdentifyError::NoLine { left, right, beside, exist }
}

/// A value that is known, but of no line of the whole catalogue.
fn nowhere(query: &Query<'_>, culprit: &Filter) -> IdentifyError {
    let Stated { attribute, value, .. } = culprit.stated.clone();
    let nearest = existing(query, culprit, &[]).into_iter().take(MAX_NEAREST).collect();
    IdentifyError::NoMatch { attribute, typed: value, nearest }
}

/// What a filter states. A number states the one year of its cycle where every line in reach lets position 7 tell it.
fn said(query: &Query<'_>, filter: &Filter) -> Stated {
    let Test::NumberYears { light, .. } = &filter.test else { return filter.stated.clone() };
    let is_light = |seen: Seen<'_>| seen.line.facts.weight_class == Some(WeightClass::Light);
    if query.in_reach().all(is_light) {
        let years: Vec<_> = light.iter().collect();
        return Stated { value: one_or_other(&years), ..filter.stated.clone() };
    }
    filter.stated.clone()
}

/// What names the lines in reach; the number last, for its patterns say the most.
fn of_reach(query: &Query<'_>) -> Vec<Stated> {
    let mut named = query.named.clone();
    if let Some(lines) = &query.by_number {
        let models = lines.iter().filter_map(|line| query.snapshot.model_of(query.snapshot.line(*line)?));
        let names: BTreeSet<String> = models.map(|model| model.name.to_string()).collect();
        let value = names.into_iter().take(MAX_EXISTING).collect::<Vec<_>>().join(" or ");
        named.push(Stated { source: Source::Vin, attribute: Attribute::Model, value });
    }
    named
}

fn none(query: &Query<'_>, filters: &[&Filter]) -> bool {
    left(query, filters).next().is_none()
}

fn left<'q>(query: &'q Query<'_>, filters: &'q [&'q Filter]) -> impl Iterator<Item = (Seen<'q>, Standing)> {
    query.in_reach().filter_map(move |seen| Some((seen, query.through(seen, filters)?)))
}

/// The values of the culprit's attribute that there are with what is given.
fn existing(query: &Query<'_>, culprit: &Filter, given: &[&Filter]) -> Vec<String> {
    if matches!(culprit.test, Test::Year(_) | Test::NumberYears { .. }) {
        let years = left(query, given).fold(YearSet::default(), |years, (_, left)| years.or(left.years));
        return years.spans().iter().take(MAX_EXISTING).map(ToString::to_string).collect();
    }
    let attribute = culprit.stated.attribute;
    let mut values = BTreeSet::new();
    for (seen, standing) in left(query, given) {
        match attribute {
            Attribute::AudioOption => {
                let options = seen.options.options.iter().zip(0_u16..);
                let open = options.filter(|(_, number)| standing.option_numbers().contains(number));
                values.extend(open.map(|(option, _)| option.option.title.to_string()));
            }
            _ => add_value(&mut values, seen.line, attribute),
        }
    }
    values.into_iter().take(MAX_EXISTING).collect()
}

fn add_value(values: &mut BTreeSet<String>, line: &Line, attribute: Attribute) {
    match attribute {
        Attribute::Trim => match &*line.trims {
            Trims::These(trims) => values.extend(trims.iter().map(ToString::to_string)),
            every => {
                values.insert(every.to_string());
            }
        },
        Attribute::BuildMonth => values.extend(line.facts.build.map(|window| window.to_string())),
        Attribute::DriveSide => values.extend(line.facts.drive_side.map(|side| side.to_string())),
        _ if VALUE_ATTRIBUTES.contains(&attribute) => {
            values.extend(value_of(line, attribute).map(ToString::to_string));
        }
        _ => {}
    }
}
