//! Vehicle identification numbers. The check digits were worked out after 49 CFR 565.15(c) by a script of its own, which
//! gives 1 for the well-known `11111111111111111`.

use super::*;

#[test]
fn position_7_tells_the_cycle_of_light_lines_only() {
    check(&[
        // Year code G is 1986 or 2016; a letter in position 7 is the later one on a light vehicle (49 CFR 565.15(d)).
        ("vin=4KDAB5C10GA000001", "vexa:B"),
        ("vin=4KDAB5117GA000001", "vexa-old:B"),
        // On a heavy one position 7 is the maker's to use.
        ("vin=4KTAB5111GA000001", "truck-old:B truck:B"),
        ("vin=4KTAB5111GA000001; year=2016", "truck:B"),
        ("vin=4KTAB5111GA000001; year=1986; model=Truck", "truck-old:B"),
    ]);
    let snapshot = catalogue();
    let years = |question: &str| {
        let found = snapshot.identify(&ask(question)).unwrap();
        let number = found.model_years.number.unwrap();
        let years: Vec<String> = found.model_years.years.iter().map(|year| year.to_string()).collect();
        format!(
            "{} {:?} {:?} {}",
            years.join(","),
            number.reading.basis(),
            number.reading.standing(),
            number.agrees
        )
    };
    assert_eq!(years("vin=4KDAB5C10GA000001"), "2016 Position7 Required true");
    assert_eq!(years("vin=4KTAB5111GA000001"), "1986,2016 BothCycles Required true");
    assert_eq!(years("vin=WKXAB5C12AA000001"), "2011,2012,2013 BothCycles Customary false");
}

#[test]
fn the_pattern_that_fixes_the_most_wins() {
    check(&[("vin=4KDAB5X18GA000001", "vexa-special:B")]);
    check_matches(&[(
        "vin=4KDAB5X18GA000001",
        "VIN 4KDAB5X18GA000001=4KD?B5X?-?? VinPattern { fixed: 6 }; \
         MODEL_YEAR 4KDAB5X18GA000001=1986 or 2016 YearCode { standing: Required }",
    )]);
}

#[test]
fn a_number_and_a_caller_that_disagree_are_both_shown() {
    check(&[
        (
            "vin=4KDAB5C10GA000001; year=2017",
            "error: the vehicle identification number says model year `1986 or 2016`, but the question says model year `2017`",
        ),
        (
            // A light vehicle, so that 1986 is excluded by position 7.
            "vin=4KDAB5C10GA000001; year=1986",
            "error: the question says model year `1986`, but the vehicle identification number says model year `2016`",
        ),
        (
            "vin=4KDAB5C10GA000001; words=2017 vexa",
            "error: the vehicle identification number says model year `1986 or 2016`, but the free words say model year `2017`",
        ),
        (
            "vin=4KDAB5C10GA000001; make=Orvane",
            "error: the vehicle identification number says make `Beltrane`, but the question says make `Orvane`",
        ),
        (
            "vin=WKXAB5C12AA000001; make=Orvane; year=2015",
            "error: the vehicle identification number says model `Abroad`, but the question says model year `2015`",
        ),
        (
            "vin=4KDAB5C10GA000001; make=Beltrane; model=Truck",
            "error: the vehicle identification number says model `Vexa`, but the question says model `Truck`",
        ),
    ]);
}

#[test]
fn a_number_that_can_not_be_right_is_an_error_only_where_the_law_says_so() {
    check(&[
        (
            "vin=4KDAB5C11GA000001",
            "error: the vehicle identification number `4KDAB5C11GA000001` can not be right: the check digit at position 9 \
             is `1`, the other characters ask for `0`",
        ),
        (
            "vin=4KDAB5C17ZA000001",
            "error: the vehicle identification number `4KDAB5C17ZA000001` can not be right: `Z` at position 10 is not a \
             model year code",
        ),
        ("vin=WKXAB5C1XAA000001", "abroad:B"),
    ]);
    let found = catalogue().identify(&ask("vin=WKXAB5C1XAA000001")).unwrap();
    let concerns: Vec<String> = found.concerns.iter().map(ToString::to_string).collect();
    assert_eq!(
        concerns,
        [
            "the check digit at position 9 is `X`, the other characters ask for `2`, which not every market uses"
        ]
    );
}

#[test]
fn a_year_code_that_does_not_bind_is_a_hint() {
    check(&[
        ("vin=WKXAB5C12AA000001; year=2012", "abroad:B"),
        ("vin=WKXAB5C12AA000001; words=abroad 2013", "abroad:B"),
    ]);
}

#[test]
fn a_number_that_no_pattern_knows_needs_make_or_model_beside_it() {
    check(&[
        (
            "vin=WZZAB5C18AA000001",
            "error: no vehicle line knows the number `WZZAB5C18AA000001` of maker code `WZZ`, and nothing else names make \
             or model",
        ),
        (
            "vin=WZZAB5C18AA000001; year=2012",
            "error: no vehicle line knows the number `WZZAB5C18AA000001` of maker code `WZZ`, and nothing else names make or model",
        ),
        ("vin=WZZAB5C18AA000001; model=abroad", "abroad:B"),
        ("vin=5XYAB5C11GA000001; model=corlex", "corlex:B"),
        (
            "vin=5XYAB5C11GA000001; model=abroad",
            "error: the question says model `abroad`, but the vehicle identification number says model year `1986 or 2016`",
        ),
    ]);
    check_matches(&[(
        "vin=WZZAB5C18AA000001; model=abroad",
        "MODEL_YEAR WZZAB5C18AA000001=1980 or 2010 YearCode { standing: Customary }; MODEL abroad=Abroad Exact; \
         VIN WZZAB5C18AA000001= NoVinPattern { maker: MakerCode(WZZ) }",
    )]);
}
