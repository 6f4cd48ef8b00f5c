//! Cameras: their own voltage or nothing, the reverse trigger only where a camera is, and the kind of picture.

use super::*;

const CAMERA: &str = "
    part h
    lead CAMERA_POWER RD SINK @p/11";

#[test]
fn twelve_volts_never_meet_a_six_volt_camera() {
    let expected = "
        insulated h CAMERA_POWER RD @p/11 MustNotMeet
        insulated m CAMERA_POWER OG MustNotMeet
        refused CAMERA_POWER 12 V onto 6 V, m onto a
        refused camera of a needs 6 V";
    let module = "part m\nlead CAMERA_POWER OG SOURCE 12V";
    check(&format!("way p/11 CAMERA_POWER 6V\n{CAMERA}\n{module}"), &[], expected);
    // The camera's own entry says so where the circuit does not; the print of the adapter is no witness.
    let printed = CAMERA.replace("@p/11", "@p/11 12V");
    check(&format!("camera COMPOSITE 6V\nway p/11 CAMERA_POWER\n{printed}\n{module}"), &[], expected);
}

#[test]
fn a_six_volt_camera_is_never_fed_from_reverse_or_switched() {
    check(
        &format!(
            "way p/11 CAMERA_POWER 6V
            way p/5 REVERSE 12V
            way p/7 SWITCHED 12V
            asks REVERSE
            lead REVERSE VT SINK
            lead SWITCHED RD SINK
            {CAMERA}
            lead REVERSE VT SOURCE @p/5
            lead SWITCHED RD SOURCE @p/7"
        ),
        &[],
        "SWITCHED: radio SWITCHED RD + h SWITCHED RD @p/7; same
        REVERSE: radio REVERSE VT + h REVERSE VT @p/5; same
        insulated h CAMERA_POWER RD @p/11 MustNotMeet
        trap radio SWITCHED RD is no h CAMERA_POWER RD @p/11 CAMERA_POWER
        refused camera of a needs 6 V",
    );
}

#[test]
fn a_converter_feeds_the_camera_with_its_own_voltage() {
    let bench = format!(
        "way p/11 CAMERA_POWER 6V
        {CAMERA}
        part m
        lead CAMERA_POWER OG SOURCE 12V PREFERRED
        part n
        lead CAMERA_POWER RD SOURCE 6V"
    );
    let expected = "
        CAMERA_POWER: n CAMERA_POWER RD + h CAMERA_POWER RD @p/11; same
        insulated m CAMERA_POWER OG MustNotMeet";
    check(&bench, &[], expected);
    // A radio that would give 12 V leaves it to the converter.
    check(
        &format!("lead CAMERA_POWER BU SOURCE 12V\n{bench}"),
        &[],
        "CAMERA_POWER: n CAMERA_POWER RD + h CAMERA_POWER RD @p/11; same
        insulated radio CAMERA_POWER BU MustNotMeet
        insulated m CAMERA_POWER OG MustNotMeet",
    );
}

#[test]
fn a_camera_of_unknown_voltage_is_fed_by_nobody() {
    let unknown = "refused unknown camera.supply of a";
    check(
        &format!(
            "camera COMPOSITE\nway p/11 CAMERA_POWER\n{CAMERA}\npart m\nlead CAMERA_POWER OG SOURCE 12V"
        ),
        &[],
        &format!(
            "insulated h CAMERA_POWER RD @p/11 MustNotMeet
            insulated m CAMERA_POWER OG MustNotMeet
            {unknown}"
        ),
    );
    check(
        &format!("way p/11 CAMERA_POWER 6V\n{CAMERA}\npart m\nlead CAMERA_POWER OG SOURCE"),
        &[],
        "insulated h CAMERA_POWER RD @p/11 MustNotMeet
        insulated m CAMERA_POWER OG MustNotMeet
        refused unknown leads.CAMERA_POWER.voltage of m
        refused camera of a needs 6 V",
    );
}

/// Common practice, no source: from the reverse lead where there is one, else from the switched supply.
#[test]
fn a_twelve_volt_camera_is_fed_from_reverse_else_from_switched() {
    let bench = |reverse: &str| {
        format!(
            "camera COMPOSITE 12V
            way p/11 CAMERA_POWER 12V
            way p/5 {reverse}
            way p/7 SWITCHED 12V
            asks REVERSE
            lead REVERSE VT SINK
            lead SWITCHED RD SINK
            {CAMERA}
            lead REVERSE VT SOURCE @p/5
            lead SWITCHED BN SOURCE @p/7"
        )
    };
    check(
        &bench("REVERSE 12V"),
        &[],
        "SWITCHED: radio SWITCHED RD + h SWITCHED BN @p/7
        REVERSE: radio REVERSE VT + h REVERSE VT @p/5 + h CAMERA_POWER RD @p/11
        trap radio SWITCHED RD is no h CAMERA_POWER RD @p/11 CAMERA_POWER",
    );
    check(
        &bench("MUTE"),
        &[],
        "SWITCHED: radio SWITCHED RD + h SWITCHED BN @p/7 + h CAMERA_POWER RD @p/11
        insulated h REVERSE VT @p/5 NoPartner
        undecided radio REVERSE VT NotOffered
        print h REVERSE VT @p/5 carries MUTE
        trap radio REVERSE VT is no h REVERSE VT @p/5 MUTE",
    );
    // A radio with a supply for cameras, of the right voltage, feeds it itself.
    check(
        &format!("lead CAMERA_POWER BU SOURCE 12V\nway p/11 CAMERA_POWER 12V\n{CAMERA}"),
        &[],
        "CAMERA_POWER: radio CAMERA_POWER BU + h CAMERA_POWER RD @p/11",
    );
}

#[test]
fn a_twelve_volt_camera_in_a_lorry_is_not_fed_from_its_supply() {
    check(
        &format!(
            "car 24V
            supply 24V
            way p/11 CAMERA_POWER 12V
            way p/7 SWITCHED
            lead SWITCHED RD SINK
            {CAMERA}
            lead SWITCHED RD SOURCE @p/7"
        ),
        &[],
        "SWITCHED: radio SWITCHED RD + h SWITCHED RD @p/7; same
        insulated h CAMERA_POWER RD @p/11 MustNotMeet
        trap radio SWITCHED RD is no h CAMERA_POWER RD @p/11 CAMERA_POWER
        refused camera of a needs 12 V",
    );
}

#[test]
fn the_cameras_return_joins_the_ground_splice() {
    check(
        "way p/8 GROUND
        way p/12 CAMERA_GROUND
        lead GROUND BK SINK
        part h
        lead CAMERA_GROUND BK SOURCE @p/12
        lead GROUND BK SOURCE @p/8",
        &[],
        "GROUND: radio GROUND BK + h GROUND BK @p/8 + h CAMERA_GROUND BK @p/12; same; load unknown",
    );
}

#[test]
fn a_reverse_trigger_is_joined_only_where_the_radio_shows_a_camera_or_asks() {
    let bench = |rest: &str| {
        format!(
            "way p/5 REVERSE 12V
            lead REVERSE VT SINK 12V
            {rest}
            part h
            lead REVERSE VT SOURCE @p/5"
        )
    };
    let joined = "REVERSE: radio REVERSE VT + h REVERSE VT @p/5; same";
    let loose = "
        insulated radio REVERSE VT NothingNeedsIt
        insulated h REVERSE VT @p/5 NoPartner";
    check(&bench(""), &[], loose);
    // The factory camera is lost with this plan.
    check(&bench("camera DIGITAL"), &[], loose);
    check(&bench("asks REVERSE"), &[], joined);
    check(&bench("camera COMPOSITE 12V"), &[Need::Camera], joined);
    check(&bench("part c\ncovers CAMERA"), &[], joined);
}

#[test]
fn a_picture_that_is_not_composite_stays_out_of_a_composite_input() {
    let bench = |camera: &str, part: &str| {
        format!(
            "camera {camera}
            way p/10 CAMERA_VIDEO
            socket CAMERA_INPUT 1
            part h
            {part}
            lead CAMERA_VIDEO YE SOURCE @p/10"
        )
    };
    let joined = "CAMERA_VIDEO: socket CAMERA_INPUT CAMERA_VIDEO + h CAMERA_VIDEO YE @p/10";
    check(&bench("COMPOSITE", ""), &[], joined);
    for camera in ["DIGITAL", "ANALOGUE_HIGH_DEFINITION"] {
        check(
            &bench(camera, ""),
            &[],
            "insulated h CAMERA_VIDEO YE @p/10 MustNotMeet
            refused camera signal, a onto r",
        );
    }
    // A part that names this radio for its camera is believed; one that names another is not.
    check(&bench("ANALOGUE_HIGH_DEFINITION", "covers CAMERA for=r"), &[], joined);
    check(
        &bench("ANALOGUE_HIGH_DEFINITION", "covers CAMERA for=s"),
        &[],
        "insulated h CAMERA_VIDEO YE @p/10 MustNotMeet
        refused camera signal, a onto r",
    );
}

#[test]
fn a_module_that_sends_data_stays_out_of_a_composite_input() {
    check(
        "socket CAMERA_INPUT 1
        part m
        lead CAMERA_VIDEO YE SOURCE DATA",
        &[],
        "insulated m CAMERA_VIDEO YE MustNotMeet
        refused CAMERA_VIDEO DATA onto COMPOSITE_VIDEO, m onto r",
    );
}

/// No part at all: the picture into the socket, the camera's supply on the reverse lead.
#[test]
fn a_camera_that_is_taken_straight_from_the_car_is_told_with_its_supply() {
    check(
        "camera COMPOSITE 12V
        elsewhere CAMERA_VIDEO COMPOSITE_VIDEO at=roof-plug
        elsewhere CAMERA_POWER 12V at=roof-plug
        way p/5 REVERSE 12V
        socket CAMERA_INPUT 1
        asks REVERSE
        lead REVERSE VT SINK
        part h
        lead REVERSE VT SOURCE @p/5",
        &[Need::Camera],
        "REVERSE: radio REVERSE VT + h REVERSE VT @p/5 + car CAMERA_POWER
        fetched CAMERA_VIDEO socket CAMERA_INPUT CAMERA_VIDEO at roof-plug",
    );
}
