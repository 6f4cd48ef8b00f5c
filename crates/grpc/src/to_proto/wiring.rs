//! Stub.
use dashwright_api::v1;
use dashwright_planner as p;
use dashwright_snapshot::Snapshot;
pub(crate) fn join(_: &p::Join) -> v1::Join {
    v1::Join::default()
}
pub(crate) fn loose(_: &p::Loose) -> v1::LooseLead {
    Default::default()
}
pub(crate) fn fetched(_: &p::Fetch) -> v1::FetchedLead {
    Default::default()
}
pub(crate) fn plugged(_: &p::Socketed) -> v1::PluggedPart {
    Default::default()
}
pub(crate) fn trap(_: &p::ColourTrap) -> v1::ColourTrap {
    Default::default()
}
pub(crate) fn settings(_: &Snapshot, _: &p::PartSettings) -> Option<v1::PartSettings> {
    None
}
pub(crate) fn mismatch_text(_: &p::Mismatch) -> String {
    String::new()
}
