//! The model year in position 10, and the cycle of thirty years that position 7 may tell: 49 CFR 565.15, table VII.

use dashwright_quantity::ModelYear;
use serde::Serialize;

use super::Vin;

/// Whether position 7 may be read as telling the cycle of thirty years.
///
/// It tells it only for passenger cars, and for multipurpose passenger vehicles and trucks of at most 4536 kg
/// (10,000 lb) gross vehicle weight rating, made to the rules of the United States: theirs was a digit up to model year
/// 2009 and is a letter since (49 CFR 565.15(b) and (d)(1); 565.25(b) for the years before). On a heavier truck, a bus, a
/// trailer or a motorcycle position 7 is the maker's to use. The number does not say which of these it is on, so the
/// caller has to know it, from the vehicle line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Position7Rule {
    /// The vehicle line is one of those. Without effect on maker codes outside North America.
    MayBeUsed,
    /// It is none of those, or nobody knows.
    MayNot,
}

/// The model years that a number leaves possible, and why.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct ModelYears {
    possible: Vec<ModelYear>,
    basis: ModelYearBasis,
    standing: YearCodeStanding,
}

/// What the possible model years rest on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum ModelYearBasis {
    /// Position 10 gives the year and position 7 the cycle: one year.
    Position7,
    /// Position 10 gives the year, nothing gives the cycle: two years, thirty apart.
    BothCycles,
    /// Position 10 has no year code, so that no year follows and none is excluded.
    NotAYearCode {
        /// What stands there: 0, U or Z.
        found: char,
    },
}

/// How much position 10 binds the maker.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum YearCodeStanding {
    /// North American maker code: position 10 is the model year by law (49 CFR 565.15(d)(1)). Another year is a
    /// contradiction.
    Required,
    /// Elsewhere ISO 3779 recommends position 10 to makers that give a year at all; it may be the model year, the
    /// calendar year of building, or something else. Another year is a reason to ask.
    Customary,
}

impl ModelYears {
    /// The years in order: none (unknown), one or two.
    #[must_use]
    pub fn possible(&self) -> &[ModelYear] {
        &self.possible
    }

    /// What they rest on.
    #[must_use]
    pub const fn basis(&self) -> ModelYearBasis {
        self.basis
    }

    /// How much they bind.
    #[must_use]
    pub const fn standing(&self) -> YearCodeStanding {
        self.standing
    }

    /// Whether the number says nothing about the year.
    #[must_use]
    pub fn is_unknown(&self) -> bool {
        self.possible.is_empty()
    }

    /// Whether a year agrees with the number. Where the number says nothing, every year does.
    #[must_use]
    pub fn allows(&self, year: ModelYear) -> bool {
        self.is_unknown() || self.possible.contains(&year)
    }
}

/// Reads positions 7 and 10.
pub(super) fn read(vin: &[u8; Vin::LENGTH], north_american: bool, rule: Position7Rule) -> ModelYears {
    let (position_7, position_10) = (vin[6], vin[9]);
    let standing = if north_american { YearCodeStanding::Required } else { YearCodeStanding::Customary };
    let Some(place) = place_in_cycle(position_10) else {
        let basis = ModelYearBasis::NotAYearCode { found: char::from(position_10) };
        return ModelYears { possible: Vec::new(), basis, standing };
    };
    let (cycles, basis): (&[i64], _) = match rule {
        Position7Rule::MayBeUsed if north_american && position_7.is_ascii_digit() => {
            (&[FIRST_CYCLE], ModelYearBasis::Position7)
        }
        Position7Rule::MayBeUsed if north_american => (&[SECOND_CYCLE], ModelYearBasis::Position7),
        Position7Rule::MayBeUsed | Position7Rule::MayNot => {
            (&[FIRST_CYCLE, SECOND_CYCLE], ModelYearBasis::BothCycles)
        }
    };
    let possible = cycles.iter().filter_map(|start| ModelYear::new(start + place).ok()).collect();
    ModelYears { possible, basis, standing }
}

/// How far into a cycle of thirty years a code stands; `None` where it is no year code.
pub(super) fn place_in_cycle(code: u8) -> Option<i64> {
    YEAR_CODES.iter().position(|c| *c == code).and_then(|place| i64::try_from(place).ok())
}

/// 49 CFR 565.15(d)(1), table VII: the order of the codes. I, O, Q, U, Z and 0 are not among them.
const YEAR_CODES: &[u8; 30] = b"ABCDEFGHJKLMNPRSTVWXY123456789";

/// The first year of the codes' first cycle, told by a digit in position 7.
const FIRST_CYCLE: i64 = 1980;

/// The first year of their second cycle, told by a letter in position 7.
const SECOND_CYCLE: i64 = 2010;
