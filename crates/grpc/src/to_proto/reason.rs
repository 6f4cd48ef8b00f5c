//! Reasons, with the records and numbers that they rest on. Every match is exhaustive; the words are those of the sheet.

use dashwright_api::v1;
use dashwright_planner::{Mismatch, NarrowPair, Reason, ScreenObstruction, Side};
use dashwright_quantity::Millimetres;
use dashwright_sheet::words::{self, side_name};

use super::record::record_key;
use super::wiring;

/// Reasons, each told once: one that several records give has them all.
pub(crate) fn reasons(reasons: &[Reason]) -> Vec<v1::Reason> {
    let mut told: Vec<v1::Reason> = Vec::new();
    for next in reasons.iter().map(reason) {
        match told.iter_mut().find(|known| known.code == next.code && known.text == next.text) {
            Some(known) => known.records.extend(next.records),
            None => told.push(next),
        }
    }
    told
}

fn reason(reason: &Reason) -> v1::Reason {
    let (field, others) = match reason {
        Reason::FactMissing { record: _, field } => (field.clone(), Vec::new()),
        Reason::Unjoinable { part: _, mismatch } => {
            let field = match mismatch {
                Mismatch::FactMissing { record: _, field } => field.clone(),
                _ => String::new(),
            };
            (field, wiring::mismatch_records(mismatch))
        }
        _ => (String::new(), Vec::new()),
    };
    let mut records: Vec<v1::RecordKey> = reason.record().iter().map(record_key).collect();
    records.extend(others);
    records.dedup();
    v1::Reason {
        code: code(reason).into(),
        text: words::reason(reason),
        records,
        field,
        figures: figures(reason),
    }
}

const fn code(reason: &Reason) -> v1::ReasonCode {
    use v1::ReasonCode as Code;
    match reason {
        Reason::AlwaysNeeded => Code::AlwaysNeeded,
        Reason::OpeningTakesChassis { .. } => Code::OpeningTakesChassis,
        Reason::OpeningSmallerThanChassis { .. } => Code::OpeningSmallerThanChassis,
        Reason::OpeningOfAnotherClass { .. } => Code::OpeningOfAnotherClass,
        Reason::CavitySmallerThanChassis { .. } => Code::CavitySmallerThanChassis,
        Reason::NoPartMeets { .. } => Code::NoPartMeets,
        Reason::PartIsNotFor { .. } => Code::PartIsNotFor,
        Reason::FactMissing { .. } => Code::FactMissing,
        Reason::CircuitAtPlug { .. } => Code::CircuitAtPlug,
        Reason::CircuitElsewhere { .. } => Code::CircuitElsewhere,
        Reason::CircuitOnBus { .. } => Code::CircuitOnBus,
        Reason::CircuitAbsent { .. } => Code::CircuitAbsent,
        Reason::AmplifierBetween { .. } => Code::AmplifierBetween,
        Reason::NoAmplifier { .. } => Code::NoAmplifier,
        Reason::AntennaPresent { .. } => Code::AntennaPresent,
        Reason::AntennaFed { .. } => Code::AntennaFed,
        Reason::TunerOutside { .. } => Code::TunerOutside,
        Reason::FeaturePresent { .. } => Code::FeaturePresent,
        Reason::FeatureNotPresent { .. } => Code::FeatureNotPresent,
        Reason::LeavesWithRadio { .. } => Code::LeavesWithRadio,
        Reason::OnReplacedPanel { .. } => Code::OnReplacedPanel,
        Reason::StaysInDash { .. } => Code::StaysInDash,
        Reason::SomeRadiosAsk => Code::SomeRadiosAsk,
        Reason::RadioMustHave { .. } => Code::RadioMustHave,
        Reason::RadioServes { .. } => Code::RadioServes,
        Reason::AntennaPlugFits { .. } => Code::AntennaPlugFits,
        Reason::RadioLacks { .. } => Code::RadioLacks,
        Reason::RadioAsks { .. } => Code::RadioAsks,
        Reason::Added { .. } => Code::Added,
        Reason::NotWished { .. } => Code::NotWished,
        Reason::LossConsented { .. } => Code::LossConsented,
        Reason::Unjoinable { .. } => Code::Unjoinable,
        Reason::TooDeep { .. } => Code::TooDeep,
        Reason::FrameTooSmall { .. } => Code::FrameTooSmall,
        Reason::ScreenNotFree { .. } => Code::ScreenNotFree,
        Reason::FaceLiesOver { .. } => Code::FaceLiesOver,
        Reason::PlaceNotRecorded { .. } => Code::PlaceNotRecorded,
        Reason::OtherDriveSide { .. } => Code::OtherDriveSide,
        Reason::SocketMissing { .. } => Code::SocketMissing,
        Reason::PlugMissing { .. } => Code::PlugMissing,
        Reason::NotForRadio { .. } => Code::NotForRadio,
        Reason::LeftOut { .. } => Code::LeftOut,
        Reason::FeignsInterlock { .. } => Code::FeignsInterlock,
        Reason::NotTogether { .. } => Code::NotTogether,
        Reason::NotProven => Code::NotProven,
        Reason::SettingsContradict { .. } => Code::SettingsContradict,
    }
}

/// Pairs that must not be joined, as reasons.
pub(crate) fn mismatches(mismatches: &[Mismatch]) -> Vec<v1::Reason> {
    let unjoinable = |mismatch: &Mismatch| Reason::Unjoinable { part: None, mismatch: mismatch.clone() };
    reasons(&mismatches.iter().map(unjoinable).collect::<Vec<_>>())
}

/// The numbers that a proof rests on.
fn figures(reason: &Reason) -> Vec<v1::Figure> {
    let pair = |side: Side, chassis: Millimetres, name: &str, other: Millimetres| {
        let figure =
            |what: &str, value: Millimetres| millimetres(format!("{what} {}", side_name(side)), value.get());
        vec![figure("chassis", chassis), figure(name, other)]
    };
    match reason {
        Reason::OpeningSmallerThanChassis { dash: _, side, chassis, opening } => {
            pair(*side, *chassis, "opening", *opening)
        }
        Reason::CavitySmallerThanChassis { dash: _, side, chassis, cavity } => {
            pair(*side, *chassis, "cavity", *cavity)
        }
        Reason::FrameTooSmall { part: _, side, chassis, frame } => pair(*side, *chassis, "frame", *frame),
        Reason::TooDeep { dash: _, radio: _, part: _, needs, has } => {
            let depth = |name: &str, value: &Millimetres| millimetres(name.to_owned(), value.get());
            vec![depth("depth needed", needs), depth("depth there", has)]
        }
        Reason::ScreenNotFree { dash: _, radio: _, part: _, why: ScreenObstruction::Between(pairs) } => {
            pairs.iter().flat_map(narrow_pair).collect()
        }
        _ => Vec::new(),
    }
}

fn narrow_pair(pair: &NarrowPair) -> [v1::Figure; 2] {
    let NarrowPair { lower, upper, leaves, needs } = pair;
    [
        millimetres(format!("room between {lower} and {upper}"), leaves.get()),
        millimetres(format!("room needed between {lower} and {upper}"), needs.get()),
    ]
}

fn millimetres(name: String, value: f64) -> v1::Figure {
    v1::Figure { name, value, unit: Millimetres::UNIT.to_owned() }
}
