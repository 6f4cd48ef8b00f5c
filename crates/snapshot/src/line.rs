//! Vehicle lines in their compact form, and the makes and models that they belong to.

use std::collections::BTreeMap;
use std::ops::Range;
use std::sync::Arc;

use dashwright_model::Evidence;
use dashwright_model::record::vehicle::{
    Attribute, AudioOption, BuildWindow, DriveSide, OptionCode, SystemVoltage, Trims, WeightClass,
};
use dashwright_quantity::{Label, Prose, TermId, YearSpan};

use crate::case::CaseIx;
use crate::records::RecordIx;

macro_rules! index {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub struct $name(pub(crate) u32);

        impl $name {
            /// Takes a number out of a range that the snapshot gave.
            #[must_use]
            pub const fn new(number: u32) -> Self {
                Self(number)
            }

            /// The place as an index.
            #[must_use]
            pub const fn get(self) -> usize {
                self.0 as usize
            }
        }
    };
}
pub(crate) use index;

index!(/// The place of a vehicle line.
    LineIx);
index!(/// The place of a make.
    MakeIx);
index!(/// The place of a model.
    ModelIx);
index!(/// The place of a set of audio options.
    OptionSetIx);

/// A make that has vehicle lines.
#[derive(Clone, Debug)]
pub struct Make {
    /// The vocabulary term.
    pub term: TermId,
    /// Its name.
    pub name: Label,
    /// Other words for it.
    pub aliases: Vec<Label>,
    /// Its models, as indexes.
    pub models: Range<u32>,
}

/// A model of a make.
#[derive(Clone, Debug)]
pub struct Model {
    /// The make.
    pub make: MakeIx,
    /// Its name, as vehicle lines write it.
    pub name: Label,
    /// Other words for it.
    pub aliases: Vec<Label>,
    /// Its lines, as indexes.
    pub lines: Range<u32>,
}

/// A vehicle line: what tells it from other lines, and where to look for the rest.
#[derive(Clone, Debug)]
pub struct Line {
    pub(crate) record: RecordIx,
    /// The model.
    pub model: ModelIx,
    /// The model years.
    pub years: YearSpan,
    /// The trims.
    pub trims: Arc<Trims>,
    /// What else is known of the line.
    pub facts: Arc<LineFacts>,
    /// The dash, as a place in the table of dashes.
    pub dash: RecordIx,
    /// The audio options, each with its case.
    pub options: OptionSetIx,
}

/// What lines often share.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct LineFacts {
    /// Built from and to.
    pub build: Option<BuildWindow>,
    /// The market.
    pub market: Option<Label>,
    /// The side the driver sits on.
    pub drive_side: Option<DriveSide>,
    /// The body or cab.
    pub body: Option<Label>,
    /// The drivetrain.
    pub drivetrain: Option<Label>,
    /// The nominal voltage of the supply.
    pub system_voltage: Option<SystemVoltage>,
    /// The weight class.
    pub weight_class: Option<WeightClass>,
    /// Factory option codes.
    pub option_codes: Vec<OptionCode>,
    /// How to tell the line by an attribute.
    pub how_to_tell: BTreeMap<Attribute, Prose>,
    /// Anything a person should know.
    pub note: Option<Prose>,
    /// What the record rests on.
    pub evidence: Evidence,
}

/// An audio option and the case that it makes of a line.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct LineOption {
    /// The option.
    pub option: Arc<AudioOption>,
    /// The case.
    pub case: CaseIx,
}

/// The audio options of a line. Lines with the same set get the same answers but for their names.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct OptionSet {
    /// The options, in the order of the record.
    pub options: Vec<LineOption>,
}
