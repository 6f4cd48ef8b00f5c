//! Runs the scenarios and says in what an answer differs.
//!
//! A scenario is a file in tests/scenarios; `README.md` there says how to add one without writing Rust. The dataset is the
//! demo catalogue, with records put in place of others or left out as the scenario says. What is asked is a look-up, with
//! `[plan]` a plan, with `[cart]` the check of a cart.

mod cart;
mod expect;
mod leads;
mod plan;
mod says;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use dashwright_model::question::VehicleQuestion;
use dashwright_model::record::{Record, RecordKey};
use dashwright_model::{dataset, exchange};
use dashwright_planner::{Facets, Fitment, PartOffer, Reason, look_up, one_by_one};
use dashwright_quantity::{Label, ModelYear};
use dashwright_snapshot::{Candidate, Snapshot, SourceRecord};
use serde::Deserialize;

use expect::Expected;

/// Fewer files say that the directory was not read rightly: there were more when this was written.
const LEAST_FILES: usize = 60;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Scenario {
    /// What it proves.
    proves: String,
    #[serde(default)]
    dataset: Changes,
    question: Question,
    plan: Option<plan::Wanted>,
    cart: Option<cart::Wanted>,
    expect: Expected,
}

/// What is changed in the demo catalogue.
#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
struct Changes {
    /// Records to put, as lines of JSON; one with the key of another takes its place.
    put: Vec<String>,
    /// Keys of records to leave out.
    leave_out: Vec<String>,
}

#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
struct Question {
    vin: Option<String>,
    year: Option<i64>,
    make: Option<String>,
    model: Option<String>,
    trim: Option<String>,
    build_month: Option<String>,
    market: Option<String>,
    drive_side: Option<String>,
    body: Option<String>,
    drivetrain: Option<String>,
    audio: Option<String>,
    words: Option<String>,
}

#[test]
fn every_scenario_holds() {
    let files = scenario_files();
    let mut failures = Vec::new();
    for file in &files {
        let text = std::fs::read_to_string(file).unwrap();
        let scenario: Scenario =
            toml::from_str(&text).unwrap_or_else(|error| panic!("{}: {error}", file.display()));
        assert!(scenario.expect.says_something(), "{} expects nothing", file.display());
        let wrong = run(&scenario);
        if !wrong.is_empty() {
            failures.push(format!("{} ({}):\n  {}", file.display(), scenario.proves, wrong.join("\n  ")));
        }
    }
    assert!(failures.is_empty(), "{} of {} fail\n{}", failures.len(), files.len(), failures.join("\n"));
    let least = if std::env::var_os("SCENARIOS").is_some() { 1 } else { LEAST_FILES };
    assert!(files.len() >= least, "only {} scenarios were found", files.len());
}

/// A scenario that is wrong has to fail: the runner is run on one of each kind.
#[test]
fn a_wrong_expectation_fails() {
    let look_up = r#"
        proves = "nothing"
        question = { year = 2012, make = "Orvane", model = "Quarrow" }
        expect = { verdict = "CANNOT_FIT", settled = ["FEATURE USB KEPT: nothing"], question = "TRIM_OR_SO" }
    "#;
    let plan = r#"
        proves = "nothing"
        question = { year = 2015, make = "Orvane", model = "Tamsel", body = "hatchback", audio = "B6" }
        plan = { radio = "sonquill-rowan-2", only_named = true }
        expect = { price = 1, parts = ["mw-12"], spare_depth = 5, steps = ["IN POWER_ON", "OUT POWER_OFF"],
            needs = ["POWER LOST"], never = ["PART mw-12"], because = ["NOT_PROVEN"], adds = { USB = 1 },
            alternatives = [], weakest = "MEASURED", variants = { B6 = { price = 2 }, A8 = { price = 3 } } }
    "#;
    let cart = r#"
        proves = "nothing"
        question = { year = 2015, make = "Orvane", model = "Tamsel", body = "hatchback", audio = "B6" }
        plan = { radio = "sonquill-rowan-2", only_named = true }
        cart = { lines = [["hwk-210", 1]] }
        expect = { cart = "NO_WAY", lines = ["NOT_NEEDED"], add = [], add_price = 1, cheaper_price = 2 }
    "#;
    for (scenario, faults) in [(look_up, 3), (plan, 12), (cart, 5)] {
        let wrong = run(&toml::from_str(scenario).unwrap());
        assert_eq!(wrong.len(), faults, "{wrong:#?}");
    }
}

fn scenario_files() -> Vec<PathBuf> {
    // Drafts can lie elsewhere until they are right.
    let elsewhere = std::env::var_os("SCENARIOS").map(PathBuf::from);
    let directory = elsewhere.unwrap_or_else(|| Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios"));
    let entries = std::fs::read_dir(directory).unwrap().map(|entry| entry.unwrap().path());
    let mut files: Vec<PathBuf> =
        entries.filter(|path| path.extension().is_some_and(|end| end == "toml")).collect();
    files.sort();
    files
}

/// Everything in which the answer differs from the expectation.
fn run(scenario: &Scenario) -> Vec<String> {
    let snapshot = snapshot(&scenario.dataset);
    let expect = &scenario.expect;
    let found = match snapshot.identify(&scenario.question.read()) {
        Ok(found) => found,
        Err(error) => {
            let name = format!("{error:?}");
            let name = name.split([' ', '(', '{']).next().unwrap_or_default().to_owned();
            return differ("error", expect.error.as_deref().unwrap_or("no error"), &name)
                .into_iter()
                .collect();
        }
    };
    if let Some(error) = &expect.error {
        return vec![format!("should be refused with {error}")];
    }
    let candidates = one_by_one(&found.candidates);
    match (&scenario.cart, &scenario.plan) {
        (Some(cart), wanted) => cart.check(&snapshot, &candidates, wanted.as_ref(), expect),
        (None, Some(wanted)) => wanted.check(&snapshot, &candidates, expect),
        (None, None) => compare(&snapshot, &candidates, &look_up(&snapshot, &candidates), expect),
    }
}

fn compare(
    snapshot: &Snapshot,
    candidates: &[Candidate],
    fitment: &Fitment,
    expect: &Expected,
) -> Vec<String> {
    let mut wrong = Vec::new();
    if let Some(verdict) = &expect.verdict {
        wrong.extend(differ("verdict", verdict, &term(&fitment.verdict)));
    }
    if let Some(question) = &expect.question {
        let asked =
            fitment.question.as_ref().map_or("NONE".to_owned(), |question| question.attribute.to_string());
        wrong.extend(differ("question", question, &asked));
    }
    wrong.extend(other_lines(snapshot, candidates, expect));
    if let Some(weakest) = &expect.weakest {
        let own = fitment.weakest.as_ref().map(|weakest| format!("{} {}", weakest.grade, weakest.record));
        wrong.extend(differ("weakest", weakest, &own.unwrap_or_default()));
    }
    let reasons: Vec<String> = fitment.verdict_reasons.iter().map(reason_name).collect();
    wrong.extend(missing("reason of the verdict", &expect.because, &reasons));
    let settled = statements(snapshot, &fitment.settled);
    wrong.extend(missing("settled", &expect.settled, &settled));
    let mut all = settled;
    for (number, candidate) in candidates.iter().enumerate() {
        let code = option_code(snapshot, candidate);
        let own = fitment.depends.iter().find(|variant| variant.candidates.contains(&(number as u32)));
        let own = own.map(|variant| statements(snapshot, &variant.facets)).unwrap_or_default();
        if let Some(expected) = expect.depends.get(&code) {
            wrong.extend(missing(&format!("depends {code}"), expected, &own));
        }
        all.extend(own);
    }
    let forbidden = |text: &String| all.iter().find(|statement| statement.contains(text.as_str()));
    wrong.extend(
        expect.never.iter().filter_map(|text| Some(format!("never `{text}`, but `{}`", forbidden(text)?))),
    );
    wrong
}

/// Vehicle lines that remain and should not, or the other way round.
fn other_lines(snapshot: &Snapshot, candidates: &[Candidate], expect: &Expected) -> Option<String> {
    let lines = expect.lines.as_ref()?;
    let mut own: Vec<&str> =
        candidates.iter().map(|one| snapshot.line_id(snapshot.line(one.line).unwrap())).collect();
    own.dedup();
    differ("lines", &lines.join(" "), &own.join(" "))
}

fn differ(what: &str, expected: &str, found: &str) -> Option<String> {
    (expected != found).then(|| format!("{what}: expected {expected}, found {found}"))
}

fn missing(what: &str, expected: &[String], found: &[String]) -> Vec<String> {
    let holds = |statement: &&String| match statement.strip_suffix('…') {
        Some(start) => found.iter().any(|own| own.starts_with(start)),
        None => found.contains(statement),
    };
    let absent = expected.iter().filter(|statement| !holds(statement));
    let like = |statement: &String| {
        let start: Vec<&str> = statement.split(' ').take(2).collect();
        found.iter().filter(|own| own.starts_with(&start.join(" "))).cloned().collect::<Vec<_>>().join("; ")
    };
    absent.map(|statement| format!("{what}: no `{statement}`; there is: {}", like(statement))).collect()
}

/// Facets as lines: `MOUNT class VERDICT: parts`, `NEED need IMPORTANCE MET: parts`, `FEATURE feature OUTCOME: parts`,
/// and the names of the reasons in brackets.
fn statements(snapshot: &Snapshot, facets: &Facets) -> Vec<String> {
    let parts = |offers: &[PartOffer]| {
        let ids = offers.iter().map(|offer| snapshot.parts().get(offer.part).unwrap().id.to_string());
        let ids: Vec<String> = ids.collect();
        if ids.is_empty() { String::new() } else { format!(": {}", ids.join(" ")) }
    };
    let dash = facets.dash.map(|dash| snapshot.dashes().get(dash).unwrap());
    let mut lines: Vec<String> =
        dash.iter().map(|dash| format!("OPENING {} of {}", dash.opening.class, dash.id)).collect();
    lines.extend(
        facets
            .mounts
            .iter()
            .map(|mount| format!("MOUNT {} {}{}", mount.chassis, term(&mount.verdict), parts(&mount.parts))),
    );
    lines.extend(facets.needs.iter().map(|need| {
        format!("NEED {} {} {}{}", need.need, term(&need.importance), term(&need.met), parts(&need.parts))
    }));
    lines.extend(facets.features.iter().map(|feature| {
        format!("FEATURE {} {}{}", feature.feature, term(&feature.outcome), parts(&feature.kept_by))
    }));
    let because = |subject: String, reasons: &[Reason]| {
        reasons
            .iter()
            .map(move |reason| format!("BECAUSE {subject} {}", reason_name(reason)))
            .collect::<Vec<_>>()
    };
    lines.extend(facets.mounts.iter().flat_map(|mount| because(mount.chassis.to_string(), &mount.reasons)));
    lines.extend(facets.needs.iter().flat_map(|need| because(need.need.to_string(), &need.reasons)));
    lines.extend(facets.features.iter().flat_map(|one| because(one.feature.to_string(), &one.reasons)));
    lines
}

/// `FitsWithParts` as `FITS_WITH_PARTS`.
fn term(value: &impl std::fmt::Debug) -> String {
    let mut name = String::new();
    for letter in format!("{value:?}").chars() {
        if letter.is_uppercase() && !name.is_empty() {
            name.push('_');
        }
        name.extend(letter.to_uppercase());
    }
    name
}

/// The name of a reason, without its fields.
fn reason_name(reason: &Reason) -> String {
    term(reason).split([' ', '(', '{']).next().unwrap_or_default().to_owned()
}

fn option_code(snapshot: &Snapshot, candidate: &Candidate) -> String {
    let options = snapshot.options_of(snapshot.line(candidate.line).unwrap());
    options[usize::from(candidate.options[0])].option.code.to_string()
}

/// The demo catalogue with the scenario's changes; a change that makes it contradictory fails the scenario.
fn snapshot(changes: &Changes) -> Snapshot {
    let mut records: BTreeMap<RecordKey, Record> = BTreeMap::new();
    let put = changes
        .put
        .iter()
        .map(|line| exchange::parse_line(line.as_bytes(), 1).unwrap_or_else(|e| panic!("{e}: {line}")));
    // A scenario says itself what is right of what it leaves out.
    let demo = dashwright_demo::records().unwrap().into_iter();
    for record in demo.filter(|it| !matches!(it, Record::GoldenQuestion(_))).chain(put) {
        records.insert(record.key().unwrap(), record);
    }
    for key in &changes.leave_out {
        assert!(records.remove(&key.parse().unwrap()).is_some(), "there is no {key} to leave out");
    }
    let records: Vec<Record> = records.into_values().collect();
    let clashes = dataset::clashes(&records);
    assert!(clashes.is_empty(), "{}", clashes.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n"));
    let sources = records
        .iter()
        .map(|record| SourceRecord { text: Arc::from(exchange::to_line(record).unwrap()), revision: 1 });
    Snapshot::build(sources.collect()).unwrap()
}

impl Question {
    fn read(&self) -> VehicleQuestion {
        let label = |text: &Option<String>| text.as_ref().map(|text| Label::new(text).unwrap());
        VehicleQuestion {
            vin: self.vin.as_ref().map(|text| dashwright_model::vin::Vin::parse(text).unwrap()),
            model_year: self.year.map(|year| ModelYear::new(year).unwrap()),
            make: label(&self.make),
            model: label(&self.model),
            trim: label(&self.trim),
            build_month: self.build_month.as_ref().map(|month| month.parse().unwrap()),
            market: label(&self.market),
            drive_side: self.drive_side.as_ref().map(|side| side.parse().unwrap()),
            body: label(&self.body),
            drivetrain: label(&self.drivetrain),
            audio_option: label(&self.audio),
            words: label(&self.words),
        }
    }
}
