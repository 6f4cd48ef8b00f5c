//! The two commands of the README, and the client commands against a running server.

use dashwright_tests::binary::{Line, Process, run};
use serde_json::Value;

#[test]
fn the_demo_prints_an_answer_and_ends() {
    let ended = run(&["demo", "--once"]).unwrap();
    assert!(ended.status.success(), "{ended:?}");
    // By the records: harness 32.90, buttons 49.90, kit 39.95, camera and aux 45.90, antenna 7.90 come to 176.55.
    for word in ["Orvane", "Tamsel", "HWK 210-D", "176.55 USD for 5 parts", "Which factory audio"] {
        assert!(ended.out.contains(word), "no `{word}` in {}", ended.out);
    }
    assert_eq!(ended.err, "");
}

#[test]
fn the_demo_prints_json_that_is_the_answer() {
    let ended = run(&["demo", "--once", "--json"]).unwrap();
    assert!(ended.status.success(), "{ended:?}");
    let answer: Value = serde_json::from_str(&ended.out).unwrap();
    // Names and forms as ProtoJSON has them: lowerCamelCase fields, enums by name, 64-bit numbers as text.
    assert_eq!(answer["revision"]["number"], "1");
    assert!(answer["verdict"].as_str().unwrap().starts_with("VERDICT_"), "{answer}");
    assert!(answer["candidates"][0]["vehicleId"].as_str().unwrap().starts_with("orvane-tamsel-"), "{answer}");
    assert!(!answer["parts"].as_array().unwrap().is_empty());
}

#[test]
fn the_demo_serves_on_and_the_client_commands_ask_it() {
    let mut demo = Process::start(&["demo"]).unwrap();
    let marks = |line: &Line| matches!(line, Line::Out(text) if text.contains("http://127.0.0.1:"));
    let Line::Out(text) = demo.wait_for(marks).unwrap() else { panic!("on standard output") };
    let (_, rest) = text.split_once("http://").unwrap();
    let address: String = rest.chars().take_while(|letter| "0123456789.:".contains(*letter)).collect();

    let asked: [&[&str]; 10] = [
        &["plan", "--radio", "sonquill-rowan-2", "2013", "orvane", "tamsel", "hatchback", "--full"],
        &["plan", "--radio", "sonquill-rowan-2", "2013", "orvane", "tamsel", "hatchback", "--explain"],
        &[
            "cart",
            "--item",
            "hwk-210:2",
            "--item",
            "sonquill-rowan-2",
            "2013",
            "orvane",
            "tamsel",
            "hatchback",
        ],
        &["radios", "2013", "orvane", "tamsel", "hatchback"],
        &["vehicles", "--part", "hwk-210"],
        &["look-up", "--make", "orvane", "--year", "2013", "tamsel"],
        &["choices", "--year", "2013"],
        &["record", "get", "vocabulary/orvane"],
        &["record", "search", "tesamer"],
        &["info"],
    ];
    for arguments in asked {
        let json = run(&[arguments, &["--server", &address, "--json"]].concat()).unwrap();
        assert!(json.status.success(), "{arguments:?}: {json:?}");
        let answer: Value = serde_json::from_str(&json.out).unwrap();
        assert_eq!(answer["revision"]["number"], "1", "{arguments:?}");
        let text = run(&[arguments, &["--server", &address]].concat()).unwrap();
        assert!(text.status.success() && !text.out.is_empty(), "{arguments:?}: {text:?}");
        assert!(!text.out.contains('\u{1b}'), "colours although it is no terminal: {}", text.out);
    }
    let refused = run(&["look-up", "--make", "qqqqqqqq", "--server", &address]).unwrap();
    assert!(!refused.status.success() && refused.err.contains("qqqqqqqq"), "{refused:?}");
    let refused = run(&["look-up", "--make", "qqqqqqqq", "--server", &address, "--json"]).unwrap();
    let error: Value = serde_json::from_str(&refused.err).unwrap();
    assert_eq!(error["error"]["reason"], "WORD_UNKNOWN", "{error}");
    demo.terminate().unwrap();
    assert!(demo.ended().unwrap().success());
    let nobody = run(&["info", "--server", &address]).unwrap();
    assert!(!nobody.status.success() && nobody.err.contains("next:"), "{nobody:?}");
}

#[test]
fn completions_are_printed_for_every_shell_that_is_named() {
    for shell in ["bash", "fish", "zsh"] {
        let ended = run(&["completions", shell]).unwrap();
        assert!(ended.status.success() && ended.out.contains("look-up"), "{shell}: {ended:?}");
    }
}

/// By hand: 15 A over twice 4 m may lose 3 % of 12 V, 0.36 V. 10 AWG has 5.261 mm² (ASTM B258) and loses 15 × 8 / (58 × 5.261) V.
#[test]
fn a_feed_is_sized_without_a_server() {
    let asked =
        "feed --amps 15 --length-m 4 --return wire --volts 12 --drop-percent 3 --system awg --ambient-c 20";
    let asked: Vec<&str> = asked.split(' ').collect();
    let ended = run(&[&asked[..], &["--json"]].concat()).unwrap();
    assert!(ended.status.success(), "{ended:?}");
    let feed: Value = serde_json::from_str(&ended.out).unwrap();
    assert_eq!(
        (feed["conductor"].as_str(), feed["fuse_amps"].as_f64()),
        (Some("8 AWG"), Some(20.0)),
        "{feed}"
    );
    assert!((feed["drop_volts"].as_f64().unwrap() - 0.2473).abs() < 1e-4, "{feed}");
    assert!((feed["drop_percent"].as_f64().unwrap() - 2.0609).abs() < 1e-3, "{feed}");
    let thinner = &feed["thinner"];
    assert_eq!(
        (thinner["conductor"].as_str(), thinner["why_not"][0].as_str()),
        (Some("10 AWG"), Some("loses too much"))
    );
    assert!((thinner["drop_volts"].as_f64().unwrap() - 15.0 * 8.0 / (58.0 * 5.261)).abs() < 1e-3, "{feed}");

    let told = run(&asked).unwrap();
    for words in [
        "8 AWG",
        "0.247 V",
        "20 A, yellow",
        "10 AWG will not do",
        "cures an overload",
        "battery negative off",
    ] {
        assert!(told.out.contains(words), "no `{words}` in {}", told.out);
    }
    for (wrong, words) in [
        ("--amps 90 --length-m 1 --return wire", "no blade fuse carries 112.5 A"),
        ("--amps 60 --length-m 100 --return wire", "not even 50 mm2 will do"),
        ("--amps 0 --length-m 1 --return wire", "--amps has to be more than 0"),
        ("--watts NaN --length-m 1 --return wire", "--watts: `NaN` A"),
        ("--amps 1 --length-m 1e9 --return wire", "--length-m: `1000000000` m is outside 0 to 200 m"),
        ("--amps 1 --length-m 1 --return wire --fuse-factor 0.5", "--fuse-factor: `0.5`"),
    ] {
        let ended = run(&[&["feed"], &wrong.split(' ').collect::<Vec<_>>()[..]].concat()).unwrap();
        assert_eq!(ended.status.code(), Some(1), "{ended:?}");
        assert!(ended.err.contains(words) && ended.err.contains("next: "), "no `{words}` in {}", ended.err);
    }
}
