//! The antenna's feed and the amplifier's turn-on: 12 V only where the car is recorded to take it.

use super::*;

const RADIO: &str = "
    way p/5 POWER_ANTENNA 12V
    lead POWER_ANTENNA BU SOURCE 12V
    part c
    lead POWER_ANTENNA BU/BK SINK 12V
    part h
    lead POWER_ANTENNA BU SINK @p/5";

#[test]
fn an_antenna_is_fed_in_the_way_that_the_car_is_recorded_to_take_it() {
    check(
        &format!("antenna BY_LEAD\n{RADIO}"),
        &[],
        "POWER_ANTENNA: radio POWER_ANTENNA BU + h POWER_ANTENNA BU @p/5; same
        insulated c POWER_ANTENNA BU/BK NotFed",
    );
    check(
        &format!("antenna THROUGH_COAX\n{RADIO}"),
        &[],
        "POWER_ANTENNA: radio POWER_ANTENNA BU + c POWER_ANTENNA BU/BK
        insulated h POWER_ANTENNA BU @p/5 NotFed",
    );
}

#[test]
fn an_antenna_without_a_feed_or_without_a_record_of_it_is_never_fed() {
    for antenna in ["antenna NONE", "antenna UNKNOWN", ""] {
        check(
            &format!("{antenna}\n{RADIO}"),
            &[],
            "insulated c POWER_ANTENNA BU/BK NotFed
            insulated h POWER_ANTENNA BU @p/5 NotFed
            insulated radio POWER_ANTENNA BU NotFed",
        );
    }
}

#[test]
fn twelve_volts_of_the_radio_never_feed_a_twenty_four_volt_antenna() {
    check(
        "car 24V
        supply 24V
        antenna BY_LEAD
        way p/5 POWER_ANTENNA
        lead POWER_ANTENNA BU SOURCE 12V
        part h
        lead POWER_ANTENNA BU SINK @p/5",
        &[],
        "insulated h POWER_ANTENNA BU @p/5 MustNotMeet
        insulated radio POWER_ANTENNA BU MustNotMeet
        refused POWER_ANTENNA 12 V onto 24 V, r onto a",
    );
}

/// Common practice, no source: a radio without a lead for the antenna feeds it by its amplifier turn-on.
#[test]
fn the_amplifier_turn_on_feeds_the_antenna_of_a_radio_without_a_lead_for_it() {
    let bench = "
        antenna BY_LEAD
        way p/5 POWER_ANTENNA 12V
        way p/6 AMP_ON 12V
        lead AMP_ON BU/WH SOURCE 12V
        part h
        lead POWER_ANTENNA BU SINK @p/5";
    check(bench, &[], "AMP_ON: radio AMP_ON BU/WH + h POWER_ANTENNA BU @p/5");
    check(
        &format!("{bench}\nlead AMP_ON BU/WH SINK @p/6"),
        &[],
        "AMP_ON: radio AMP_ON BU/WH + h POWER_ANTENNA BU @p/5 + h AMP_ON BU/WH @p/6",
    );
    check(
        &bench.replace("BY_LEAD", "UNKNOWN"),
        &[],
        "insulated h POWER_ANTENNA BU @p/5 NotFed
        insulated radio AMP_ON BU/WH NoPartner",
    );
}

#[test]
fn the_feed_is_fetched_where_the_car_has_it_elsewhere() {
    let bench = "
        elsewhere POWER_ANTENNA 12V at=left-kick-panel
        lead POWER_ANTENNA BU SOURCE 12V";
    check(
        &format!("antenna BY_LEAD\n{bench}"),
        &[],
        "fetched POWER_ANTENNA radio POWER_ANTENNA BU at left-kick-panel",
    );
    check(&format!("antenna UNKNOWN\n{bench}"), &[], "insulated radio POWER_ANTENNA BU NotFed");
}

#[test]
fn an_amplifier_is_turned_on_by_lead_only_where_it_waits_for_one() {
    let bench = "
        elsewhere AMP_ON 12V at=boot
        lead AMP_ON BU/WH SOURCE 12V";
    check(&format!("amplifier LEAD\n{bench}"), &[], "fetched AMP_ON radio AMP_ON BU/WH at boot");
    check(&format!("amplifier SIGNAL_SENSING\n{bench}"), &[], "insulated radio AMP_ON BU/WH NoPartner");
}

#[test]
fn factory_amplifier_and_added_amplifier_share_the_turn_on() {
    check(
        "amplifier LEAD
        way p/6 AMP_ON 12V
        lead AMP_ON BU/WH SOURCE 12V
        part b
        lead AMP_ON BU SINK 12V
        part h
        lead AMP_ON BU/WH SINK @p/6",
        &[],
        "AMP_ON: radio AMP_ON BU/WH + h AMP_ON BU/WH @p/6 + b AMP_ON BU",
    );
}
