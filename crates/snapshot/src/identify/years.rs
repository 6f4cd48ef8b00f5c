//! Sets of model years.

use dashwright_quantity::{ModelYear, YearSpan};

/// A set of model years: one bit for each of the years that a model year can be.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct YearSet(u128);

const _: () = assert!(ModelYear::LAST - ModelYear::FIRST < 128);

impl YearSet {
    /// The years of a span.
    #[must_use]
    pub const fn of_span(span: YearSpan) -> Self {
        let last = bit(span.to());
        // Every bit up to the last, without those before the first.
        Self((last | (last - 1)) & !(bit(span.from()) - 1))
    }

    /// Whether there is no year.
    #[must_use]
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// How many years there are.
    #[must_use]
    pub const fn len(self) -> usize {
        self.0.count_ones() as usize
    }

    /// Whether a year is one of them.
    #[must_use]
    pub const fn contains(self, year: ModelYear) -> bool {
        self.0 & bit(year) != 0
    }

    /// The years in order.
    pub fn iter(self) -> impl Iterator<Item = ModelYear> {
        let mut left = self.0;
        std::iter::from_fn(move || {
            let place = (left != 0).then(|| left.trailing_zeros())?;
            left &= left - 1;
            ModelYear::new(i64::from(ModelYear::FIRST) + i64::from(place)).ok()
        })
    }

    /// The years of both.
    #[must_use]
    pub const fn and(self, other: Self) -> Self {
        Self(self.0 & other.0)
    }

    /// The years of either.
    #[must_use]
    pub const fn or(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// The years of this set that the other has not.
    #[must_use]
    pub const fn without(self, other: Self) -> Self {
        Self(self.0 & !other.0)
    }

    /// The years as runs.
    #[must_use]
    pub fn spans(self) -> Vec<YearSpan> {
        let mut spans: Vec<YearSpan> = Vec::new();
        for year in self.iter() {
            let longer = spans.last().filter(|last| last.to().get() + 1 == year.get());
            match longer.and_then(|last| YearSpan::new(last.from(), year).ok()) {
                Some(longer) => {
                    spans.pop();
                    spans.push(longer);
                }
                None => spans.extend(YearSpan::new(year, year)),
            }
        }
        spans
    }
}

impl FromIterator<ModelYear> for YearSet {
    fn from_iter<I: IntoIterator<Item = ModelYear>>(years: I) -> Self {
        Self(years.into_iter().fold(0, |set, year| set | bit(year)))
    }
}

const fn bit(year: ModelYear) -> u128 {
    1 << (year.get() - ModelYear::FIRST)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_set_gives_its_years_back_as_runs() {
        let year = |year| ModelYear::new(year).unwrap();
        let set: YearSet = [2016, 2014, 1950, 2059, 2015].into_iter().map(year).collect();
        let spans: Vec<String> = set.spans().iter().map(ToString::to_string).collect();
        assert_eq!(spans, ["1950", "2014-2016", "2059"]);
        assert_eq!(set.len(), 5);
        for span in set.spans() {
            assert_eq!(YearSet::of_span(span), span.years().collect());
        }
        assert!(set.contains(year(2016)) && !set.contains(year(2017)));
        assert!(set.without(set).is_empty() && set.and(set) == set && set.or(YearSet::default()) == set);
    }
}
