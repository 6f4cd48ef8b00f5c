//! Stub.
use dashwright_model::record::vehicle::SystemVoltage;
use dashwright_model::record::{FactoryAudio, Part, Radio, RecordKey};
use dashwright_model::{Function, Need};
use dashwright_quantity::{PartId, Prose};
pub struct Bench<'a> {
    pub audio: &'a FactoryAudio,
    pub system_voltage: Option<SystemVoltage>,
    pub radio: &'a Radio,
}
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Mismatch {
    FactMissing { record: RecordKey, field: String },
    Other,
}
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Join;
impl Join {
    pub fn same_join(&self, _: &Self) -> bool {
        true
    }
}
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Loose;
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fetch {
    pub function: Function,
    pub found_at: Option<Prose>,
}
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Socketed;
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ColourTrap;
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Wiring {
    pub joins: Vec<Join>,
    pub insulated: Vec<Loose>,
    pub fetched: Vec<Fetch>,
    pub undecided: Vec<Loose>,
    pub sockets: Vec<Socketed>,
    pub traps: Vec<ColourTrap>,
    pub refused: Vec<Mismatch>,
}
impl Wiring {
    pub fn same_joins(&self, _: &Self) -> bool {
        true
    }
}
pub(crate) fn refusals<'a>(
    _: &Bench<'_>,
    _: &Part,
    _: Need,
    _: &dyn Fn(&PartId) -> Option<&'a Part>,
) -> Vec<Mismatch> {
    vec![]
}
pub(crate) fn direct_refusals(_: &Bench<'_>, _: Need) -> Vec<Mismatch> {
    vec![]
}
pub(crate) fn functions_of(_: Need) -> &'static [Function] {
    &[]
}
pub fn wire(_: &Bench<'_>, _: &[&Part], _: &[Need]) -> Wiring {
    Wiring {
        joins: vec![],
        insulated: vec![],
        fetched: vec![],
        undecided: vec![],
        sockets: vec![],
        traps: vec![],
        refused: vec![],
    }
}
