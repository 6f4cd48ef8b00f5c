//! Money: an integer count of minor units with an ISO 4217 code, never a float.

use std::fmt;
use std::str::FromStr;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// What is wrong with an amount of money.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum MoneyError {
    /// The code is not three capital letters.
    CurrencyForm {
        /// The code that was given.
        found: String,
    },
    /// The code has the form, but its number of minor-unit digits is not known here.
    CurrencyUnknown {
        /// The code that was given.
        found: String,
    },
    /// Two amounts of different currency were to be added.
    CurrenciesDiffer {
        /// The currency of the left side.
        left: Currency,
        /// The currency of the right side.
        right: Currency,
    },
    /// The sum does not fit.
    TooLarge,
}

impl fmt::Display for MoneyError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::CurrencyForm { found } => {
                write!(f, "currency `{found}` is not three capital letters (ISO 4217)")
            }
            Self::CurrencyUnknown { found } => {
                write!(f, "currency `{found}` is not one whose minor unit is known here (ISO 4217)")
            }
            Self::CurrenciesDiffer { left, right } => write!(f, "`{left}` and `{right}` can not be added"),
            Self::TooLarge => write!(f, "the sum is larger than an amount can be"),
        }
    }
}

impl std::error::Error for MoneyError {}

/// Codes and the number of decimal digits of their minor unit: ISO 4217, list one (from memory; the list is short on
/// purpose: a currency whose minor unit is not certain is refused rather than printed wrong by a factor of 100).
const MINOR_DIGITS: &[(&str, u8)] = &[
    ("AED", 2),
    ("AUD", 2),
    ("BHD", 3),
    ("BRL", 2),
    ("CAD", 2),
    ("CHF", 2),
    ("CLP", 0),
    ("CNY", 2),
    ("CZK", 2),
    ("DKK", 2),
    ("EUR", 2),
    ("GBP", 2),
    ("HKD", 2),
    ("HUF", 2),
    ("INR", 2),
    ("ISK", 0),
    ("JOD", 3),
    ("JPY", 0),
    ("KRW", 0),
    ("KWD", 3),
    ("MXN", 2),
    ("NOK", 2),
    ("NZD", 2),
    ("OMR", 3),
    ("PLN", 2),
    ("RON", 2),
    ("SEK", 2),
    ("SGD", 2),
    ("TND", 3),
    ("TRY", 2),
    ("UGX", 0),
    ("USD", 2),
    ("VND", 0),
    ("ZAR", 2),
];

/// An ISO 4217 alphabetic code.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(try_from = "String", into = "String")]
#[schemars(with = "String")]
pub struct Currency([u8; 3]);

impl Currency {
    /// The three letters.
    #[must_use]
    pub fn code(&self) -> &str {
        std::str::from_utf8(&self.0).unwrap_or("???")
    }

    /// How many decimal digits the minor unit has: 2 for cents, 0 where there is none.
    #[must_use]
    pub fn minor_digits(&self) -> u8 {
        MINOR_DIGITS.iter().find(|(code, _)| *code == self.code()).map_or(2, |(_, digits)| *digits)
    }
}

impl FromStr for Currency {
    type Err = MoneyError;

    fn from_str(text: &str) -> Result<Self, MoneyError> {
        let letters: [u8; 3] = match text.as_bytes().try_into() {
            Ok(letters) => letters,
            Err(_) => return Err(MoneyError::CurrencyForm { found: text.to_owned() }),
        };
        if !letters.iter().all(u8::is_ascii_uppercase) {
            return Err(MoneyError::CurrencyForm { found: text.to_owned() });
        }
        if !MINOR_DIGITS.iter().any(|(code, _)| *code == text) {
            return Err(MoneyError::CurrencyUnknown { found: text.to_owned() });
        }
        Ok(Self(letters))
    }
}

impl TryFrom<String> for Currency {
    type Error = MoneyError;

    fn try_from(text: String) -> Result<Self, MoneyError> {
        text.parse()
    }
}

impl From<Currency> for String {
    fn from(currency: Currency) -> Self {
        currency.code().to_owned()
    }
}

impl fmt::Display for Currency {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.code())
    }
}

/// An amount of money.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Money {
    /// The currency, as its ISO 4217 code.
    pub currency: Currency,
    /// The amount in minor units of the currency (cents of a dollar); list prices are never negative.
    pub minor_units: u64,
}

impl Money {
    /// The sum of two amounts of one currency.
    ///
    /// # Errors
    /// When the currencies differ or the sum does not fit.
    pub fn plus(self, other: Self) -> Result<Self, MoneyError> {
        if self.currency != other.currency {
            return Err(MoneyError::CurrenciesDiffer { left: self.currency, right: other.currency });
        }
        let minor_units = self.minor_units.checked_add(other.minor_units).ok_or(MoneyError::TooLarge)?;
        Ok(Self { currency: self.currency, minor_units })
    }
}

impl fmt::Display for Money {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let digits = u32::from(self.currency.minor_digits());
        let scale = 10_u64.pow(digits);
        let (major, minor) = (self.minor_units / scale, self.minor_units % scale);
        match digits {
            0 => write!(f, "{major} {}", self.currency),
            _ => write!(f, "{major}.{minor:0width$} {}", self.currency, width = digits as usize),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn amounts_are_printed_with_the_minor_digits_of_their_currency() {
        let check = |code: &str, minor_units: u64, text: &str| {
            assert_eq!(Money { currency: code.parse().unwrap(), minor_units }.to_string(), text);
        };
        check("USD", 1999, "19.99 USD");
        check("USD", 5, "0.05 USD");
        check("JPY", 1999, "1999 JPY");
        check("KWD", 1999, "1.999 KWD");
    }

    #[test]
    fn sums_keep_their_currency_or_are_refused() {
        let usd = |minor_units| Money { currency: "USD".parse().unwrap(), minor_units };
        let eur = Money { currency: "EUR".parse().unwrap(), minor_units: 1 };
        assert_eq!(usd(1).plus(usd(2)), Ok(usd(3)));
        assert!(matches!(usd(1).plus(eur), Err(MoneyError::CurrenciesDiffer { .. })));
        assert_eq!(usd(u64::MAX).plus(usd(1)), Err(MoneyError::TooLarge));
    }

    #[test]
    fn codes_that_are_not_currencies_are_refused() {
        for bad in ["usd", "US", "USDX", "QQQ", "€€€"] {
            assert!(bad.parse::<Currency>().is_err(), "{bad}");
        }
        assert!(serde_json::from_str::<Money>(r#"{"currency":"USD","minor_units":19.99}"#).is_err());
        assert!(serde_json::from_str::<Money>(r#"{"minor_units":19}"#).is_err());
    }
}
