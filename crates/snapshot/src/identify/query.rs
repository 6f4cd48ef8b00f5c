//! A question as it is understood: the lines in reach, and the filters upon them.

use std::ops::Range;

use dashwright_model::record::vehicle::Attribute;
use dashwright_model::vin::VinConcern;
use dashwright_quantity::ModelYear;

use super::dictionary::Dictionary;
use super::filter::{Filter, Seen, Standing, Test, first_bits};
use super::index::{Labels, Meaning, Via};
use super::years::YearSet;
use super::{Match, Stated};
use crate::line::{LineIx, MakeIx, ModelIx};
use crate::words::normal;
use crate::{Snapshot, words};

/// Which models are in reach, with the likeness of what was typed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Reach {
    All,
    Makes(Vec<(MakeIx, u8)>),
    Models(Vec<(ModelIx, u8)>),
}

/// A question as it is understood.
#[derive(Clone, Debug)]
pub(crate) struct Query<'a> {
    pub(crate) snapshot: &'a Snapshot,
    pub(crate) reach: Reach,
    /// The lines whose patterns know the number, in order.
    pub(crate) by_number: Option<Vec<LineIx>>,
    /// What names make and model.
    pub(crate) named: Vec<Stated>,
    /// In the order of their ranks.
    pub(crate) filters: Vec<Filter>,
    pub(crate) matched: Vec<Match>,
    pub(crate) unmatched: Vec<String>,
    pub(crate) concerns: Vec<VinConcern>,
}

impl<'a> Query<'a> {
    pub(crate) fn new(snapshot: &'a Snapshot) -> Self {
        Self {
            snapshot,
            reach: Reach::All,
            by_number: None,
            named: Vec::new(),
            filters: Vec::new(),
            matched: Vec::new(),
            unmatched: Vec::new(),
            concerns: Vec::new(),
        }
    }

    /// Adds a filter behind those of lower or equal rank.
    pub(crate) fn filter(&mut self, stated: Stated, test: Test, settled: bool) {
        let place = self.filters.partition_point(|filter| filter.test.rank() <= test.rank());
        self.filters.insert(place, Filter { stated, test, settled });
    }

    /// The year that was stated.
    pub(crate) fn year(&self) -> Option<ModelYear> {
        self.filters.iter().find_map(|filter| match filter.test {
            Test::Year(year) => Some(year),
            _ => None,
        })
    }

    /// Whether an attribute need not be asked again.
    pub(crate) fn settles(&self, attribute: Attribute) -> bool {
        self.filters.iter().any(|filter| filter.settled && filter.stated.attribute == attribute)
    }

    /// Whether the answer follows from the counts by year alone, without a look at any line.
    pub(crate) fn is_by_year_alone(&self) -> bool {
        let only_year = self.filters.iter().all(|filter| matches!(filter.test, Test::Year(_)));
        self.by_number.is_none() && only_year && !matches!(self.reach, Reach::Models(_))
    }

    /// The models in reach as ranges, each with the likeness of what was typed.
    pub(crate) fn model_ranges(&self) -> Vec<(Range<u32>, u8)> {
        match &self.reach {
            Reach::All => vec![(0..u32::try_from(self.snapshot.models.len()).unwrap_or(u32::MAX), 100)],
            Reach::Makes(makes) => {
                makes.iter().map(|(make, like)| (self.snapshot.models_of(*make), *like)).collect()
            }
            Reach::Models(models) => {
                models.iter().map(|(model, like)| (model.0..model.0 + 1, *like)).collect()
            }
        }
    }

    /// Every line in reach, unfiltered, in order.
    pub(crate) fn in_reach(&self) -> Box<dyn Iterator<Item = Seen<'a>> + '_> {
        match &self.by_number {
            Some(lines) => Box::new(lines.iter().filter_map(|line| self.seen(*line))),
            None => {
                let ranges = self.model_ranges().into_iter();
                Box::new(
                    ranges
                        .flat_map(|(models, _)| self.lines_of(&models))
                        .filter_map(|line| self.seen(LineIx(line))),
                )
            }
        }
    }

    /// The lines of a range of models; they stand together.
    pub(crate) fn lines_of(&self, models: &Range<u32>) -> Range<u32> {
        let start = self.snapshot.lines_of(ModelIx(models.start)).start;
        let end = models.end.checked_sub(1).map_or(start, |last| self.snapshot.lines_of(ModelIx(last)).end);
        start..end
    }

    /// How many lines in reach a year has.
    pub(crate) fn lines_in_year(&self, year: ModelYear) -> usize {
        let index = &self.snapshot.index;
        match self.reach {
            Reach::All => index.years.get(&year).map_or(0, |entry| entry.lines),
            _ => self.model_ranges().iter().map(|(models, _)| index.lines_in_year(year, models)).sum(),
        }
    }

    /// The years of the models in reach.
    pub(crate) fn years_in_reach(&self) -> YearSet {
        let index = &self.snapshot.index;
        let sets: Vec<&YearSet> = match &self.reach {
            Reach::All => index.make_years.iter().collect(),
            Reach::Makes(makes) => {
                makes.iter().filter_map(|(make, _)| index.make_years.get(make.get())).collect()
            }
            Reach::Models(models) => {
                models.iter().filter_map(|(model, _)| index.model_years.get(model.get())).collect()
            }
        };
        sets.into_iter().fold(YearSet::default(), |all, years| all.or(*years))
    }

    /// A line before any filter; none when its make or model is not in reach.
    pub(crate) fn seen(&self, index: LineIx) -> Option<Seen<'a>> {
        let line = self.snapshot.line(index)?;
        let options = self.snapshot.option_sets.get(line.options.get())?;
        let likeness = self.likeness(line.model)?;
        let all = first_bits(options.options.len());
        let years = YearSet::of_span(line.years);
        Some(Seen { line, options, standing: Standing { line: index, years, options: all, likeness } })
    }

    fn likeness(&self, model: ModelIx) -> Option<u8> {
        match &self.reach {
            Reach::All => Some(100),
            Reach::Models(models) => models.iter().find(|(own, _)| *own == model).map(|(_, like)| *like),
            Reach::Makes(makes) => {
                let make = self.snapshot.models.get(model.get())?.make;
                makes.iter().find(|(own, _)| *own == make).map(|(_, like)| *like)
            }
        }
    }

    /// What the filters leave, in the order of the lines.
    pub(crate) fn standing(&self) -> impl Iterator<Item = Standing> + '_ {
        let filters: Vec<&Filter> = self.filters.iter().collect();
        self.in_reach().filter_map(move |seen| self.through(seen, &filters))
    }

    /// What the filters leave of a model in reach.
    pub(crate) fn standing_of(&self, model: ModelIx) -> impl Iterator<Item = Standing> + '_ {
        let filters: Vec<&Filter> = self.filters.iter().collect();
        let lines = self.snapshot.lines_of(model).map(LineIx);
        lines.filter_map(|line| self.seen(line)).filter_map(move |seen| self.through(seen, &filters))
    }

    /// What some filters leave of a line.
    pub(crate) fn through(&self, mut seen: Seen<'a>, filters: &[&Filter]) -> Option<Standing> {
        for (number, filter) in filters.iter().enumerate() {
            let before = filters.get(..number).unwrap_or_default();
            let siblings = || {
                let lines = self.snapshot.lines_of(seen.line.model).map(LineIx);
                let lines = lines.filter_map(|line| self.seen(line));
                let own = seen.standing.line;
                lines.filter(move |other| other.standing.line != own).filter_map(move |other| {
                    let standing = self.through(other, before)?;
                    Some(Seen { standing, ..other })
                })
            };
            let boxed = || -> Box<dyn Iterator<Item = Seen<'a>> + '_> { Box::new(siblings()) };
            seen.standing = filter.test.apply(seen, &boxed)?;
        }
        Some(seen.standing)
    }

    /// Whether nothing narrows the lines in reach.
    pub(crate) fn reach_is_all(&self) -> bool {
        self.by_number.is_none() && self.reach == Reach::All
    }

    /// The words that mean something for the lines in reach.
    pub(crate) fn vocabulary(&self) -> Vocabulary<'a> {
        if self.reach_is_all() {
            return Vocabulary::Whole(&self.snapshot.index.values);
        }
        let sets = |line: &crate::line::Line| {
            let set = self.snapshot.option_sets.get(line.options.get())?;
            Some((line.options.0, set))
        };
        let labels = Labels::of(self.in_reach().map(|seen| seen.line), sets);
        let mut words = labels.with_phrases(&self.snapshot.index.phrases);
        for (attribute, label) in labels.iter().filter(|(attribute, _)| *attribute == Attribute::AudioOption)
        {
            words.extend(title_words(label.as_str()).map(|word| {
                let meaning = Meaning { via: Via::TitleWord, attribute: *attribute, label: label.clone() };
                (word, meaning)
            }));
        }
        Vocabulary::Reach(Dictionary::new(words))
    }
}

/// The words that mean something.
pub(crate) enum Vocabulary<'a> {
    /// Of the whole catalogue.
    Whole(&'a Dictionary<Meaning>),
    /// Of the lines in reach, with the single words of audio options' titles.
    Reach(Dictionary<Meaning>),
}

impl Vocabulary<'_> {
    pub(crate) fn words(&self) -> &Dictionary<Meaning> {
        match self {
            Self::Whole(words) => words,
            Self::Reach(words) => words,
        }
    }
}

/// The words of a title that could stand for it alone.
fn title_words(title: &str) -> impl Iterator<Item = String> {
    let words: Vec<String> = normal(title).split(' ').map(str::to_owned).collect();
    let many = words.len() > 1;
    let telling = |word: &String| word.chars().count() > super::SHORT_WORD_CHARS && !words::is_filler(word);
    words.into_iter().filter(move |word| many && telling(word))
}
