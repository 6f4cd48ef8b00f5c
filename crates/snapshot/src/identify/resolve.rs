//! From a typed word to what it names: exactly, by an alias, or by a likely misspelling.

use dashwright_model::record::vehicle::Attribute;

use super::MatchKind;
use super::dictionary::Dictionary;
use super::index::{Meaning, Named, Via};

/// What a word was found to mean.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Found<T> {
    pub(crate) of: T,
    pub(crate) how: MatchKind,
    pub(crate) likeness: u8,
}

impl<T> Found<T> {
    fn sure(of: T, how: MatchKind) -> Self {
        Self { of, how, likeness: 100 }
    }

    fn guessed(of: T, similarity: u8) -> Self {
        Self { of, how: MatchKind::Misspelt { similarity }, likeness: similarity }
    }
}

/// Makes or models of a word in normal form: by name, else by alias. In order, each once.
pub(crate) fn known<T: Copy + Ord>(
    names: &Dictionary<Named<T>>,
    word: &str,
    counts: impl Fn(T) -> bool,
) -> Vec<Found<T>> {
    let entries = names.exact(word);
    let meanings = entries.iter().flat_map(|entry| &entry.meanings).filter(|named| counts(named.of));
    let (aliases, own): (Vec<&Named<T>>, Vec<_>) = meanings.partition(|named| named.alias);
    let (how, chosen) = if own.is_empty() { (MatchKind::Alias, aliases) } else { (MatchKind::Exact, own) };
    in_order(chosen.into_iter().map(|named| Found::sure(named.of, how)).collect())
}

/// Makes or models whose names, or aliases, are likely meant: all that tie.
pub(crate) fn likely<T: Copy + Ord>(
    names: &Dictionary<Named<T>>,
    word: &str,
    counts: impl Fn(T) -> bool,
) -> Vec<Found<T>> {
    let near = names.misspelt(word, |named| counts(named.of));
    let of = |entry: &super::dictionary::Near<'_, Named<T>>| {
        let similarity = entry.similarity;
        let meanings = entry.entry.meanings.iter().filter(|named| counts(named.of));
        meanings.map(|named| Found::guessed(named.of, similarity)).collect::<Vec<_>>()
    };
    in_order(near.iter().flat_map(of).collect())
}

/// What a word in normal form says of lines: by the surest way in which it says anything.
pub(crate) fn known_values(
    words: &Dictionary<Meaning>,
    word: &str,
    counts: impl Fn(Attribute) -> bool,
) -> Vec<Found<Meaning>> {
    let entries = words.exact(word);
    let meanings: Vec<&Meaning> = entries
        .iter()
        .flat_map(|entry| &entry.meanings)
        .filter(|meaning| counts(meaning.attribute))
        .collect();
    let surest = meanings.iter().map(|meaning| meaning.via).min();
    let chosen = meanings.into_iter().filter(|meaning| Some(meaning.via) == surest);
    chosen
        .map(|meaning| {
            let how = match meaning.via {
                Via::Name => MatchKind::Exact,
                Via::Phrase => MatchKind::Phrase,
                Via::TitleWord => MatchKind::TitleWord,
            };
            Found::sure(meaning.clone(), how)
        })
        .collect()
}

/// What is likely meant: all that tie.
pub(crate) fn likely_values(
    words: &Dictionary<Meaning>,
    word: &str,
    counts: impl Fn(Attribute) -> bool,
) -> Vec<Found<Meaning>> {
    let near = words.misspelt(word, |meaning| counts(meaning.attribute));
    let mut found: Vec<Found<Meaning>> = Vec::new();
    for near in &near {
        for meaning in near.entry.meanings.iter().filter(|meaning| counts(meaning.attribute)) {
            let twice = found
                .iter()
                .any(|own| own.of.attribute == meaning.attribute && own.of.label == meaning.label);
            if !twice {
                found.push(Found::guessed(meaning.clone(), near.similarity));
            }
        }
    }
    found
}

/// Each once, with the best likeness, in order.
fn in_order<T: Copy + Ord>(mut found: Vec<Found<T>>) -> Vec<Found<T>> {
    found.sort_by(|one, other| one.of.cmp(&other.of).then(other.likeness.cmp(&one.likeness)));
    found.dedup_by(|later, first| later.of == first.of);
    found
}
