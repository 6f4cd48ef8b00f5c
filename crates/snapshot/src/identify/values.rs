//! What is said of lines: trim, body, drivetrain, market, drive side, build month and audio option.

use std::collections::BTreeSet;

use dashwright_model::question::VehicleQuestion;
use dashwright_model::record::vehicle::{Attribute, DriveSide, Trims};
use dashwright_quantity::{Label, YearMonth};

use super::dictionary::Dictionary;
use super::error::MAX_NEAREST;
use super::filter::{Likely, Seen, Test};
use super::index::{Meaning, Via, value_of};
use super::names::first_distinct;
use super::query::{Query, Vocabulary};
use super::resolve::{Found, known_values, likely_values};
use super::{IdentifyError, Match, MatchKind, Source, Stated, another};
use crate::words::{has_form, normal};

/// The words that mean something for the lines in reach; put together when the first is asked for.
#[derive(Default)]
pub(crate) struct Values<'a> {
    vocabulary: Option<Vocabulary<'a>>,
}

/// Whether lines in reach take values that nobody names.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Open {
    No,
    /// Some line takes every value.
    Every,
    /// None takes every value, but some line takes all others.
    Others,
}

impl<'a> Values<'a> {
    pub(crate) fn vocabulary(&mut self, query: &Query<'a>) -> &Vocabulary<'a> {
        self.vocabulary.get_or_insert_with(|| query.vocabulary())
    }

    /// Reads the attributes of a question that are about lines.
    pub(crate) fn read(
        &mut self,
        query: &mut Query<'a>,
        question: &VehicleQuestion,
    ) -> Result<(), IdentifyError> {
        let VehicleQuestion {
            vin: _,
            model_year: _,
            make: _,
            model: _,
            trim,
            build_month,
            market,
            drive_side,
            body,
            drivetrain,
            audio_option,
            words: _,
        } = question;
        if let Some(month) = build_month {
            add_month(query, Source::Attribute, *month);
        }
        if let Some(side) = drive_side {
            add_side(query, Source::Attribute, side.name(), *side);
        }
        let typed = [
            (Attribute::Market, market),
            (Attribute::Body, body),
            (Attribute::Drivetrain, drivetrain),
            (Attribute::Trim, trim),
            (Attribute::AudioOption, audio_option),
        ];
        for (attribute, typed) in typed {
            if let Some(typed) = typed {
                self.attribute(query, attribute, typed.as_str())?;
            }
        }
        Ok(())
    }

    /// Takes a value as typed.
    fn attribute(
        &mut self,
        query: &mut Query<'a>,
        attribute: Attribute,
        typed: &str,
    ) -> Result<(), IdentifyError> {
        let word = normal(typed);
        let open = open(query.in_reach(), attribute);
        if open != Open::No && word == another(attribute) {
            take_unnamed(query, Source::Attribute, attribute, typed);
            return Ok(());
        }
        let exact = exactly(query, attribute, &word);
        if !exact.is_empty() {
            take_values(query, Source::Attribute, typed, &exact);
            return Ok(());
        }
        let words = self.vocabulary(query).words();
        let only = |own| own == attribute;
        let mut found = known_values(words, &word, only);
        if found.is_empty() {
            found = likely_values(words, &word, only);
        }
        if found.is_empty() && open != Open::No {
            take_unnamed(query, Source::Attribute, attribute, typed);
            return Ok(());
        }
        if found.is_empty() {
            // Known elsewhere, then: that no line in reach has it is for the filters to say.
            found = known_values(&query.snapshot.index.values, &word, only);
        }
        if found.is_empty() {
            let nearest = nearest(words, &word, attribute);
            return Err(IdentifyError::NoMatch { attribute, typed: typed.to_owned(), nearest });
        }
        take_values(query, Source::Attribute, typed, &found);
        Ok(())
    }
}

/// The values that lines in reach write exactly so. That is what the vocabulary would say of the word, and most questions
/// come from a list of choices: they are spared putting it together.
fn exactly(query: &Query<'_>, attribute: Attribute, word: &str) -> Vec<Found<Meaning>> {
    let mut exact: BTreeSet<&Label> = BTreeSet::new();
    let written_so = |label: &&Label| has_form(label.as_str(), word);
    if query.reach_is_all() {
        return Vec::new();
    }
    for seen in query.in_reach() {
        match attribute {
            Attribute::Trim => {
                if let Trims::These(trims) = &*seen.line.trims {
                    exact.extend(trims.iter().filter(written_so));
                }
            }
            Attribute::AudioOption => {
                let options = seen.options.options.iter().map(|option| &option.option);
                exact.extend(options.flat_map(|option| [&option.code, &option.title]).filter(written_so));
            }
            _ => exact.extend(value_of(seen.line, attribute).filter(written_so)),
        }
    }
    exact
        .into_iter()
        .map(|label| {
            let meaning = Meaning { via: Via::Name, attribute, label: label.clone() };
            Found { of: meaning, how: MatchKind::Exact, likeness: 100 }
        })
        .collect()
}

/// Takes a build month.
pub(crate) fn add_month(query: &mut Query<'_>, source: Source, month: YearMonth) {
    let value = month.to_string();
    add_certain(query, source, Attribute::BuildMonth, &value, &value, Test::Built(month));
}

/// Takes a drive side.
pub(crate) fn add_side(query: &mut Query<'_>, source: Source, typed: &str, side: DriveSide) {
    add_certain(query, source, Attribute::DriveSide, typed, side.name(), Test::DriveSide(side));
}

fn add_certain(
    query: &mut Query<'_>,
    source: Source,
    attribute: Attribute,
    typed: &str,
    matched: &str,
    test: Test,
) {
    let (typed, matched) = (typed.to_owned(), matched.to_owned());
    query.filter(Stated { source, attribute, value: typed.clone() }, test, true);
    query.matched.push(Match { source, attribute: Some(attribute), typed, matched, how: MatchKind::Exact });
}

/// Takes what a word was found to mean; several meanings are alternatives.
pub(crate) fn take_values(query: &mut Query<'_>, source: Source, typed: &str, found: &[Found<Meaning>]) {
    let attributes: BTreeSet<Attribute> = found.iter().map(|found| found.of.attribute).collect();
    let mut tests: Vec<Test> = attributes.iter().map(|attribute| test_of(*attribute, found)).collect();
    let Some(first) = attributes.first() else { return };
    let guessed = found.iter().any(|found| matches!(found.how, MatchKind::Misspelt { .. }));
    let test = if tests.len() == 1 { tests.pop() } else { Some(Test::Any(tests)) };
    if let Some(test) = test {
        let stated = Stated { source, attribute: *first, value: typed.to_owned() };
        query.filter(stated, test, attributes.len() == 1 && !guessed);
    }
    for found in found {
        let matched = found.of.label.to_string();
        let attribute = Some(found.of.attribute);
        query.matched.push(Match { source, attribute, typed: typed.to_owned(), matched, how: found.how });
    }
}

fn test_of(attribute: Attribute, found: &[Found<Meaning>]) -> Test {
    let own = found.iter().filter(|found| found.of.attribute == attribute);
    let labels: Vec<Likely> =
        own.clone().map(|found| Likely { label: found.of.label.clone(), likeness: found.likeness }).collect();
    match attribute {
        Attribute::Trim => {
            let keep_others = own.clone().any(|found| matches!(found.how, MatchKind::Misspelt { .. }));
            Test::Trim { labels, keep_others }
        }
        Attribute::AudioOption => Test::Option { labels },
        _ => Test::Value { attribute, labels },
    }
}

/// Takes a value that no line in reach names, where some line takes values that nobody names.
fn take_unnamed(query: &mut Query<'_>, source: Source, attribute: Attribute, typed: &str) {
    let left = query.standing().filter_map(|left| query.seen(left.line));
    let how = match open(left, attribute) {
        Open::Others => MatchKind::OtherTrim,
        Open::Every | Open::No => MatchKind::Unchecked,
    };
    let test = match attribute {
        Attribute::Trim => Test::Trim { labels: Vec::new(), keep_others: true },
        _ => Test::Value { attribute, labels: Vec::new() },
    };
    let typed = typed.to_owned();
    query.filter(Stated { source, attribute, value: typed.clone() }, test, true);
    let (attribute, matched) = (Some(attribute), String::new());
    query.matched.push(Match { source, attribute, typed, matched, how });
}

/// Takes a word that means a value elsewhere, but none in reach: as a value that nobody names, or as it is meant there.
pub(crate) fn take_foreign(query: &mut Query<'_>, source: Source, typed: &str, found: &[Found<Meaning>]) {
    let attributes: BTreeSet<Attribute> = found.iter().map(|found| found.of.attribute).collect();
    match attributes.into_iter().find(|attribute| open(query.in_reach(), *attribute) != Open::No) {
        Some(attribute) => take_unnamed(query, source, attribute, typed),
        None => take_values(query, source, typed, found),
    }
}

fn open<'a>(lines: impl Iterator<Item = Seen<'a>>, attribute: Attribute) -> Open {
    let mut open = Open::No;
    for seen in lines {
        match (attribute, &*seen.line.trims) {
            (Attribute::AudioOption, _) => return Open::No,
            (Attribute::Trim, Trims::All) => return Open::Every,
            (Attribute::Trim, Trims::AllOthers) => open = Open::Others,
            (Attribute::Trim, Trims::These(_)) => {}
            _ if value_of(seen.line, attribute).is_none() => return Open::Every,
            _ => {}
        }
    }
    open
}

fn nearest(words: &Dictionary<Meaning>, word: &str, attribute: Attribute) -> Vec<String> {
    let entries = words.nearest(word, MAX_NEAREST, |meaning| meaning.attribute == attribute).into_iter();
    let meanings = entries.flat_map(|(_, entry)| &entry.meanings);
    let own = meanings.filter(|meaning| meaning.attribute == attribute);
    first_distinct(own.map(|meaning| meaning.label.to_string()))
}
