//! What a caller wants of a plan, and the lines of a cart.

use std::collections::{BTreeMap, BTreeSet};

use dashwright_api::v1;
use dashwright_checks::rules::Rules;
use dashwright_model::Need;
use dashwright_model::record::RecordKind;
use dashwright_planner::{Aim, CartItem, CartLine, DEFAULT_WEIGHT, MAX_WEIGHT, Request, Supply, Wishes};
use dashwright_planner::{cart_item, may_be_lost};
use dashwright_quantity::{Currency, Label, MAX_LABEL_CHARS, Money};
use dashwright_snapshot::{RecordIx, Snapshot};

use super::rules::rules;
use super::{FieldFaults, FieldProblem};
use crate::limits::{
    CART_LINES, CART_QUANTITY, EXCLUDED_PARTS, IN_HAND_PARTS, NEAREST_RECORDS, OWN_PRICES, STOCKED_PARTS,
};

/// An order whose fields are well formed; its parts are not looked up yet.
#[derive(Clone, Debug, Default)]
pub(crate) struct Order {
    wishes: Wishes,
    aim: Aim,
    consents: BTreeSet<Need>,
    feign_parking_brake: bool,
    rules: Rules,
    excluded: Vec<String>,
    stocked: Vec<String>,
    in_hand: Vec<String>,
    prices: Vec<v1::OwnPrice>,
    currency: Option<Currency>,
}

/// What a caller wants; a missing message wants nothing special.
pub(crate) fn order(message: Option<v1::Order>, faults: &mut FieldFaults) -> Order {
    let Some(message) = message else { return Order::default() };
    let v1::Order {
        wishes,
        only_named_wishes,
        aim: aim_number,
        excluded_part_ids,
        stocked_part_ids,
        in_hand_part_ids,
        consented_losses,
        own_prices,
        currency,
        feign_parking_brake,
        rules: check_rules,
    } = message;
    faults.count("order.excluded_part_ids", excluded_part_ids.len(), EXCLUDED_PARTS);
    faults.count("order.stocked_part_ids", stocked_part_ids.len(), STOCKED_PARTS);
    faults.count("order.in_hand_part_ids", in_hand_part_ids.len(), IN_HAND_PARTS);
    faults.count("order.own_prices", own_prices.len(), OWN_PRICES);
    Order {
        wishes: Wishes { only_named: only_named_wishes, named: named_wishes(&wishes, faults) },
        aim: aim(aim_number, faults),
        consents: consents(&consented_losses, faults),
        feign_parking_brake,
        rules: rules(check_rules, faults),
        excluded: excluded_part_ids,
        stocked: stocked_part_ids,
        in_hand: in_hand_part_ids,
        prices: own_prices,
        currency: if currency.is_empty() {
            None
        } else {
            faults.take("order.currency", currency.parse().map_err(FieldProblem::Money))
        },
    }
}

fn named_wishes(wishes: &[v1::Wish], faults: &mut FieldFaults) -> BTreeMap<Need, u32> {
    let mut named = BTreeMap::new();
    for (place, v1::Wish { need: number, weight }) in wishes.iter().enumerate() {
        let path = format!("order.wishes.{place}");
        let weight = weight.unwrap_or(DEFAULT_WEIGHT);
        faults.count(&format!("{path}.weight"), weight as usize, MAX_WEIGHT as usize);
        if let Some(need) = faults.take(&format!("{path}.need"), need(*number))
            && named.insert(need, weight).is_some()
        {
            faults.take::<()>(&format!("{path}.need"), Err(FieldProblem::Twice));
        }
    }
    named
}

fn consents(numbers: &[i32], faults: &mut FieldFaults) -> BTreeSet<Need> {
    let mut consents = BTreeSet::new();
    for (place, number) in numbers.iter().enumerate() {
        let path = format!("order.consented_losses.{place}");
        let read = need(*number).and_then(|need| {
            if may_be_lost(need) { Ok(need) } else { Err(FieldProblem::NeverLost { need }) }
        });
        consents.extend(faults.take(&path, read));
    }
    consents
}

fn aim(number: i32, faults: &mut FieldFaults) -> Aim {
    match v1::Aim::try_from(number) {
        Ok(v1::Aim::Unspecified | v1::Aim::LowestPrice) => Aim::LowestPrice,
        Ok(v1::Aim::FewestParts) => Aim::FewestParts,
        Ok(v1::Aim::LeastBenchTime) => Aim::LeastBenchTime,
        Err(_) => {
            faults.take("order.aim", Err(FieldProblem::UnknownTerm { found: number })).unwrap_or_default()
        }
    }
}

/// A need; it has to be stated.
fn need(number: i32) -> Result<Need, FieldProblem> {
    let term = v1::Need::try_from(number).map_err(|_| FieldProblem::UnknownTerm { found: number })?;
    // The schema spells terms as the records do, behind a prefix.
    let name = term.as_str_name().trim_start_matches("NEED_");
    name.parse().map_err(|_| FieldProblem::Missing)
}

impl Order {
    /// The order in terms of a snapshot; a part that the catalogue does not know is a fault of its field.
    pub(crate) fn of(self, snapshot: &Snapshot, faults: &mut FieldFaults) -> Request {
        let Self {
            wishes,
            aim,
            consents,
            feign_parking_brake,
            rules,
            excluded,
            stocked,
            in_hand,
            prices,
            currency,
        } = self;
        let stock = parts(snapshot, "order.stocked_part_ids", &stocked, faults);
        let supply = Supply {
            excluded: parts(snapshot, "order.excluded_part_ids", &excluded, faults),
            stock: (!stocked.is_empty()).then_some(stock),
            in_hand: parts(snapshot, "order.in_hand_part_ids", &in_hand, faults),
            prices: own_prices(snapshot, &prices, currency, faults),
            currency,
        };
        Request { wishes, aim, supply, consents, feign_parking_brake, rules }
    }
}

fn parts(snapshot: &Snapshot, path: &str, ids: &[String], faults: &mut FieldFaults) -> BTreeSet<RecordIx> {
    let mut found = BTreeSet::new();
    for (place, id) in ids.iter().enumerate() {
        found.extend(part(snapshot, &format!("{path}.{place}"), id, faults));
    }
    found
}

/// A part of a request, by its id.
pub(crate) fn part(snapshot: &Snapshot, path: &str, id: &str, faults: &mut FieldFaults) -> Option<RecordIx> {
    let found = snapshot.parts().find(id).map(|(index, _)| index);
    let found = found.ok_or_else(|| no_such(snapshot, RecordKind::Part, id, faults));
    faults.take(path, found)
}

/// That there is no record of an id, and which are called like it. A search goes through all records of a kind: it is made for
/// what is refused first, and not for thousands of ids.
fn no_such(snapshot: &Snapshot, kind: RecordKind, id: &str, before: &FieldFaults) -> FieldProblem {
    let label = if before.is_empty() { Label::new(id).ok() } else { None };
    let hits =
        label.map(|words| snapshot.search(words.as_str(), &[kind], NEAREST_RECORDS)).unwrap_or_default();
    let nearest = hits.into_iter().map(|hit| hit.key.id.to_string()).collect();
    FieldProblem::NoSuchRecord { id: id.to_owned(), nearest }
}

fn own_prices(
    snapshot: &Snapshot,
    prices: &[v1::OwnPrice],
    currency: Option<Currency>,
    faults: &mut FieldFaults,
) -> BTreeMap<RecordIx, Money> {
    if prices.is_empty() {
        return BTreeMap::new();
    }
    let currency = faults.take("order.currency", currency.ok_or(FieldProblem::Missing));
    let mut own = BTreeMap::new();
    for (place, v1::OwnPrice { part_id, minor_units }) in prices.iter().enumerate() {
        let found = part(snapshot, &format!("order.own_prices.{place}.part_id"), part_id, faults);
        if let (Some(index), Some(currency)) = (found, currency) {
            own.insert(index, Money { currency, minor_units: *minor_units });
        }
    }
    own
}

/// The radio of a request, by its id.
pub(crate) fn radio(snapshot: &Snapshot, path: &str, id: &str, faults: &mut FieldFaults) -> Option<RecordIx> {
    let found = match id {
        "" => Err(FieldProblem::Missing),
        id => {
            let found = snapshot.radios().find(id).map(|(index, _)| index);
            found.ok_or_else(|| no_such(snapshot, RecordKind::Radio, id, faults))
        }
    };
    faults.take(path, found)
}

/// The lines of a cart, as the catalogue understands them.
pub(crate) fn cart_lines(
    snapshot: &Snapshot,
    lines: &[v1::CartLine],
    faults: &mut FieldFaults,
) -> Vec<CartLine> {
    faults.count("lines", lines.len(), CART_LINES);
    let numbered = lines.iter().take(CART_LINES).enumerate();
    numbered.map(|(place, line)| cart_line(snapshot, place, line, faults)).collect()
}

fn cart_line(snapshot: &Snapshot, place: usize, line: &v1::CartLine, faults: &mut FieldFaults) -> CartLine {
    let v1::CartLine { item, quantity } = line;
    let path = format!("lines.{place}");
    let text = item.trim();
    if text.is_empty() {
        faults.take::<()>(&format!("{path}.item"), Err(FieldProblem::Missing));
    }
    faults.count(&format!("{path}.item"), text.chars().count(), MAX_LABEL_CHARS);
    faults.count(&format!("{path}.quantity"), *quantity as usize, CART_QUANTITY);
    let item =
        if text.is_empty() { CartItem::Unknown { known: Vec::new() } } else { cart_item(snapshot, text) };
    CartLine { item, quantity: (*quantity).max(1) }
}
