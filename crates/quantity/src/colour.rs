//! Lead colours: IEC 60757 letter codes with a light/dark modifier of our own, base and stripe.

use std::fmt;
use std::str::FromStr;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Serialize};

/// What is wrong with a colour code.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ColourError {
    /// Not a code of IEC 60757.
    UnknownCode {
        /// The code that was given.
        found: String,
    },
    /// More than a base and one stripe.
    TooManyParts {
        /// The text that was given.
        found: String,
    },
    /// Base and stripe are the same, which nobody can see.
    StripeEqualsBase {
        /// The colour that was given twice.
        found: Colour,
    },
}

impl fmt::Display for ColourError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::UnknownCode { found } => write!(
                f,
                "`{found}` is not a colour code of IEC 60757 (BK BN RD OG YE GN BU VT GY WH PK TQ, `+` light, `-` dark)"
            ),
            Self::TooManyParts { found } => write!(f, "`{found}` is not a base and at most one stripe"),
            Self::StripeEqualsBase { found } => write!(f, "base and stripe are both `{found}`"),
        }
    }
}

impl std::error::Error for ColourError {}

/// The colours that IEC 60757 gives a letter code.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Hue {
    /// BK
    Black,
    /// BN
    Brown,
    /// RD
    Red,
    /// OG
    Orange,
    /// YE
    Yellow,
    /// GN
    Green,
    /// BU
    Blue,
    /// VT
    Violet,
    /// GY
    Grey,
    /// WH
    White,
    /// PK
    Pink,
    /// TQ
    Turquoise,
}

impl Hue {
    /// Every hue with its IEC 60757 code and its English name.
    pub const ALL: [(Self, &'static str, &'static str); 12] = [
        (Self::Black, "BK", "black"),
        (Self::Brown, "BN", "brown"),
        (Self::Red, "RD", "red"),
        (Self::Orange, "OG", "orange"),
        (Self::Yellow, "YE", "yellow"),
        (Self::Green, "GN", "green"),
        (Self::Blue, "BU", "blue"),
        (Self::Violet, "VT", "violet"),
        (Self::Grey, "GY", "grey"),
        (Self::White, "WH", "white"),
        (Self::Pink, "PK", "pink"),
        (Self::Turquoise, "TQ", "turquoise"),
    ];

    fn row(self) -> (&'static str, &'static str) {
        Self::ALL
            .iter()
            .find(|(hue, ..)| *hue == self)
            .map_or(("BK", "black"), |(_, code, name)| (code, name))
    }

    /// The IEC 60757 code.
    #[must_use]
    pub fn code(self) -> &'static str {
        self.row().0
    }

    /// The English name.
    #[must_use]
    pub fn name(self) -> &'static str {
        self.row().1
    }
}

/// A modifier of our own: IEC 60757 knows no light green.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Shade {
    /// As the code says.
    #[default]
    Plain,
    /// Written with `+` behind the code.
    Light,
    /// Written with `-` behind the code.
    Dark,
}

/// One colour: a hue and a shade, written `GN`, `GN+` or `GN-`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Colour {
    /// The hue.
    pub hue: Hue,
    /// Light, dark or plain.
    pub shade: Shade,
}

impl Colour {
    /// The English name, as a person would say it.
    #[must_use]
    pub fn name(self) -> String {
        match self.shade {
            Shade::Plain => self.hue.name().to_owned(),
            Shade::Light => format!("light {}", self.hue.name()),
            Shade::Dark => format!("dark {}", self.hue.name()),
        }
    }
}

impl FromStr for Colour {
    type Err = ColourError;

    fn from_str(text: &str) -> Result<Self, ColourError> {
        let (code, shade) = match (text.strip_suffix('+'), text.strip_suffix('-')) {
            (Some(code), _) => (code, Shade::Light),
            (_, Some(code)) => (code, Shade::Dark),
            _ => (text, Shade::Plain),
        };
        match Hue::ALL.iter().find(|(_, known, _)| *known == code) {
            Some((hue, ..)) => Ok(Self { hue: *hue, shade }),
            None => Err(ColourError::UnknownCode { found: text.to_owned() }),
        }
    }
}

impl fmt::Display for Colour {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let shade = match self.shade {
            Shade::Plain => "",
            Shade::Light => "+",
            Shade::Dark => "-",
        };
        write!(f, "{}{shade}", self.hue.code())
    }
}

/// The colour of a lead's insulation: a base and perhaps a stripe, written `BU/WH`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct LeadColour {
    /// The base colour.
    pub base: Colour,
    /// The stripe, where there is one.
    pub stripe: Option<Colour>,
}

impl LeadColour {
    /// The English name, base first: `blue with white stripe`.
    #[must_use]
    pub fn name(&self) -> String {
        match self.stripe {
            None => self.base.name(),
            Some(stripe) => format!("{} with {} stripe", self.base.name(), stripe.name()),
        }
    }
}

impl FromStr for LeadColour {
    type Err = ColourError;

    fn from_str(text: &str) -> Result<Self, ColourError> {
        let Some((base, stripe)) = text.split_once('/') else {
            return Ok(Self { base: text.parse()?, stripe: None });
        };
        if stripe.contains('/') {
            return Err(ColourError::TooManyParts { found: text.to_owned() });
        }
        let (base, stripe): (Colour, Colour) = (base.parse()?, stripe.parse()?);
        if base == stripe {
            return Err(ColourError::StripeEqualsBase { found: base });
        }
        Ok(Self { base, stripe: Some(stripe) })
    }
}

impl TryFrom<String> for LeadColour {
    type Error = ColourError;

    fn try_from(text: String) -> Result<Self, ColourError> {
        text.parse()
    }
}

impl From<LeadColour> for String {
    fn from(colour: LeadColour) -> Self {
        colour.to_string()
    }
}

impl fmt::Display for LeadColour {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.stripe {
            None => write!(f, "{}", self.base),
            Some(stripe) => write!(f, "{}/{stripe}", self.base),
        }
    }
}

impl JsonSchema for LeadColour {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "LeadColour".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        let colour = "(BK|BN|RD|OG|YE|GN|BU|VT|GY|WH|PK|TQ)[+-]?";
        json_schema!({
            "type": "string",
            "pattern": format!("^{colour}(/{colour})?$"),
            "description": "IEC 60757 code of the base, `+` light or `-` dark, and after a `/` the stripe's",
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_are_read_and_written_alike() {
        for (text, name) in [
            ("YE", "yellow"),
            ("BU/WH", "blue with white stripe"),
            ("GN+", "light green"),
            ("BU-/YE+", "dark blue with light yellow stripe"),
        ] {
            let colour: LeadColour = text.parse().unwrap();
            assert_eq!(colour.to_string(), text);
            assert_eq!(colour.name(), name);
        }
    }

    #[test]
    fn codes_of_no_colour_are_refused() {
        for bad in ["", "XX", "bk", "BU/", "/WH", "BU/WH/RD", "BU/BU", "+", "YE++"] {
            assert!(bad.parse::<LeadColour>().is_err(), "{bad}");
        }
    }

    /// IEC 60757:1983, the twelve single-colour letter codes (from memory; gold, silver and green-and-yellow are left
    /// out because no lead of a radio has them).
    #[test]
    fn the_codes_are_those_of_the_standard() {
        let codes: Vec<&str> = Hue::ALL.iter().map(|(_, code, _)| *code).collect();
        assert_eq!(codes, ["BK", "BN", "RD", "OG", "YE", "GN", "BU", "VT", "GY", "WH", "PK", "TQ"]);
    }
}
