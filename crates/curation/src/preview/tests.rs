//! Previews: what is counted is what differs when every plan of the demo catalogue is made twice, and nothing else.

use std::collections::BTreeMap;

use dashwright_model::exchange::{parse_line, to_line};
use dashwright_model::record::Record;
use dashwright_planner::{CasePlan, Met, Outcome, Request, plan_case_parts};
use dashwright_snapshot::SourceRecord;
use serde_json::{Value, json};

use super::*;

type Records = BTreeMap<String, Value>;

fn demo() -> Records {
    let keyed = |record: Record| {
        let value = serde_json::to_value(&record).unwrap();
        (record.key().unwrap().to_string(), value.as_object().unwrap().values().next().unwrap().clone())
    };
    dashwright_demo::records().unwrap().into_iter().map(keyed).collect()
}

fn compiled(records: &Records) -> Snapshot {
    let source = |(key, fields): (&String, &Value)| {
        let line = json!({ key.split_once('/').unwrap().0: fields }).to_string();
        let record = parse_line(line.as_bytes(), 0).unwrap_or_else(|error| panic!("{key}: {error}"));
        SourceRecord { text: to_line(&record).unwrap().into(), revision: 1 }
    };
    Snapshot::build(records.iter().map(source).collect()).unwrap()
}

fn previewed(before: &Snapshot, after: &Snapshot) -> Preview {
    preview(before, after, MAX_PREVIEWED, |_| ControlFlow::Continue(())).unwrap()
}

/// Every plan of a dataset, by line, option and radio: verdict, parts, total, kept features.
fn all(snapshot: &Snapshot) -> BTreeMap<(String, String, String), String> {
    let mut plans = BTreeMap::new();
    let said = |plan: &CasePlan| {
        let parts: Option<Vec<_>> = plan.chosen.as_ref().map(|chosen| {
            chosen.parts.iter().map(|it| snapshot.parts().get(it.part).unwrap().id.to_string()).collect()
        });
        let kept = |it: &Outcome| matches!(it, Outcome::Kept | Outcome::KeptWithLimit);
        let kept = plan.features.iter().filter(|it| kept(&it.outcome)).map(|it| (it.feature, it.outcome));
        let met = plan.needs.iter().filter(|it| matches!(it.met, Met::Directly | Met::ByPart));
        let wanted: (Vec<_>, Vec<_>) = (kept.collect(), met.map(|it| it.need).collect());
        let fits = parts.is_some().then_some((wanted, plan.chosen.as_ref().map(|chosen| chosen.total)));
        format!("{:?} {parts:?} {fits:?}", plan.verdict)
    };
    for line in snapshot.lines() {
        for option in snapshot.options_of(line) {
            for (radio, record) in snapshot.radios().iter() {
                let plan = plan_case_parts(snapshot, option.case, radio, &Request::default()).unwrap();
                let line = snapshot.line_id(line).to_owned();
                plans.insert((line, option.option.code.to_string(), record.id.to_string()), said(&plan));
            }
        }
    }
    plans
}

/// How many plans differ, are new or gone: told without the preview.
fn differing(before: &Snapshot, after: &Snapshot) -> u64 {
    let (before, after) = (all(before), all(after));
    let keys: BTreeSet<_> = before.keys().chain(after.keys()).collect();
    keys.into_iter().filter(|key| before.get(*key) != after.get(*key)).count() as u64
}

/// What is done to the records, and what it is called.
type Named = (&'static str, fn(&mut Records));

fn edits() -> Vec<Named> {
    vec![
        ("a price", |it| it.get_mut("part/mw-12").unwrap()["price"]["amount"]["minor_units"] = json!(590)),
        ("a part goes", |it| drop(it.remove("part/lkd-1001"))),
        ("a part is discontinued", |it| {
            it.get_mut("part/hwk-210-d").unwrap()["life"] = json!("DISCONTINUED")
        }),
        ("a part that another needs", |it| {
            it.get_mut("part/hwk-230").unwrap()["price"]["amount"]["minor_units"] = json!(9990);
        }),
        ("a dash", |it| it.get_mut("dash/packhorn-2").unwrap()["opening"]["depth"] = json!(120)),
        ("a radio", |it| it.get_mut("radio/kelvora-tern-2").unwrap()["chassis"]["depth"] = json!(190)),
        ("a radio goes", |it| drop(it.remove("radio/kelvora-tern-2"))),
        ("a new radio", |it| {
            let mut radio = it["radio/kelvora-tern-2"].clone();
            radio["id"] = json!("kelvora-tern-9");
            it.insert("radio/kelvora-tern-9".into(), radio);
        }),
        ("a vehicle line goes", |it| drop(it.remove("vehicle/marlquist-packhorn-2019"))),
        ("another dash behind a line", |it| {
            it.get_mut("vehicle/orvane-tamsel-2012-hatchback").unwrap()["dash"] = json!("packhorn-2");
        }),
        ("another audio", |it| {
            it.get_mut("factory_audio/orv-2-amp").unwrap()["features"] = json!({});
        }),
        ("a name that no plan has", |it| {
            it.get_mut("vocabulary/orvane").unwrap()["name"] = json!("Orvane Motors")
        }),
        ("nothing", |_| {}),
    ]
}

#[test]
fn every_plan_that_differs_is_counted_and_no_other() {
    let records = demo();
    let before = compiled(&records);
    for (name, edit) in edits() {
        let mut edited = records.clone();
        edit(&mut edited);
        let after = compiled(&edited);
        let preview = previewed(&before, &after);
        let changed: u64 = preview.groups.iter().map(|group| group.plans).sum();
        assert_eq!(changed, differing(&before, &after), "{name}");
        assert_eq!(preview.looked_at, preview.touched, "{name}: it is no sample");
        assert_eq!(preview.unchanged + changed, preview.touched, "{name}");
        let back = previewed(&after, &before);
        assert_eq!((back.touched, back.unchanged), (preview.touched, preview.unchanged), "{name}, back");
    }
}

#[test]
fn what_no_plan_rests_on_touches_no_plan() {
    let records = demo();
    let mut edited = records.clone();
    edited.get_mut("vocabulary/orvane").unwrap()["name"] = json!("Orvane Motors");
    edited.remove("golden_question/tamsel-2013-rowan");
    assert_eq!(previewed(&compiled(&records), &compiled(&edited)), Preview::default());
}

/// By the records: the lead falls from 7.90 to 5.90, and whoever had it in the plan saves 2.00.
#[test]
fn a_lower_price_is_told_as_what_is_saved() {
    let (records, mut edited) = (demo(), demo());
    edited.get_mut("part/mw-12").unwrap()["price"]["amount"]["minor_units"] = json!(590);
    let preview = previewed(&compiled(&records), &compiled(&edited));
    let cheaper = preview.groups.iter().find(|it| it.difference.dearer_by == Some(-200)).unwrap();
    assert_eq!(cheaper.changes, BTreeSet::from([PlanChange::Cheaper]));
    assert!(cheaper.difference.parts_gone.is_empty() && cheaper.difference.parts_new.is_empty());
    assert!(!cheaper.examples.is_empty() && cheaper.examples.len() <= MAX_EXAMPLES);
    assert!(cheaper.plans >= 10, "{cheaper:?}");
}

#[test]
fn a_part_that_goes_is_shown_with_what_stops_fitting_first() {
    let (records, mut edited) = (demo(), demo());
    edited.remove("part/hwk-210-d");
    edited.remove("part/hwk-210");
    edited.remove("part/hwk-209");
    let preview = previewed(&compiled(&records), &compiled(&edited));
    let first = preview.groups.first().unwrap();
    assert!(first.changes.contains(&PlanChange::NoLongerFits), "{first:?}");
    assert_eq!(
        preview.counts[&PlanChange::NoLongerFits],
        preview
            .groups
            .iter()
            .filter(|it| it.changes.contains(&PlanChange::NoLongerFits))
            .map(|it| it.plans)
            .sum::<u64>()
    );
}

#[test]
fn beyond_the_bound_it_is_a_sample_that_says_so_and_it_can_be_stopped() {
    let (records, mut edited) = (demo(), demo());
    edited.get_mut("part/mw-12").unwrap()["price"]["amount"]["minor_units"] = json!(590);
    let (before, after) = (compiled(&records), compiled(&edited));
    let mut steps = Vec::new();
    let some = preview(&before, &after, 10, |step| {
        steps.push(step);
        ControlFlow::Continue(())
    });
    let some = some.unwrap();
    assert!(some.looked_at < some.touched && some.looked_at > 0, "{some:?}");
    assert!(steps.len() <= 10 && steps.iter().all(|(done, total)| done < total), "{steps:?}");
    assert_eq!(preview(&before, &after, 10, |_| ControlFlow::Break(())), None);
}

/// By the records: without the fed lead, amplified antennas are joined and not fed.
#[test]
fn a_need_that_is_no_longer_met_is_told() {
    let (records, mut edited) = (demo(), demo());
    edited.get_mut("part/mw-12p").unwrap()["life"] = json!("DISCONTINUED");
    let preview = previewed(&compiled(&records), &compiled(&edited));
    let first = preview.groups.first().unwrap();
    assert_eq!(first.difference.needs_lost, [Need::AntennaPower], "{first:?}");
    assert!(
        first.changes.contains(&PlanChange::LosesFeature) && first.changes.contains(&PlanChange::Cheaper)
    );
}
