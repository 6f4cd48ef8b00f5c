//! Vehicle identification numbers against the printed regulation, typed in here as tables of their own.

use std::collections::BTreeMap;

use dashwright_quantity::ModelYear;
use proptest::prelude::*;

use super::*;

/// 49 CFR 565.15(c)(1), table III, as printed. Digits have their own value.
const TABLE_III: &str =
    "A=1 B=2 C=3 D=4 E=5 F=6 G=7 H=8 J=1 K=2 L=3 M=4 N=5 P=7 R=9 S=2 T=3 U=4 V=5 W=6 X=7 Y=8 Z=9";

/// 49 CFR 565.15(c)(2), table IV, as printed, without position 9.
const TABLE_IV: &str = "1=8 2=7 3=6 4=5 5=4 6=3 7=2 8=10 10=9 11=8 12=7 13=6 14=5 15=4 16=3 17=2";

/// 49 CFR 565.15(d)(1), table VII, from memory; it agrees with the charts of codes 1980 to 2039 that others publish.
const TABLE_VII: &str = "\
1980=A 1981=B 1982=C 1983=D 1984=E 1985=F 1986=G 1987=H 1988=J 1989=K 1990=L 1991=M 1992=N 1993=P 1994=R \
1995=S 1996=T 1997=V 1998=W 1999=X 2000=Y 2001=1 2002=2 2003=3 2004=4 2005=5 2006=6 2007=7 2008=8 2009=9 \
2010=A 2011=B 2012=C 2013=D 2014=E 2015=F 2016=G 2017=H 2018=J 2019=K 2020=L 2021=M 2022=N 2023=P 2024=R \
2025=S 2026=T 2027=V 2028=W 2029=X 2030=Y 2031=1 2032=2 2033=3 2034=4 2035=5 2036=6 2037=7 2038=8 2039=9";

/// The 33 characters, from 49 CFR 565.13(g).
const ALPHABET: &str = "0123456789ABCDEFGHJKLMNPRSTUVWXYZ";

/// Numbers that somebody else worked out: the text with a dot in position 9, the check digit, the source.
const WORKED: &[(&str, char, &str)] = &[
    ("1G4AH59H.5G118341", '4', "49 CFR 565.15(c), sample calculation: sum 411, remainder 4"),
    (
        "1J9RP1A3.A1644345",
        '6',
        "the agency's outline for new manufacturers, sample calculation: sum 314, remainder 6",
    ),
    ("11111111.11111111", '1', "widely used trial number: the weights sum to 89, remainder 1"),
];

fn rows<K: std::str::FromStr + Ord, V: std::str::FromStr>(table: &str) -> Vec<(K, V)> {
    let row = |row: &str| row.split_once('=').and_then(|(k, v)| Some((k.parse().ok()?, v.parse().ok()?)));
    table.split_whitespace().map(|text| row(text).unwrap()).collect()
}

fn vin(text: &str) -> Vin {
    Vin::parse(text).unwrap()
}

fn year(number: i64) -> ModelYear {
    ModelYear::new(number).unwrap()
}

fn value(c: char) -> u32 {
    c.to_digit(10).unwrap_or_else(|| {
        rows::<char, u32>(TABLE_III)
            .into_iter()
            .find(|(letter, _)| *letter == c)
            .map(|(_, value)| value)
            .unwrap()
    })
}

/// What the printed tables make of a number.
fn printed_check_digit(text: &str) -> char {
    let characters: Vec<char> = text.chars().collect();
    let sum: u32 =
        rows::<usize, u32>(TABLE_IV).iter().map(|(at, weight)| value(characters[at - 1]) * weight).sum();
    "0123456789X".chars().nth((sum % 11) as usize).unwrap()
}

fn replaced(text: &str, position: usize, by: char) -> String {
    text.chars().enumerate().map(|(i, c)| if i + 1 == position { by } else { c }).collect()
}

#[test]
fn the_worked_samples_come_out_right_and_nothing_else_does() {
    for (text, expected, source) in WORKED {
        for found in ALPHABET.chars() {
            let verdict = vin(&replaced(text, 9, found)).check_digit();
            let want = if found == *expected {
                CheckDigit::Right
            } else {
                CheckDigit::Wrong { found, expected: *expected }
            };
            assert_eq!(verdict, want, "{source}");
        }
    }
}

#[test]
fn every_letter_has_its_value_at_every_position() {
    assert_eq!(rows::<char, u32>(TABLE_III).len(), 23);
    for position in (1..=17).filter(|position| *position != 9) {
        for c in ALPHABET.chars() {
            let text = replaced("00000000000000000", position, c);
            let want = printed_check_digit(&text);
            assert_eq!(vin(&replaced(&text, 9, want)).check_digit(), CheckDigit::Right, "{c} at {position}");
        }
    }
}

#[test]
fn every_year_code_gives_its_years() {
    let mut years: BTreeMap<char, Vec<ModelYear>> = BTreeMap::new();
    for (number, code) in rows::<i64, char>(TABLE_VII) {
        years.entry(code).or_default().push(year(number));
    }
    assert_eq!(years.len(), 30);
    for code in ALPHABET.chars() {
        let light_old = vin(&replaced("4KDABR52010000001", 10, code));
        let light_new = vin(&replaced("4KDAB5R2010000001", 10, code));
        let elsewhere = vin(&replaced("WKDAB5R2010000001", 10, code));
        let Some(both) = years.get(&code) else {
            for vin in [light_old, light_new, elsewhere] {
                let read = vin.model_years(Position7Rule::MayBeUsed);
                assert_eq!(read.basis(), ModelYearBasis::NotAYearCode { found: code });
                assert!(read.is_unknown() && read.allows(year(1999)));
            }
            continue;
        };
        let read = light_old.model_years(Position7Rule::MayBeUsed);
        assert_eq!((read.possible(), read.basis()), (&both[..1], ModelYearBasis::Position7));
        let read = light_new.model_years(Position7Rule::MayBeUsed);
        assert_eq!((read.possible(), read.basis()), (&both[1..], ModelYearBasis::Position7));
        assert!(read.allows(both[1]) && !read.allows(both[0]));
        for (vin, rule) in [
            (light_old, Position7Rule::MayNot),
            (light_new, Position7Rule::MayNot),
            (elsewhere, Position7Rule::MayBeUsed),
            (elsewhere, Position7Rule::MayNot),
        ] {
            let read = vin.model_years(rule);
            assert_eq!((read.possible(), read.basis()), (&both[..], ModelYearBasis::BothCycles));
        }
        assert_eq!(elsewhere.model_years(Position7Rule::MayNot).standing(), YearCodeStanding::Customary);
        assert_eq!(light_old.model_years(Position7Rule::MayNot).standing(), YearCodeStanding::Required);
    }
}

#[test]
fn north_america_is_one_to_five_and_the_later_part_of_seven() {
    // ISO 3780's geographic areas, from memory: 1 to 5 North America, 6 and 7 Oceania, 8 and 9 South America, 0 nobody,
    // letters the other continents; 7F to 70 later given to the United States.
    for first in ALPHABET.chars() {
        for second in ALPHABET.chars() {
            let want = "12345".contains(first) || (first == '7' && !"ABCDE".contains(second));
            let vin = vin(&format!("{first}{second}DAB5C2010000001"));
            assert_eq!(vin.maker_code().is_north_american(), want, "{first}{second}");
            assert_eq!(vin.check_digit_required(), want);
        }
    }
}

#[test]
fn concerns_are_errors_in_north_america_and_warnings_elsewhere() {
    let cases = [
        ("1G4AH59H45G118341", vec![]),
        (
            "1G4AH59H55G118341",
            vec![(true, "the check digit at position 9 is `5`, the other characters ask for `4`")],
        ),
        (
            "WG4AH59H55G118341",
            vec![(
                false,
                "the check digit at position 9 is `5`, the other characters ask for `0`, which not every market uses",
            )],
        ),
        (
            "11111111X01111111",
            vec![
                (true, "the check digit at position 9 is `X`, the other characters ask for `3`"),
                (true, "`0` at position 10 is not a model year code"),
            ],
        ),
    ];
    for (text, want) in cases {
        let concerns = vin(text).concerns();
        let told: Vec<(bool, String)> = concerns.iter().map(|c| (c.is_error(), c.to_string())).collect();
        let want: Vec<(bool, String)> =
            want.into_iter().map(|(error, text)| (error, text.to_owned())).collect();
        assert_eq!(told, want, "{text}");
    }
    let elsewhere = vin("WG4AH59HX0G118341");
    assert!(elsewhere.concerns().iter().all(|c| matches!(c, VinConcern::CheckDigit { .. })));
}

#[test]
fn a_letter_in_the_serial_number_is_a_warning() {
    // The first three from position 14, the small maker's from position 15: common practice, see the concern's sources.
    for (text, positions) in [
        ("1G4AH59H45G118341", &[][..]),
        ("1G4AH59H45GABC341", &[14]),
        ("1G4AH59H45GABCDEF", &[14, 15, 16, 17]),
        ("1J9RP1A36A1ABC345", &[]),
        ("1J9RP1A36A1ABC3Z5", &[16]),
    ] {
        let concerns = vin(text).concerns();
        let letters: Vec<usize> = concerns
            .iter()
            .filter(|concern| !concern.is_error())
            .filter_map(|concern| match concern {
                VinConcern::SerialLetter { position, .. } => Some(*position),
                VinConcern::CheckDigit { .. } | VinConcern::YearCode { .. } => None,
            })
            .collect();
        assert_eq!(letters, positions, "{text}");
    }
}

#[test]
fn people_may_type_spaces_hyphens_and_small_letters() {
    for text in [
        " 1g4ah59h45g118341\n",
        "1G4-AH59H-4-5G118341",
        "1G4 AH59H\u{a0}4\u{2013}5G118341",
        "1G4AH59H45G118341",
    ] {
        assert_eq!(vin(text).as_str(), "1G4AH59H45G118341");
    }
}

#[test]
fn everything_wrong_with_the_form_is_told_at_once() {
    let character = |position, found| VinFault::Character { position, found };
    let cases: &[(&str, &[VinFault], &str)] = &[
        ("", &[VinFault::Empty], "the vehicle identification number is empty"),
        (" - ", &[VinFault::Empty], "the vehicle identification number is empty"),
        (
            "1G4AH59H45G11834",
            &[VinFault::Length { found: 16 }],
            "a vehicle identification number has 17 characters, this one has 16",
        ),
        (
            "1G4AH59H45G118341OO",
            &[VinFault::Length { found: 19 }],
            "a vehicle identification number has 17 characters, this one has 19",
        ),
        (
            "iG4AH59Ho5Q11é34ß",
            &[
                character(1, 'I'),
                character(9, 'O'),
                character(11, 'Q'),
                character(14, 'é'),
                character(17, 'ß'),
            ],
            "`I` at position 1 is not used in these numbers, perhaps `1` is meant; \
             `O` at position 9 is not used in these numbers, perhaps `0` is meant; \
             `Q` at position 11 is not used in these numbers, perhaps `0` is meant; \
             `é` at position 14 is not used in these numbers; `ß` at position 17 is not used in these numbers",
        ),
        (
            "1G-4O",
            &[VinFault::Length { found: 4 }, character(4, 'O')],
            "a vehicle identification number has 17 characters, this one has 4; \
             `O` at position 4 is not used in these numbers, perhaps `0` is meant",
        ),
    ];
    for (text, faults, told) in cases {
        let error = Vin::parse(text).unwrap_err();
        assert_eq!((error.faults(), error.to_string().as_str()), (*faults, *told), "{text}");
    }
}

#[test]
fn maker_codes_have_three_characters_and_six_after_a_nine() {
    for (text, code) in [("1G4AH59H45G118341", "1G4"), ("1J9RP1A36A1644345", "1J9644")] {
        let read = vin(text).maker_code();
        assert_eq!(read.to_string(), code);
        assert_eq!(read.is_small_maker(), code.len() == 6);
        assert_eq!(MakerCode::parse(code), Ok(read));
        assert_eq!(serde_json::from_str::<MakerCode>(&format!("\"{code}\"")).unwrap(), read);
    }
    let cases: &[(&str, &[MakerCodeFault])] = &[
        ("", &[MakerCodeFault::Length { found: 0 }]),
        ("1G", &[MakerCodeFault::Length { found: 2 }]),
        ("1J96444", &[MakerCodeFault::Length { found: 7 }]),
        ("1J9", &[MakerCodeFault::TailMissing]),
        ("1G4644", &[MakerCodeFault::TailUncalledFor]),
        (
            "1IqX",
            &[
                MakerCodeFault::Length { found: 4 },
                MakerCodeFault::Character { place: 2, found: 'I' },
                MakerCodeFault::Character { place: 3, found: 'q' },
            ],
        ),
    ];
    for (text, faults) in cases {
        assert_eq!(MakerCode::parse(text).unwrap_err().faults(), *faults, "{text}");
    }
}

#[test]
fn patterns_take_what_they_say() {
    // Number, pattern, taken or not, places fixed, maker code.
    let cases = [
        ("4KDAB5C28HP000001", "4KDAB5C2-HP", true, 10, Some("4KD")),
        ("4KDAB5C2XHP999999", "4KDAB5C2-HP", true, 10, Some("4KD")),
        ("4KDAB5C28HP000001", "4KDAB5C2-H?", true, 9, Some("4KD")),
        ("4KDAB5C28HP000001", "4KDAB5C2-?R", false, 9, Some("4KD")),
        ("4KDAB5C28HP000001", "4KD?????-J?", false, 4, Some("4KD")),
        ("4KDAB5C28HP000001", "???AB5C?-??", true, 4, None),
        ("4KDAB5C28HP000001", "4K?AB5C?-??", true, 6, None),
        ("4KDAB5C28HP000001", "4KDAB5C3-??", false, 8, Some("4KD")),
        ("4K9AB5C28HP123001", "4K9?????-??123", true, 6, Some("4K9123")),
        ("4K9AB5C28HP124001", "4K9?????-??123", false, 6, Some("4K9123")),
        ("4K9AB5C28HP124001", "4K9?????-??12?", true, 5, None),
        ("4K9AB5C28HP124001", "4K??????-H?", true, 3, None),
    ];
    for (number, text, taken, fixed, maker) in cases {
        let pattern = VinPattern::parse(text).unwrap();
        assert_eq!(pattern.matches(&vin(number)), taken, "{text} {number}");
        assert_eq!(pattern.specificity(), fixed, "{text}");
        assert_eq!(pattern.maker_code().map(|code| code.to_string()).as_deref(), maker, "{text}");
        assert_eq!(pattern.to_string(), text);
        let json = serde_json::to_string(&pattern).unwrap();
        assert_eq!(json, format!("\"{text}\""));
        assert_eq!(serde_json::from_str::<VinPattern>(&json).unwrap(), pattern);
    }
}

#[test]
fn everything_wrong_with_a_pattern_is_told_at_once() {
    let character = |position, found| PatternFault::Character { position, found };
    let cases: &[(&str, &[PatternFault])] = &[
        ("", &[PatternFault::Length { found: 0 }]),
        ("4KDAB5C2HP", &[PatternFault::Length { found: 10 }, PatternFault::Separator { found: 'H' }]),
        ("4KDAB5C2-HPR", &[PatternFault::Length { found: 12 }]),
        ("4KDAB5C28HP", &[PatternFault::Separator { found: '8' }]),
        ("4KDAB5C2-HP123", &[PatternFault::MakerTailUncalledFor]),
        ("4K?AB5C2-HP123", &[PatternFault::MakerTailUncalledFor]),
        ("4K9AB5C2-HP", &[PatternFault::MakerTailMissing]),
        ("????????-??", &[PatternFault::NothingFixed]),
        ("4kDAB5C2-O*", &[character(2, 'k'), character(10, 'O'), character(11, '*')]),
        (
            "4KI-?5C2?-P",
            &[
                character(3, 'I'),
                character(4, '-'),
                PatternFault::Separator { found: '?' },
                character(10, '-'),
            ],
        ),
    ];
    for (text, faults) in cases {
        let error = VinPattern::parse(text).unwrap_err();
        assert_eq!(error.faults(), *faults, "{text}");
        let told = serde_json::from_value::<VinPattern>(serde_json::json!(text)).unwrap_err().to_string();
        assert_eq!(told, error.to_string());
    }
    let told = VinPattern::parse("4k9AB5C2-HP").unwrap_err().to_string();
    assert_eq!(
        told,
        "`9` at position 3 is a small maker's, whose pattern goes on with positions 12 to 14; \
         `k` at position 2 is neither `?` nor used in these numbers"
    );
}

proptest! {
    #[test]
    fn exactly_one_check_digit_is_right(text in "[0-9A-HJ-NPR-Z]{17}") {
        let right: Vec<char> =
            ALPHABET.chars().filter(|c| vin(&replaced(&text, 9, *c)).check_digit().is_right()).collect();
        prop_assert_eq!(right, vec![printed_check_digit(&text)]);
    }

    /// Not every slip is found: A for J or 1 is not. Every slip between characters of different value is.
    #[test]
    fn a_slip_is_found_exactly_when_the_values_differ(
        text in "[0-9A-HJ-NPR-Z]{17}", position in 1_usize..=17, by in "[0-9A-HJ-NPR-Z]",
    ) {
        prop_assume!(position != 9);
        let right = replaced(&text, 9, printed_check_digit(&text));
        let by = by.chars().next().unwrap();
        let was = right.chars().nth(position - 1).unwrap();
        prop_assert_eq!(vin(&replaced(&right, position, by)).check_digit().is_right(), value(was) == value(by));
    }

    #[test]
    fn an_exchange_of_neighbours_is_found_exactly_when_their_values_differ(
        text in "[0-9A-HJ-NPR-Z]{17}", position in 1_usize..=16,
    ) {
        prop_assume!(position != 8 && position != 9);
        let right = replaced(&text, 9, printed_check_digit(&text));
        let (a, b) = (right.chars().nth(position - 1).unwrap(), right.chars().nth(position).unwrap());
        let exchanged = replaced(&replaced(&right, position, b), position + 1, a);
        prop_assert_eq!(vin(&exchanged).check_digit().is_right(), value(a) == value(b));
    }

    #[test]
    fn no_text_makes_it_stumble(text in any::<String>()) {
        match Vin::parse(&text) {
            Ok(vin) => prop_assert_eq!(Vin::parse(vin.as_str()), Ok(vin)),
            Err(error) => prop_assert!(!error.faults().is_empty() && !error.to_string().is_empty()),
        }
        if let Err(error) = VinPattern::parse(&text) {
            prop_assert!(!error.faults().is_empty() && !error.to_string().is_empty());
        }
        if let Err(error) = MakerCode::parse(&text) {
            prop_assert!(!error.faults().is_empty() && !error.to_string().is_empty());
        }
    }

    #[test]
    fn every_number_of_the_right_form_is_taken_and_written_back(text in "[0-9A-HJ-NPR-Z]{17}") {
        let vin = vin(&text);
        prop_assert_eq!(vin.as_str(), &text);
        prop_assert_eq!(serde_json::from_str::<Vin>(&serde_json::to_string(&vin).unwrap()).unwrap(), vin);
        prop_assert_eq!(MakerCode::parse(&vin.maker_code().to_string()), Ok(vin.maker_code()));
    }

    /// A pattern cut out of a number takes it, also with places opened; with one place fixed otherwise it does not.
    #[test]
    fn patterns_agree_with_a_plain_reading(text in "[0-8A-HJ-NPR-Z]{17}", open in any::<u16>(), at in 0_usize..10) {
        let positions = [1, 2, 3, 4, 5, 6, 7, 8, 10, 11];
        prop_assume!(open & 0x3ff != 0x3ff);
        let fixed: Vec<char> = positions.iter().map(|p| text.chars().nth(p - 1).unwrap()).collect();
        let write = |places: &[char]| {
            let places: String = places.iter().enumerate().map(|(i, c)| if open >> i & 1 == 1 { '?' } else { *c }).collect();
            VinPattern::parse(&format!("{}-{}", &places[..8], &places[8..])).unwrap()
        };
        prop_assert!(write(&fixed).matches(&vin(&text)));
        let mut other = fixed.clone();
        other[at] = if fixed[at] == 'A' { 'B' } else { 'A' };
        prop_assert_eq!(write(&other).matches(&vin(&text)), open >> at & 1 == 1);
    }
}
