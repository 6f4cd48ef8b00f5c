//! Settings: how a module is told which radio and which vehicle it sits between.

use std::collections::BTreeMap;

use dashwright_quantity::{Label, Prose};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::References;
use super::part::{radio_references, scope_references};
use crate::check::{FaultKind, Faults};
use crate::scope::{RadioCondition, Scope};

/// The most switches of one bank.
pub const MAX_SWITCHES: u8 = 16;
/// The most positions of one selector.
pub const MAX_SELECTOR_POSITIONS: u8 = 32;
/// The most rules of one setting.
pub const MAX_RULES: usize = 200;

/// One setting of a module.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum Setting {
    /// A bank of switches.
    #[serde(rename = "SWITCH_BANK")]
    SwitchBank(SwitchBank),
    /// A selector with numbered positions.
    #[serde(rename = "SELECTOR")]
    Selector(Selector),
    /// Something to be done by firmware or an app.
    #[serde(rename = "INSTRUCTION")]
    Instruction(Instruction),
}

/// A bank of switches, numbered from 1.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SwitchBank {
    /// The name printed beside it; unique within the part.
    pub name: Label,
    /// How many switches.
    pub switches: u8,
    /// Which way is on, seen with the print upright.
    pub on_is: OnDirection,
    /// Positions that hold where no rule speaks.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub default: BTreeMap<u8, SwitchPosition>,
    /// Rules; every one whose condition holds is applied.
    pub rules: Vec<SwitchRule>,
}

terms! {
    /// Which way a switch is on.
    OnDirection ("direction of a switch") {
        /// Up.
        Up = "UP",
        /// Down.
        Down = "DOWN",
        /// Left.
        Left = "LEFT",
        /// Right.
        Right = "RIGHT",
    }
}

terms! {
    /// The position of a switch.
    SwitchPosition ("position of a switch") {
        /// On.
        On = "ON",
        /// Off.
        Off = "OFF",
    }
}

/// Positions that hold when a condition does.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SwitchRule {
    /// When.
    pub when: SettingCondition,
    /// The switches, by number from 1.
    pub positions: BTreeMap<u8, SwitchPosition>,
}

/// A selector with numbered positions.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Selector {
    /// The name printed beside it; unique within the part.
    pub name: Label,
    /// How many positions, numbered from 0.
    pub positions: u8,
    /// The position that holds where no rule speaks.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub default: Option<u8>,
    /// Rules; at most one may hold for a pair of radio and vehicle.
    pub rules: Vec<SelectorRule>,
}

/// A position that holds when a condition does.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SelectorRule {
    /// When.
    pub when: SettingCondition,
    /// The position.
    pub position: u8,
}

/// Something to be done by firmware or an app.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Instruction {
    /// A name, unique within the part.
    pub name: Label,
    /// When.
    pub when: SettingCondition,
    /// What to do.
    pub text: Prose,
}

/// When a rule holds.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum SettingCondition {
    /// For every pair.
    #[serde(rename = "ALWAYS")]
    Always,
    /// For the radios described.
    #[serde(rename = "RADIO")]
    Radio(RadioCondition),
    /// For the vehicles described.
    #[serde(rename = "VEHICLE")]
    Vehicle(Scope),
    /// For the radios in the vehicles described.
    #[serde(rename = "BOTH")]
    Both {
        /// The radios.
        radio: RadioCondition,
        /// The vehicles.
        vehicle: Scope,
    },
}

impl Setting {
    /// The name of the setting, unique within its part.
    #[must_use]
    pub fn name(&self) -> &Label {
        match self {
            Self::SwitchBank(bank) => &bank.name,
            Self::Selector(selector) => &selector.name,
            Self::Instruction(instruction) => &instruction.name,
        }
    }

    /// The scopes of vehicles that its rules name.
    pub fn scopes(&self) -> impl Iterator<Item = &Scope> {
        self.conditions().into_iter().filter_map(|condition| match condition {
            SettingCondition::Vehicle(vehicle) | SettingCondition::Both { vehicle, .. } => Some(vehicle),
            SettingCondition::Always | SettingCondition::Radio(_) => None,
        })
    }

    /// The conditions of its rules, in their order.
    fn conditions(&self) -> Vec<&SettingCondition> {
        match self {
            Self::SwitchBank(bank) => bank.rules.iter().map(|rule| &rule.when).collect(),
            Self::Selector(selector) => selector.rules.iter().map(|rule| &rule.when).collect(),
            Self::Instruction(instruction) => vec![&instruction.when],
        }
    }

    pub(crate) fn check(&self, path: &str, faults: &mut Faults) {
        match self {
            Self::SwitchBank(bank) => bank.check(path, faults),
            Self::Selector(selector) => selector.check(path, faults),
            Self::Instruction(instruction) => instruction.when.check(&format!("{path}.when"), faults),
        }
    }

    pub(crate) fn references(&self, path: &str, references: &mut References) {
        for (index, condition) in self.conditions().into_iter().enumerate() {
            condition.references(&format!("{path}.{index}.when"), references);
        }
    }
}

impl SwitchBank {
    fn check(&self, path: &str, faults: &mut Faults) {
        faults.unless(self.switches > 0, format!("{path}.switches"), FaultKind::Zero);
        let beyond = FaultKind::Beyond { found: self.switches.into(), most: MAX_SWITCHES.into() };
        faults.unless(self.switches <= MAX_SWITCHES, format!("{path}.switches"), beyond);
        self.check_numbers(&format!("{path}.default"), &self.default, faults);
        faults.at_most(&format!("{path}.rules"), &self.rules, MAX_RULES);
        for (index, rule) in self.rules.iter().enumerate() {
            let path = format!("{path}.rules.{index}");
            faults.unless(!rule.positions.is_empty(), format!("{path}.positions"), FaultKind::EmptyList);
            self.check_numbers(&format!("{path}.positions"), &rule.positions, faults);
            rule.when.check(&format!("{path}.when"), faults);
        }
    }

    fn check_numbers(&self, path: &str, positions: &BTreeMap<u8, SwitchPosition>, faults: &mut Faults) {
        for number in positions.keys() {
            let beyond = FaultKind::Beyond { found: (*number).into(), most: self.switches.into() };
            faults.unless((1..=self.switches).contains(number), path, beyond);
        }
    }
}

impl Selector {
    fn check(&self, path: &str, faults: &mut Faults) {
        faults.unless(self.positions > 0, format!("{path}.positions"), FaultKind::Zero);
        let beyond = FaultKind::Beyond { found: self.positions.into(), most: MAX_SELECTOR_POSITIONS.into() };
        faults.unless(self.positions <= MAX_SELECTOR_POSITIONS, format!("{path}.positions"), beyond);
        let numbers = self.default.iter().chain(self.rules.iter().map(|rule| &rule.position));
        for number in numbers {
            let beyond =
                FaultKind::Beyond { found: (*number).into(), most: self.positions.saturating_sub(1).into() };
            faults.unless(*number < self.positions, path, beyond);
        }
        faults.at_most(&format!("{path}.rules"), &self.rules, MAX_RULES);
        for (index, rule) in self.rules.iter().enumerate() {
            rule.when.check(&format!("{path}.rules.{index}.when"), faults);
        }
    }
}

impl SettingCondition {
    fn check(&self, path: &str, faults: &mut Faults) {
        match self {
            Self::Always => {}
            Self::Radio(radio) => radio.check(path, faults),
            Self::Vehicle(scope) => scope.check(path, faults),
            Self::Both { radio, vehicle } => {
                radio.check(&format!("{path}.radio"), faults);
                vehicle.check(&format!("{path}.vehicle"), faults);
            }
        }
    }

    fn references(&self, path: &str, references: &mut References) {
        match self {
            Self::Always => {}
            Self::Radio(radio) => radio_references(path, radio, references),
            Self::Vehicle(scope) => scope_references(path, scope, references),
            Self::Both { radio, vehicle } => {
                radio_references(path, radio, references);
                scope_references(path, vehicle, references);
            }
        }
    }
}
