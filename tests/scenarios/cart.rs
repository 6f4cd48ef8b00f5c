//! Scenarios that check a cart.

use dashwright_planner::{CartLine, Completion, JudgedLine, LineStatus, Request, cart_item, check_cart};
use dashwright_snapshot::{Candidate, Snapshot};
use serde::Deserialize;

use super::expect::Expected;
use super::says::part_ids;
use super::{differ, option_code, plan, term};

/// A cart: items as a person names them, each with how many.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Wanted {
    lines: Vec<(String, u32)>,
}

impl Wanted {
    /// Everything in which the check differs from the expectation.
    pub(super) fn check(
        &self,
        snapshot: &Snapshot,
        candidates: &[Candidate],
        wanted: Option<&plan::Wanted>,
        expect: &Expected,
    ) -> Vec<String> {
        let request = wanted.map_or_else(Request::default, |wanted| wanted.request(snapshot));
        let radio = wanted.and_then(|wanted| wanted.radio_in(snapshot));
        let lines = self
            .lines
            .iter()
            .map(|(item, quantity)| CartLine { item: cart_item(snapshot, item), quantity: *quantity });
        let lines: Vec<CartLine> = lines.collect();
        let checked = check_cart(snapshot, candidates, radio, &request, &lines);
        let mut wrong = Vec::new();
        if let Some(verdict) = &expect.cart {
            wrong.extend(differ("cart", verdict, &term(&checked.verdict)));
        }
        if let Some(wanted) = &expect.lines {
            let found: Vec<String> = checked.lines.iter().map(|line| worth(snapshot, line)).collect();
            wrong.extend(differ("lines", &format!("{wanted:?}"), &format!("{found:?}")));
        }
        if let Some(question) = &expect.question {
            let asked = checked.question.as_ref().map_or("NONE".to_owned(), |own| own.attribute.to_string());
            wrong.extend(differ("question", question, &asked));
        }
        let of = |code: &str, completion: &&Completion| {
            completion
                .candidates
                .iter()
                .any(|number| option_code(snapshot, &candidates[*number as usize]) == code)
        };
        wrong.extend(checked.completions.iter().flat_map(|own| differs(snapshot, own, expect)));
        for (code, variant) in &expect.variants {
            let own = checked.completions.iter().filter(|completion| of(code, completion));
            let own: Vec<&Completion> = own.collect();
            if own.is_empty() {
                wrong.push(format!("there is no completion for {code}"));
            }
            wrong.extend(own.into_iter().flat_map(|own| differs(snapshot, own, variant)));
        }
        wrong
    }
}

fn differs(snapshot: &Snapshot, completion: &Completion, expect: &Expected) -> Vec<String> {
    let found = part_ids(snapshot, &completion.add);
    let add = expect.add.as_ref().and_then(|wanted| differ("add", &wanted.join(" "), &found.join(" ")));
    let price = completion.total.and_then(|total| total.price).map(|price| price.minor_units);
    let add_price = expect.add_price.and_then(|wanted| differ("price", &wanted.to_string(), &said(price)));
    let cheaper = completion.cheaper.as_ref();
    let parts = cheaper.map(|own| part_ids(snapshot, &own.parts)).unwrap_or_default();
    let scratch =
        expect.cheaper.as_ref().and_then(|wanted| differ("cheaper", &wanted.join(" "), &parts.join(" ")));
    let price = cheaper.map(|own| own.price.minor_units);
    let scratch_price =
        expect.cheaper_price.and_then(|wanted| differ("cheaper price", &wanted.to_string(), &said(price)));
    [add, add_price, scratch, scratch_price].into_iter().flatten().collect()
}

fn said(price: Option<u64>) -> String {
    price.map_or("nothing".to_owned(), |price| price.to_string())
}

/// What a line is worth, with its number where it has one and the part that was weighed instead.
fn worth(snapshot: &Snapshot, line: &JudgedLine) -> String {
    let status = match &line.status {
        LineStatus::InTheBoxOf { line } => format!("IN_THE_BOX_OF {line}"),
        LineStatus::InConflict { line } => format!("IN_CONFLICT {line}"),
        LineStatus::OneTooMany { surplus } => format!("ONE_TOO_MANY {surplus}"),
        other => term(other),
    };
    let successor = line.successor.map(|part| format!(" as {}", part_ids(snapshot, &[part]).concat()));
    status + &successor.unwrap_or_default()
}
