//! Makes and models: from what was typed to what is in reach.

use std::collections::BTreeSet;

use dashwright_model::record::vehicle::Attribute;

use super::dictionary::Dictionary;
use super::error::{MAX_EXISTING, MAX_NEAREST};
use super::index::Named;
use super::query::{Query, Reach};
use super::resolve::{Found, known, likely};
use super::{IdentifyError, Match, Source, Stated};
use crate::Snapshot;
use crate::line::{MakeIx, ModelIx};
use crate::words::normal;

/// What has been named so far, with the likeness of what was typed.
pub(crate) struct Names<'a> {
    snapshot: &'a Snapshot,
    makes: Option<(Stated, Vec<(MakeIx, u8)>)>,
    models: Option<(Stated, Vec<(ModelIx, u8)>)>,
}

impl<'a> Names<'a> {
    pub(crate) const fn new(snapshot: &'a Snapshot) -> Self {
        Self { snapshot, makes: None, models: None }
    }

    /// Whether a make, or a model, has been named.
    pub(crate) const fn has_make(&self) -> bool {
        self.makes.is_some()
    }

    /// Whether a model has been named.
    pub(crate) const fn has_model(&self) -> bool {
        self.models.is_some()
    }

    /// Takes a make as typed.
    pub(crate) fn make(&mut self, query: &mut Query<'_>, typed: &str) -> Result<(), IdentifyError> {
        let word = normal(typed);
        let names = &self.snapshot.index.makes;
        let mut found = known(names, &word, |_| true);
        if found.is_empty() {
            found = likely(names, &word, |_| true);
        }
        if found.is_empty() {
            let nearest = self.nearest(names, &word, |_| true, Self::make_name);
            return Err(IdentifyError::NoMatch {
                attribute: Attribute::Make,
                typed: typed.to_owned(),
                nearest,
            });
        }
        self.take_makes(query, Source::Attribute, typed, &found)
    }

    /// Takes a model as typed: of the makes that have been named, if any.
    pub(crate) fn model(
        &mut self,
        query: &mut Query<'_>,
        source: Source,
        typed: &str,
    ) -> Result<(), IdentifyError> {
        let word = normal(typed);
        let names = self.names_of_models();
        let mut found = known(names, &word, |model| self.in_makes(model));
        if found.is_empty() {
            found = likely(names, &word, |model| self.in_makes(model));
        }
        if !found.is_empty() {
            return self.take_models(query, source, typed, &found);
        }
        let nearest = self.nearest(names, &word, |model| self.in_makes(model), Self::model_name);
        let right = stated(source, Attribute::Model, typed);
        match &self.makes {
            Some((make, _)) if !known(&self.snapshot.index.models, &word, |_| true).is_empty() => {
                Err(IdentifyError::NoLine { left: make.clone(), right, beside: Vec::new(), exist: nearest })
            }
            _ => {
                let typed = typed.to_owned();
                Err(IdentifyError::NoMatch { attribute: Attribute::Model, typed, nearest })
            }
        }
    }

    /// Models of the makes named that a word in normal form names.
    pub(crate) fn known_models(&self, word: &str) -> Vec<Found<ModelIx>> {
        known(self.names_of_models(), word, |model| self.in_makes(model))
    }

    /// Models of the makes named that are likely meant.
    pub(crate) fn likely_models(&self, word: &str) -> Vec<Found<ModelIx>> {
        likely(self.names_of_models(), word, |model| self.in_makes(model))
    }

    /// Takes makes that were found; they must agree with those that were named before.
    pub(crate) fn take_makes(
        &mut self,
        query: &mut Query<'_>,
        source: Source,
        typed: &str,
        found: &[Found<MakeIx>],
    ) -> Result<(), IdentifyError> {
        report(query, source, Attribute::Make, typed, found, |make| self.make_name(make));
        narrow(&mut self.makes, stated(source, Attribute::Make, typed), found)
    }

    /// Takes models that were found; they must agree with those that were named before.
    pub(crate) fn take_models(
        &mut self,
        query: &mut Query<'_>,
        source: Source,
        typed: &str,
        found: &[Found<ModelIx>],
    ) -> Result<(), IdentifyError> {
        report(query, source, Attribute::Model, typed, found, |model| self.model_name(model));
        narrow(&mut self.models, stated(source, Attribute::Model, typed), found)
    }

    /// Sets what is in reach, and sees whether the number agrees.
    pub(crate) fn set_reach(self, query: &mut Query<'_>) -> Result<(), IdentifyError> {
        let statements = [self.makes.as_ref().map(|it| &it.0), self.models.as_ref().map(|it| &it.0)];
        query.named = statements.into_iter().flatten().cloned().collect();
        let makes = self.makes.map(|(_, makes)| makes);
        let models = self.models.map(|(_, models)| models);
        query.reach = match (makes, models) {
            (None, None) => Reach::All,
            (Some(makes), None) => Reach::Makes(makes),
            (makes, Some(models)) => Reach::Models(with_makes(self.snapshot, makes.as_deref(), models)),
        };
        agree_with_number(query)
    }

    /// The makes and models that look most like one of some words.
    pub(crate) fn nearest_of_all(&self, text: &str) -> Vec<String> {
        let index = &self.snapshot.index;
        let makes = index.makes.nearest(text, MAX_NEAREST, |_| true).into_iter();
        let makes = makes.flat_map(|(likeness, entry)| {
            entry.meanings.iter().map(move |named| (likeness, self.make_name(named.of)))
        });
        let models = index.models.nearest(text, MAX_NEAREST, |_| true).into_iter();
        let models = models.flat_map(|(likeness, entry)| {
            entry.meanings.iter().map(move |named| (likeness, self.model_name(named.of)))
        });
        let mut all: Vec<(u8, String)> = makes.chain(models).collect();
        all.sort_by(|(one, name), (other, other_name)| other.cmp(one).then_with(|| name.cmp(other_name)));
        first_distinct(all.into_iter().map(|(_, name)| name))
    }

    /// The names that look most like a word.
    fn nearest<T: Copy + Ord>(
        &self,
        names: &Dictionary<Named<T>>,
        word: &str,
        counts: impl Fn(T) -> bool,
        name: impl Fn(&Self, T) -> String,
    ) -> Vec<String> {
        let entries = names.nearest(word, MAX_NEAREST, |named| counts(named.of)).into_iter();
        let named = entries.flat_map(|(_, entry)| &entry.meanings).filter(|named| counts(named.of));
        first_distinct(named.map(|named| name(self, named.of)))
    }

    pub(crate) fn make_name(&self, make: MakeIx) -> String {
        self.snapshot.makes.get(make.get()).map_or_else(String::new, |make| make.name.to_string())
    }

    pub(crate) fn model_name(&self, model: ModelIx) -> String {
        self.snapshot.models.get(model.get()).map_or_else(String::new, |model| model.name.to_string())
    }

    /// The names of models among which those of the makes named are.
    fn names_of_models(&self) -> &'a Dictionary<Named<ModelIx>> {
        let only = match &self.makes {
            Some((_, makes)) if makes.len() == 1 => makes.first().map(|(make, _)| *make),
            _ => None,
        };
        self.snapshot.index.models_of(only)
    }

    fn in_makes(&self, model: ModelIx) -> bool {
        let Some((_, makes)) = &self.makes else { return true };
        let make = self.snapshot.models.get(model.get()).map(|model| model.make);
        makes.iter().any(|(own, _)| Some(*own) == make)
    }
}

/// The likeness of a model is that of its make too.
fn with_makes(
    snapshot: &Snapshot,
    makes: Option<&[(MakeIx, u8)]>,
    models: Vec<(ModelIx, u8)>,
) -> Vec<(ModelIx, u8)> {
    let Some(makes) = makes else { return models };
    let of_make = |model: ModelIx| {
        let make = snapshot.models.get(model.get())?.make;
        makes.iter().find(|(own, _)| *own == make).map(|(_, likeness)| *likeness)
    };
    models.into_iter().filter_map(|(model, likeness)| Some((model, likeness.min(of_make(model)?)))).collect()
}

/// The first few, each once.
pub(crate) fn first_distinct(words: impl Iterator<Item = String>) -> Vec<String> {
    let mut distinct: Vec<String> = Vec::new();
    for word in words {
        if distinct.len() < MAX_NEAREST && !distinct.contains(&word) {
            distinct.push(word);
        }
    }
    distinct
}

fn stated(source: Source, attribute: Attribute, typed: &str) -> Stated {
    Stated { source, attribute, value: typed.to_owned() }
}

fn report<T: Copy>(
    query: &mut Query<'_>,
    source: Source,
    attribute: Attribute,
    typed: &str,
    found: &[Found<T>],
    name: impl Fn(T) -> String,
) {
    for found in found {
        let (typed, matched) = (typed.to_owned(), name(found.of));
        let found = Match { source, attribute: Some(attribute), typed, matched, how: found.how };
        // Two makes may have a model of one name: that is one match, and two candidates.
        if !query.matched.contains(&found) {
            query.matched.push(found);
        }
    }
}

/// What was named before and is named again.
fn narrow<T: Copy + Ord>(
    before: &mut Option<(Stated, Vec<(T, u8)>)>,
    stated: Stated,
    found: &[Found<T>],
) -> Result<(), IdentifyError> {
    let found: Vec<(T, u8)> = found.iter().map(|found| (found.of, found.likeness)).collect();
    let Some((first, known)) = before else {
        *before = Some((stated, found));
        return Ok(());
    };
    let both = known.iter().filter_map(|(own, likeness)| {
        let again = found.iter().find(|(other, _)| other == own)?;
        Some((*own, again.1.min(*likeness)))
    });
    let both: Vec<(T, u8)> = both.collect();
    if both.is_empty() {
        return Err(IdentifyError::Contradiction { left: first.clone(), right: stated });
    }
    *known = both;
    Ok(())
}

/// Refuses a make or a model that is none of those whose patterns know the number.
fn agree_with_number(query: &Query<'_>) -> Result<(), IdentifyError> {
    let Some(lines) = &query.by_number else { return Ok(()) };
    if query.in_reach().next().is_some() {
        return Ok(());
    }
    let snapshot = query.snapshot;
    let of_lines = lines.iter().filter_map(|line| snapshot.line(*line));
    let (mut makes, mut models) = (BTreeSet::new(), BTreeSet::new());
    for line in of_lines {
        makes.extend(snapshot.make_of(line).map(|make| make.name.to_string()));
        models.extend(snapshot.model_of(line).map(|model| model.name.to_string()));
    }
    let make_agrees = query.model_ranges().into_iter().any(|(models, _)| {
        models.into_iter().any(|model| {
            let make = snapshot.models.get(model as usize).map(|model| model.make);
            make.and_then(|make| snapshot.makes.get(make.get()))
                .is_some_and(|make| makes.contains(make.name.as_str()))
        })
    });
    let wanted = if make_agrees { Attribute::Model } else { Attribute::Make };
    let right = query.named.iter().find(|stated| stated.attribute == wanted).or(query.named.first());
    let Some(right) = right else { return Ok(()) };
    let attribute = right.attribute;
    let values = if attribute == Attribute::Make { makes } else { models };
    let value = values.into_iter().take(MAX_EXISTING).collect::<Vec<_>>().join(" or ");
    let left = Stated { source: Source::Vin, attribute, value };
    Err(IdentifyError::Contradiction { left, right: right.clone() })
}
