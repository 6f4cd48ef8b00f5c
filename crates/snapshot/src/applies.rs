//! Whether a part's statement applies to a case.

use std::collections::HashMap;

use dashwright_model::dataset::names_all_trims;
use dashwright_model::record::part::CoverSense;
use dashwright_model::record::setting::Setting;
use dashwright_model::record::{Dash, FactoryAudio, Part, Vehicle};
use dashwright_model::{Scope, ScopeItem, VehicleScope};

use crate::case::{Case, Exclusion, Offer, Via};
use crate::records::{RecordIx, Table};

/// The vehicle scopes of all parts, each with a number, found by make.
///
/// A line's signature is the list of those that describe it: two lines with the same signature, dash and audio look the
/// same to every part.
#[derive(Debug, Default)]
pub(crate) struct VehicleScopes {
    by_make: HashMap<String, Vec<(u32, VehicleScope)>>,
    numbers: HashMap<VehicleScope, u32>,
}

impl VehicleScopes {
    pub(crate) fn of(parts: &Table<Part>) -> Self {
        let mut scopes = Self::default();
        let covers = parts.iter().flat_map(|(_, part)| &part.covers).map(|cover| &cover.scope);
        let settings = parts.iter().flat_map(|(_, part)| &part.settings).flat_map(Setting::scopes);
        let items = covers.chain(settings).flat_map(Scope::items);
        for vehicle in items.flat_map(|item| &item.vehicles) {
            scopes.add(vehicle);
        }
        scopes
    }

    fn add(&mut self, scope: &VehicleScope) {
        let next = u32::try_from(self.numbers.len()).unwrap_or(u32::MAX);
        let mut fresh = false;
        let number = *self.numbers.entry(scope.clone()).or_insert_with(|| {
            fresh = true;
            next
        });
        if fresh {
            self.by_make.entry(scope.make.to_string()).or_default().push((number, scope.clone()));
        }
    }

    /// The numbers of the scopes that describe a line, in order.
    pub(crate) fn signature(&self, vehicle: &Vehicle) -> Vec<u32> {
        let scopes = self.by_make.get(vehicle.make.as_str()).map_or(&[][..], Vec::as_slice);
        scopes.iter().filter(|(_, scope)| describes_line(scope, vehicle)).map(|(number, _)| *number).collect()
    }

    fn any_in(&self, scopes: &[VehicleScope], signature: &[u32]) -> bool {
        scopes.iter().filter_map(|scope| self.numbers.get(scope)).any(|number| signature.contains(number))
    }
}

/// Whether a scope describes the whole of a line; one that describes only some of its years or trims does not.
#[must_use]
pub fn describes_line(scope: &VehicleScope, vehicle: &Vehicle) -> bool {
    let VehicleScope { make, model, years, trims, build, market, drive_side } = scope;
    *make == vehicle.make
        && model.as_ref().is_none_or(|model| *model == vehicle.model)
        && years
            .is_none_or(|years| years.contains(vehicle.years.from()) && years.contains(vehicle.years.to()))
        && (trims.is_empty() || names_all_trims(trims, &vehicle.trims))
        && build.is_none_or(|window| vehicle.build.is_some_and(|own| window.encloses(&own)))
        && market.as_ref().is_none_or(|market| vehicle.market.as_ref() == Some(market))
        && drive_side.is_none_or(|side| vehicle.drive_side == Some(side))
}

/// What a statement can see of a case.
pub(crate) struct Seen<'a> {
    pub(crate) scopes: &'a VehicleScopes,
    pub(crate) signature: &'a [u32],
    pub(crate) dash: &'a Dash,
    pub(crate) audio: &'a FactoryAudio,
}

impl Seen<'_> {
    /// By what a scope describes the case, if it does.
    pub(crate) fn via(&self, scope: &Scope) -> Option<Via> {
        match scope {
            Scope::Any => Some(Via::Any),
            Scope::AnyOf(items) => {
                let index = items.iter().position(|item| self.item_holds(item))?;
                Some(Via::Item(u16::try_from(index).unwrap_or(u16::MAX)))
            }
        }
    }

    fn item_holds(&self, item: &ScopeItem) -> bool {
        let ScopeItem { vehicles, dashes, audios, plug_families, openings } = item;
        (vehicles.is_empty() || self.scopes.any_in(vehicles, self.signature))
            && (dashes.is_empty() || dashes.contains(&self.dash.id))
            && (audios.is_empty() || audios.contains(&self.audio.id))
            && (plug_families.is_empty()
                || self.audio.plug_families().any(|family| plug_families.contains(family)))
            && (openings.is_empty() || openings.contains(&self.dash.opening.class))
    }

    /// Fills in what the parts offer and exclude.
    pub(crate) fn fill(&self, parts: &Table<Part>, case: &mut Case) {
        for (index, part) in parts.iter() {
            self.fill_from(index, part, case);
        }
        case.offers.sort();
        case.former.sort();
        case.exclusions.sort();
    }

    fn fill_from(&self, index: RecordIx, part: &Part, case: &mut Case) {
        let numbered = part.covers.iter().zip(0_u16..);
        let holding = numbered.filter_map(|(cover, number)| Some((cover, number, self.via(&cover.scope)?)));
        let (meets, not_for): (Vec<_>, Vec<_>) =
            holding.partition(|(cover, ..)| cover.says == CoverSense::Meets);
        // A refusal beats every promise; one that is limited to some radios is weighed once the radio is known.
        let refused = |need| {
            not_for
                .iter()
                .any(|(cover, ..)| cover.radio.is_none() && cover.need.is_none_or(|refused| refused == need))
        };
        for (cover, number, via) in &meets {
            if let Some(need) = cover.need.filter(|need| !refused(*need)) {
                let offers = if part.can_be_had() { &mut case.offers } else { &mut case.former };
                offers.push(Offer { need, part: index, cover: *number, via: *via });
            }
        }
        for (cover, number, via) in not_for.iter().filter(|_| part.can_be_had()) {
            case.exclusions.push(Exclusion { part: index, need: cover.need, cover: *number, via: *via });
        }
    }
}
