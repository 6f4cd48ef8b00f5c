//! Records whose texts mean harm, or are only very long.

use super::{Case, DEMO, snapshot};
use crate::{PictureKind, SheetError, SheetInput, bench_sheet, pictures};

const HOSTILE: &str = "<script>alert(1)</script>]]>&amp;' onload=x \u{202e}evil\u{202c}";
const LONG: &str = "WWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWW";

/// The demo catalogue in which names, numbers and titles of one job are another text.
fn spoilt(text: &str) -> crate::tests::Snapshot {
    let json = text.replace('"', "\\\"");
    snapshot(|line| {
        let mut line = line.to_owned();
        for field in
            ["number", "title", "source", "how_to_tell", "name", "what", "location", "caution", "note"]
        {
            let key = format!("\"{field}\":\"");
            if line.starts_with("{\"vehicle\"")
                || line.starts_with("{\"vocabulary\"")
                || line.starts_with("{\"golden")
            {
                continue;
            }
            let pieces: Vec<&str> = line.split(&key).collect();
            let (first, rest) = pieces.split_first().unwrap();
            let mut spoilt = (*first).to_owned();
            for (place, piece) in rest.iter().enumerate() {
                let (_, after) = piece.split_once('"').unwrap();
                // Names have to stay distinct.
                spoilt.push_str(&format!("{key}{json}{place}\"{after}"));
            }
            line = spoilt;
        }
        line
    })
}

#[test]
fn texts_of_records_stay_texts() {
    let snapshot = spoilt(HOSTILE);
    let case = Case::of(&snapshot, "orvane-ulvero-2019", 1, "nordvale-loom-10f");
    let page = case.sheet();
    assert!(page.matches("&#60;script&#62;alert(1)&#60;/script&#62;]]&#62;&#38;amp;&#39;").count() > 20);
    for raw in ["<script", "]]>", "&amp;", "\u{202e}", "' onload"] {
        assert!(!page.contains(raw), "{raw:?} in the page");
    }
    assert!(page.contains("[U+202E]evil[U+202C]"));
    for kind in [PictureKind::Dash, PictureKind::Side, PictureKind::Switches, PictureKind::Plug] {
        let all = pictures(&case.input(), kind);
        assert!(!all.is_empty(), "{kind:?}");
        for picture in all {
            let document = picture.document();
            let hostile = ["<script", "]]>", "&amp;", "\u{202e}", "' onload"];
            assert!(hostile.iter().all(|raw| !document.contains(raw)), "{document}");
        }
    }
}

/// A word without a place to break it breaks anywhere in a page; in a picture it is cut with a sign, and its table has all of it.
#[test]
fn long_words_break_in_pages_and_are_cut_in_pictures() {
    let snapshot = spoilt(LONG);
    let case = Case::of(&snapshot, "orvane-ulvero-2019", 1, "nordvale-loom-10f");
    assert!(case.sheet().contains(LONG));
    assert!(
        include_str!("../../templates/sheet.css")
            .contains("td, th, dd, dt, figcaption, caption { overflow-wrap: anywhere; }")
    );
    for kind in [PictureKind::Switches, PictureKind::Plug] {
        for picture in pictures(&case.input(), kind) {
            let document = picture.document();
            let (_, drawn) = document.split_once("</desc>").unwrap();
            let texts = drawn.split("<text ").skip(1).filter_map(|text| text.split_once('>'));
            for (_, text) in texts {
                let (text, _) = text.split_once('<').unwrap();
                assert!(text.chars().count() <= 60, "{text}");
            }
        }
    }
}

#[test]
fn the_same_input_gives_the_same_bytes() {
    let case = || Case::of(&DEMO, "orvane-ulvero-2019", 1, "nordvale-loom-10f");
    assert_eq!(case().sheet(), case().sheet());
}

#[test]
fn a_plan_of_another_dataset_is_refused() {
    let case = Case::of(&DEMO, "orvane-ulvero-2019", 1, "nordvale-loom-10f");
    let empty = crate::tests::Snapshot::build(Vec::new()).unwrap();
    let input = SheetInput { snapshot: &empty, ..case.input() };
    assert_eq!(bench_sheet(&input), Err(SheetError::OtherSnapshot));
    assert!(pictures(&input, PictureKind::Dash).is_empty());
}
