//! What a part, or the car's own wires, can not serve: asked before anything is chosen, so it looks at one part.

use super::*;

#[test]
fn a_part_without_a_lead_for_a_need_works_by_its_plug() {
    check_refusals("car 24V\npart h\nlead MUTE BN SOURCE", "h", Need::Power, &[]);
}

#[test]
fn voltages() {
    let bench = |car: &str| {
        format!(
            "car {car}
            way p/4 BATTERY
            lead BATTERY YE SINK 12V
            part h
            lead BATTERY YE SOURCE @p/4 12V"
        )
    };
    check_refusals(&bench("12V"), "h", Need::Power, &[]);
    check_refusals(&bench("24V"), "h", Need::Power, &["BATTERY 24 V onto 12 V, a onto r"]);
    check_refusals(&bench("?V"), "h", Need::Power, &["unknown circuits.BATTERY.voltage of a"]);
    // Only the need that was asked for is weighed.
    check_refusals(&bench("24V"), "h", Need::Switched, &[]);
}

#[test]
fn function_follows_the_way_here_too() {
    check_refusals(
        "car 24V
        way p/4 BATTERY
        lead BATTERY YE SINK 12V
        part h
        lead SWITCHED RD SOURCE @p/4 12V",
        "h",
        Need::Power,
        &["BATTERY 24 V onto 12 V, a onto r"],
    );
}

#[test]
fn one_lead_that_may_meet_is_enough() {
    let bench = |made: &str| {
        format!(
            "way p/1 ILLUMINATION 12V TO_SUPPLY CHOPPED
            lead ILLUMINATION OG SINK 12V TO_SUPPLY STEADY
            part h
            lead ILLUMINATION OG SOURCE @p/1
            {made}"
        )
    };
    check_refusals(&bench(""), "h", Need::Illumination, &["ILLUMINATION CHOPPED onto STEADY, a onto r"]);
    check_refusals(&bench("lead ILLUMINATION GY SOURCE 12V TO_SUPPLY STEADY"), "h", Need::Illumination, &[]);
    // Its own input is no output.
    check_refusals(
        &bench("lead ILLUMINATION GY SINK CHOPPED"),
        "h",
        Need::Illumination,
        &["ILLUMINATION CHOPPED onto STEADY, a onto r"],
    );
}

#[test]
fn common_ground() {
    let bench = |bridged: &str| {
        format!(
            "speaker FRONT_LEFT COMMON_GROUND
            way p/1 SPEAKER_FRONT_LEFT_PLUS SPEAKER
            {bridged}
            lead SPEAKER_FRONT_LEFT_PLUS WH SOURCE SPEAKER
            part h
            lead SPEAKER_FRONT_LEFT_PLUS WH SINK @p/1
            part m
            lead SPEAKER_FRONT_LEFT_PLUS WH SINK SPEAKER"
        )
    };
    check_refusals(&bench("bridged false"), "h", Need::Speakers, &[]);
    check_refusals(&bench("bridged true"), "h", Need::Speakers, &["common ground, r onto a"]);
    check_refusals(&bench(""), "h", Need::Speakers, &["unknown electrics.bridged_outputs of r"]);
    // An amplifier of its own does not reach the car's speakers with the radio's outputs.
    check_refusals(&bench("bridged true"), "m", Need::Speakers, &[]);
}

#[test]
fn ladders() {
    let bench = |input: &str| {
        format!(
            "way p/2 STEERING_1 RESISTIVE
            ladder STEERING_1
            {input}
            part h
            lead STEERING_1 WH SOURCE @p/2"
        )
    };
    let lead = "lead STEERING_1 BN SINK RESISTIVE";
    check_refusals(&bench(&format!("steers LADDER\n{lead}")), "h", Need::Steering, &[]);
    check_refusals(&bench(&format!("steers SERIAL\n{lead}")), "h", Need::Steering, &["ladder, a onto r"]);
    check_refusals(&bench(&format!("steers SERIAL\n{lead}")), "car", Need::Steering, &["ladder, a onto r"]);
    check_refusals(&bench("steers LADDER"), "h", Need::Steering, &["no STEERING_1 at r"]);
    check_refusals(&bench("steers LADDER"), "car", Need::Steering, &["no STEERING_1 at r"]);
}

/// Two drivers of 4 Ω side by side are 2 Ω, one behind the other 8 Ω.
#[test]
fn loads() {
    let bench = |amplifier: &str, drivers: &str, least: &str| {
        format!(
            "{amplifier}
            speaker FRONT_LEFT OWN_NEGATIVE
            {drivers}
            way p/1 SPEAKER_FRONT_LEFT_PLUS SPEAKER
            {least}
            lead SPEAKER_FRONT_LEFT_PLUS WH SOURCE SPEAKER
            part h
            lead SPEAKER_FRONT_LEFT_PLUS WH SINK @p/1
            part m
            lead SPEAKER_FRONT_LEFT_PLUS WH SINK SPEAKER"
        )
    };
    let refused = ["FRONT_LEFT 2 Ω below 4 Ω, r onto a"];
    let check =
        |bench: &str, part: &str, refused: &[&str]| check_refusals(bench, part, Need::Speakers, refused);
    check(&bench("", "drivers PARALLEL 4Ω 4Ω", "least 4Ω"), "h", &refused);
    check(&bench("", "drivers PARALLEL 4Ω 4Ω", "least 2Ω"), "h", &[]);
    check(&bench("", "drivers SERIES 4Ω 4Ω", "least 4Ω"), "h", &[]);
    check(&bench("", "", "least 4Ω"), "h", &[]);
    // What is not recorded proves nothing.
    check(&bench("", "drivers PARALLEL 4Ω 4Ω", ""), "h", &[]);
    // Behind an amplifier the radio does not meet the speakers, nor with a module that has outputs of its own.
    check(&bench("amplifier LEAD", "drivers PARALLEL 4Ω 4Ω", "least 4Ω"), "h", &[]);
    check(&bench("", "drivers PARALLEL 4Ω 4Ω", "least 4Ω"), "m", &[]);
}

/// 3.3 V over 1 kΩ: 1,000 Ω are at 1.650 V, 1,100 Ω at 3.3 × 1,100 / 2,100 = 1.729 V, 79 mV apart.
#[test]
fn buttons_that_are_too_close() {
    let bench = |input: &str, buttons: &str| {
        format!(
            "way p/2 STEERING_1 RESISTIVE
            ladder STEERING_1 {buttons}
            steers LADDER {input}
            lead STEERING_1 BN SINK RESISTIVE
            part h
            lead STEERING_1 WH SOURCE @p/2"
        )
    };
    let check = |input: &str, buttons: &str, refused: &[&str]| {
        for part in ["h", "car"] {
            check_refusals(&bench(input, buttons), part, Need::Steering, refused);
        }
    };
    check("1000Ω 3.3V 0.08V", "1000Ω 1100Ω", &["STEERING_1 0.079 V below 0.08 V, a onto r"]);
    check("1000Ω 3.3V 0.07V", "1000Ω 1100Ω", &[]);
    check("1000Ω 3.3V 0.08V", "1000Ω 2000Ω", &[]);
    // What is not recorded proves nothing.
    check("", "1000Ω 1100Ω", &[]);
}

#[test]
fn camera_supplies() {
    let bench = |volts: &str, rest: &str| {
        format!(
            "camera COMPOSITE {volts}
            way p/10 CAMERA_VIDEO COMPOSITE_VIDEO
            way p/11 CAMERA_POWER
            socket CAMERA_INPUT 1
            part h
            {rest}
            lead CAMERA_VIDEO YE SOURCE @p/10
            lead CAMERA_POWER RD SINK @p/11
            part k
            lead CAMERA_POWER RD SOURCE 6V
            part l
            lead CAMERA_POWER RD SOURCE 12V"
        )
    };
    check_refusals(&bench("12V", ""), "h", Need::Camera, &[]);
    check_refusals(&bench("6V", ""), "h", Need::Camera, &["camera of a needs 6 V"]);
    check_refusals(&bench("", ""), "h", Need::Camera, &["unknown camera.supply of a"]);
    // What it requires gives the voltage, whichever of a group is chosen.
    check_refusals(&bench("6V", "requires k"), "h", Need::Camera, &[]);
    check_refusals(&bench("6V", "requires l"), "h", Need::Camera, &["camera of a needs 6 V"]);
    check_refusals(&bench("6V", "requires k l"), "h", Need::Camera, &["camera of a needs 6 V"]);
    check_refusals(&bench("6V", "lead CAMERA_POWER OG SOURCE 6V"), "h", Need::Camera, &[]);
    // Straight from the car: only its own voltage.
    check_refusals(&bench("12V", ""), "car", Need::Camera, &[]);
    check_refusals(&bench("6V", ""), "car", Need::Camera, &["camera of a needs 6 V"]);
    check_refusals(&bench("", ""), "car", Need::Camera, &["unknown camera.supply of a"]);
}

#[test]
fn camera_pictures() {
    let bench = |part: &str| {
        format!(
            "camera DIGITAL 12V
            way p/10 CAMERA_VIDEO
            socket CAMERA_INPUT 1
            part h
            {part}
            lead CAMERA_VIDEO YE SOURCE @p/10"
        )
    };
    check_refusals(&bench(""), "h", Need::Camera, &["camera signal, a onto r"]);
    check_refusals(&bench("covers CAMERA for=r"), "h", Need::Camera, &[]);
    check_refusals(&bench("covers CAMERA for=r"), "car", Need::Camera, &["camera signal, a onto r"]);
}

#[test]
fn antenna_feeds() {
    let bench = |antenna: &str| {
        format!(
            "{antenna}
            way p/5 POWER_ANTENNA 12V
            lead POWER_ANTENNA BU SOURCE 12V
            part c
            lead POWER_ANTENNA BU SINK 12V
            part h
            lead POWER_ANTENNA BU SINK @p/5"
        )
    };
    check_refusals(&bench("antenna BY_LEAD"), "h", Need::AntennaPower, &[]);
    check_refusals(&bench("antenna BY_LEAD"), "c", Need::AntennaPower, &["antenna feed of a"]);
    check_refusals(&bench("antenna THROUGH_COAX"), "c", Need::AntennaPower, &[]);
    check_refusals(&bench("antenna THROUGH_COAX"), "h", Need::AntennaPower, &["antenna feed of a"]);
    check_refusals(&bench("antenna UNKNOWN"), "h", Need::AntennaPower, &["unknown antennas.feed of a"]);
}

#[test]
fn what_the_radio_has_neither_lead_nor_socket_for() {
    let bench = |radio: &str| {
        format!(
            "way p/3 AUX_LEFT LINE
            {radio}
            part h
            lead AUX_LEFT WH SOURCE @p/3"
        )
    };
    check_refusals(&bench(""), "h", Need::Aux, &["no AUX_LEFT at r"]);
    check_refusals(&bench("socket AUX 1"), "h", Need::Aux, &[]);
    check_refusals(&bench("lead AUX_LEFT WH SINK LINE"), "h", Need::Aux, &[]);
}

#[test]
fn the_cars_own_wires() {
    let bench = "
        elsewhere REVERSE 24V at=tail-lamp
        wire PARKING_BRAKE TO_SUPPLY
        bus SPEED_PULSE
        lead REVERSE VT SINK 12V
        lead PARKING_BRAKE GN+ SINK TO_GROUND
        lead SPEED_PULSE PK SINK";
    check_refusals(bench, "car", Need::Reverse, &["REVERSE 24 V onto 12 V, a onto r"]);
    check_refusals(bench, "car", Need::ParkingBrake, &["PARKING_BRAKE TO_SUPPLY onto TO_GROUND, a onto r"]);
    check_refusals(bench, "car", Need::SpeedPulse, &[]);
}
