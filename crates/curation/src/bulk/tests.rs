//! Bulk edits of the demo catalogue, against what a person would write by hand.

use std::collections::BTreeSet;

use dashwright_model::record::part::{CoverSense, Life};
use dashwright_model::record::{Part, Vehicle};
use dashwright_snapshot::SourceRecord;

use super::*;

type Items = BTreeMap<RecordKey, Option<Arc<str>>>;

fn key(text: &str) -> RecordKey {
    text.parse().unwrap()
}

fn line(record: &Record) -> Arc<str> {
    exchange::to_line(record).unwrap().into()
}

fn demo() -> Items {
    let records = dashwright_demo::records().unwrap();
    records.iter().map(|record| (record.key().unwrap(), Some(line(record)))).collect()
}

fn compiled(items: &Items) -> Snapshot {
    let lines = items.values().flatten();
    Snapshot::build(lines.map(|text| SourceRecord { text: Arc::clone(text), revision: 1 }).collect()).unwrap()
}

/// The records after an edit, in the order in which a draft would take it.
fn after(mut items: Items, outcome: &BulkOutcome) -> Items {
    for record in outcome.others.iter().chain(&outcome.own) {
        items.insert(record.key().unwrap(), Some(line(record)));
    }
    for key in &outcome.deleted {
        items.remove(key).unwrap();
    }
    items
}

/// An edit on a draft that already holds `drafted`.
fn edited(drafted: &Items, edit: &BulkEdit) -> Result<(BulkOutcome, Items), BulkError> {
    let base = demo();
    let outcome = Drafted::new(&compiled(&base), drafted).bulk(edit)?;
    let mut all = base;
    all.extend(drafted.clone());
    let all = after(all, &outcome);
    // Nothing dangles, and the records still make a dataset.
    let records: Vec<Record> = all.values().flatten().map(|text| read(text).unwrap()).collect();
    assert_eq!(dashwright_model::dataset::clashes(&records), []);
    compiled(&all);
    Ok((outcome, all))
}

fn edit_of_demo(edit: &BulkEdit) -> (BulkOutcome, Items) {
    edited(&Items::new(), edit).unwrap()
}

fn part(items: &Items, id: &str) -> Part {
    match read(items[&key(&format!("part/{id}"))].as_ref().unwrap()).unwrap() {
        Record::Part(part) => part.into_inner(),
        other => panic!("{other:?}"),
    }
}

fn vehicle(items: &Items, id: &str) -> Vehicle {
    match read(items[&key(&format!("vehicle/{id}"))].as_ref().unwrap()).unwrap() {
        Record::Vehicle(vehicle) => vehicle.into_inner(),
        other => panic!("{other:?}"),
    }
}

fn rename(record: &str, id: Option<&str>, name: Option<&str>) -> BulkEdit {
    let (id, name) = (id.map(|id| id.parse().unwrap()), name.map(|name| Label::new(name).unwrap()));
    BulkEdit::Rename { record: key(record), id, name }
}

fn supersede(part: &str, by: &str) -> BulkEdit {
    BulkEdit::Supersede { part: part.parse().unwrap(), by: by.parse().unwrap() }
}

fn retire(record: &str) -> BulkEdit {
    BulkEdit::Retire { record: key(record) }
}

fn split_at_year(line: &str, year: i64) -> BulkEdit {
    let at = SplitAt::ModelYear(ModelYear::new(year).unwrap());
    BulkEdit::Split { line: line.parse().unwrap(), at, new_line: "the-later-half".parse().unwrap() }
}

fn split_at_month(line: &str, month: &str, how_to_tell: Option<&str>) -> BulkEdit {
    let how_to_tell = how_to_tell.map(|words| Prose::new(words).unwrap());
    let at = SplitAt::BuildMonth { month: month.parse().unwrap(), how_to_tell };
    BulkEdit::Split { line: line.parse().unwrap(), at, new_line: "the-later-half".parse().unwrap() }
}

fn touched(outcome: &BulkOutcome) -> Vec<(String, Touch, String)> {
    outcome.touched.iter().map(|it| (it.record.to_string(), it.touch, it.paths.join(" "))).collect()
}

fn remarks(outcome: &BulkOutcome) -> Vec<(String, Remark, &str)> {
    outcome.remarks.iter().map(|it| (it.record.to_string(), it.remark, it.path.as_str())).collect()
}

/// What a text editor would do: the id between quotation marks, replaced everywhere. That is right for every id that stands
/// for one record only and is no other text of the catalogue.
#[test]
fn a_renamed_id_is_what_replacing_it_everywhere_gives() {
    let demo = demo();
    let snapshot = compiled(&demo);
    let whole: Vec<&str> = demo.values().flatten().map(|line| &**line).collect();
    let (mut compared, mut named) = (0, 0);
    for old in demo.keys() {
        let same_id = demo.keys().filter(|other| other.id == old.id).count();
        let quoted = format!("\"{}\"", old.id);
        let references: usize = demo
            .values()
            .flatten()
            .flat_map(|line| read(line).unwrap().references())
            .filter(|reference| reference.target == *old)
            .count();
        let places: usize = whole.iter().map(|line| line.matches(&quoted).count()).sum();
        if same_id > 1 || places != references + 1 {
            continue;
        }
        let edit = rename(&old.to_string(), Some("zz-renamed"), None);
        let outcome = Drafted::new(&snapshot, &Items::new()).bulk(&edit).unwrap();
        let found: BTreeSet<Arc<str>> = after(demo.clone(), &outcome).into_values().flatten().collect();
        let expected: BTreeSet<Arc<str>> =
            whole.iter().map(|line| line.replace(&quoted, "\"zz-renamed\"").into()).collect();
        assert_eq!(found, expected, "{old}");
        compared += 1;
        named += references;
    }
    assert!(compared > 350 && named > 1_000, "{compared} records, {named} references");
}

#[test]
fn a_renamed_plug_family_keeps_its_name_as_an_alias() {
    let edit = rename("vocabulary/collar-coax", Some("collar-coax-7"), Some("Collar coax, seven ways"));
    let (outcome, all) = edit_of_demo(&edit);
    let Record::Vocabulary(term) = read(all[&key("vocabulary/collar-coax-7")].as_ref().unwrap()).unwrap()
    else {
        panic!()
    };
    assert_eq!(term.name.as_str(), "Collar coax, seven ways");
    let before = demo();
    let Record::Vocabulary(was) = read(before[&key("vocabulary/collar-coax")].as_ref().unwrap()).unwrap()
    else {
        panic!()
    };
    assert!(term.aliases.contains(&was.name));
    assert!(outcome.touched.iter().any(|it| it.touch == Touch::Follows && it.record == key("part/mw-14")));
    assert_eq!(outcome.deleted, [key("vocabulary/collar-coax")]);
}

#[test]
fn a_renamed_model_is_renamed_in_lines_and_scopes() {
    let (outcome, all) = edit_of_demo(&rename("vocabulary/marlquist-packhorn", None, Some("Packhorn II")));
    assert_eq!(vehicle(&all, "marlquist-packhorn-2019").model.as_str(), "Packhorn II");
    let models = |part: &Part| {
        let items =
            part.covers.iter().flat_map(|cover| cover.scope.items().iter().flat_map(|it| &it.vehicles));
        items.filter_map(|it| it.model.as_ref().map(ToString::to_string)).collect::<Vec<_>>()
    };
    assert_eq!(models(&part(&all, "lkd-3505")), ["Packhorn II"]);
    let lines = demo().keys().filter(|key| key.id.as_str().starts_with("marlquist-packhorn-")).count();
    let parts = 1;
    assert_eq!(outcome.others.len(), lines + parts);
}

#[test]
fn who_needs_or_bars_a_superseded_part_names_its_successor_too() {
    let (outcome, all) = edit_of_demo(&supersede("lkd-3205", "lkd-3206"));
    assert_eq!(part(&all, "lkd-3205").life, Life::SupersededBy("lkd-3206".parse().unwrap()));
    let group: Vec<_> = part(&all, "am-4l.410").requires.iter().map(|it| it.len()).collect();
    assert_eq!(group, [2]);
    let expected = [
        ("part/am-4l.410".to_owned(), Touch::NamesSuccessor, "requires.0".to_owned()),
        ("part/lkd-3205".to_owned(), Touch::Superseded, "life".to_owned()),
    ];
    assert_eq!(touched(&outcome), expected);
    let (outcome, all) = edit_of_demo(&supersede("vq-06.1", "vq-06.5"));
    let barred: Vec<_> = part(&all, "vq-22.1").conflicts.iter().map(ToString::to_string).collect();
    assert_eq!(barred, ["vq-06.1", "vq-21.1", "vq-06.5"]);
    assert_eq!(remarks(&outcome), []);
    let (outcome, _) = edit_of_demo(&supersede("mw-12", "mw-13"));
    let box_of = ("part/wd-80-214".to_owned(), Remark::StillInTheBox, "contains.0.part");
    assert!(remarks(&outcome).contains(&box_of), "{:?}", outcome.remarks);
}

#[test]
fn a_part_is_superseded_only_by_one_that_can_be_had() {
    let told = |edit| edited(&Items::new(), &edit).map(|_| ()).unwrap_err().to_string();
    assert_eq!(
        told(supersede("lkd-3205", "hwk-300")),
        "`part/hwk-300` can no longer be had and takes no other part's place"
    );
    assert_eq!(told(supersede("lkd-3205", "no-such")), "there is no record `part/no-such`");
    assert_eq!(told(supersede("hwk-209", "hwk-210")), "`part/hwk-209` is so already");
    assert_eq!(
        told(supersede("hwk-210", "hwk-210")),
        "`part/hwk-210` would contradict itself: `life` refers to the record itself"
    );
}

#[test]
fn a_line_that_is_split_at_a_year_leaves_no_year_out() {
    let (outcome, all) = edit_of_demo(&split_at_year("marlquist-packhorn-2019", 2022));
    let (before, later) = (vehicle(&all, "marlquist-packhorn-2019"), vehicle(&all, "the-later-half"));
    assert_eq!((before.years.to_string(), later.years.to_string()), ("2019-2021".into(), "2022-2024".into()));
    let was = vehicle(&demo(), "marlquist-packhorn-2019");
    assert_eq!(Vehicle { id: was.id.clone(), years: was.years, ..later }, was);
    assert_eq!(Vehicle { years: was.years, ..before }, was);
    let expected = [
        ("vehicle/marlquist-packhorn-2019".to_owned(), Touch::Shortened, "years".to_owned()),
        ("vehicle/the-later-half".to_owned(), Touch::Made, String::new()),
    ];
    assert_eq!(touched(&outcome), expected);
    let shares = ("vehicle/the-later-half".to_owned(), Remark::SharesVinPatterns, "vin_patterns");
    assert_eq!(remarks(&outcome), [shares]);
    for year in [2019, 2025] {
        let refused = edited(&Items::new(), &split_at_year("marlquist-packhorn-2019", year)).unwrap_err();
        assert!(matches!(refused, BulkError::NotWithin(_)), "{year}: {refused}");
    }
}

#[test]
fn a_line_that_is_split_at_a_month_says_how_to_tell() {
    let told =
        edited(&Items::new(), &split_at_month("marlquist-packhorn-2007", "2010-01", None)).unwrap_err();
    assert!(told.to_string().contains("how_to_tell.BUILD_MONTH"), "{told}");
    let words = "The plate in the door says the month.";
    let (_, all) = edit_of_demo(&split_at_month("marlquist-packhorn-2007", "2010-01", Some(words)));
    let window = |id| vehicle(&all, id).build.unwrap().to_string();
    assert_eq!(window("marlquist-packhorn-2007"), "built up to 2009-12");
    assert_eq!(window("the-later-half"), "built from 2010-01");
    // One that has a window already is split within it only, and keeps its words.
    let line = "orvane-tamsel-2018-late";
    let refused = edited(&Items::new(), &split_at_month(line, "2018-03", None)).unwrap_err();
    assert!(matches!(refused, BulkError::NotWithin(_)), "{refused}");
    let (_, all) = edit_of_demo(&split_at_month(line, "2018-06", None));
    assert_eq!(vehicle(&all, line).build.unwrap().to_string(), "built 2018-03 to 2018-05");
    assert_eq!(vehicle(&all, "the-later-half").build.unwrap().to_string(), "built from 2018-06");
}

/// The draft already narrows a part's statement to years that one half of the line has and the whole line has not.
#[test]
fn a_statement_that_a_split_brings_to_life_is_remarked() {
    let Record::Part(narrowed) = read(demo()[&key("part/lkd-3505")].as_ref().unwrap()).unwrap() else {
        panic!()
    };
    let years = serde_json::from_str(r#"{"from":2019,"to":2021}"#).unwrap();
    let narrowed = narrowed.changed(|part| {
        for cover in &mut part.covers {
            let dashwright_model::Scope::AnyOf(items) = &mut cover.scope else { continue };
            items
                .iter_mut()
                .flat_map(|item| &mut item.vehicles)
                .for_each(|vehicle| vehicle.years = Some(years));
        }
    });
    let narrowed = Record::Part(narrowed.unwrap());
    let drafted = Items::from([(key("part/lkd-3505"), Some(line(&narrowed)))]);
    let (outcome, _) = edited(&drafted, &split_at_year("marlquist-packhorn-2019", 2022)).unwrap();
    let told = remarks(&outcome);
    assert!(told.iter().any(|(record, remark, path)| record == "part/lkd-3505"
        && *remark == Remark::HoldsForOneHalf
        && path.starts_with("covers.")));
    // The half that it does not name is not meant, whichever it is: split elsewhere, it holds for neither.
    let (outcome, _) = edited(&drafted, &split_at_year("marlquist-packhorn-2019", 2021)).unwrap();
    assert!(remarks(&outcome).iter().any(|(_, remark, _)| *remark == Remark::HoldsForOneHalf));
    let (outcome, _) = edited(&drafted, &split_at_year("marlquist-packhorn-2019", 2023)).unwrap();
    assert!(!remarks(&outcome).iter().any(|(_, remark, _)| *remark == Remark::HoldsForOneHalf));
}

#[test]
fn a_retired_part_is_discontinued_and_what_rests_on_it_is_remarked() {
    let (outcome, all) = edit_of_demo(&retire("part/lkd-3205"));
    assert_eq!(part(&all, "lkd-3205").life, Life::Discontinued);
    assert!(remarks(&outcome).contains(&(
        "part/am-4l.410".to_owned(),
        Remark::NeedsTheRetired,
        "requires.0"
    )));
    let (outcome, _) = edit_of_demo(&retire("part/hwk-210"));
    assert!(remarks(&outcome).contains(&("part/hwk-209".to_owned(), Remark::LosesItsSuccessor, "life")));
    // One of a group that another part of it still serves is no matter.
    let (outcome, _) = edit_of_demo(&retire("part/hwk-230"));
    assert_eq!(remarks(&outcome), []);
    let refused = edited(&Items::new(), &retire("part/hwk-209")).unwrap_err();
    assert!(matches!(refused, BulkError::NothingToDo(_)), "{refused}");
}

#[test]
fn a_retired_radio_is_forgotten_and_a_statement_for_it_alone_goes_with_it() {
    let (before, (outcome, all)) =
        (part(&demo(), "mw-14"), edit_of_demo(&retire("radio/auristane-ochre-24")));
    let meets = |part: &Part| part.covers.iter().filter(|cover| cover.says == CoverSense::Meets).count();
    assert_eq!(meets(&part(&all, "mw-14")), meets(&before) - 1);
    assert_eq!(outcome.deleted, [key("radio/auristane-ochre-24")]);
    assert!(outcome.touched.iter().any(|it| it.record == key("part/mw-14") && it.touch == Touch::Forgets));
    // Named beside others it only leaves the list.
    let (_, all) = edit_of_demo(&retire("radio/kelvora-tern-2"));
    let was = part(&demo(), "lkd-3017").covers.len();
    assert_eq!(part(&all, "lkd-3017").covers.len(), was);
}

#[test]
fn what_is_still_named_is_not_retired() {
    let refused = edited(&Items::new(), &retire("vocabulary/collar-coax")).unwrap_err();
    let BulkError::StillNamed { first, total, .. } = &refused else { panic!("{refused}") };
    assert!(*total >= first.len() && first.len() <= MAX_NAMED);
    assert!(
        refused.to_string().starts_with(&format!("{total} fields name `vocabulary/collar-coax`")),
        "{refused}"
    );
    let refused = edited(&Items::new(), &retire("dash/tamsel-2")).unwrap_err();
    assert!(refused.to_string().contains("`dash` of `vehicle/orvane-tamsel-2012-estate`"), "{refused}");
    let (outcome, _) = edit_of_demo(&retire("vehicle/marlquist-packhorn-2007"));
    assert_eq!(
        touched(&outcome),
        [("vehicle/marlquist-packhorn-2007".to_owned(), Touch::Deleted, String::new())]
    );
}

/// A record that the draft has deleted is not there, and one that it has made is.
#[test]
fn an_edit_sees_the_draft_and_not_the_dataset() {
    let gone = Items::from([(key("vehicle/marlquist-packhorn-2007"), None)]);
    let snapshot = compiled(&demo());
    let refused =
        Drafted::new(&snapshot, &gone).bulk(&retire("vehicle/marlquist-packhorn-2007")).unwrap_err();
    assert!(matches!(refused, BulkError::NoRecord(_)), "{refused}");
    let refused = edited(&Items::new(), &rename("radio/kelvora-tern-2", Some("kelvora-gannet-10f"), None));
    assert!(matches!(refused, Err(BulkError::Exists(_))));
    let refused = edited(&Items::new(), &rename("radio/kelvora-tern-2", Some("kelvora-tern-2"), None));
    assert!(matches!(refused, Err(BulkError::NothingToDo(_))));
    let refused = edited(&Items::new(), &rename("radio/kelvora-tern-2", None, Some("Tern")));
    assert!(matches!(refused, Err(BulkError::NoName(_))));
}
