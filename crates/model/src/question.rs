//! Questions: what a caller knows of a vehicle, in whatever mixture.

use dashwright_quantity::{Label, ModelYear, YearMonth};

use crate::record::vehicle::DriveSide;
use crate::vin::Vin;

/// The longest free text: a sentence at the counter, not a letter.
pub const MAX_WORDS_CHARS: usize = 200;

/// What a caller knows of a vehicle. Everything is optional; nothing that is given is dropped silently.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct VehicleQuestion {
    /// The identification number.
    pub vin: Option<Vin>,
    /// The model year.
    pub model_year: Option<ModelYear>,
    /// The make, as typed.
    pub make: Option<Label>,
    /// The model, as typed.
    pub model: Option<Label>,
    /// The trim, as typed.
    pub trim: Option<Label>,
    /// The month it was built.
    pub build_month: Option<YearMonth>,
    /// The market.
    pub market: Option<Label>,
    /// The side the driver sits on.
    pub drive_side: Option<DriveSide>,
    /// The body or cab.
    pub body: Option<Label>,
    /// The drivetrain.
    pub drivetrain: Option<Label>,
    /// The code of the factory audio option.
    pub audio_option: Option<Label>,
    /// Free words.
    pub words: Option<Label>,
}

impl VehicleQuestion {
    /// Whether nothing at all is known.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        *self == Self::default()
    }

    /// Whether nothing is known but free words.
    #[must_use]
    pub fn is_empty_beside_words(&self) -> bool {
        *self == Self { words: self.words.clone(), ..Self::default() }
    }
}
