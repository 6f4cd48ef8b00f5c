//! Supplies and grounds: function follows the car's way, voltages never mix, what takes shares a splice.

use super::*;

const RADIO: &str = "
    lead BATTERY YE SINK 12V
    lead SWITCHED RD SINK 12V
    lead GROUND BK SINK";

fn with_radio(rest: &str) -> String {
    format!("{RADIO}\n{rest}")
}

/// ISO 10487 fixes the numbers of the contacts; this car has constant (30) and switched (15) the other way round than the
/// adapter prints.
#[test]
fn swapped_contacts_are_joined_by_what_the_car_has() {
    let bench = "
        way iso/A4 SWITCHED 12V
        way iso/A7 BATTERY 12V
        lead BATTERY YE SINK 12V
        lead SWITCHED RD SINK 12V
        part h
        lead BATTERY YE SOURCE @iso/A4
        lead SWITCHED RD SOURCE @iso/A7";
    check(
        bench,
        &[],
        "BATTERY: radio BATTERY YE + h SWITCHED RD @iso/A7; load unknown
        SWITCHED: radio SWITCHED RD + h BATTERY YE @iso/A4
        print h BATTERY YE @iso/A4 carries SWITCHED
        print h SWITCHED RD @iso/A7 carries BATTERY
        trap radio BATTERY YE is no h BATTERY YE @iso/A4 SWITCHED
        trap radio SWITCHED RD is no h SWITCHED RD @iso/A7 BATTERY",
    );
}

/// A lead that is printed for a speaker and comes from the car's constant supply gives; it does not take.
#[test]
fn the_direction_follows_the_car_where_the_print_is_wrong() {
    let bench = "
        way p/1 BATTERY 12V
        lead BATTERY YE SINK 12V
        lead SPEAKER_FRONT_LEFT_PLUS WH SOURCE
        part h
        lead SPEAKER_FRONT_LEFT_PLUS WH SINK @p/1";
    check(
        bench,
        &[],
        "BATTERY: radio BATTERY YE + h SPEAKER_FRONT_LEFT_PLUS WH @p/1; load unknown
        insulated radio SPEAKER_FRONT_LEFT_PLUS WH NoPartner
        print h SPEAKER_FRONT_LEFT_PLUS WH @p/1 carries BATTERY
        trap radio SPEAKER_FRONT_LEFT_PLUS WH is no h SPEAKER_FRONT_LEFT_PLUS WH @p/1 BATTERY",
    );
}

#[test]
fn a_lead_of_an_empty_way_is_dead_and_what_a_module_makes_is_as_printed() {
    let bench = "
        way p/4 GROUND
        lead SWITCHED RD SINK 12V
        part h
        lead SWITCHED RD SOURCE @p/9
        lead GROUND BK SOURCE @q/4
        part m
        lead SWITCHED PK SOURCE 12V";
    check(
        bench,
        &[],
        "SWITCHED: radio SWITCHED RD + m SWITCHED PK
        insulated h SWITCHED RD @p/9 DeadWay
        insulated h GROUND BK @q/4 DeadWay",
    );
}

#[test]
fn twenty_four_volts_never_meet_a_twelve_volt_radio() {
    let refused = "
        undecided radio BATTERY YE MustNotMeet
        refused BATTERY 24 V onto 12 V, a onto r";
    let harness = "
        part h
        lead BATTERY YE SOURCE @p/4 12V";
    // The circuit says so; the car says so; the radio's voltage is the usual one or recorded; the print is no witness.
    for (way, radio) in [
        ("car 12V\nway p/4 BATTERY 24V", "lead BATTERY YE SINK"),
        ("car 24V\nway p/4 BATTERY", "lead BATTERY YE SINK"),
        ("car 24V\nway p/4 BATTERY", "supply 12V\nlead BATTERY YE SINK"),
        ("car 24V\nway p/4 BATTERY", "lead BATTERY YE SINK 12V"),
    ] {
        let expected = format!("insulated h BATTERY YE @p/4 MustNotMeet\n{refused}");
        check(&format!("{way}\n{radio}\n{harness}"), &[], &expected);
    }
    let fine = format!("car 24V\nway p/4 BATTERY\nsupply 24V\nlead BATTERY YE SINK\n{harness}");
    check(&fine, &[], "BATTERY: radio BATTERY YE + h BATTERY YE @p/4; same; load unknown");
}

#[test]
fn lighting_and_reverse_of_a_lorry_are_at_its_voltage_too() {
    let bench = "
        car 24V
        way p/1 ILLUMINATION TO_SUPPLY STEADY
        way p/2 REVERSE
        asks REVERSE
        lead ILLUMINATION OG SINK 12V TO_SUPPLY STEADY
        lead REVERSE VT/WH SINK 12V
        part h
        lead ILLUMINATION OG SOURCE @p/1
        lead REVERSE VT/WH SOURCE @p/2";
    check(
        bench,
        &[],
        "insulated radio ILLUMINATION OG MustNotMeet
        insulated h ILLUMINATION OG @p/1 MustNotMeet
        insulated h REVERSE VT/WH @p/2 MustNotMeet
        undecided radio REVERSE VT/WH MustNotMeet
        refused ILLUMINATION 24 V onto 12 V, a onto r
        refused REVERSE 24 V onto 12 V, a onto r",
    );
}

#[test]
fn a_supply_of_unknown_voltage_is_not_guessed() {
    let bench = "
        car ?V
        way p/4 BATTERY
        lead BATTERY YE SINK 12V
        part h
        lead BATTERY YE SOURCE @p/4 12V";
    check(
        bench,
        &[],
        "insulated h BATTERY YE @p/4 MustNotMeet
        undecided radio BATTERY YE MustNotMeet
        refused unknown circuits.BATTERY.voltage of a",
    );
    let made = "
        lead SWITCHED RD SINK 12V
        part m
        lead SWITCHED RD SOURCE";
    check(
        made,
        &[],
        "insulated m SWITCHED RD MustNotMeet
        undecided radio SWITCHED RD MustNotMeet
        refused unknown leads.SWITCHED.voltage of m",
    );
}

#[test]
fn what_gives_never_meets_what_gives_and_what_takes_never_what_takes() {
    let gives = "
        lead AMP_ON BU/WH SOURCE 12V
        part m
        lead AMP_ON BU/WH SOURCE 12V";
    check(
        gives,
        &[],
        "insulated radio AMP_ON BU/WH NoPartner
        insulated m AMP_ON BU/WH NoPartner",
    );
    let takes = "
        lead SWITCHED RD SINK 12V
        part c
        lead SWITCHED RD SINK 12V";
    check(
        takes,
        &[],
        "undecided radio SWITCHED RD NotOffered
        undecided c SWITCHED RD NotOffered",
    );
}

#[test]
fn supplies_and_grounds_of_radio_and_converter_share_a_splice() {
    let bench = with_radio(
        "way p/4 BATTERY 12V
        way p/7 SWITCHED 12V
        way p/8 GROUND
        part c
        lead SWITCHED RD SINK 12V
        lead GROUND BK SINK
        part h
        lead BATTERY YE SOURCE @p/4
        lead SWITCHED RD SOURCE @p/7
        lead GROUND BK SOURCE @p/8",
    );
    check(
        &bench,
        &[],
        "BATTERY: radio BATTERY YE + h BATTERY YE @p/4; same; load unknown
        SWITCHED: radio SWITCHED RD + h SWITCHED RD @p/7 + c SWITCHED RD; same
        GROUND: radio GROUND BK + h GROUND BK @p/8 + c GROUND BK; same; load unknown",
    );
}

/// Each end of a splice is asked, not the radio's alone: a 12 V converter stays off the 24 V that suits the radio.
#[test]
fn every_end_of_a_splice_has_to_agree() {
    let bench = "
        car 24V
        way p/7 SWITCHED
        supply 24V
        lead SWITCHED RD SINK
        part c
        lead SWITCHED RD SINK 12V
        part h
        lead SWITCHED RD SOURCE @p/7";
    check(
        bench,
        &[],
        "SWITCHED: radio SWITCHED RD + h SWITCHED RD @p/7; same
        undecided c SWITCHED RD MustNotMeet
        refused SWITCHED 24 V onto 12 V, a onto c",
    );
}

/// Chopped (pulse-width) and ground-side dimming are common practice; a steady input waits for 12 V (58).
#[test]
fn dimming_never_meets_a_steady_input_but_through_a_converter() {
    let radio = "lead ILLUMINATION OG SINK 12V TO_SUPPLY STEADY";
    let harness = "part h\nlead ILLUMINATION OG SOURCE @p/1 12V TO_SUPPLY STEADY";
    for (circuit, why) in [
        ("12V TO_SUPPLY CHOPPED", "ILLUMINATION CHOPPED onto STEADY, a onto r"),
        ("12V TO_GROUND STEADY", "ILLUMINATION TO_GROUND onto TO_SUPPLY, a onto r"),
        ("12V TO_SUPPLY", "unknown circuits.ILLUMINATION.signal of a"),
        ("12V STEADY", "unknown circuits.ILLUMINATION.polarity of a"),
    ] {
        let expected = format!(
            "insulated radio ILLUMINATION OG MustNotMeet
            insulated h ILLUMINATION OG @p/1 MustNotMeet
            refused {why}"
        );
        check(&format!("way p/1 ILLUMINATION {circuit}\n{radio}\n{harness}"), &[], &expected);
    }
    let converter = "
        part c
        lead ILLUMINATION GY SINK CHOPPED
        lead ILLUMINATION OG SOURCE 12V TO_SUPPLY STEADY";
    check(
        &format!("way p/1 ILLUMINATION 12V TO_SUPPLY CHOPPED\n{radio}\n{converter}\n{harness}"),
        &[],
        "ILLUMINATION: h ILLUMINATION OG @p/1 + c ILLUMINATION GY
        ILLUMINATION: radio ILLUMINATION OG + c ILLUMINATION OG; same",
    );
}

#[test]
fn weak_evidence_says_meter_first_for_supplies_and_speakers_alone() {
    let bench = |car: &str, way: &str, part: &str| {
        format!(
            "car 12V {car}
            way p/1 REVERSE 12V {way}
            way p/4 BATTERY 12V {way}
            asks REVERSE
            lead BATTERY YE SINK
            lead REVERSE VT SINK
            part h {part}
            lead BATTERY YE SOURCE @p/4
            lead REVERSE VT SOURCE @p/1"
        )
    };
    for (car, way, part, meter) in [
        ("grade=BENCH_VERIFIED", "", "grade=MEASURED", ""),
        ("grade=MAKER_DOCUMENT", "", "grade=MEASURED", "; meter, MAKER_DOCUMENT of a"),
        // The circuit's own evidence counts before the record's, in both directions.
        ("grade=REPORTED", "grade=MEASURED", "grade=MEASURED", ""),
        ("grade=MEASURED", "grade=ASSUMED", "grade=MEASURED", "; meter, ASSUMED of a"),
        ("grade=MEASURED", "", "grade=REPORTED", "; meter, REPORTED of h"),
        ("grade=REPORTED", "", "grade=ASSUMED", "; meter, ASSUMED of h"),
    ] {
        let expected = format!(
            "BATTERY: radio BATTERY YE + h BATTERY YE @p/4; same{meter}; load unknown
            REVERSE: radio REVERSE VT + h REVERSE VT @p/1; same"
        );
        check(&bench(car, way, part), &[], &expected);
    }
}
