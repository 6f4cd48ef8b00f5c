//! What no adapter offers: fetched elsewhere where that is permitted and recorded, said to be missing where it is needed.

use super::*;

#[test]
fn a_circuit_elsewhere_is_fetched_with_its_place() {
    check(
        "elsewhere REVERSE 12V at=tail-lamp
        elsewhere BATTERY 12V at=fuse-box
        asks REVERSE
        lead BATTERY YE SINK
        lead REVERSE VT SINK",
        &[],
        "fetched BATTERY radio BATTERY YE at fuse-box
        fetched REVERSE radio REVERSE VT at tail-lamp",
    );
}

/// Restraint, brake and engine circuits have no function of their own; whatever is not on the list of permitted sources is
/// left alone: a bus, the sound of warnings, the lead to be silent.
#[test]
fn only_permitted_circuits_are_fetched() {
    for function in ["MUTE", "CHIME", "CAN_HIGH", "LIN", "DIMMER", "DIGITAL_AUDIO", "SPEAKER_FRONT_LEFT_PLUS"]
    {
        check(
            &format!("elsewhere {function} at=somewhere\nlead {function} BN SINK"),
            &[],
            &format!("insulated radio {function} BN NoPartner"),
        );
    }
}

#[test]
fn what_must_not_meet_is_not_fetched_either() {
    check(
        "elsewhere REVERSE 24V at=tail-lamp
        asks REVERSE
        lead REVERSE VT SINK 12V",
        &[],
        "undecided radio REVERSE VT MustNotMeet
        refused REVERSE 24 V onto 12 V, a onto r",
    );
}

/// Never dropped: what the radio needs and neither side offers is for a person to decide.
#[test]
fn what_neither_side_offers_is_said() {
    check(
        "bus SWITCHED
        asks SPEED_PULSE
        lead BATTERY YE SINK
        lead SWITCHED RD SINK
        lead SPEED_PULSE PK SINK
        lead MUTE BN SINK",
        &[],
        "insulated radio MUTE BN NoPartner
        undecided radio BATTERY YE NotOffered
        undecided radio SWITCHED RD NotOffered
        undecided radio SPEED_PULSE PK NotOffered",
    );
}

#[test]
fn a_parking_brake_lead_that_nothing_asks_for_stays_loose() {
    check(
        "elsewhere PARKING_BRAKE TO_GROUND STEADY at=pedal
        lead PARKING_BRAKE GN+ SINK TO_GROUND",
        &[],
        "insulated radio PARKING_BRAKE GN+ NothingNeedsIt",
    );
}

#[test]
fn a_wire_at_the_factory_plug_is_tapped_only_where_the_plan_does() {
    let bench = "
        way p/2 STEERING_1 BN RESISTIVE
        way p/3 STEERING_GROUND RESISTIVE
        way p/4 SPEED_PULSE GN
        ladder STEERING_1
        steers LADDER
        lead SPEED_PULSE PK SINK
        lead STEERING_1 GN SINK RESISTIVE
        lead STEERING_GROUND BK SINK RESISTIVE";
    check(
        bench,
        &[Need::Steering],
        "insulated radio SPEED_PULSE PK NoPartner
        fetched STEERING_1 radio STEERING_1 GN at p/2
        fetched STEERING_GROUND radio STEERING_GROUND BK at p/3
        trap radio STEERING_1 GN is no car SPEED_PULSE GN @p/4 SPEED_PULSE",
    );
    check(
        bench,
        &[],
        "insulated radio SPEED_PULSE PK NoPartner
        insulated radio STEERING_1 GN NoPartner
        insulated radio STEERING_GROUND BK NoPartner",
    );
}

#[test]
fn a_socket_is_told_where_the_plan_fills_it_from_the_cars_wires() {
    let bench = "
        elsewhere AUX_LEFT LINE at=console
        elsewhere AUX_RIGHT LINE at=console
        socket AUX 1";
    check(
        bench,
        &[Need::Aux],
        "fetched AUX_LEFT socket AUX AUX_LEFT at console
        fetched AUX_RIGHT socket AUX AUX_RIGHT at console",
    );
    check(bench, &[], "");
    // A radio that does it by itself needs none of the car's wires.
    check(&format!("serves AUX\n{bench}"), &[Need::Aux], "");
}

#[test]
fn buttons_go_to_the_module_that_speaks_for_them() {
    let bench = |takes: &str| {
        format!(
            "way p/2 STEERING_1 RESISTIVE
            ladder STEERING_1
            steers LADDER
            lead STEERING_1 BN SINK RESISTIVE
            part h
            lead STEERING_1 WH SOURCE @p/2
            part m
            covers STEERING
            {takes}"
        )
    };
    check(
        &bench("takes STEERING_REMOTE"),
        &[],
        "STEERING_1: input of m STEERING_1 + h STEERING_1 WH @p/2
        insulated radio STEERING_1 BN OtherPreferred",
    );
    check(&bench(""), &[], "STEERING_1: radio STEERING_1 BN + h STEERING_1 WH @p/2");
}

#[test]
fn a_ladder_never_meets_a_serial_input() {
    check(
        "way p/2 STEERING_1 RESISTIVE
        ladder STEERING_1
        steers SERIAL
        lead STEERING_1 BN SINK
        part h
        lead STEERING_1 WH SOURCE @p/2",
        &[],
        "insulated h STEERING_1 WH @p/2 MustNotMeet
        insulated radio STEERING_1 BN NoPartner
        refused ladder, a onto r",
    );
}
