//! What holds whatever is asked: against a plain reading of the records, and against chance.

use std::sync::LazyLock;

use dashwright_model::exchange::{parse_line, to_line};
use dashwright_model::question::VehicleQuestion;
use dashwright_model::record::vehicle::{AudioOption, Trims};
use dashwright_model::record::{Record, Vehicle};
use dashwright_quantity::{Label, ModelYear};
use proptest::prelude::*;

use super::catalogue::{compile, records};
use super::*;
use crate::SourceRecord;
use crate::words::normal;

static SNAPSHOT: LazyLock<Snapshot> = LazyLock::new(catalogue);

static VEHICLES: LazyLock<Vec<Vehicle>> = LazyLock::new(|| {
    let records = records().into_iter().map(|source| parse_line(source.text.as_bytes(), 1).unwrap());
    let vehicles = records.filter_map(|record| match record {
        Record::Vehicle(vehicle) => Some(vehicle.into_inner()),
        _ => None,
    });
    vehicles.collect()
});

fn same(typed: Option<&Label>, own: Option<&Label>) -> bool {
    let normal = |label: &Label| normal(label.as_str());
    typed.is_none() || own.is_none() || typed.map(normal) == own.map(normal)
}

fn names(vehicle: &Vehicle, trim: &Label) -> bool {
    matches!(&vehicle.trims, Trims::These(these) if these.iter().any(|own| same(Some(trim), Some(own))))
}

/// Whether a line is what a question of exact names describes, trims of other lines aside.
fn describes(question: &VehicleQuestion, vehicle: &Vehicle) -> bool {
    let make = match vehicle.make.as_str() {
        "orvane" => "Orvane",
        "belto" => "Beltó",
        _ => "Beltrane",
    };
    let option =
        |option: &AudioOption| question.audio_option.as_ref().is_none_or(|typed| *typed == option.code);
    question.model_year.is_none_or(|year| vehicle.years.contains(year))
        && question.make.as_ref().is_none_or(|typed| typed.as_str() == make)
        && question.model.as_ref().is_none_or(|typed| *typed == vehicle.model)
        && question.drive_side.is_none_or(|side| vehicle.drive_side.is_none_or(|own| own == side))
        && question.build_month.is_none_or(|month| vehicle.build.is_none_or(|window| window.contains(month)))
        && same(question.market.as_ref(), vehicle.market.as_ref())
        && same(question.body.as_ref(), vehicle.body.as_ref())
        && vehicle.audio_options.iter().any(option)
}

/// The ids of the lines that a plain reading of the records gives, in order.
fn plainly(question: &VehicleQuestion) -> Vec<String> {
    let without_option = VehicleQuestion { audio_option: None, ..question.clone() };
    let fits = |vehicle: &&Vehicle| {
        let Some(trim) = &question.trim else { return describes(question, vehicle) };
        let named = |year: ModelYear| {
            let in_year = VehicleQuestion { model_year: Some(year), ..without_option.clone() };
            VEHICLES.iter().any(|other| {
                (&other.make, &other.model) == (&vehicle.make, &vehicle.model)
                    && describes(&in_year, other)
                    && names(other, trim)
            })
        };
        let mut years =
            vehicle.years.years().filter(|year| question.model_year.is_none_or(|own| own == *year));
        describes(question, vehicle)
            && match &vehicle.trims {
                Trims::All => true,
                Trims::These(_) => names(vehicle, trim),
                Trims::AllOthers => years.any(|year| !named(year)),
            }
    };
    let mut ids: Vec<String> = VEHICLES.iter().filter(fits).map(|vehicle| vehicle.id.to_string()).collect();
    ids.sort();
    ids
}

fn one_of(values: &'static [&'static str]) -> impl Strategy<Value = Option<Label>> {
    let value = proptest::sample::select(values).prop_map(|value| Label::new(value).ok());
    prop_oneof![2 => Just(None), 1 => value]
}

prop_compose! {
    fn exact_question()(
        year in prop_oneof![1 => Just(None), 3 => (1983_i64..2024).prop_map(|year| ModelYear::new(year).ok())],
        make in one_of(&["Orvane", "Beltó", "Beltrane"]),
        model in one_of(&["Corlan", "Corlin", "Tesk 300", "Sport", "2016", "Vexa", "Abroad"]),
        trim in one_of(&["Sport", "SPORT-plus", "Base"]),
        market in one_of(&["NA", "UK"]),
        body in one_of(&["Estate", "saloon"]),
        audio_option in one_of(&["A", "B"]),
        build in proptest::sample::select(&[None, None, Some("2020-06"), Some("2020-07"), Some("2015-01")][..]),
        side in proptest::sample::select(&[None, None, Some("LEFT"), Some("RIGHT")][..]),
    ) -> VehicleQuestion {
        VehicleQuestion {
            model_year: year,
            make,
            model,
            trim,
            market,
            body,
            audio_option,
            build_month: build.map(|month| month.parse().unwrap()),
            drive_side: side.map(|side| side.parse().unwrap()),
            ..VehicleQuestion::default()
        }
    }
}

/// Words as people might string them together, known ones among them.
fn words() -> impl Strategy<Value = String> {
    let known = proptest::sample::select(
        &[
            "orvane", "belto", "corlan", "corlen", "tesk", "300", "sport", "plus", "big", "speakers", "2016",
            "2019", "2020-07", "estate", "saloon", "without", "the", "left", "hand", "drive", "lhd",
            "another", "trim", "na",
        ][..],
    );
    let word = prop_oneof![3 => known.prop_map(str::to_owned), 1 => "\\PC{1,8}"];
    proptest::collection::vec(word, 1..8).prop_map(|words| words.join(" "))
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 1_000, ..ProptestConfig::default() })]

    #[test]
    fn exact_questions_are_answered_as_the_records_read(question in exact_question()) {
        prop_assume!(!question.is_empty());
        let mut found: Vec<String> = match SNAPSHOT.identify(&question) {
            Ok(found) => {
                let line = |candidate: &Candidate| SNAPSHOT.line(candidate.line).unwrap();
                found.candidates.iter().map(|candidate| SNAPSHOT.line_id(line(candidate)).to_owned()).collect()
            }
            Err(_) => Vec::new(),
        };
        found.sort();
        prop_assert_eq!(found, plainly(&question));
    }

    #[test]
    fn whatever_is_typed_is_answered_or_refused(words in words(), typed in one_of(&["x", "-", "Sprot", "💥"])) {
        let question = VehicleQuestion {
            words: Label::new(words.trim()).ok(),
            trim: typed.clone(),
            body: typed,
            ..VehicleQuestion::default()
        };
        match SNAPSHOT.identify(&question) {
            Ok(found) => {
                prop_assert!(!found.candidates.is_empty() && found.total >= found.candidates.len());
                for candidate in &found.candidates {
                    prop_assert!(!candidate.years.is_empty() && !candidate.options.is_empty());
                    if let Some(year) = found.model_years.stated {
                        prop_assert!(candidate.years.contains(year));
                    }
                }
            }
            Err(error) => prop_assert!(!error.to_string().is_empty()),
        }
        let _ = SNAPSHOT.choices(&question);
    }

    #[test]
    fn every_choice_leaves_as_many_lines_as_it_says(question in exact_question()) {
        let Ok(asked) = SNAPSHOT.choices(&question) else { return Ok(()) };
        for choice in &asked.choices {
            let mut with = question.clone();
            choice.put_into(&mut with);
            let left = SNAPSHOT.identify(&with);
            prop_assert!(left.is_ok(), "{with:?}: {left:?}");
            prop_assert_eq!(left.unwrap().total, choice.lines, "{:?}", with);
        }
    }

    #[test]
    fn the_order_of_the_records_never_matters(
        shuffled in Just(records()).prop_shuffle(),
        questions in proptest::collection::vec(exact_question(), 5),
        words in words(),
    ) {
        let other = compile(shuffled);
        prop_assert_eq!(other.content_hash(), SNAPSHOT.content_hash());
        let sentence = VehicleQuestion { words: Label::new(words.trim()).ok(), ..VehicleQuestion::default() };
        for question in questions.iter().chain([&sentence]) {
            prop_assert_eq!(other.identify(question), SNAPSHOT.identify(question));
            prop_assert_eq!(other.choices(question), SNAPSHOT.choices(question));
        }
    }
}

#[test]
fn following_the_choices_ends_with_one_line_and_one_option() {
    // Depth first through every answer; each question is asked of the answers so far.
    let mut open = vec![VehicleQuestion::default()];
    let mut ends = 0;
    while let Some(question) = open.pop() {
        let asked = SNAPSHOT.choices(&question).unwrap();
        match asked.attribute {
            None => {
                let found = SNAPSHOT.identify(&question).unwrap();
                assert_eq!((found.total, found.candidates[0].options.len()), (1, 1), "{question:?}");
                ends += 1;
            }
            Some(_) => open.extend(asked.choices.iter().map(|choice| {
                let mut with = question.clone();
                choice.put_into(&mut with);
                assert_ne!(with, question);
                with
            })),
        }
    }
    assert!(ends > 100, "{ends}");
}

#[test]
fn every_line_of_the_demo_catalogue_is_found_by_what_it_says() {
    let records = dashwright_demo::records().unwrap();
    let sources =
        records.iter().map(|record| SourceRecord { text: to_line(record).unwrap().into(), revision: 1 });
    let snapshot = compile(sources.collect());
    let mut lines = 0;
    for record in &records {
        let Record::Vehicle(vehicle) = record else { continue };
        let make = Label::new(snapshot.term_name(vehicle.make.as_str())).unwrap();
        let trim = match &vehicle.trims {
            Trims::These(trims) => trims.first().cloned(),
            Trims::AllOthers => Label::new(another(Attribute::Trim)).ok(),
            Trims::All => None,
        };
        let question = VehicleQuestion {
            model_year: Some(vehicle.years.to()),
            make: Some(make),
            model: Some(vehicle.model.clone()),
            trim,
            build_month: vehicle.build.and_then(|window| window.from.or(window.to)),
            market: vehicle.market.clone(),
            drive_side: vehicle.drive_side,
            body: vehicle.body.clone(),
            drivetrain: vehicle.drivetrain.clone(),
            ..VehicleQuestion::default()
        };
        let found = snapshot.identify(&question).unwrap_or_else(|error| panic!("{}: {error}", vehicle.id));
        // What overlaps would be a clash of the dataset, so all that a line says leaves that line alone.
        let ids: Vec<&str> =
            found.candidates.iter().map(|left| snapshot.line_id(snapshot.line(left.line).unwrap())).collect();
        assert_eq!(ids, [vehicle.id.as_str()], "{question:?}");
        assert_eq!(found.candidates[0].options.len(), vehicle.audio_options.len());
        lines += 1;
    }
    assert!(lines >= 40, "{lines}");
}
