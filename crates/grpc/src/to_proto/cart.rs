//! The answer to a cart, and lists of radios and vehicles.

use std::collections::BTreeSet;

use dashwright_api::v1;
use dashwright_planner::{
    CartItem, CartLine, Cheaper, CheckedCart, Completion, JudgedLine, LineStatus, RadioForVehicle,
    VehicleForRadio,
};
use dashwright_snapshot::{RecordIx, Snapshot};

use super::common::money;
use super::fitment::{FitmentText, open_question};
use super::plan::{part_ids, radio_summary, total};
use super::vehicle::line_with_option;
use super::{reason, terms};
use crate::handlers::Served;

/// A cart with everything but what is the call's own: revision, candidates, matches.
pub(crate) fn cart(
    snapshot: &Snapshot,
    asked: &[v1::CartLine],
    lines: &[CartLine],
    cart: &CheckedCart,
) -> v1::CheckCartResponse {
    let CheckedCart { verdict, lines: judged, completions, question, radio } = cart;
    let texts = asked.iter().zip(lines).zip(judged);
    let radio = radio.and_then(|radio| snapshot.radios().get(radio));
    v1::CheckCartResponse {
        verdict: terms::cart_verdict(*verdict).into(),
        lines: texts.map(|((asked, line), judged)| checked_line(snapshot, asked, line, judged)).collect(),
        completions: completions.iter().map(|one| completion(snapshot, one)).collect(),
        question: question.as_ref().map(open_question),
        parts: FitmentText { snapshot }.summaries(&named(lines, judged, completions)),
        radio: radio.map(|radio| radio_summary(snapshot, radio)),
        ..v1::CheckCartResponse::default()
    }
}

fn named(lines: &[CartLine], judged: &[JudgedLine], completions: &[Completion]) -> BTreeSet<RecordIx> {
    let of_lines = lines.iter().filter_map(|line| match line.item {
        CartItem::Part(part) => Some(part),
        CartItem::Radio(_) | CartItem::Unknown { .. } => None,
    });
    let successors = judged.iter().filter_map(|line| line.successor);
    let cheaper = completions.iter().filter_map(|completion| completion.cheaper.as_ref());
    of_lines
        .chain(successors)
        .chain(completions.iter().flat_map(|completion| completion.add.iter().copied()))
        .chain(cheaper.flat_map(|cheaper| cheaper.parts.iter().copied()))
        .collect()
}

fn checked_line(
    snapshot: &Snapshot,
    asked: &v1::CartLine,
    line: &CartLine,
    judged: &JudgedLine,
) -> v1::CheckedLine {
    let JudgedLine { status, serves, successor, reasons } = judged;
    let part = |index: RecordIx| snapshot.parts().get(index).map(|part| part.id.to_string());
    let (part_id, radio_id, known_part_ids) = match &line.item {
        CartItem::Part(index) => (part(*index), None, Vec::new()),
        CartItem::Radio(index) => {
            (None, snapshot.radios().get(*index).map(|radio| radio.id.to_string()), Vec::new())
        }
        CartItem::Unknown { known } => (None, None, known.iter().map(ToString::to_string).collect()),
    };
    let told = told(status);
    v1::CheckedLine {
        item: asked.item.clone(),
        status: told.status.into(),
        other_line: told.other_line,
        surplus: told.surplus,
        part_id: part_id.unwrap_or_default(),
        radio_id: radio_id.unwrap_or_default(),
        successor_part_id: successor.and_then(part).unwrap_or_default(),
        serves: serves.iter().map(|need| terms::need(*need).into()).collect(),
        known_part_ids,
        reasons: reason::reasons(reasons),
        text: told.text,
    }
}

/// A status, in the schema's terms and in words.
struct Told {
    status: v1::LineStatus,
    other_line: Option<u32>,
    surplus: u32,
    text: String,
}

fn told(status: &LineStatus) -> Told {
    use v1::LineStatus as Status;
    let plain = |status, text: &str| Told { status, other_line: None, surplus: 0, text: text.to_owned() };
    match *status {
        LineStatus::Needed => plain(Status::Needed, "needed"),
        LineStatus::ForAWish => plain(Status::ForAWish, "keeps something that is wished"),
        LineStatus::NotNeeded => plain(Status::NotNeeded, "nothing here needs it"),
        LineStatus::InTheBoxOf { line } => Told {
            other_line: Some(line),
            ..plain(Status::NotNeeded, &format!("line {} has it in its box", line + 1))
        },
        LineStatus::WrongForVehicle => plain(Status::WrongForVehicle, "not for this vehicle"),
        LineStatus::WrongForRadio => {
            plain(Status::WrongForRadio, "for this vehicle, but not with this radio")
        }
        LineStatus::InConflict { line } => Told {
            other_line: Some(line),
            ..plain(Status::InConflict, &format!("can not be used beside line {}", line + 1))
        },
        LineStatus::OneTooMany { surplus } => {
            Told { surplus, ..plain(Status::OneTooMany, &format!("{surplus} more than needed")) }
        }
        LineStatus::UnknownItem => plain(Status::UnknownItem, "not in the catalogue"),
        LineStatus::Depends => plain(Status::Depends, "depends on what is still open"),
    }
}

fn completion(snapshot: &Snapshot, completion: &Completion) -> v1::Completion {
    let Completion { candidates, verdict, verdict_reasons, add, total: sum, cheaper } = completion;
    v1::Completion {
        candidates: candidates.clone(),
        verdict: terms::verdict(*verdict).into(),
        verdict_reasons: reason::reasons(verdict_reasons),
        add_part_ids: part_ids(snapshot, add),
        total: sum.as_ref().map(total),
        cheaper: cheaper.as_ref().map(|Cheaper { parts, price, than }| v1::CheaperList {
            part_ids: part_ids(snapshot, parts),
            price: Some(money(*price)),
            than: Some(money(*than)),
        }),
    }
}

/// A radio and what becomes of it in a vehicle.
pub(crate) fn radio_for_vehicle(snapshot: &Snapshot, one: &RadioForVehicle) -> Option<v1::RadioForVehicle> {
    let RadioForVehicle { radio, verdict, least, most, parts } = one;
    Some(v1::RadioForVehicle {
        radio: Some(radio_summary(snapshot, snapshot.radios().get(*radio)?)),
        verdict: terms::verdict(*verdict).into(),
        least: least.as_ref().map(total),
        most: most.as_ref().map(total),
        part_ids: part_ids(snapshot, parts),
    })
}

/// A vehicle line with an option, and what becomes of a radio there.
pub(crate) fn vehicle_for_radio(snapshot: &Snapshot, one: &VehicleForRadio) -> v1::VehicleForRadio {
    let VehicleForRadio { line, option, verdict, total: sum } = one;
    v1::VehicleForRadio {
        vehicle: line_with_option(snapshot, *line, *option),
        verdict: terms::verdict(*verdict).into(),
        total: sum.as_ref().map(total),
    }
}

/// A vehicle line with an option, and what a part serves there.
pub(crate) fn vehicle_for_part(snapshot: &Snapshot, (line, option, serves): &Served) -> v1::VehicleForPart {
    v1::VehicleForPart {
        vehicle: line_with_option(snapshot, *line, *option),
        serves: serves.iter().map(|need| terms::need(*need).into()).collect(),
    }
}
