//! From a question to an answer: needs, applicable parts, features, verdict. Pure: no clock, no randomness, no I/O.
//!
//! ```text
//! candidates ─▶ cases ─▶ mounts, needs, features, verdict ─▶ merged: settled, depends, the one question that matters
//!                        └────── once per case ─────────┘
//! ```

mod answer;
mod caution;
mod evidence;
mod features;
mod fitment;
mod merge;
mod mount;
mod needs;
mod question;
mod reason;

pub use answer::{
    Ability, CaseFitment, Facets, FeatureFitment, Fitment, Importance, Met, MountFitment, NeedFitment,
    OpenQuestion, Outcome, PartOffer, QuestionChoice, Variant, Verdict, WeakestEvidence,
};
pub use caution::{Caution, cautions};
pub use fitment::fit_case;
pub use merge::{dashes_of, look_up, one_by_one};
pub use reason::{Reason, Side};
