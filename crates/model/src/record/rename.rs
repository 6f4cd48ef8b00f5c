//! Another id or name in place of one, wherever a record speaks of it.

use std::borrow::Borrow;
use std::str::FromStr;

use dashwright_quantity::{Label, TermId};

use super::part::{Contained, LeadOrigin, Life, Part, Resource};
use super::setting::{Setting, SettingCondition};
use super::vocabulary::{Term, TermKind};
use super::{FactoryAudio, GoldenQuestion, Radio, Record, RecordKey, RecordKind, Vehicle};
use crate::check::{Check, Faults, Valid};
use crate::scope::{RadioCondition, Scope, VehicleScope};

impl<T: Check> Valid<T> {
    /// The value as it is after a change.
    ///
    /// # Errors
    /// Everything that does not agree then.
    pub fn changed(self, change: impl FnOnce(&mut T)) -> Result<Self, Faults> {
        let mut value = self.into_inner();
        change(&mut value);
        Self::new(value)
    }
}

impl Record {
    /// The record with another id wherever it names `from`, and as its own where it is that record.
    ///
    /// # Errors
    /// When it contradicts itself then.
    pub fn renamed(self, from: &RecordKey, to: &TermId) -> Result<Self, Faults> {
        let ids = Ids { kind: from.kind, from: from.id.as_str(), to: to.as_str() };
        Ok(match self {
            Self::Vocabulary(term) => Self::Vocabulary(term.changed(|term| ids.in_term(term))?),
            Self::Dash(dash) => Self::Dash(dash.changed(|dash| ids.set(RecordKind::Dash, &mut dash.id))?),
            Self::FactoryAudio(audio) => Self::FactoryAudio(audio.changed(|audio| ids.in_audio(audio))?),
            Self::Radio(radio) => Self::Radio(radio.changed(|radio| ids.in_radio(radio))?),
            Self::Part(part) => Self::Part(part.changed(|part| ids.in_part(part))?),
            Self::Vehicle(vehicle) => Self::Vehicle(vehicle.changed(|vehicle| ids.in_vehicle(vehicle))?),
            Self::GoldenQuestion(question) => {
                Self::GoldenQuestion(question.changed(|question| ids.in_question(question))?)
            }
        })
    }

    /// The record with another name wherever it writes the name of a model of a make.
    ///
    /// # Errors
    /// When it contradicts itself then.
    pub fn with_model_named(self, make: &TermId, from: &Label, to: &Label) -> Result<Self, Faults> {
        Ok(match self {
            Self::Vehicle(vehicle) if vehicle.make == *make && vehicle.model == *from => {
                Self::Vehicle(vehicle.changed(|vehicle| vehicle.model = to.clone())?)
            }
            Self::Part(part) => Self::Part(part.changed(|part| {
                for scope in scopes_of(part) {
                    for vehicle in vehicles_of(scope).filter(|vehicle| vehicle.make == *make) {
                        if vehicle.model.as_ref() == Some(from) {
                            vehicle.model = Some(to.clone());
                        }
                    }
                }
            })?),
            other => other,
        })
    }
}

impl Term {
    /// Gives the term another name. The earlier one becomes an alias, because people go on using it; when there are
    /// too many aliases already, the check of the term says so.
    pub fn rename(&mut self, name: Label) {
        let earlier = std::mem::replace(&mut self.name, name);
        self.aliases.retain(|alias| *alias != self.name && *alias != earlier);
        if earlier != self.name {
            self.aliases.push(earlier);
        }
    }
}

/// One id of a kind, and the one that takes its place.
struct Ids<'i> {
    kind: RecordKind,
    from: &'i str,
    to: &'i str,
}

impl Ids<'_> {
    fn set<I: FromStr + Borrow<str>>(&self, kind: RecordKind, id: &mut I) {
        let named: &str = (*id).borrow();
        if kind == self.kind && named == self.from
            // Ids of all kinds have one form.
            && let Ok(to) = self.to.parse()
        {
            *id = to;
        }
    }

    fn set_all<'a, I: FromStr + Borrow<str> + 'a>(
        &self,
        kind: RecordKind,
        ids: impl IntoIterator<Item = &'a mut I>,
    ) {
        ids.into_iter().for_each(|id| self.set(kind, id));
    }

    fn in_term(&self, term: &mut Term) {
        self.set(RecordKind::Vocabulary, &mut term.id);
        if let TermKind::Model { make } = &mut term.of {
            self.set(RecordKind::Vocabulary, make);
        }
    }

    fn in_audio(&self, audio: &mut FactoryAudio) {
        self.set(RecordKind::FactoryAudio, &mut audio.id);
        self.set_all(RecordKind::Vocabulary, audio.plugs.iter_mut().map(|plug| &mut plug.family));
        self.set_all(RecordKind::Vocabulary, audio.antennas.iter_mut().map(|antenna| &mut antenna.family));
    }

    fn in_radio(&self, radio: &mut Radio) {
        self.set(RecordKind::Radio, &mut radio.id);
        self.set(RecordKind::Vocabulary, &mut radio.brand);
        let families = radio.sockets.iter_mut().filter_map(|socket| socket.family.as_mut());
        self.set_all(RecordKind::Vocabulary, families);
    }

    fn in_vehicle(&self, vehicle: &mut Vehicle) {
        self.set(RecordKind::Vehicle, &mut vehicle.id);
        self.set(RecordKind::Vocabulary, &mut vehicle.make);
        self.set(RecordKind::Dash, &mut vehicle.dash);
        let audios = vehicle.audio_options.iter_mut().map(|option| &mut option.audio);
        self.set_all(RecordKind::FactoryAudio, audios);
    }

    fn in_question(&self, question: &mut GoldenQuestion) {
        self.set(RecordKind::GoldenQuestion, &mut question.id);
        self.set(RecordKind::Radio, &mut question.radio);
        self.set_all(RecordKind::Part, question.expected.plans.iter_mut().flatten());
    }

    fn in_part(&self, part: &mut Part) {
        self.set(RecordKind::Part, &mut part.id);
        self.set(RecordKind::Vocabulary, &mut part.brand);
        if let Life::SupersededBy(successor) = &mut part.life {
            self.set(RecordKind::Part, successor);
        }
        for occupied in &mut part.occupies {
            if let Resource::FactoryPlug(family) = &mut occupied.what {
                self.set(RecordKind::Vocabulary, family);
            }
        }
        for lead in &mut part.leads {
            if let LeadOrigin::Way { family, way: _ } = &mut lead.from {
                self.set(RecordKind::Vocabulary, family);
            }
        }
        for contained in &mut part.contains {
            if let Contained::Part { part, count: _ } = contained {
                self.set(RecordKind::Part, part);
            }
        }
        self.set_all(RecordKind::Part, part.requires.iter_mut().flatten());
        self.set_all(RecordKind::Part, &mut part.conflicts);
        scopes_of(part).into_iter().for_each(|scope| self.in_scope(scope));
        radios_of(part).into_iter().for_each(|radio| self.in_radios(radio));
    }

    fn in_scope(&self, scope: &mut Scope) {
        let Scope::AnyOf(items) = scope else { return };
        for item in items {
            self.set_all(RecordKind::Vocabulary, item.vehicles.iter_mut().map(|vehicle| &mut vehicle.make));
            self.set_all(RecordKind::Dash, &mut item.dashes);
            self.set_all(RecordKind::FactoryAudio, &mut item.audios);
            self.set_all(RecordKind::Vocabulary, &mut item.plug_families);
        }
    }

    fn in_radios(&self, condition: &mut RadioCondition) {
        self.set_all(RecordKind::Vocabulary, &mut condition.brands);
        self.set_all(RecordKind::Radio, &mut condition.radios);
    }
}

/// Every scope of a part: of its statements and of the rules of its settings.
fn scopes_of(part: &mut Part) -> Vec<&mut Scope> {
    let covers = part.covers.iter_mut().map(|cover| &mut cover.scope);
    let rules = part.settings.iter_mut().flat_map(conditions_of).filter_map(|condition| match condition {
        SettingCondition::Vehicle(vehicle) | SettingCondition::Both { radio: _, vehicle } => Some(vehicle),
        SettingCondition::Always | SettingCondition::Radio(_) => None,
    });
    covers.chain(rules).collect()
}

/// Every condition of a part on the radio: of its statements, of what is in its box, and of the rules of its settings.
fn radios_of(part: &mut Part) -> Vec<&mut RadioCondition> {
    let covers = part.covers.iter_mut().filter_map(|cover| cover.radio.as_mut());
    let pieces = part.contains.iter_mut().filter_map(|contained| match contained {
        Contained::Piece { used_with, .. } => used_with.as_mut(),
        Contained::Part { .. } => None,
    });
    let rules = part.settings.iter_mut().flat_map(conditions_of).filter_map(|condition| match condition {
        SettingCondition::Radio(radio) | SettingCondition::Both { radio, vehicle: _ } => Some(radio),
        SettingCondition::Always | SettingCondition::Vehicle(_) => None,
    });
    covers.chain(pieces).chain(rules).collect()
}

fn conditions_of(setting: &mut Setting) -> Vec<&mut SettingCondition> {
    match setting {
        Setting::SwitchBank(bank) => bank.rules.iter_mut().map(|rule| &mut rule.when).collect(),
        Setting::Selector(selector) => selector.rules.iter_mut().map(|rule| &mut rule.when).collect(),
        Setting::Instruction(instruction) => vec![&mut instruction.when],
    }
}

fn vehicles_of(scope: &mut Scope) -> impl Iterator<Item = &mut VehicleScope> {
    let items = match scope {
        Scope::Any => &mut [][..],
        Scope::AnyOf(items) => items.as_mut_slice(),
    };
    items.iter_mut().flat_map(|item| &mut item.vehicles)
}
