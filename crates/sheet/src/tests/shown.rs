//! What a sheet shows, against the plain records of the demo catalogue.

use dashwright_checks::result::Outcome;
use dashwright_planner::Verdict;
use dashwright_quantity::LeadColour;

use super::{Case, DEMO, some_cases, text_of};
use crate::{Paper, PictureKind, SheetInput, bench_sheet, pictures};

fn floating() -> Case<'static> {
    Case::of(&DEMO, "orvane-ulvero-2019", 1, "nordvale-loom-10f")
}

#[test]
fn a_job_that_is_not_to_be_begun_says_so_first() {
    let mut seen = Vec::new();
    for case in some_cases() {
        let text = text_of(&case.sheet());
        let begins = matches!(case.plan.verdict, Verdict::FitsAsIs | Verdict::FitsWithParts);
        assert_eq!(text.starts_with("DO NOT BEGIN THIS JOB."), !begins, "{}", &text[..80]);
        assert_eq!(text.contains("Parts to pull"), begins);
        seen.push(case.plan.verdict);
    }
    for verdict in [Verdict::CannotFit, Verdict::NoKnownWay, Verdict::FitsWithParts] {
        assert!(seen.contains(&verdict), "no {verdict:?} among them");
    }
}

/// By the records: `falkrand-1` has 187 mm behind the panel, the wide chassis of `auristane-umber-2w` 200 mm.
#[test]
fn a_proof_stands_with_its_numbers_and_both_edges_are_drawn() {
    let case = Case::of(&DEMO, "brennholt-falkrand-2005", 0, "auristane-umber-2w");
    let page = case.sheet();
    assert!(text_of(&page).contains("a width of 187 mm, the least chassis of the class has 200 mm"));
    let drawn = |width: &str| page.contains(&format!(" width=\"{width}\" height=\"1"));
    assert!(drawn("187") && drawn("200") && page.contains(" width=\"182\" height=\"53\" fill=\"none\""));
}

/// By the record of `ulvero-1`: the opening is 205 × 122 mm, its centre at the origin, y down in a picture.
#[test]
fn the_dash_is_drawn_to_scale_and_every_mark_has_its_name() {
    let case = floating();
    let [picture] = pictures(&case.input(), PictureKind::Dash).try_into().unwrap();
    let document = picture.document();
    assert!(document.contains("<rect x=\"-102.5\" y=\"-61\" width=\"205\" height=\"122\""), "{document}");
    for row in &picture.legend {
        assert!(document.contains(&format!(">{}</text>", row.mark)), "no mark {}", row.mark);
    }
    assert!(document.contains(">100 mm</text>"));
    assert!(document.starts_with("<svg xmlns=\"http://www.w3.org/2000/svg\""));
}

/// Depth there 196 + forward 6 - body 70 - plugs 30 = 102 mm, by the records and by hand.
#[test]
fn the_side_view_has_the_spare_depth() {
    let case = floating();
    let [picture] = pictures(&case.input(), PictureKind::Side).try_into().unwrap();
    let spare = picture.legend.iter().find(|row| row.name == "to spare").unwrap();
    assert_eq!(spare.detail, "102 mm");
}

#[test]
fn switches_stand_as_the_plan_says_and_on_lies_where_the_record_says() {
    let case = floating();
    let [bank] = pictures(&case.input(), PictureKind::Switches).try_into().unwrap();
    assert!(bank.description.contains("on is down"), "{}", bank.description);
    for row in &bank.legend {
        assert_eq!(row.detail == "slider down", row.name == "ON", "{row:?}");
    }
    // A slider at the lower end begins below the middle of its slot: 2.5 + 15 / 2.
    let document = bank.document();
    let sliders = document.lines().filter(|line| line.contains("fill=\"#000\" stroke=\"#000\""));
    let tops: Vec<f64> = sliders
        .map(|line| line.split("y=\"").nth(1).unwrap().split('"').next().unwrap().parse().unwrap())
        .collect();
    let low: Vec<bool> = tops.iter().map(|top| *top > 10.0).collect();
    assert_eq!(low, bank.legend.iter().map(|row| row.name == "ON").collect::<Vec<_>>());
}

#[test]
fn every_join_of_a_plan_is_on_its_sheet_with_letters_and_differing_colours_in_words() {
    let mut differing = 0;
    for case in some_cases() {
        let Some(work) = case.plan.chosen.as_ref().and_then(|chosen| chosen.work.as_ref()) else { continue };
        let page = case.sheet();
        if !matches!(case.plan.verdict, Verdict::FitsAsIs | Verdict::FitsWithParts) {
            continue;
        }
        let count = |text: &str| page.matches(text).count();
        assert_eq!(count("aria-label=\"joined: "), work.wiring.joins.len());
        let differ = work
            .wiring
            .joins
            .iter()
            .filter(|join| !join.same_colour && join.ends.iter().all(|end| end.colour.is_some()));
        let differ = differ.count();
        assert_eq!(count("≠ DIFFER"), differ);
        differing += differ;
        let colours: Vec<LeadColour> =
            work.wiring.joins.iter().flat_map(|join| &join.ends).filter_map(|end| end.colour).collect();
        for colour in colours {
            assert!(page.contains(&format!("<span class=\"code num\">{colour}</span>")), "{colour}");
        }
        for step in 1..=work.steps.len() {
            let named = [format!("done: step {step}\""), format!("good: step {step}\"")];
            assert!(named.iter().any(|name| page.contains(name.as_str())), "no step {step}");
        }
    }
    assert!(differing > 20, "{differing} joins of differing colours");
}

#[test]
fn paper_is_named_to_the_printer() {
    let case = floating();
    let letter = bench_sheet(&SheetInput { paper: Paper::Letter, ..case.input() }).unwrap();
    assert!(letter.contains("@page { size: letter;") && case.sheet().contains("@page { size: A4;"));
}

/// Worked out by hand in tests/scenarios/plan-screen-leans-back-to-pass-under-the-vents.toml and the scenario of the van.
#[test]
fn a_screen_is_drawn_where_it_is_placed_and_what_it_covers_is_hatched_and_told() {
    let free = Case::of(&DEMO, "veshiro-minawo-2013", 0, "nordvale-loom-10f");
    let page = free.sheet();
    // 258 mm wide; from -20 - 80 cos 30° to -20 + 80 cos 30° + 14 sin 30°, seen from the front.
    let (left, top, height) = (-129.0, 20.0 - 80.0 * 0.75_f64.sqrt() - 7.0, 160.0 * 0.75_f64.sqrt() + 7.0);
    assert!(drawn(&page, [left, top, 258.0, height]), "no outline");
    let text = text_of(&page);
    assert!(text.contains("covers nothing") && !text.contains("(hatched)"), "{text}");
    assert!(text.contains("its back 40 mm before the dash, tilted 30 °"), "{text}");

    let van = Case::of(&DEMO, "dovrenne-camberot-2012", 0, "nordvale-loom-10f");
    let page = van.sheet();
    let text = text_of(&page);
    assert!(text.contains("covers what is hatched") && text.contains("COVERED 100 % (hatched)"), "{text}");
    assert!(page.matches("<line ").count() > free.sheet().matches("<line ").count(), "nothing is hatched");
}

/// Whether a rectangle of these numbers is drawn, to a hundredth.
fn drawn(page: &str, expected: [f64; 4]) -> bool {
    page.match_indices("<rect ").any(|(at, _)| {
        let tag = page[at..].split('>').next().unwrap();
        ["x", "y", "width", "height"].iter().zip(expected).all(|(name, expected)| {
            let number = tag.split(&format!(" {name}=\"")).nth(1).and_then(|rest| rest.split('"').next());
            number.and_then(|text| text.parse::<f64>().ok()).is_some_and(|own| (own - expected).abs() < 0.01)
        })
    })
}

#[test]
fn every_check_of_a_plan_stands_on_its_sheet_with_sign_figures_formula_and_margin() {
    let mut signs = std::collections::BTreeSet::new();
    for case in some_cases() {
        let Some(work) = case.plan.chosen.as_ref().and_then(|chosen| chosen.work.as_ref()) else { continue };
        let text = text_of(&case.sheet());
        for check in &work.checks.checks {
            let (sign, outcome) = match check.result.outcome {
                Outcome::Pass => ("✓", "holds"),
                Outcome::Advise => ("!", "take care"),
                Outcome::Fail => ("✗", "DOES NOT HOLD"),
                Outcome::NoData => ("?", "not known"),
            };
            signs.insert(sign);
            assert!(text.contains(&format!("{sign} {outcome}")), "{check:?}");
            for figure in &check.result.inputs {
                assert!(text.contains(figure.name), "no {}", figure.name);
            }
        }
    }
    assert!(signs.len() >= 3, "{signs:?}");
}
