//! What came of a job, by the commands of its users: told at the counter, decided in the back office, shown by the next plan.

use dashwright_tests::binary::{Ended, Line, Process, run};
use serde_json::Value;

const CAR: [&str; 8] =
    ["2013", "orvane", "tamsel", "hatchback", "--audio", "A8", "--radio", "sonquill-rowan-2"];

/// A demo server.
struct Demo {
    process: Process,
    address: String,
}

impl Demo {
    fn new() -> Self {
        let mut process = Process::start(&["demo"]).unwrap();
        let marks = |line: &Line| matches!(line, Line::Out(text) if text.contains("http://127.0.0.1:"));
        let Line::Out(text) = process.wait_for(marks).unwrap() else { panic!("on standard output") };
        let (_, rest) = text.split_once("http://").unwrap();
        let address = rest.chars().take_while(|letter| "0123456789.:".contains(*letter)).collect();
        Self { process, address }
    }

    fn ask(&self, arguments: &[&str]) -> Ended {
        run(&[arguments, &["--server", &self.address]].concat()).unwrap()
    }

    fn text(&self, arguments: &[&str]) -> String {
        let ended = self.ask(arguments);
        assert!(ended.status.success(), "{arguments:?}: {ended:?}");
        ended.out
    }

    fn json(&self, arguments: &[&str]) -> Value {
        serde_json::from_str(&self.text(&[arguments, &["--json"]].concat())).unwrap()
    }

    fn refused(&self, arguments: &[&str]) -> String {
        let ended = self.ask(arguments);
        assert_eq!(ended.status.code(), Some(1), "{arguments:?}: {ended:?}");
        ended.err
    }

    fn plan(&self) -> String {
        self.text(&[&["plan"], &CAR[..]].concat())
    }
}

/// The words behind a word of a text.
fn behind<'t>(text: &'t str, word: &str) -> &'t str {
    let (_, rest) = text.split_once(word).unwrap_or_else(|| panic!("no `{word}` in {text}"));
    rest.split([' ', ',', '\n', ':']).next().unwrap()
}

#[test]
fn a_job_is_told_of_accepted_published_and_shown_by_the_next_plan() {
    let demo = Demo::new();
    let plan = demo.plan();
    let (fingerprint, token) = (behind(&plan, "fingerprint "), behind(&plan, "of revision "));
    let report = |more: &[&str]| -> Vec<String> {
        let named = ["--fingerprint", fingerprint, "--at", token];
        let all = [&["outcome", "report"], &CAR[..], &named, more].concat();
        all.into_iter().map(str::to_owned).collect()
    };
    let words = |all: &[String]| -> Vec<String> { all.to_vec() };
    let say = |all: Vec<String>| demo.text(&all.iter().map(String::as_str).collect::<Vec<_>>());
    let worked = say(words(&report(&["--worked"])));
    assert!(worked.contains("part/hwk-210-d") && worked.contains("once a curator accepts it"), "{worked}");
    let wrong = "factory_audio/orv-2-amp:wrong-lead:the grey one is rear: white stripe";
    let failed = say(report(&["--did-not", "--wrong", wrong, "--note", "an hour lost"]));
    let (worked, failed) = (behind(&worked, "Outcome "), behind(&failed, "Outcome "));

    let queue = demo.text(&["outcome", "list"]);
    for words in
        ["did not work", "wrong lead: the grey one is rear: white stripe", "an hour lost", fingerprint]
    {
        assert!(queue.contains(words), "no `{words}` in {queue}");
    }
    let listed = demo.json(&["outcome", "list", "--record", "factory_audio/orv-2-amp"]);
    assert_eq!(listed["outcomes"].as_array().unwrap().len(), 2);

    let draft = demo.json(&["draft", "new", "--reason", "jobs of the week"]);
    let draft = draft["draft"]["draftId"].as_str().unwrap();
    let decide = ["--draft", draft, "--reason", "seen by two of us"];
    let looked = demo.text(&[&["outcome", "accept", worked, "--validate-only"], &decide[..]].concat());
    assert!(looked.contains("nothing is changed"), "{looked}");
    let accepted = demo.text(&[&["outcome", "accept", worked], &decide[..]].concat());
    assert!(accepted.contains("seen by two of us") && accepted.contains("draft publish"), "{accepted}");
    demo.text(&[&["outcome", "accept", failed], &decide[..]].concat());
    let again = demo.refused(&["outcome", "reject", failed, "--reason", "no"]);
    assert!(again.contains("accepted already") && again.contains("next:"), "{again}");
    assert_eq!(demo.plan(), plan);
    demo.text(&["draft", "publish", draft, "--reason", "jobs of the week"]);

    let after = demo.plan();
    assert!(after.contains("contradicted by 1 job (factory_audio/orv-2-amp)"), "{after}");
    assert_ne!(behind(&after, "fingerprint "), fingerprint);
    let before = demo.text(&[&["plan", "--at", token], &CAR[..]].concat());
    assert_eq!(before, plan);
    let trail = demo.text(&["audit", "list", "--kind", "outcome.report"]);
    assert!(trail.contains("2 of 2 entries"), "{trail}");
    demo.process.terminate().unwrap();
    assert!(demo.process.ended().unwrap().success());
}

#[test]
fn what_is_told_wrongly_is_refused_with_what_to_do() {
    let demo = Demo::new();
    let report = [&["outcome", "report"], &CAR[..], &["--fingerprint", "ab12"]].concat();
    let unknown = demo.refused(&[&report, &["--worked"][..]].concat());
    assert!(unknown.contains("ab12") && unknown.contains("ask for the plan again"), "{unknown}");
    let refused = demo.refused(&[&report, &["--worked", "--wrong", "part/x:other"][..]].concat());
    assert!(refused.contains("--wrong"), "{refused}");
    for bad in [
        &["--worked", "--did-not"][..],
        &[],
        &["--worked", "--wrong", "part/x"],
        &["--worked", "--wrong", "x:other:y"],
        &["--worked", "--wrong", "part/x:sideways"],
    ] {
        let ended = demo.ask(&[&report, bad].concat());
        assert_eq!(ended.status.code(), Some(2), "{bad:?}: {ended:?}");
    }
    let none = demo.text(&["outcome", "list", "--state", "all"]);
    assert!(none.contains("no outcome is like that"), "{none}");
    demo.process.terminate().unwrap();
    assert!(demo.process.ended().unwrap().success());
}
