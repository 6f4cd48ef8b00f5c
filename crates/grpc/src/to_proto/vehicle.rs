//! Candidates, choices, and what was matched to what.

use dashwright_api::v1;
use dashwright_model::vin::VinConcern;
use dashwright_sheet::words::distinction;
use dashwright_snapshot::{Candidate, Choice, LineIx, Match, MatchKind, Snapshot};

use super::terms;

/// A vehicle line with one audio option, the first of the candidate's.
pub(crate) fn candidate(snapshot: &Snapshot, candidate: &Candidate) -> Option<v1::Candidate> {
    line_with_option(snapshot, candidate.line, *candidate.options.first()?)
}

/// A vehicle line with one of its audio options, by its place.
pub(crate) fn line_with_option(snapshot: &Snapshot, line: LineIx, option: u16) -> Option<v1::Candidate> {
    let line = snapshot.line(line)?;
    let (model, make) = (snapshot.model_of(line)?, snapshot.make_of(line)?);
    let option = snapshot.options_of(line).get(usize::from(option))?;
    Some(v1::Candidate {
        vehicle_id: snapshot.line_id(line).to_owned(),
        make: make.name.to_string(),
        model: model.name.to_string(),
        first_year: line.years.from().get().into(),
        last_year: line.years.to().get().into(),
        distinction: distinction(line),
        audio_option: option.option.code.to_string(),
        audio_title: option.option.title.to_string(),
        how_to_tell: option.option.how_to_tell.to_string(),
    })
}

/// A choice.
pub(crate) fn choice(choice: &Choice) -> v1::Choice {
    let Choice { answer: _, value, title, how_to_tell, lines } = choice;
    v1::Choice {
        value: value.clone(),
        title: title.clone(),
        how_to_tell: how_to_tell.as_ref().map(ToString::to_string).unwrap_or_default(),
        lines: u32::try_from(*lines).unwrap_or(u32::MAX),
    }
}

/// What was matched to what, words without a meaning last.
pub(crate) fn matches(matched: &[Match], unmatched: &[String]) -> Vec<v1::Match> {
    let unused = unmatched.iter().map(|word| v1::Match {
        typed: word.clone(),
        kind: v1::MatchKind::Unused.into(),
        ..v1::Match::default()
    });
    matched.iter().map(one_match).chain(unused).collect()
}

fn one_match(found: &Match) -> v1::Match {
    let Match { source: _, attribute, typed, matched, how } = found;
    let (kind, similarity_percent) = match how {
        MatchKind::Exact => (v1::MatchKind::Exact, 100),
        MatchKind::Alias => (v1::MatchKind::Alias, 100),
        MatchKind::Phrase | MatchKind::TitleWord => (v1::MatchKind::Phrase, 100),
        MatchKind::Misspelt { similarity } => (v1::MatchKind::Misspelt, (*similarity).into()),
        MatchKind::VinPattern { .. } | MatchKind::YearCode { .. } => (v1::MatchKind::VinPattern, 100),
        MatchKind::OtherTrim | MatchKind::Unchecked | MatchKind::NoVinPattern { .. } => {
            (v1::MatchKind::Unchecked, 100)
        }
    };
    v1::Match {
        attribute: attribute.map(terms::attribute).unwrap_or_default().into(),
        typed: typed.clone(),
        matched: matched.clone(),
        kind: kind.into(),
        similarity_percent,
    }
}

/// What is worth knowing about a vehicle identification number.
pub(crate) fn vin_concerns(concerns: &[VinConcern]) -> Vec<v1::VinConcern> {
    concerns.iter().map(|concern| v1::VinConcern { text: concern.to_string() }).collect()
}
