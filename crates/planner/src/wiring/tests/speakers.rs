//! Speakers: no channel swaps, no polarity crosses, no level meets another, no common ground meets bridged outputs.

use super::*;

const LEFT: &str = "
    way p/1 SPEAKER_FRONT_LEFT_PLUS SPEAKER
    way p/2 SPEAKER_FRONT_LEFT_MINUS SPEAKER
    lead SPEAKER_FRONT_LEFT_PLUS WH SOURCE SPEAKER
    lead SPEAKER_FRONT_LEFT_MINUS WH/BK SOURCE SPEAKER
    part h";

/// The adapter has the two leads of a pair crossed, and prints what is not so.
#[test]
fn polarity_never_crosses_and_channels_never_swap() {
    check(
        &format!(
            "{LEFT}
            lead SPEAKER_FRONT_LEFT_MINUS WH/BK SINK @p/1
            lead SPEAKER_FRONT_RIGHT_PLUS GY SINK @p/2"
        ),
        &[],
        "SPEAKER_FRONT_LEFT_PLUS: radio SPEAKER_FRONT_LEFT_PLUS WH + h SPEAKER_FRONT_LEFT_MINUS WH/BK @p/1
        SPEAKER_FRONT_LEFT_MINUS: radio SPEAKER_FRONT_LEFT_MINUS WH/BK + h SPEAKER_FRONT_RIGHT_PLUS GY @p/2
        print h SPEAKER_FRONT_LEFT_MINUS WH/BK @p/1 carries SPEAKER_FRONT_LEFT_PLUS
        print h SPEAKER_FRONT_RIGHT_PLUS GY @p/2 carries SPEAKER_FRONT_LEFT_MINUS
        trap radio SPEAKER_FRONT_LEFT_MINUS WH/BK is no h SPEAKER_FRONT_LEFT_MINUS WH/BK @p/1 SPEAKER_FRONT_LEFT_PLUS",
    );
}

#[test]
fn a_speaker_is_never_spliced() {
    check(
        "way p/1 SPEAKER_FRONT_LEFT_PLUS SPEAKER
        lead SPEAKER_FRONT_LEFT_PLUS WH SOURCE SPEAKER
        part b
        lead SPEAKER_FRONT_LEFT_PLUS GN SINK SPEAKER
        part h
        lead SPEAKER_FRONT_LEFT_PLUS WH SINK @p/1",
        &[],
        "SPEAKER_FRONT_LEFT_PLUS: radio SPEAKER_FRONT_LEFT_PLUS WH + h SPEAKER_FRONT_LEFT_PLUS WH @p/1; same
        insulated b SPEAKER_FRONT_LEFT_PLUS GN OtherPreferred",
    );
}

#[test]
fn speakers_say_meter_first_too() {
    check(
        &format!(
            "car 12V grade=REPORTED
            {LEFT}
            lead SPEAKER_FRONT_LEFT_PLUS WH SINK @p/1
            lead SPEAKER_FRONT_LEFT_MINUS WH/BK SINK @p/2"
        ),
        &[],
        "SPEAKER_FRONT_LEFT_PLUS: radio SPEAKER_FRONT_LEFT_PLUS WH + h SPEAKER_FRONT_LEFT_PLUS WH @p/1; same; \
            meter, REPORTED of a
        SPEAKER_FRONT_LEFT_MINUS: radio SPEAKER_FRONT_LEFT_MINUS WH/BK + h SPEAKER_FRONT_LEFT_MINUS WH/BK @p/2; \
            same; meter, REPORTED of a",
    );
}

/// The ways of this speaker plug carry line level.
#[test]
fn speaker_level_never_meets_line_level() {
    check(
        "way p/1 SPEAKER_FRONT_LEFT_PLUS LINE
        lead SPEAKER_FRONT_LEFT_PLUS WH SOURCE SPEAKER
        part h
        lead SPEAKER_FRONT_LEFT_PLUS WH SINK @p/1 SPEAKER",
        &[],
        "insulated h SPEAKER_FRONT_LEFT_PLUS WH @p/1 MustNotMeet
        insulated radio SPEAKER_FRONT_LEFT_PLUS WH MustNotMeet
        refused SPEAKER_FRONT_LEFT_PLUS SPEAKER onto LINE, r onto a",
    );
    check(
        "way p/1 LINE_FRONT_LEFT_PLUS SPEAKER
        socket LINE_OUTPUT 1
        part h
        lead LINE_FRONT_LEFT_PLUS WH SINK @p/1",
        &[],
        "insulated h LINE_FRONT_LEFT_PLUS WH @p/1 MustNotMeet
        refused LINE_FRONT_LEFT_PLUS LINE onto SPEAKER, r onto a",
    );
}

/// Pairs of line outputs serve front, rear and subwoofer in this order (common practice, no source).
#[test]
fn line_level_goes_into_as_many_outputs_as_there_are() {
    let bench = |count: u8| {
        format!(
            "way p/1 LINE_FRONT_LEFT_PLUS LINE
            way p/2 LINE_REAR_LEFT_PLUS LINE
            way p/3 LINE_SUBWOOFER_PLUS LINE
            socket LINE_OUTPUT {count}
            part h
            lead LINE_FRONT_LEFT_PLUS WH SINK @p/1
            lead LINE_REAR_LEFT_PLUS GN SINK @p/2
            lead LINE_SUBWOOFER_PLUS VT SINK @p/3"
        )
    };
    check(
        &bench(3),
        &[],
        "LINE_FRONT_LEFT_PLUS: socket LINE_OUTPUT LINE_FRONT_LEFT_PLUS + h LINE_FRONT_LEFT_PLUS WH @p/1
        LINE_REAR_LEFT_PLUS: socket LINE_OUTPUT LINE_REAR_LEFT_PLUS + h LINE_REAR_LEFT_PLUS GN @p/2
        LINE_SUBWOOFER_PLUS: socket LINE_OUTPUT LINE_SUBWOOFER_PLUS + h LINE_SUBWOOFER_PLUS VT @p/3",
    );
    check(
        &bench(1),
        &[],
        "LINE_FRONT_LEFT_PLUS: socket LINE_OUTPUT LINE_FRONT_LEFT_PLUS + h LINE_FRONT_LEFT_PLUS WH @p/1
        insulated h LINE_REAR_LEFT_PLUS GN @p/2 NoPartner
        insulated h LINE_SUBWOOFER_PLUS VT @p/3 NoPartner",
    );
}

const COMMON: &str = "
    speaker FRONT_LEFT COMMON_GROUND
    way p/1 SPEAKER_FRONT_LEFT_PLUS SPEAKER
    way p/8 GROUND
    lead GROUND BK SINK
    lead SPEAKER_FRONT_LEFT_PLUS WH SOURCE SPEAKER
    lead SPEAKER_FRONT_LEFT_MINUS WH/BK SOURCE SPEAKER
    part h
    lead SPEAKER_FRONT_LEFT_PLUS WH SINK @p/1
    lead SPEAKER_FRONT_LEFT_MINUS WH/BK SINK @p/2
    lead GROUND BK SOURCE @p/8";

#[test]
fn speakers_with_a_common_ground_never_meet_bridged_outputs() {
    let loose = "
        GROUND: radio GROUND BK + h GROUND BK @p/8; same; load unknown
        insulated h SPEAKER_FRONT_LEFT_PLUS WH @p/1 MustNotMeet
        insulated h SPEAKER_FRONT_LEFT_MINUS WH/BK @p/2 DeadWay
        insulated radio SPEAKER_FRONT_LEFT_PLUS WH NoPartner
        insulated radio SPEAKER_FRONT_LEFT_MINUS WH/BK CommonGround";
    check(&format!("bridged true\n{COMMON}"), &[], &format!("{loose}\nrefused common ground, r onto a"));
    check(COMMON, &[], &format!("{loose}\nrefused unknown electrics.bridged_outputs of r"));
}

/// The negatives of the radio are joined to nothing, and not to ground.
#[test]
fn without_bridged_outputs_the_negatives_stay_loose() {
    check(
        &format!("bridged false\n{COMMON}"),
        &[],
        "GROUND: radio GROUND BK + h GROUND BK @p/8; same; load unknown
        SPEAKER_FRONT_LEFT_PLUS: radio SPEAKER_FRONT_LEFT_PLUS WH + h SPEAKER_FRONT_LEFT_PLUS WH @p/1; same
        insulated h SPEAKER_FRONT_LEFT_MINUS WH/BK @p/2 DeadWay
        insulated radio SPEAKER_FRONT_LEFT_MINUS WH/BK CommonGround",
    );
}
