//! What identifying needs beyond the lines themselves, worked out once when the snapshot is built.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;
use std::sync::Arc;

use dashwright_model::record::Term;
use dashwright_model::record::vehicle::{Attribute, Trims};
use dashwright_model::record::vocabulary::TermKind;
use dashwright_model::vin::{MakerCode, Vin, VinPattern};
use dashwright_quantity::{Label, ModelYear};

use super::dictionary::Dictionary;
use super::years::YearSet;
use crate::line::{Line, LineIx, Make, MakeIx, Model, ModelIx, OptionSet};
use crate::records::Table;
use crate::words::normal;

/// Precomputed for identifying.
#[derive(Debug, Default)]
pub(crate) struct Index {
    pub(crate) makes: Dictionary<Named<MakeIx>>,
    pub(crate) models: Dictionary<Named<ModelIx>>,
    /// The same by make: a misspelling is looked for among the models of its make only.
    models_by_make: Vec<Dictionary<Named<ModelIx>>>,
    /// Trims, bodies, drivetrains, markets and audio options of all lines, and the phrases that stand for them.
    pub(crate) values: Dictionary<Meaning>,
    /// Phrases, each with the normal form of what it stands for.
    pub(crate) phrases: Vec<(String, String)>,
    pub(crate) years: BTreeMap<ModelYear, YearLines>,
    pub(crate) model_years: Vec<YearSet>,
    pub(crate) make_years: Vec<YearSet>,
    vin: VinIndex,
}

/// A name or an alias, and of what.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Named<T> {
    pub(crate) alias: bool,
    pub(crate) of: T,
}

/// What a word says of a line.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Meaning {
    pub(crate) via: Via,
    pub(crate) attribute: Attribute,
    /// The value as lines write it.
    pub(crate) label: Label,
}

/// By what a word means a value, the surest first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Via {
    Name,
    Phrase,
    TitleWord,
}

/// The lines of a model year.
#[derive(Debug, Default)]
pub(crate) struct YearLines {
    pub(crate) lines: usize,
    /// In the order of the makes.
    pub(crate) makes: Vec<(MakeIx, usize)>,
    /// In the order of the models, so that those of a make stand together.
    pub(crate) models: Vec<(ModelIx, usize)>,
}

/// Patterns by maker code and year code; what a pattern leaves open, it is filed under as open.
#[derive(Debug, Default)]
struct VinIndex {
    patterns: BTreeMap<(Option<MakerCode>, Option<char>), Vec<u32>>,
}

/// What the index is built of.
pub(crate) struct Source<'a> {
    pub(crate) makes: &'a [Make],
    pub(crate) models: &'a [Model],
    pub(crate) lines: &'a [Line],
    pub(crate) option_sets: &'a [OptionSet],
    pub(crate) terms: &'a Table<Term>,
    pub(crate) vin_patterns: &'a [(VinPattern, LineIx)],
}

impl Index {
    pub(crate) fn of(source: &Source<'_>) -> Self {
        let phrases = phrases(source.terms);
        let labels = Labels::of(source.lines.iter(), |line| {
            source.option_sets.get(line.options.get()).map(|set| (line.options.0, set))
        });
        let mut index = Self {
            makes: names(source.makes.iter().map(|make| (&make.name, &make.aliases)), MakeIx),
            models: model_names(source.models, 0),
            models_by_make: source.makes.iter().map(|make| models_of(make, source.models)).collect(),
            values: Dictionary::new(labels.with_phrases(&phrases)),
            phrases,
            years: BTreeMap::new(),
            model_years: Vec::with_capacity(source.models.len()),
            make_years: vec![YearSet::default(); source.makes.len()],
            vin: VinIndex::of(source.vin_patterns),
        };
        for (model, number) in source.models.iter().zip(0_u32..) {
            index.add_years(ModelIx(number), model, source.lines);
        }
        index
    }

    fn add_years(&mut self, index: ModelIx, model: &Model, lines: &[Line]) {
        let mut counts: BTreeMap<ModelYear, usize> = BTreeMap::new();
        for line in lines.get(span(&model.lines)).unwrap_or_default() {
            for year in line.years.years() {
                *counts.entry(year).or_default() += 1;
            }
        }
        let years: YearSet = counts.keys().copied().collect();
        self.model_years.push(years);
        if let Some(of_make) = self.make_years.get_mut(model.make.get()) {
            *of_make = of_make.or(years);
        }
        for (year, count) in counts {
            let entry = self.years.entry(year).or_default();
            entry.lines += count;
            entry.models.push((index, count));
            match entry.makes.last_mut() {
                Some((make, lines)) if *make == model.make => *lines += count,
                _ => entry.makes.push((model.make, count)),
            }
        }
    }

    /// The names of models, of one make if there is one.
    pub(crate) fn models_of(&self, make: Option<MakeIx>) -> &Dictionary<Named<ModelIx>> {
        make.and_then(|make| self.models_by_make.get(make.get())).unwrap_or(&self.models)
    }

    /// How many lines of the models a year has.
    pub(crate) fn lines_in_year(&self, year: ModelYear, models: &Range<u32>) -> usize {
        self.models_in_year(year, models).iter().map(|(_, lines)| lines).sum()
    }

    /// The models of a range that a year has, each with its number of lines.
    pub(crate) fn models_in_year(&self, year: ModelYear, models: &Range<u32>) -> &[(ModelIx, usize)] {
        let all = self.years.get(&year).map_or(&[][..], |entry| &entry.models);
        let start = all.partition_point(|(model, _)| model.0 < models.start);
        let end = all.partition_point(|(model, _)| model.0 < models.end);
        all.get(start..end).unwrap_or_default()
    }

    /// The places of the patterns that may take a number, in their order.
    pub(crate) fn patterns_for(&self, vin: &Vin) -> Vec<usize> {
        let year = vin.as_str().chars().nth(YEAR_CODE_PLACE);
        let maker = Some(vin.maker_code());
        let keys = [(maker, year), (maker, None), (None, year), (None, None)];
        let found = keys.iter().filter_map(|key| self.vin.patterns.get(key)).flatten();
        let mut places: Vec<usize> = found.map(|place| *place as usize).collect();
        places.sort_unstable();
        places
    }
}

/// Where the year code stands in a number and in the text of a pattern, counted from 0.
const YEAR_CODE_PLACE: usize = 9;

impl VinIndex {
    fn of(patterns: &[(VinPattern, LineIx)]) -> Self {
        let mut index = Self::default();
        for ((pattern, _), place) in patterns.iter().zip(0_u32..) {
            let year = pattern.to_string().chars().nth(YEAR_CODE_PLACE).filter(|c| *c != '?');
            index.patterns.entry((pattern.maker_code(), year)).or_default().push(place);
        }
        index
    }
}

/// The distinct values of lines. Values that lines share are looked at once.
#[derive(Debug, Default)]
pub(crate) struct Labels {
    values: BTreeSet<(Attribute, Label)>,
}

impl Labels {
    pub(crate) fn of<'a>(
        lines: impl Iterator<Item = &'a Line>,
        options: impl Fn(&Line) -> Option<(u32, &'a OptionSet)>,
    ) -> Self {
        let mut labels = Self::default();
        let (mut trims, mut facts, mut sets) = (BTreeSet::new(), BTreeSet::new(), BTreeSet::new());
        for line in lines {
            if let (Trims::These(these), true) = (&*line.trims, trims.insert(Arc::as_ptr(&line.trims))) {
                labels.values.extend(these.iter().map(|trim| (Attribute::Trim, trim.clone())));
            }
            if facts.insert(Arc::as_ptr(&line.facts)) {
                for attribute in VALUE_ATTRIBUTES {
                    labels.values.extend(value_of(line, attribute).map(|value| (attribute, value.clone())));
                }
            }
            let fresh = options(line).filter(|(number, _)| sets.insert(*number));
            for option in fresh.iter().flat_map(|(_, set)| &set.options) {
                labels.values.insert((Attribute::AudioOption, option.option.code.clone()));
                labels.values.insert((Attribute::AudioOption, option.option.title.clone()));
            }
        }
        labels
    }

    /// The values as words, with the phrases that stand for them.
    pub(crate) fn with_phrases(&self, phrases: &[(String, String)]) -> Vec<(String, Meaning)> {
        let mut by_word: BTreeMap<String, Vec<(Attribute, Label)>> = BTreeMap::new();
        for (attribute, label) in &self.values {
            by_word.entry(normal(label.as_str())).or_default().push((*attribute, label.clone()));
        }
        let mut words = Vec::new();
        for (phrase, stands_for) in phrases {
            let meant = by_word.get(stands_for).into_iter().flatten();
            words.extend(meant.map(|value| (phrase.clone(), meaning(Via::Phrase, value))));
        }
        for (word, values) in &by_word {
            words.extend(values.iter().map(|value| (word.clone(), meaning(Via::Name, value))));
        }
        words
    }

    pub(crate) fn iter(&self) -> impl Iterator<Item = &(Attribute, Label)> {
        self.values.iter()
    }
}

/// The attributes of which a line has one value or, without it, every one.
pub(crate) const VALUE_ATTRIBUTES: [Attribute; 3] =
    [Attribute::Market, Attribute::Body, Attribute::Drivetrain];

/// The value of such an attribute.
pub(crate) fn value_of(line: &Line, attribute: Attribute) -> Option<&Label> {
    match attribute {
        Attribute::Market => line.facts.market.as_ref(),
        Attribute::Body => line.facts.body.as_ref(),
        Attribute::Drivetrain => line.facts.drivetrain.as_ref(),
        _ => None,
    }
}

pub(crate) fn span(range: &Range<u32>) -> Range<usize> {
    range.start as usize..range.end as usize
}

fn meaning(via: Via, (attribute, label): &(Attribute, Label)) -> Meaning {
    Meaning { via, attribute: *attribute, label: label.clone() }
}

fn models_of(make: &Make, models: &[Model]) -> Dictionary<Named<ModelIx>> {
    model_names(models.get(span(&make.models)).unwrap_or_default(), make.models.start)
}

fn model_names(models: &[Model], first: u32) -> Dictionary<Named<ModelIx>> {
    let named = models.iter().map(|model| (&model.name, &model.aliases));
    names(named, |number| ModelIx(first + number))
}

fn names<'a, T: Ord>(
    named: impl Iterator<Item = (&'a Label, &'a Vec<Label>)>,
    index: impl Fn(u32) -> T,
) -> Dictionary<Named<T>> {
    let mut words = Vec::new();
    for ((name, aliases), number) in named.zip(0_u32..) {
        words.push((normal(name.as_str()), Named { alias: false, of: index(number) }));
        let aliases = aliases.iter().map(|alias| normal(alias.as_str()));
        words.extend(aliases.map(|alias| (alias, Named { alias: true, of: index(number) })));
    }
    Dictionary::new(words)
}

fn phrases(terms: &Table<Term>) -> Vec<(String, String)> {
    let mut phrases = Vec::new();
    for (_, term) in terms.iter() {
        if let TermKind::Phrase { stands_for } = &term.of {
            let spellings = std::iter::once(&term.name).chain(&term.aliases);
            let stands_for = normal(stands_for.as_str());
            phrases.extend(spellings.map(|spelling| (normal(spelling.as_str()), stands_for.clone())));
        }
    }
    phrases.sort();
    phrases.dedup();
    phrases
}
