//! The records of the catalogue, the questions and the answers, as data.
//!
//! Everything the catalogue knows is a [`Record`] of one of seven kinds. A record that exists is valid in itself; what
//! records say of each other (a dash that a vehicle names and nobody wrote) is found by [`dataset`].

#[macro_use]
mod terms;
mod check;
pub mod dataset;
mod evidence;
pub mod exchange;
mod function;
mod need;
pub mod outcome;
pub mod question;
pub mod record;
pub mod rows;
mod scope;
pub mod table;
pub mod vin;

pub use check::{Check, Fault, FaultKind, Faults, Valid};
pub use evidence::{Evidence, Grade, JobSays};
pub use function::{Function, Polarity, SignalKind};
pub use need::{Carrier, Feature, Need};
pub use record::{Record, RecordKey, RecordKind};
pub use scope::{MAX_SCOPE_ITEMS, RadioCondition, Scope, ScopeItem, VehicleScope};
pub use terms::UnknownTerm;
