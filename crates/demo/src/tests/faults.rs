//! The catalogue is free of faults, kept in one form, and of the size that the house promised.

use std::collections::BTreeSet;

use dashwright_model::dataset::clashes;
use dashwright_model::exchange::{parse_line, to_line};
use dashwright_model::record::part::LeadOrigin;
use dashwright_model::record::vehicle::{Attribute, Trims};
use dashwright_model::{Grade, record::vehicle::Vehicle};

use super::{Catalogue, applies};
use crate::{lines, records};

#[test]
fn records_do_not_clash() {
    let found: Vec<String> = clashes(&records().unwrap()).iter().map(ToString::to_string).collect();
    assert_eq!(found, Vec::<String>::new());
}

#[test]
fn every_line_has_the_form_that_the_writer_gives_it() {
    for (file, number, text) in lines() {
        let record = parse_line(text.as_bytes(), number).unwrap_or_else(|error| panic!("{file}: {error}"));
        assert_eq!(to_line(&record).unwrap(), text, "{file}, line {number}");
    }
}

/// The least counts of the design, 2-model.md, last section, and of the catalogue's own plan.
#[test]
fn the_catalogue_is_as_large_as_promised() {
    let all = Catalogue::load();
    let makes: BTreeSet<_> = all.vehicles.iter().map(|line| line.make.clone()).collect();
    let years: BTreeSet<_> =
        all.vehicles.iter().flat_map(|line| line.years.years()).map(|year| year.get()).collect();
    assert!(makes.len() >= 6, "{} makes", makes.len());
    assert!(all.vehicles.len() >= 40, "{} lines", all.vehicles.len());
    assert_eq!(years, (2005..=2025).collect());
    assert!(all.dashes.len() >= 12, "{} dashes", all.dashes.len());
    assert!(all.audios.len() >= 20, "{} audios", all.audios.len());
    assert!(all.radios.len() >= 15, "{} radios", all.radios.len());
    assert!(all.parts.len() >= 80, "{} parts", all.parts.len());
    let amplified = all.vehicles.iter().filter(|line| line.audio_options.len() > 1).count();
    assert!(2 * amplified >= all.vehicles.len() - 10, "{amplified} lines with a choice of sound");
    let patterned = all.vehicles.iter().filter(|line| !line.vin_patterns.is_empty()).count();
    assert_eq!(patterned, all.vehicles.len());
}

#[test]
fn evidence_is_of_every_grade_and_of_years_that_can_be() {
    let records = records().unwrap();
    for grade in Grade::ALL {
        let count = records.iter().filter(|record| record.evidence().grade == *grade).count();
        assert!(count >= 10, "{count} records are {grade}");
    }
    for record in &records {
        let date = record.evidence().date.to_string();
        assert!(("2019-01-01".."2026-12-31").contains(&date.as_str()), "{}: {date}", record.id());
    }
}

#[test]
fn every_dash_audio_and_term_is_used() {
    let all = Catalogue::load();
    let dashes: BTreeSet<_> = all.cars().map(|car| car.dash.id.clone()).collect();
    let audios: BTreeSet<_> = all.cars().map(|car| car.audio.id.clone()).collect();
    assert_eq!(dashes.len(), all.dashes.len());
    assert_eq!(audios.len(), all.audios.len());
    let named: BTreeSet<_> = records()
        .unwrap()
        .iter()
        .flat_map(|record| record.references())
        .map(|reference| reference.target)
        .collect();
    for term in &all.terms {
        let by_id = ["MAKE", "BRAND", "PLUG_FAMILY"].contains(&term.of.name());
        let used = named.iter().any(|key| key.id.as_str() == term.id.as_str());
        assert!(!by_id || used, "nothing names {}", term.id);
    }
}

/// A lead comes from a way that the plug has in at least one of the cars it is for.
#[test]
fn adapter_leads_come_from_ways_that_the_cars_use() {
    let all = Catalogue::load();
    for part in &all.parts {
        for lead in &part.leads {
            let LeadOrigin::Way { family, way } = &lead.from else { continue };
            let found = all.cars().any(|car| {
                part.covers.iter().any(|cover| applies(&cover.scope, car))
                    && car
                        .audio
                        .plugs
                        .iter()
                        .any(|plug| plug.family == *family && plug.ways.iter().any(|w| w.way == *way))
            });
            assert!(found, "{}: no car of its scope has way {way} of {family}", part.id);
        }
    }
}

/// ISO 10487 names its contacts A1 to A8 and B1 to B8 (numbering of the standard, from memory).
#[test]
fn standard_plugs_use_the_contact_numbers_of_the_standard() {
    let all = Catalogue::load();
    let mut seen = 0;
    for plug in all.audios.iter().flat_map(|audio| &audio.plugs) {
        let Some(letter) = plug.family.as_str().strip_prefix("iso10487-") else { continue };
        let known: Vec<String> = (1..=8).map(|n| format!("{}{n}", letter.to_uppercase())).collect();
        for way in &plug.ways {
            assert!(known.contains(&way.way.to_string()), "{}", way.way);
            seen += 1;
        }
    }
    assert!(seen > 50, "{seen} contacts");
}

/// Whatever tells two lines of one model and year apart can be asked, so both say how to tell.
#[test]
fn what_may_have_to_be_asked_says_how_to_tell() {
    let all = Catalogue::load();
    let mut pairs = 0;
    for (index, one) in all.vehicles.iter().enumerate() {
        for other in all.vehicles.iter().skip(index + 1) {
            let rivals =
                one.make == other.make && one.model == other.model && one.years.overlaps(other.years);
            for attribute in if rivals { differing(one, other) } else { Vec::new() } {
                pairs += 1;
                for line in [one, other] {
                    assert!(
                        line.how_to_tell.contains_key(&attribute),
                        "{} says not how to tell {attribute}",
                        line.id
                    );
                }
            }
        }
    }
    assert!(pairs >= 10, "{pairs} pairs");
}

fn differing(one: &Vehicle, other: &Vehicle) -> Vec<Attribute> {
    let trims = one.trims != other.trims && (one.trims != Trims::All || other.trims != Trims::All);
    let table = [
        (Attribute::Trim, trims),
        (Attribute::BuildMonth, one.build != other.build),
        (Attribute::Market, one.market != other.market),
        (Attribute::DriveSide, one.drive_side != other.drive_side),
        (Attribute::Body, one.body != other.body),
        (Attribute::Drivetrain, one.drivetrain != other.drivetrain),
    ];
    table.iter().filter(|(_, differs)| *differs).map(|(attribute, _)| *attribute).collect()
}

/// A feature of the dash panel is said of a factory audio only where every one of its dashes has it there.
#[test]
fn dash_and_audio_agree_on_what_sits_in_the_panel() {
    use dashwright_model::{Carrier, Feature};
    let all = Catalogue::load();
    for car in all.cars() {
        for feature in [Feature::HazardSwitch, Feature::AirbagLamp] {
            let in_panel =
                car.dash.surroundings.iter().any(|s| s.feature == Some(feature) && s.on_replaced_panel);
            let says = car.audio.features.get(&feature);
            assert!(
                says.is_none() || (says == Some(&Carrier::DashPanel) && in_panel),
                "{} {feature}",
                car.line.id
            );
        }
    }
}

/// The limits stand beside `FloatingScreen`: 200 steps of a movement, 2,000 positions in all.
#[test]
fn a_screen_with_more_positions_than_can_be_looked_at_is_refused_by_field() {
    let (_, _, line) = lines().find(|(_, _, text)| text.contains(r#""id":"sonquill-alder-9f""#)).unwrap();
    let steps = |up_down: &str, stand_off: &str, tilt: &str| {
        let text = line
            .replace(r#""up_down":{"least":-30,"greatest":30,"step":15}"#, &format!(r#""up_down":{up_down}"#))
            .replace(
                r#""stand_off":{"least":8,"greatest":38,"step":10}"#,
                &format!(r#""stand_off":{stand_off}"#),
            )
            .replace(r#""tilt":{"least":-10,"greatest":20,"step":5}"#, &format!(r#""tilt":{tilt}"#));
        parse_line(text.as_bytes(), 1).map(drop).map_err(|error| error.to_string())
    };
    let still = r#"{"least":0,"greatest":0,"step":1}"#;
    let ranged =
        |steps: u32| format!(r#"{{"least":0,"greatest":{},"step":0.1}}"#, f64::from(steps - 1) / 10.0);
    assert_eq!(steps(&ranged(200), still, still), Ok(()));
    let many = steps(&ranged(202), still, still).unwrap_err();
    assert!(many.contains("floating_screen.up_down.step") && many.contains("`202`, at most 200"), "{many}");
    // 20 for the range without a step, 101 × 20 × 1 = 2,020.
    let product = steps(&ranged(101), r#"{"least":0,"greatest":5}"#, still).unwrap_err();
    assert!(product.contains("`floating_screen` is `2020`, at most 2000"), "{product}");
}
