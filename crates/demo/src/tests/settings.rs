//! Every switch of every module ends in exactly one position, for every radio in every car that the module is for.

use std::collections::BTreeMap;

use dashwright_model::Need;
use dashwright_model::record::Radio;
use dashwright_model::record::part::Part;
use dashwright_model::record::setting::{Selector, Setting, SettingCondition, SwitchBank, SwitchPosition};

use super::{Car, Catalogue, applies, matches, meets};

#[test]
fn every_switch_has_one_position_for_every_pair_in_scope() {
    let (mut pairs, mut faults) = (0, Vec::new());
    for_each_pair(|part, setting, radio, car| {
        pairs += 1;
        let name = format!("{} {} with {} in {}", part.id, setting.name(), radio.id, car.line.id);
        match setting {
            Setting::SwitchBank(bank) => {
                faults.extend(undecided(bank, radio, car).map(|n| format!("{name}: switch {n}")))
            }
            Setting::Selector(selector) => {
                if selected(selector, radio, car).len() != 1 {
                    faults.push(format!("{name}: {:?}", selected(selector, radio, car)));
                }
            }
            Setting::Instruction(_) => {}
        }
    });
    assert_eq!(faults, Vec::<String>::new());
    assert!(pairs > 500, "{pairs} pairs");
}

/// A bank whose positions never change would need no rules.
#[test]
fn every_bank_has_more_than_one_outcome() {
    let mut outcomes: BTreeMap<String, Vec<BTreeMap<u8, SwitchPosition>>> = BTreeMap::new();
    for_each_pair(|part, setting, radio, car| {
        if let Setting::SwitchBank(bank) = setting {
            let outcome = (1..=bank.switches)
                .filter_map(|n| Some((n, *positions(bank, n, radio, car).first()?)))
                .collect();
            let seen = outcomes.entry(format!("{} {}", part.id, bank.name)).or_default();
            if !seen.contains(&outcome) {
                seen.push(outcome);
            }
        }
    });
    assert!(outcomes.len() >= 8);
    for (bank, outcomes) in outcomes {
        assert!(outcomes.len() > 1, "{bank}");
    }
}

fn for_each_pair(mut visit: impl FnMut(&Part, &Setting, &Radio, Car<'_>)) {
    let all = Catalogue::load();
    for part in all.parts.iter().filter(|part| !part.settings.is_empty()) {
        for car in all.cars() {
            for radio in &all.radios {
                if Need::ALL.iter().any(|need| meets(part, *need, car, Some(radio))) {
                    part.settings.iter().for_each(|setting| visit(part, setting, radio, car));
                }
            }
        }
    }
}

fn undecided<'a>(bank: &'a SwitchBank, radio: &'a Radio, car: Car<'a>) -> impl Iterator<Item = u8> + 'a {
    (1..=bank.switches).filter(move |number| {
        let mut found = positions(bank, *number, radio, car);
        found.dedup();
        found.len() != 1
    })
}

/// What the rules say of a switch; the default where none speaks.
fn positions(bank: &SwitchBank, number: u8, radio: &Radio, car: Car<'_>) -> Vec<SwitchPosition> {
    let rules = bank.rules.iter().filter(|rule| holds(&rule.when, radio, car));
    let mut said: Vec<_> = rules.filter_map(|rule| rule.positions.get(&number)).copied().collect();
    if said.is_empty() {
        said.extend(bank.default.get(&number));
    }
    said.sort_unstable();
    said
}

fn selected(selector: &Selector, radio: &Radio, car: Car<'_>) -> Vec<u8> {
    let rules = selector.rules.iter().filter(|rule| holds(&rule.when, radio, car));
    let mut said: Vec<_> = rules.map(|rule| rule.position).collect();
    if said.is_empty() {
        said.extend(selector.default);
    }
    said
}

fn holds(when: &SettingCondition, radio: &Radio, car: Car<'_>) -> bool {
    match when {
        SettingCondition::Always => true,
        SettingCondition::Radio(condition) => matches(condition, radio),
        SettingCondition::Vehicle(scope) => applies(scope, car),
        SettingCondition::Both { radio: condition, vehicle } => {
            matches(condition, radio) && applies(vehicle, car)
        }
    }
}
