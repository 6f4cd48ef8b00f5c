//! The thinnest end of a supply against what the radio draws.

use super::*;

fn battery(draws: &str, radio: &str, part: &str, expected: &str) {
    let bench = format!(
        "way p/4 BATTERY 12V
        {draws}
        lead BATTERY YE SINK {radio}
        part h
        lead BATTERY YE SOURCE @p/4 {part}"
    );
    let expected = format!("BATTERY: radio BATTERY YE + h BATTERY YE @p/4; same; {expected}");
    check(&bench, &[], &expected);
}

#[test]
fn the_thinnest_end_decides() {
    battery("draws 10A", "15A", "10A", "10 A for 10 A");
    battery("draws 10A", "15A", "7.5A", "too thin, 7.5 A for 10 A");
    battery("draws 10A", "5A", "15A", "too thin, 5 A for 10 A");
}

/// One end that is too thin is enough to know; one that is thick enough is not.
#[test]
fn an_unknown_end_is_not_taken_for_thick() {
    battery("draws 10A", "", "15A", "load unknown");
    battery("draws 10A", "15A", "", "load unknown");
    battery("draws 10A", "", "7.5A", "too thin, 7.5 A for 10 A");
    battery("", "15A", "15A", "load unknown");
}

#[test]
fn a_converter_on_the_splice_carries_its_own_share_and_a_trigger_carries_nothing() {
    check(
        "way p/7 SWITCHED 12V
        way p/8 GROUND
        draws 10A
        lead SWITCHED RD SINK 1A
        lead GROUND BK SINK 15A
        part c
        lead GROUND BK SINK 1A
        part h
        lead SWITCHED RD SOURCE @p/7 1A
        lead GROUND BK SOURCE @p/8 15A",
        &[],
        "SWITCHED: radio SWITCHED RD + h SWITCHED RD @p/7; same
        GROUND: radio GROUND BK + h GROUND BK @p/8 + c GROUND BK; same; 15 A for 10 A",
    );
}
