//! Model years, build months and dates: no clock here, only what was written down.

use std::fmt;
use std::str::FromStr;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Deserializer, Serialize, Serializer, de::Error as _};

/// What is wrong with a year, a month or a date.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum DateError {
    /// A model year outside [`ModelYear::FIRST`] to [`ModelYear::LAST`].
    Year {
        /// The year that was given.
        found: i64,
    },
    /// Not `YYYY-MM`.
    MonthForm {
        /// The text that was given.
        found: String,
    },
    /// Not `YYYY-MM-DD`, or a day that the month does not have.
    DateForm {
        /// The text that was given.
        found: String,
    },
    /// A span that ends before it begins.
    Backwards {
        /// The first year given.
        from: ModelYear,
        /// The last year given.
        to: ModelYear,
    },
}

impl fmt::Display for DateError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Year { found } => {
                write!(f, "model year `{found}` is outside {} to {}", ModelYear::FIRST, ModelYear::LAST)
            }
            Self::MonthForm { found } => write!(f, "`{found}` is not a month like `2017-03`"),
            Self::DateForm { found } => write!(f, "`{found}` is not a date like `2017-03-31`"),
            Self::Backwards { from, to } => write!(f, "the span `{from}` to `{to}` ends before it begins"),
        }
    }
}

impl std::error::Error for DateError {}

/// A model year: the maker's, not the calendar's.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct ModelYear(u16);

impl ModelYear {
    /// The first year: before it no car had a radio opening worth a record.
    pub const FIRST: u16 = 1950;
    /// The last year: the end of the second cycle of the 17-character vehicle identification number's year code, and
    /// twenty more.
    pub const LAST: u16 = 2059;

    /// Takes a year in range.
    ///
    /// # Errors
    /// When the year is outside [`Self::FIRST`] to [`Self::LAST`].
    pub fn new(year: i64) -> Result<Self, DateError> {
        match u16::try_from(year) {
            Ok(year) if (Self::FIRST..=Self::LAST).contains(&year) => Ok(Self(year)),
            _ => Err(DateError::Year { found: year }),
        }
    }

    /// The number of the year.
    #[must_use]
    pub const fn get(self) -> u16 {
        self.0
    }

    /// The year before; none before the first.
    #[must_use]
    pub const fn previous(self) -> Option<Self> {
        if self.0 > Self::FIRST { Some(Self(self.0 - 1)) } else { None }
    }
}

impl fmt::Display for ModelYear {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.0)
    }
}

impl Serialize for ModelYear {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_u16(self.0)
    }
}

impl<'de> Deserialize<'de> for ModelYear {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        Self::new(i64::deserialize(deserializer)?).map_err(D::Error::custom)
    }
}

impl JsonSchema for ModelYear {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "ModelYear".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({ "type": "integer", "minimum": Self::FIRST, "maximum": Self::LAST })
    }
}

/// Model years from the first to the last, both included.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, JsonSchema)]
pub struct YearSpan {
    from: ModelYear,
    to: ModelYear,
}

impl YearSpan {
    /// Takes a span that does not end before it begins.
    ///
    /// # Errors
    /// When `to` lies before `from`.
    pub fn new(from: ModelYear, to: ModelYear) -> Result<Self, DateError> {
        if from <= to { Ok(Self { from, to }) } else { Err(DateError::Backwards { from, to }) }
    }

    /// The first year.
    #[must_use]
    pub const fn from(self) -> ModelYear {
        self.from
    }

    /// The last year.
    #[must_use]
    pub const fn to(self) -> ModelYear {
        self.to
    }

    /// Whether the year lies in the span.
    #[must_use]
    pub fn contains(self, year: ModelYear) -> bool {
        self.from <= year && year <= self.to
    }

    /// Whether the spans share a year.
    #[must_use]
    pub fn overlaps(self, other: Self) -> bool {
        self.from <= other.to && other.from <= self.to
    }

    /// Every year of the span, in order.
    pub fn years(self) -> impl Iterator<Item = ModelYear> {
        (self.from.0..=self.to.0).map(ModelYear)
    }
}

impl<'de> Deserialize<'de> for YearSpan {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        #[derive(Deserialize)]
        #[serde(deny_unknown_fields)]
        struct Fields {
            from: ModelYear,
            to: ModelYear,
        }
        let Fields { from, to } = Fields::deserialize(deserializer)?;
        Self::new(from, to).map_err(D::Error::custom)
    }
}

impl fmt::Display for YearSpan {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.from == self.to { write!(f, "{}", self.from) } else { write!(f, "{}-{}", self.from, self.to) }
    }
}

/// A month of a year, written `2017-03`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct YearMonth {
    year: u16,
    month: u8,
}

impl YearMonth {
    /// The calendar year.
    #[must_use]
    pub const fn year(self) -> u16 {
        self.year
    }

    /// The month, 1 to 12.
    #[must_use]
    pub const fn month(self) -> u8 {
        self.month
    }

    /// The month before; none before the first.
    #[must_use]
    pub const fn previous(self) -> Option<Self> {
        match self {
            Self { year, month } if month > 1 => Some(Self { year, month: month - 1 }),
            Self { year, .. } if year > ModelYear::FIRST => Some(Self { year: year - 1, month: 12 }),
            _ => None,
        }
    }
}

impl FromStr for YearMonth {
    type Err = DateError;

    fn from_str(text: &str) -> Result<Self, DateError> {
        let wrong = || DateError::MonthForm { found: text.to_owned() };
        let (year, month) = text.split_once('-').ok_or_else(wrong)?;
        let year = digits(year, 4).ok_or_else(wrong)?;
        let month = digits(month, 2).and_then(|m| u8::try_from(m).ok()).ok_or_else(wrong)?;
        if !(ModelYear::FIRST..=ModelYear::LAST).contains(&year) || !(1..=12).contains(&month) {
            return Err(wrong());
        }
        Ok(Self { year, month })
    }
}

impl TryFrom<String> for YearMonth {
    type Error = DateError;

    fn try_from(text: String) -> Result<Self, DateError> {
        text.parse()
    }
}

impl From<YearMonth> for String {
    fn from(month: YearMonth) -> Self {
        month.to_string()
    }
}

impl fmt::Display for YearMonth {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:04}-{:02}", self.year, self.month)
    }
}

impl JsonSchema for YearMonth {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "YearMonth".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({ "type": "string", "pattern": "^[0-9]{4}-(0[1-9]|1[0-2])$" })
    }
}

/// A day, written `2017-03-31` (ISO 8601).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Date {
    month: YearMonth,
    day: u8,
}

impl FromStr for Date {
    type Err = DateError;

    fn from_str(text: &str) -> Result<Self, DateError> {
        let wrong = || DateError::DateForm { found: text.to_owned() };
        let (month, day) = text.rsplit_once('-').ok_or_else(wrong)?;
        let month: YearMonth = month.parse().map_err(|_| wrong())?;
        let day = digits(day, 2).and_then(|d| u8::try_from(d).ok()).ok_or_else(wrong)?;
        if day == 0 || day > days_in(month) {
            return Err(wrong());
        }
        Ok(Self { month, day })
    }
}

impl TryFrom<String> for Date {
    type Error = DateError;

    fn try_from(text: String) -> Result<Self, DateError> {
        text.parse()
    }
}

impl From<Date> for String {
    fn from(date: Date) -> Self {
        date.to_string()
    }
}

impl fmt::Display for Date {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}-{:02}", self.month, self.day)
    }
}

impl JsonSchema for Date {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Date".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({ "type": "string", "format": "date" })
    }
}

/// Exactly `count` ASCII digits as a number; a sign or a space is not a digit.
fn digits(text: &str, count: usize) -> Option<u16> {
    (text.len() == count && text.bytes().all(|b| b.is_ascii_digit())).then(|| text.parse().ok()).flatten()
}

/// The Gregorian calendar.
fn days_in(month: YearMonth) -> u8 {
    let year = month.year;
    match month.month {
        4 | 6 | 9 | 11 => 30,
        2 if year.is_multiple_of(4) && (!year.is_multiple_of(100) || year.is_multiple_of(400)) => 29,
        2 => 28,
        _ => 31,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spans_hold_their_ends_and_never_run_backwards() {
        let year = |y| ModelYear::new(y).unwrap();
        let span = YearSpan::new(year(2014), year(2018)).unwrap();
        assert!(span.contains(year(2014)) && span.contains(year(2018)) && !span.contains(year(2019)));
        assert!(YearSpan::new(year(2018), year(2014)).is_err());
        assert!(serde_json::from_str::<YearSpan>(r#"{"from":2018,"to":2014}"#).is_err());
        assert!(serde_json::from_str::<YearSpan>(r#"{"from":2014,"to":2018,"x":1}"#).is_err());
        assert!(
            ModelYear::new(1949).is_err() && ModelYear::new(2060).is_err() && ModelYear::new(-1).is_err()
        );
    }

    #[test]
    fn months_and_days_are_those_of_the_calendar() {
        for good in ["2016-02-29", "2000-02-29", "2017-12-31"] {
            assert_eq!(good.parse::<Date>().unwrap().to_string(), good);
        }
        for bad in
            ["2017-02-29", "1900-02-29", "2017-13-01", "2017-00-01", "2017-04-31", "2017-4-1", "+017-01-01"]
        {
            assert!(bad.parse::<Date>().is_err(), "{bad}");
        }
        for bad in ["2017", "2017-1", "2017-13", "2017-", " 2017-01"] {
            assert!(bad.parse::<YearMonth>().is_err(), "{bad}");
        }
    }
}
