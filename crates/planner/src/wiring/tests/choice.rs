//! The same function offered more than once: which lead is used, and never two.

use super::*;

fn switched(parts: &str, expected: &str) {
    let bench = format!("way p/7 SWITCHED 12V\nlead SWITCHED RD SINK\n{parts}");
    check(&bench, &[], expected);
}

#[test]
fn preferred_then_unmarked_then_fallback() {
    switched(
        "part h
        lead SWITCHED RD SOURCE @p/7
        part m
        lead SWITCHED OG SOURCE 12V PREFERRED",
        "SWITCHED: radio SWITCHED RD + m SWITCHED OG
        insulated h SWITCHED RD @p/7 OtherPreferred",
    );
    switched(
        "part h
        lead SWITCHED RD SOURCE @p/7 FALLBACK
        part m
        lead SWITCHED OG SOURCE 12V",
        "SWITCHED: radio SWITCHED RD + m SWITCHED OG
        insulated h SWITCHED RD @p/7 OtherPreferred",
    );
}

#[test]
fn the_car_before_a_module_then_the_smaller_part_number() {
    switched(
        "part b
        lead SWITCHED OG SOURCE 12V
        part h
        lead SWITCHED RD SOURCE @p/7",
        "SWITCHED: radio SWITCHED RD + h SWITCHED RD @p/7; same
        insulated b SWITCHED OG OtherPreferred",
    );
    switched(
        "part b
        lead SWITCHED OG SOURCE 12V
        part c
        lead SWITCHED RD SOURCE 12V",
        "SWITCHED: radio SWITCHED RD + b SWITCHED OG
        insulated c SWITCHED RD OtherPreferred",
    );
}

/// What must not meet is passed over for what may: the preferred one gives 24 V.
#[test]
fn a_lead_that_may_meet_before_a_preferred_one_that_must_not() {
    switched(
        "part m
        lead SWITCHED OG SOURCE 24V PREFERRED
        part n
        lead SWITCHED RD SOURCE 12V FALLBACK",
        "SWITCHED: radio SWITCHED RD + n SWITCHED RD; same
        insulated m SWITCHED OG MustNotMeet",
    );
}

/// Two adapters in a chain bring the same contact out: one wire, one join.
#[test]
fn one_way_is_taken_once() {
    let bench = "
        way p/6 AMP_ON 12V
        lead AMP_ON BU/WH SOURCE 12V
        part b
        lead AMP_ON BU/WH SINK @p/6
        part c
        lead AMP_ON BU SINK @p/6";
    check(
        bench,
        &[],
        "AMP_ON: radio AMP_ON BU/WH + b AMP_ON BU/WH @p/6; same
        insulated c AMP_ON BU @p/6 OtherPreferred",
    );
}

const BRAKE: &str = "asks PARKING_BRAKE\nlead PARKING_BRAKE GN+ SINK TO_GROUND STEADY";

#[test]
fn the_real_parking_brake_before_what_feigns_it() {
    let both = "
        way p/20 PARKING_BRAKE TO_GROUND STEADY
        part b
        lead PARKING_BRAKE BN SOURCE TO_GROUND STEADY PREFERRED FEIGNS
        part h
        lead PARKING_BRAKE GN+ SOURCE @p/20 FALLBACK";
    check(
        &format!("{BRAKE}\n{both}"),
        &[],
        "PARKING_BRAKE: radio PARKING_BRAKE GN+ + h PARKING_BRAKE GN+ @p/20; same
        insulated b PARKING_BRAKE BN Feigned",
    );
}

/// Only on the bus: a module makes the real signal out of it, and a lead that feigns it is called preferred.
#[test]
fn the_real_signal_of_a_module_before_what_feigns_it() {
    check(
        &format!(
            "{BRAKE}
            bus PARKING_BRAKE
            part b
            lead PARKING_BRAKE BN SOURCE TO_GROUND STEADY PREFERRED FEIGNS
            part m
            lead PARKING_BRAKE GN SOURCE TO_GROUND STEADY FALLBACK"
        ),
        &[],
        "PARKING_BRAKE: radio PARKING_BRAKE GN+ + m PARKING_BRAKE GN
        insulated b PARKING_BRAKE BN Feigned",
    );
}

/// A module that switches a supply is fed from somewhere else than itself.
#[test]
fn a_module_never_feeds_itself() {
    check(
        "lead SWITCHED RD SINK 12V
        part m
        lead SWITCHED OG SOURCE 12V
        lead SWITCHED RD SINK 12V",
        &[],
        "SWITCHED: radio SWITCHED RD + m SWITCHED OG
        undecided m SWITCHED RD NotOffered",
    );
}

#[test]
fn the_real_parking_brake_is_fetched_before_it_is_feigned() {
    let feigned = "part b\nlead PARKING_BRAKE BN SOURCE TO_GROUND STEADY FEIGNS";
    let real = "elsewhere PARKING_BRAKE TO_GROUND STEADY at=pedal";
    check(
        &format!("{BRAKE}\n{real}\n{feigned}"),
        &[],
        "insulated b PARKING_BRAKE BN Feigned
        fetched PARKING_BRAKE radio PARKING_BRAKE GN+ at pedal",
    );
    let at_plug = "way p/20 PARKING_BRAKE TO_GROUND STEADY";
    check(
        &format!("{BRAKE}\n{at_plug}\n{feigned}"),
        &[],
        "insulated b PARKING_BRAKE BN Feigned
        fetched PARKING_BRAKE radio PARKING_BRAKE GN+ at p/20",
    );
    // No real circuit known, or one that must not meet the radio: asked for, it is used.
    for real in ["bus PARKING_BRAKE", "", "elsewhere PARKING_BRAKE TO_SUPPLY at=lamp"] {
        check(
            &format!("{BRAKE}\n{real}\n{feigned}"),
            &[],
            "PARKING_BRAKE: radio PARKING_BRAKE GN+ + b PARKING_BRAKE BN",
        );
    }
}

/// Radios wait for ground on the parking-brake lead (common practice, no source).
#[test]
fn a_parking_brake_to_the_supply_never_meets_an_input_that_waits_for_ground() {
    let way = |polarity: &str| {
        format!(
            "{BRAKE}
            way p/20 PARKING_BRAKE {polarity} STEADY
            part h
            lead PARKING_BRAKE GN+ SOURCE @p/20"
        )
    };
    let expected = |why: &str| {
        format!(
            "insulated h PARKING_BRAKE GN+ @p/20 MustNotMeet
            undecided radio PARKING_BRAKE GN+ MustNotMeet
            refused {why}"
        )
    };
    check(&way("TO_SUPPLY"), &[], &expected("PARKING_BRAKE TO_SUPPLY onto TO_GROUND, a onto r"));
    check(&way(""), &[], &expected("unknown circuits.PARKING_BRAKE.polarity of a"));
}

/// A module sits between the buttons and the radio: each lead has one partner.
#[test]
fn a_module_between_car_and_radio_takes_the_cars_lead() {
    let bench = "
        way p/2 STEERING_1 RESISTIVE
        ladder STEERING_1
        steers LADDER
        lead STEERING_1 BN SINK RESISTIVE
        part h
        lead STEERING_1 WH SOURCE @p/2
        part m
        lead STEERING_1 GN SINK RESISTIVE
        lead STEERING_1 BN SOURCE RESISTIVE";
    check(
        bench,
        &[],
        "STEERING_1: h STEERING_1 WH @p/2 + m STEERING_1 GN
        STEERING_1: radio STEERING_1 BN + m STEERING_1 BN; same",
    );
}
