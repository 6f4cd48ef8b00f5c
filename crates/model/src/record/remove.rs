//! A part after another record has been taken from the catalogue.

use std::borrow::Borrow;

use super::part::Part;
use super::setting::{Setting, SettingCondition};
use super::{RecordKey, RecordKind};
use crate::scope::{RadioCondition, Scope};

impl Part {
    /// Takes a record out of every list of alternatives. A statement or a rule that was for that record alone goes with it: with
    /// an empty list it would hold for everything. What names the record otherwise goes on naming it.
    pub fn forget(&mut self, gone: &RecordKey) {
        self.covers.retain_mut(|cover| {
            forget_in_scope(&mut cover.scope, gone)
                && cover.radio.as_mut().is_none_or(|radio| forget_in_radios(radio, gone))
        });
        self.settings.retain_mut(|setting| match setting {
            Setting::SwitchBank(bank) => {
                bank.rules.retain_mut(|rule| forget_in_condition(&mut rule.when, gone));
                true
            }
            Setting::Selector(selector) => {
                selector.rules.retain_mut(|rule| forget_in_condition(&mut rule.when, gone));
                true
            }
            Setting::Instruction(instruction) => forget_in_condition(&mut instruction.when, gone),
        });
    }
}

/// Takes the record out; false where the condition held for it alone.
fn forget_in_condition(condition: &mut SettingCondition, gone: &RecordKey) -> bool {
    match condition {
        SettingCondition::Always => true,
        SettingCondition::Radio(radio) => forget_in_radios(radio, gone),
        SettingCondition::Vehicle(vehicle) => forget_in_scope(vehicle, gone),
        SettingCondition::Both { radio, vehicle } => {
            forget_in_radios(radio, gone) && forget_in_scope(vehicle, gone)
        }
    }
}

fn forget_in_radios(condition: &mut RadioCondition, gone: &RecordKey) -> bool {
    forget_in(RecordKind::Radio, &mut condition.radios, gone)
}

fn forget_in_scope(scope: &mut Scope, gone: &RecordKey) -> bool {
    let Scope::AnyOf(items) = scope else { return true };
    items.retain_mut(|item| {
        forget_in(RecordKind::Dash, &mut item.dashes, gone)
            && forget_in(RecordKind::FactoryAudio, &mut item.audios, gone)
    });
    !items.is_empty()
}

fn forget_in<I: Borrow<str>>(kind: RecordKind, ids: &mut Vec<I>, gone: &RecordKey) -> bool {
    let named_some = !ids.is_empty();
    ids.retain(|id| kind != gone.kind || (*id).borrow() != gone.id.as_str());
    !named_some || !ids.is_empty()
}
