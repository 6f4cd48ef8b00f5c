//! Patterns of identification numbers belong to their lines and say nothing against their years.

use std::collections::BTreeSet;

use dashwright_model::record::vehicle::{Vehicle, WeightClass};
use dashwright_model::vin::{Position7Rule, Vin, VinPattern};

use super::Catalogue;

/// A number that the pattern takes: every open place becomes `1` (a letter would do as well, but not in the serial).
fn specimen(pattern: VinPattern) -> Vin {
    let text = pattern.to_string().replace('?', "1");
    let (head, rest) = text.split_once('-').unwrap();
    let (year_and_plant, tail) = rest.split_at(2);
    let tail = if tail.is_empty() { "234" } else { tail };
    let vin = Vin::parse(&format!("{head}0{year_and_plant}{tail}567")).unwrap();
    assert!(pattern.matches(&vin));
    vin
}

fn year_is_fixed(pattern: VinPattern) -> bool {
    pattern.to_string().chars().nth(9) != Some('?')
}

#[test]
fn a_fixed_year_code_is_a_year_of_the_line() {
    let all = Catalogue::load();
    let mut fixed = 0;
    for (line, pattern) in patterns(&all).filter(|(_, pattern)| year_is_fixed(*pattern)) {
        let rule = if line.weight_class == Some(WeightClass::Light) {
            Position7Rule::MayBeUsed
        } else {
            Position7Rule::MayNot
        };
        let years = specimen(pattern).model_years(rule);
        let agreeing: Vec<_> = years.possible().iter().filter(|year| line.years.contains(**year)).collect();
        assert_eq!(agreeing.len(), 1, "{}: {pattern} says {:?}", line.id, years.possible());
        fixed += 1;
    }
    assert!(fixed >= 100, "{fixed} patterns with a year");
}

#[test]
fn a_line_with_year_codes_has_one_for_each_of_its_years() {
    let all = Catalogue::load();
    for line in &all.vehicles {
        let fixed = line.vin_patterns.iter().filter(|pattern| year_is_fixed(**pattern)).count();
        assert!(fixed == 0 || fixed == line.years.years().count(), "{}", line.id);
    }
}

#[test]
fn a_number_belongs_to_lines_of_one_make_and_model() {
    let all = Catalogue::load();
    for (line, pattern) in patterns(&all) {
        let vin = specimen(pattern);
        for (other, _) in patterns(&all).filter(|(_, pattern)| pattern.matches(&vin)) {
            assert_eq!(
                (&other.make, &other.model),
                (&line.make, &line.model),
                "{} and {}",
                line.id,
                other.id
            );
        }
    }
}

#[test]
fn makers_are_of_several_regions_and_one_is_small() {
    let all = Catalogue::load();
    let codes: BTreeSet<_> = patterns(&all).filter_map(|(_, pattern)| pattern.maker_code()).collect();
    let american = codes.iter().filter(|code| code.is_north_american()).count();
    let small = codes.iter().filter(|code| code.is_small_maker()).count();
    assert!(american >= 3 && codes.len() - american >= 6, "{codes:?}");
    assert_eq!(small, 1, "{codes:?}");
}

fn patterns(all: &Catalogue) -> impl Iterator<Item = (&Vehicle, VinPattern)> {
    all.vehicles.iter().flat_map(|line| line.vin_patterns.iter().map(move |pattern| (line, *pattern)))
}
