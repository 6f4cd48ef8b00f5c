//! Conductor sizes: an American wire gauge number or a cross-section.

use std::fmt;
use std::str::FromStr;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Serialize};

/// What is wrong with a conductor size.
#[derive(Clone, Debug, PartialEq)]
pub enum GaugeError {
    /// Neither `18 AWG` nor `0.75 mm2`.
    Form {
        /// The text that was given.
        found: String,
    },
    /// A gauge number outside 0 to 40, or a cross-section outside 0.03 to 120 mm².
    Range {
        /// The text that was given.
        found: String,
    },
}

impl fmt::Display for GaugeError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Form { found } => {
                write!(f, "`{found}` is not a conductor size like `18 AWG` or `0.75 mm2`")
            }
            Self::Range { found } => write!(f, "`{found}` is outside 0 to 40 AWG and 0.03 to 120 mm2"),
        }
    }
}

impl std::error::Error for GaugeError {}

/// The size of a conductor, written `18 AWG` or `0.75 mm2`.
///
/// The cross-section is kept in thousandths of a square millimetre, so that sizes compare exactly.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub enum Gauge {
    /// ASTM B258 gauge number.
    Awg(u8),
    /// Nominal cross-section in thousandths of a square millimetre (ISO 6722 steps are usual).
    MicroArea(u32),
}

impl FromStr for Gauge {
    type Err = GaugeError;

    fn from_str(text: &str) -> Result<Self, GaugeError> {
        let form = || GaugeError::Form { found: text.to_owned() };
        let range = || GaugeError::Range { found: text.to_owned() };
        if let Some(number) = text.strip_suffix(" AWG") {
            let number: u8 = number.parse().map_err(|_| form())?;
            return if number <= 40 { Ok(Self::Awg(number)) } else { Err(range()) };
        }
        let area: f64 = text.strip_suffix(" mm2").ok_or_else(form)?.parse().map_err(|_| form())?;
        if !(0.03..=120.0).contains(&area) {
            return Err(range());
        }
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "30 to 120,000 after the check"
        )]
        Ok(Self::MicroArea((area * 1_000.0).round() as u32))
    }
}

impl TryFrom<String> for Gauge {
    type Error = GaugeError;

    fn try_from(text: String) -> Result<Self, GaugeError> {
        text.parse()
    }
}

impl From<Gauge> for String {
    fn from(gauge: Gauge) -> Self {
        gauge.to_string()
    }
}

impl fmt::Display for Gauge {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Awg(number) => write!(f, "{number} AWG"),
            Self::MicroArea(thousandths) => write!(f, "{} mm2", f64::from(*thousandths) / 1_000.0),
        }
    }
}

impl JsonSchema for Gauge {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Gauge".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({ "type": "string", "pattern": "^([0-9]{1,2} AWG|[0-9]+(\\.[0-9]+)? mm2)$" })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sizes_are_read_and_written_alike() {
        for text in ["18 AWG", "0 AWG", "0.75 mm2", "2.5 mm2", "120 mm2"] {
            assert_eq!(text.parse::<Gauge>().unwrap().to_string(), text);
        }
        for bad in
            ["", "18", "18AWG", "41 AWG", "-1 AWG", "NaN mm2", "inf mm2", "0.01 mm2", "121 mm2", "x mm2"]
        {
            assert!(bad.parse::<Gauge>().is_err(), "{bad}");
        }
    }
}
