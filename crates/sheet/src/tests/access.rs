//! Pages that everybody can read: order of headings, tables with scopes, pictures with titles, contrast.

use std::collections::BTreeSet;

use super::some_cases;

/// The tags of a page in their order: name and attributes.
fn tags(page: &str) -> Vec<(&str, &str)> {
    let (_, body) = page.split_once("<body>").unwrap();
    let tags = body.split('<').skip(1).filter_map(|piece| piece.split_once('>')).map(|(tag, _)| tag);
    tags.map(|tag| tag.split_once([' ', '\n']).unwrap_or((tag, ""))).collect()
}

fn check(page: &str) {
    let tags = tags(page);
    assert!(page.starts_with("<!DOCTYPE html>\n<html lang=\"en\">") && page.contains("<title>Bench sheet: "));
    let mut level = 0;
    for (name, _) in tags.iter().filter(|(name, _)| matches!(*name, "h1" | "h2" | "h3" | "h4")) {
        let next: u32 = name[1..].parse().unwrap();
        assert!(next <= level + 1, "{name} comes after h{level}");
        level = next;
    }
    let count = |wanted: &str| tags.iter().filter(|(name, _)| *name == wanted).count();
    assert_eq!(count("h1"), 1);
    assert!(
        count("table") == count("caption") && count("table") == count("thead"),
        "a table without caption"
    );
    for (name, attributes) in &tags {
        match *name {
            "th" => assert!(attributes.contains("scope="), "a header cell without scope"),
            "input" => assert!(attributes.contains("aria-label=\""), "a box without a name"),
            "svg" => {
                let titled = attributes.contains("role=\"img\"") && attributes.contains("aria-labelledby=");
                assert!(titled || attributes.contains("aria-hidden=\"true\""), "a picture without title");
            }
            _ => {}
        }
    }
    let ids: Vec<&str> =
        tags.iter().filter_map(|(_, attributes)| Some(attributes.split_once("id=\"")?.1)).collect();
    let ids: Vec<&str> = ids.into_iter().filter_map(|rest| Some(rest.split_once('"')?.0)).collect();
    let distinct: BTreeSet<&str> = ids.iter().copied().collect();
    assert_eq!(ids.len(), distinct.len(), "an id twice: {ids:?}");
    let (_, whole) = page.split_once("<html").unwrap();
    for forbidden in ["<script", "http:", "https:", "@import", "url(", "javascript:", "<link", "<img"] {
        assert!(!whole.contains(forbidden), "`{forbidden}` in a page");
    }
    let handlers = tags.iter().flat_map(|(_, attributes)| attribute_names(attributes));
    assert!(handlers.into_iter().all(|name| !name.starts_with("on")), "something that runs");
}

/// What stands between the quoted values of a tag.
fn attribute_names(attributes: &str) -> Vec<&str> {
    attributes.split('"').step_by(2).flat_map(str::split_whitespace).collect()
}

#[test]
fn every_page_can_be_read_by_everybody_and_loads_nothing() {
    let cases = some_cases();
    for case in &cases {
        check(&case.sheet());
    }
    assert!(cases.len() > 150, "{} pages", cases.len());
}

/// Relative luminance by WCAG 2.2 ("relative luminance" in its definitions, from memory).
fn luminance(hex: &str) -> f64 {
    let part = |from: usize| {
        let share = f64::from(u8::from_str_radix(&hex[from..from + 2], 16).unwrap()) / 255.0;
        if share <= 0.04045 { share / 12.92 } else { ((share + 0.055) / 1.055).powf(2.4) }
    };
    0.2126 * part(0) + 0.7152 * part(2) + 0.0722 * part(4)
}

/// Contrast ratio by WCAG 2.2 ("contrast ratio" in its definitions, from memory).
fn contrast(one: &str, other: &str) -> f64 {
    let (one, other) = (luminance(one) + 0.05, luminance(other) + 0.05);
    one.max(other) / one.min(other)
}

/// 21:1 for black on white is in the text of WCAG 2.2; 4.54:1 for #767676 and 4.48:1 for #777777 on white are the pair that
/// is quoted everywhere as the edge of AA (from memory).
#[test]
fn the_formula_gives_the_published_ratios() {
    for (one, other, ratio) in
        [("000000", "ffffff", 21.0), ("767676", "ffffff", 4.54), ("777777", "ffffff", 4.48)]
    {
        assert!((contrast(one, other) - ratio).abs() < 0.005, "{one} on {other}");
    }
}

/// Text is black; it stands on white or on the grey of the radio's body. Lines that carry a meaning have 3:1 (WCAG 1.4.11).
#[test]
fn texts_and_lines_have_contrast() {
    const LEAST_OF_TEXT: f64 = 4.5;
    const LEAST_OF_LINES: f64 = 3.0;
    let style = include_str!("../../templates/sheet.css");
    let colours = style
        .split('#')
        .skip(1)
        .map(|rest| rest.chars().take_while(char::is_ascii_hexdigit).collect::<String>());
    let known = ["000", "767676", "ececec", "fff"];
    assert!(
        colours.into_iter().all(|colour| known.contains(&colour.as_str())),
        "a colour that is not weighed"
    );
    let set = style.split(['{', ';']).map(str::trim).filter_map(|rule| rule.strip_prefix("color:"));
    assert!(set.map(str::trim).all(|colour| colour == "#000"), "text that is not black");
    for background in ["ffffff", "d9d9d9"] {
        assert!(contrast("000000", background) >= LEAST_OF_TEXT);
    }
    assert!(contrast("767676", "ffffff") >= LEAST_OF_LINES);
}
