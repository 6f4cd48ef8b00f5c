//! What holds for the catalogue as a whole; [`Catalogue`] answers the tests' questions in the plainest way.

mod coverage;
mod examples;
mod faults;
mod scaling;
mod settings;
mod vins;
mod wiring;
mod words;

use dashwright_model::record::part::{Cover, CoverSense, Part};
use dashwright_model::record::vehicle::{AudioOption, Vehicle};
use dashwright_model::record::{Dash, FactoryAudio, Radio, Record, Term};
use dashwright_model::{Need, RadioCondition, Scope, ScopeItem, VehicleScope};

use crate::records;

/// The records by kind.
#[derive(Default)]
struct Catalogue {
    terms: Vec<Term>,
    dashes: Vec<Dash>,
    audios: Vec<FactoryAudio>,
    radios: Vec<Radio>,
    parts: Vec<Part>,
    vehicles: Vec<Vehicle>,
}

/// A car as an installer sees it: one line with one of its audio options.
#[derive(Clone, Copy)]
struct Car<'a> {
    line: &'a Vehicle,
    option: &'a AudioOption,
    dash: &'a Dash,
    audio: &'a FactoryAudio,
}

impl Catalogue {
    fn load() -> Self {
        let mut all = Self::default();
        for record in records().unwrap() {
            match record {
                Record::Vocabulary(term) => all.terms.push(term.into_inner()),
                Record::Dash(dash) => all.dashes.push(dash.into_inner()),
                Record::FactoryAudio(audio) => all.audios.push(audio.into_inner()),
                Record::Radio(radio) => all.radios.push(radio.into_inner()),
                Record::Part(part) => all.parts.push(part.into_inner()),
                Record::Vehicle(vehicle) => all.vehicles.push(vehicle.into_inner()),
                Record::GoldenQuestion(_) => {}
            }
        }
        all
    }

    fn dash(&self, id: &str) -> &Dash {
        self.dashes.iter().find(|dash| dash.id.as_str() == id).unwrap_or_else(|| panic!("no dash {id}"))
    }

    fn audio(&self, id: &str) -> &FactoryAudio {
        self.audios.iter().find(|audio| audio.id.as_str() == id).unwrap_or_else(|| panic!("no audio {id}"))
    }

    fn radio(&self, id: &str) -> &Radio {
        self.radios.iter().find(|radio| radio.id.as_str() == id).unwrap_or_else(|| panic!("no radio {id}"))
    }

    fn part(&self, id: &str) -> &Part {
        self.parts.iter().find(|part| part.id.as_str() == id).unwrap_or_else(|| panic!("no part {id}"))
    }

    fn line(&self, id: &str) -> &Vehicle {
        self.vehicles.iter().find(|line| line.id.as_str() == id).unwrap_or_else(|| panic!("no line {id}"))
    }

    fn cars(&self) -> impl Iterator<Item = Car<'_>> {
        self.vehicles.iter().flat_map(move |line| {
            line.audio_options.iter().map(move |option| Car {
                line,
                option,
                dash: self.dash(line.dash.as_str()),
                audio: self.audio(option.audio.as_str()),
            })
        })
    }

    /// The car of a line with the option of this code.
    fn car(&self, line: &str, code: &str) -> Car<'_> {
        let found = self.cars().find(|car| car.line.id.as_str() == line && car.option.code.as_str() == code);
        found.unwrap_or_else(|| panic!("no car {line} {code}"))
    }
}

/// Whether a part meets a need in a car with a radio; without a radio, with any.
fn meets(part: &Part, need: Need, car: Car<'_>, radio: Option<&Radio>) -> bool {
    let holds = |cover: &Cover| {
        let radio_fits =
            radio.is_none_or(|radio| cover.radio.as_ref().is_none_or(|condition| matches(condition, radio)));
        radio_fits && applies(&cover.scope, car)
    };
    let refused = part.covers.iter().any(|cover| {
        cover.says == CoverSense::NotFor
            && cover.need.is_none_or(|excluded| excluded == need)
            && (radio.is_some() || cover.radio.is_none())
            && holds(cover)
    });
    let positive = |cover: &&Cover| cover.says == CoverSense::Meets && cover.need == Some(need);
    part.can_be_had() && !refused && part.covers.iter().filter(positive).any(holds)
}

fn applies(scope: &Scope, car: Car<'_>) -> bool {
    match scope {
        Scope::Any => true,
        Scope::AnyOf(items) => items.iter().any(|item| item_applies(item, car)),
    }
}

fn item_applies(item: &ScopeItem, car: Car<'_>) -> bool {
    let ScopeItem { vehicles, dashes, audios, plug_families, openings } = item;
    (vehicles.is_empty() || vehicles.iter().any(|scope| line_applies(scope, car.line)))
        && (dashes.is_empty() || dashes.contains(&car.dash.id))
        && (audios.is_empty() || audios.contains(&car.audio.id))
        && (plug_families.is_empty()
            || car.audio.plug_families().any(|family| plug_families.contains(family)))
        && (openings.is_empty() || openings.contains(&car.dash.opening.class))
}

fn line_applies(scope: &VehicleScope, line: &Vehicle) -> bool {
    let VehicleScope { make, model, years, trims, build, market, drive_side } = scope;
    assert!(trims.is_empty() && build.is_none(), "the catalogue scopes by no trim and no build window");
    *make == line.make
        && model.as_ref().is_none_or(|model| *model == line.model)
        && years.is_none_or(|years| years.contains(line.years.from()) && years.contains(line.years.to()))
        && market.as_ref().is_none_or(|market| Some(market) == line.market.as_ref())
        && drive_side.is_none_or(|side| Some(side) == line.drive_side)
}

fn matches(condition: &RadioCondition, radio: &Radio) -> bool {
    let RadioCondition { chassis, brands, radios, sockets, floating_screen } = condition;
    (chassis.is_empty() || chassis.contains(&radio.chassis.class))
        && (brands.is_empty() || brands.contains(&radio.brand))
        && (radios.is_empty() || radios.contains(&radio.id))
        && sockets.iter().all(|kind| radio.sockets.iter().any(|socket| socket.kind == *kind))
        && floating_screen.is_none_or(|floating| floating == radio.floating_screen.is_some())
}

/// A table holds every part and vehicle line whole, and is the same when it is written again.
#[test]
fn every_part_and_vehicle_line_goes_through_a_table_unchanged() {
    use dashwright_model::exchange::to_line;
    use dashwright_model::table::{TableKind, TableReader, to_row};
    for kind in [TableKind::Part, TableKind::Vehicle] {
        let records: Vec<Record> =
            records().unwrap().into_iter().filter(|it| it.kind() == kind.kind()).collect();
        let rows = records.iter().map(|record| to_row(kind, record).unwrap());
        let text = kind.header() + &rows.collect::<String>();
        let read: Vec<Record> = TableReader::new(kind, text.as_bytes())
            .map(|it| it.unwrap_or_else(|error| panic!("{error:?}")).1)
            .collect();
        let lines = |records: &[Record]| records.iter().map(|it| to_line(it).unwrap()).collect::<Vec<_>>();
        assert_eq!(lines(&read), lines(&records));
        let again =
            kind.header() + &read.iter().map(|record| to_row(kind, record).unwrap()).collect::<String>();
        assert_eq!(again, text);
    }
}
