//! Settings: where each switch and selector of a module stands for one radio in one car.
//!
//! Every switch must end with exactly one position. A switch that is set twice differently, or never and without a default,
//! is an error of the catalogue, found when the dataset is checked and not on the bench ([`setting_faults`]).

use std::collections::{BTreeMap, BTreeSet};

use dashwright_model::Need;
use dashwright_model::record::setting::{
    Instruction, OnDirection, Selector, Setting, SettingCondition, SwitchBank, SwitchPosition,
};
use dashwright_model::record::{Part, Radio};
use dashwright_quantity::{Label, PartId, Prose, RadioId};
use dashwright_snapshot::{Case, CaseIx, Offer, RecordIx, Snapshot};

use crate::radios::radio_matches;

#[cfg(test)]
mod tests;

/// Which rule of a setting says so, counted from 0; the default without one.
pub type RuleNumber = Option<u16>;

/// A setting of a part and where it stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SettingAnswer {
    /// The place of the setting in the part's record.
    pub number: u16,
    /// Where it stands.
    pub state: SettingState,
}

/// Where a setting stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum SettingState {
    /// A bank of switches.
    SwitchBank {
        /// The name printed beside it.
        name: Label,
        /// Which way is on.
        on_is: OnDirection,
        /// The position of each switch, from 1, and what says so.
        switches: Vec<(u8, SwitchPosition, RuleNumber)>,
    },
    /// A selector.
    Selector {
        /// The name printed beside it.
        name: Label,
        /// The position.
        position: u8,
        /// What says so.
        rule: RuleNumber,
    },
    /// Something to be done by firmware or an app.
    Instruction {
        /// A name.
        name: Label,
        /// What to do.
        text: Prose,
    },
}

/// What is wrong with a setting for a radio and a car.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum SettingFault {
    /// Two rules set a switch differently.
    Twice {
        /// The setting.
        setting: Label,
        /// The switch.
        switch: u8,
        /// The rules, counted from 0.
        rules: (u16, u16),
    },
    /// No rule and no default sets a switch.
    Never {
        /// The setting.
        setting: Label,
        /// The switch.
        switch: u8,
    },
    /// Two rules hold for a selector: at most one may, whatever they say.
    SelectorTwice {
        /// The setting.
        setting: Label,
        /// The rules, counted from 0.
        rules: (u16, u16),
    },
    /// No rule and no default sets a selector.
    SelectorNever {
        /// The setting.
        setting: Label,
    },
}

/// A setting that is wrong, and for whom.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FaultySetting {
    /// The part.
    pub part: PartId,
    /// The radio.
    pub radio: RadioId,
    /// The case.
    pub case: CaseIx,
    /// What is wrong.
    pub fault: SettingFault,
}

/// The settings of a part for a radio and a case.
///
/// # Errors
/// The first fault.
pub fn settings(
    snapshot: &Snapshot,
    case: &Case,
    radio: &Radio,
    part: &Part,
) -> Result<Vec<SettingAnswer>, SettingFault> {
    let pair = Pair { snapshot, case, radio };
    pair.answers(part).filter_map(Result::transpose).collect()
}

/// Every setting that is wrong for some radio and case that its part says something about, also where the part can only be
/// had from a shelf.
#[must_use]
pub fn setting_faults(snapshot: &Snapshot) -> Vec<FaultySetting> {
    let mut faults = Vec::new();
    for (case, number) in snapshot.cases().iter().zip(0_u32..) {
        let parts: BTreeSet<RecordIx> = said(case).map(|offer| offer.part).collect();
        for (index, part) in parts.iter().filter_map(|index| Some((*index, snapshot.parts().get(*index)?))) {
            if part.settings.is_empty() {
                continue;
            }
            for (_, radio) in
                snapshot.radios().iter().filter(|(_, radio)| goes_with(case, index, part, radio))
            {
                let pair = Pair { snapshot, case, radio };
                let wrong = pair.answers(part).filter_map(Result::err);
                faults.extend(wrong.map(|fault| FaultySetting {
                    part: part.id.clone(),
                    radio: radio.id.clone(),
                    case: CaseIx::new(number),
                    fault,
                }));
            }
        }
    }
    faults
}

/// What parts say that they meet in a case.
fn said(case: &Case) -> impl Iterator<Item = &Offer> {
    case.offers.iter().chain(&case.former)
}

/// Whether a part offers anything in a case to a radio.
fn goes_with(case: &Case, index: RecordIx, part: &Part, radio: &Radio) -> bool {
    let names = |cover: u16| {
        let cover = part.covers.get(usize::from(cover))?;
        cover.radio.as_ref().map(|condition| radio_matches(condition, radio))
    };
    let own = case.exclusions.iter().filter(|excluded| excluded.part == index);
    // What is not for any radio is no offer in the first place.
    let not_for: Vec<Option<Need>> =
        own.filter(|excluded| names(excluded.cover) == Some(true)).map(|excluded| excluded.need).collect();
    let excluded = |need: Need| not_for.iter().any(|excluded| excluded.is_none_or(|own| own == need));
    said(case).any(|offer| offer.part == index && names(offer.cover).unwrap_or(true) && !excluded(offer.need))
}

/// A radio and a car.
struct Pair<'a> {
    snapshot: &'a Snapshot,
    case: &'a Case,
    radio: &'a Radio,
}

impl Pair<'_> {
    /// Where each setting of a part stands; nothing for an instruction that is not for this pair.
    fn answers<'p>(
        &'p self,
        part: &'p Part,
    ) -> impl Iterator<Item = Result<Option<SettingAnswer>, SettingFault>> + 'p {
        part.settings.iter().zip(0_u16..).map(|(setting, number)| {
            let state = match setting {
                Setting::SwitchBank(bank) => Some(self.bank(bank)?),
                Setting::Selector(selector) => Some(self.selector(selector)?),
                Setting::Instruction(instruction) => self.instruction(instruction),
            };
            Ok(state.map(|state| SettingAnswer { number, state }))
        })
    }

    fn holds(&self, condition: &SettingCondition) -> bool {
        match condition {
            SettingCondition::Always => true,
            SettingCondition::Radio(radio) => radio_matches(radio, self.radio),
            SettingCondition::Vehicle(scope) => self.snapshot.describes(scope, self.case),
            SettingCondition::Both { radio, vehicle } => {
                radio_matches(radio, self.radio) && self.snapshot.describes(vehicle, self.case)
            }
        }
    }

    fn bank(&self, bank: &SwitchBank) -> Result<SettingState, SettingFault> {
        let mut set: BTreeMap<u8, (SwitchPosition, u16)> = BTreeMap::new();
        for (rule, number) in bank.rules.iter().zip(0_u16..).filter(|(rule, _)| self.holds(&rule.when)) {
            for (switch, position) in &rule.positions {
                match set.get(switch) {
                    Some((other, earlier)) if other != position => {
                        let (setting, switch) = (bank.name.clone(), *switch);
                        return Err(SettingFault::Twice { setting, switch, rules: (*earlier, number) });
                    }
                    Some(_) => {}
                    None => {
                        set.insert(*switch, (*position, number));
                    }
                }
            }
        }
        let position = |switch: u8| {
            let by_rule = set.get(&switch).map(|(position, rule)| (switch, *position, Some(*rule)));
            let by_default = || bank.default.get(&switch).map(|position| (switch, *position, None));
            by_rule
                .or_else(by_default)
                .ok_or_else(|| SettingFault::Never { setting: bank.name.clone(), switch })
        };
        let switches: Result<Vec<_>, _> = (1..=bank.switches).map(position).collect();
        Ok(SettingState::SwitchBank { name: bank.name.clone(), on_is: bank.on_is, switches: switches? })
    }

    fn selector(&self, selector: &Selector) -> Result<SettingState, SettingFault> {
        let name = selector.name.clone();
        let mut holding = selector.rules.iter().zip(0_u16..).filter(|(rule, _)| self.holds(&rule.when));
        match (holding.next(), holding.next(), selector.default) {
            (Some((_, first)), Some((_, second)), _) => {
                Err(SettingFault::SelectorTwice { setting: name, rules: (first, second) })
            }
            (Some((rule, number)), None, _) => {
                Ok(SettingState::Selector { name, position: rule.position, rule: Some(number) })
            }
            (None, _, Some(position)) => Ok(SettingState::Selector { name, position, rule: None }),
            (None, _, None) => Err(SettingFault::SelectorNever { setting: name }),
        }
    }

    fn instruction(&self, instruction: &Instruction) -> Option<SettingState> {
        let state =
            || SettingState::Instruction { name: instruction.name.clone(), text: instruction.text.clone() };
        self.holds(&instruction.when).then(state)
    }
}
