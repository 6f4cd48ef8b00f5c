//! From a question to an answer. Pure: no clock, no randomness, no I/O.
//!
//! ```text
//! without a radio:  candidates ─▶ cases ─▶ mounts, needs, features, verdict ──────────────────────▶ merged
//! with a radio:     candidates ─▶ cases ─▶ demands ─▶ choice ─▶ joins, settings, steps, outcomes ─▶ merged
//!                                         └─────────────── once per case ──────────────────────┘
//! merged: what is settled, what depends, the one question that matters
//! ```

mod agree;
mod answer;
mod cart;
mod case_plan;
mod caution;
mod checks;
pub mod choose;
mod demand;
mod evidence;
mod features;
mod fit;
mod fitment;
mod job;
mod merge;
mod mount;
mod needs;
mod outcome;
mod plan;
mod plans;
mod question;
mod radios;
mod reason;
mod request;
mod rests;
mod reverse;
mod select;
mod settings;
mod split;
mod steps;
mod verdict;
mod wiring;

pub use answer::{
    Ability, CaseFitment, Facets, FeatureFitment, Fitment, Importance, Met, MountFitment, NeedFitment,
    OpenQuestion, Outcome, PartOffer, QuestionChoice, Variant, Verdict, WeakestEvidence,
};
pub use cart::{
    CartItem, CartLine, CartVerdict, Cheaper, CheckedCart, Completion, JudgedLine, LineStatus, cart_item,
    check_cart, successor,
};
pub use case_plan::{plan_case, plan_case_parts};
pub use caution::{Caution, cautions};
pub use checks::{Checks, PlannedCheck, PlannedScreen, ScreenNeighbour, Subject};
pub use fitment::fit_case;
pub use merge::{dashes_of, look_up, one_by_one};
pub use mount::least_body;
pub use plan::{
    Alternative, CasePlan, Chosen, PartSettings, PlanGroup, PlannedFeature, PlannedMount, PlannedNeed,
    PlannedPart, Plans, Total, Work,
};
pub use plans::{plan, same_plan};
pub use reason::{NarrowPair, Reason, ScreenObstruction, Side};
pub use request::{Aim, DEFAULT_WEIGHT, MAX_WEIGHT, Request, Supply, Wishes, may_be_lost};
pub use rests::{JobCounts, gist, job_counts, rests_on};
pub use reverse::{RadioForVehicle, VehicleForRadio, VehiclesForRadio, needs_served, radios_for_vehicle};
pub use select::MAX_ALTERNATIVES;
pub use settings::{
    FaultySetting, RuleNumber, SettingAnswer, SettingFault, SettingState, setting_faults, settings,
};
pub use split::{PlanPieces, PlanVariant, split};
pub use steps::{Action, Phase, Place, Step, minutes_at};
pub use wiring::{
    Bench, ColourTrap, Fetch, Join, LeadEnd, Load, Loose, LooseReason, Mismatch, Owner, PlugWay, Sides,
    Socketed, Wiring, wire,
};
