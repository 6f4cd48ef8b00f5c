//! `sheet`: pages and pictures into files and to standard output, and what is not overwritten.

use std::fs;

use dashwright_tests::binary::run;

use crate::bench::{Bench, contains_all};

const JOB: [&str; 7] = ["sheet", "--radio", "nordvale-loom-10f", "--audio", "A10", "orvane", "ulvero"];

fn job<'a>(more: &[&'a str]) -> Vec<&'a str> {
    [&JOB[..], &["--year", "2019"], more].concat()
}

#[test]
fn a_sheet_is_written_and_never_over_another_file_unless_told() {
    let bench = Bench::new();
    let file = bench.path("sheet.html");
    let written = bench.ask(&job(&["--out", &file]));
    assert!(written.status.success() && written.out.is_empty(), "{written:?}");
    assert!(written.err.contains("bytes written to"), "{written:?}");
    let page = String::from_utf8(bench.read("sheet.html")).unwrap();
    assert!(page.starts_with("<!DOCTYPE html>") && page.trim_end().ends_with("</html>"));
    contains_all(&page, &["Bench sheet: ", "Ulvero", "Loom 10 Float", "size: A4"]);
    assert_eq!(bench.text(&job(&[])), page, "on standard output the same");

    fs::write(&file, "something of mine").unwrap();
    contains_all(&bench.refused(&job(&["--out", &file])), &["is there already", "--force"]);
    assert_eq!(bench.read("sheet.html"), b"something of mine");
    let forced = bench.ask(&job(&["--out", &file, "--force", "--paper", "letter"]));
    assert!(forced.status.success(), "{forced:?}");
    assert!(String::from_utf8(bench.read("sheet.html")).unwrap().contains("size: letter"));

    let answer = bench.json(&job(&[]));
    assert_eq!(
        (answer["html"].as_str(), answer["revision"]["number"].as_str()),
        (Some(page.as_str()), Some("1"))
    );
    assert!(page.contains(answer["fingerprint"].as_str().unwrap()));
}

#[test]
fn one_picture_is_written_and_of_several_one_is_named() {
    let bench = Bench::new();
    for kind in ["dash", "side", "switches"] {
        let picture = bench.text(&job(&["--picture", kind]));
        assert!(picture.starts_with("<svg xmlns=") && picture.trim_end().ends_with("</svg>"), "{picture}");
    }
    contains_all(&bench.refused(&job(&["--picture", "plug"])), &["several such pictures", "--subject"]);
    let all = bench.json(&job(&["--picture", "plug"]));
    let subject = all["pictures"][0]["subject"].as_str().unwrap();
    let one = bench.text(&job(&["--picture", "plug", "--subject", subject]));
    assert_eq!(Some(one.as_str()), all["pictures"][0]["svg"].as_str());
    contains_all(&bench.refused(&job(&["--picture", "plug", "--subject", "no"])), &["no such picture"]);
}

#[test]
fn what_has_no_sheet_says_what_to_do() {
    let bench = Bench::new();
    let open = ["sheet", "--radio", "sonquill-rowan-2", "2013", "orvane", "tamsel", "hatchback"];
    contains_all(&bench.refused(&open), &["a sheet is of one: say the audio option", "dashwright plan"]);
    let file = bench.path("none.html");
    bench.refused(&[&open[..], &["--out", &file]].concat());
    assert!(fs::metadata(&file).is_err(), "a file without a sheet");
    let wrong = run(&["sheet", "--radio", "x", "--paper", "a3"]).unwrap();
    assert_eq!(wrong.status.code(), Some(2), "{wrong:?}");
}
