//! Scenarios that ask for a plan.

use std::collections::{BTreeMap, BTreeSet};

use dashwright_planner::{Aim, CasePlan, PlanGroup, Plans, Request, Supply, Wishes, plan};
use dashwright_quantity::Money;
use dashwright_snapshot::{Candidate, RecordIx, Snapshot};
use serde::Deserialize;

use super::expect::Expected;
use super::says::Says;
use super::{differ, missing, option_code, other_lines, term};

/// What the caller asks of the plan.
#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(super) struct Wanted {
    pub(super) radio: Option<String>,
    aim: Option<String>,
    wishes: BTreeMap<String, u32>,
    only_named: bool,
    excluded: Vec<String>,
    stock: Option<Vec<String>>,
    in_hand: Vec<String>,
    consents: Vec<String>,
    prices: BTreeMap<String, u64>,
    feign_parking_brake: bool,
}

impl Wanted {
    pub(super) fn request(&self, snapshot: &Snapshot) -> Request {
        let part =
            |id: &String| snapshot.parts().find(id).unwrap_or_else(|| panic!("there is no part {id}")).0;
        let parts = |ids: &Vec<String>| -> BTreeSet<RecordIx> { ids.iter().map(part).collect() };
        let money = |minor_units: u64| Money { currency: "USD".parse().unwrap(), minor_units };
        let wishes = self.wishes.iter().map(|(need, weight)| (need.parse().unwrap(), *weight));
        Request {
            wishes: Wishes { only_named: self.only_named, named: wishes.collect() },
            aim: match self.aim.as_deref() {
                None | Some("LOWEST_PRICE") => Aim::LowestPrice,
                Some("FEWEST_PARTS") => Aim::FewestParts,
                Some("LEAST_BENCH_TIME") => Aim::LeastBenchTime,
                Some(other) => panic!("there is no aim {other}"),
            },
            supply: Supply {
                excluded: parts(&self.excluded),
                stock: self.stock.as_ref().map(parts),
                in_hand: parts(&self.in_hand),
                prices: self.prices.iter().map(|(id, price)| (part(id), money(*price))).collect(),
                currency: None,
            },
            consents: self.consents.iter().map(|need| need.parse().unwrap()).collect(),
            feign_parking_brake: self.feign_parking_brake,
            ..Request::default()
        }
    }

    pub(super) fn radio_in(&self, snapshot: &Snapshot) -> Option<RecordIx> {
        let id = self.radio.as_ref()?;
        Some(snapshot.radios().find(id).unwrap_or_else(|| panic!("there is no radio {id}")).0)
    }

    /// Everything in which the plans differ from the expectation.
    pub(super) fn check(
        &self,
        snapshot: &Snapshot,
        candidates: &[Candidate],
        expect: &Expected,
    ) -> Vec<String> {
        let radio = self.radio_in(snapshot).unwrap_or_else(|| panic!("a plan needs a radio"));
        let plans = plan(snapshot, candidates, radio, &self.request(snapshot));
        let mut wrong = of_all(snapshot, candidates, &plans, expect);
        for group in &plans.groups {
            let says = Says::of(snapshot, &group.plan);
            wrong.extend(of_one(snapshot, &group.plan, &says, expect));
        }
        for (code, variant) in &expect.variants {
            let mut groups = groups_of(snapshot, candidates, &plans.groups, code).peekable();
            if groups.peek().is_none() {
                wrong.push(format!("there is no plan for {code}"));
            }
            wrong.extend(groups.flat_map(|group| {
                let says = Says::of(snapshot, &group.plan);
                let verdict = variant.verdict.as_ref();
                let verdict = verdict.and_then(|own| differ("verdict", own, &term(&group.plan.verdict)));
                let rest = of_one(snapshot, &group.plan, &says, variant);
                verdict.into_iter().chain(rest).map(|text| format!("{code}: {text}")).collect::<Vec<_>>()
            }));
        }
        wrong.sort();
        wrong.dedup();
        wrong
    }
}

/// The groups in which a candidate has the audio option.
fn groups_of<'a>(
    snapshot: &'a Snapshot,
    candidates: &'a [Candidate],
    groups: &'a [PlanGroup],
    code: &'a str,
) -> impl Iterator<Item = &'a PlanGroup> {
    let has = move |number: &u32| option_code(snapshot, &candidates[*number as usize]) == code;
    groups.iter().filter(move |group| group.candidates.iter().any(has))
}

/// What is said of all candidates together.
fn of_all(snapshot: &Snapshot, candidates: &[Candidate], plans: &Plans, expect: &Expected) -> Vec<String> {
    let mut wrong = Vec::new();
    if let Some(verdict) = &expect.verdict {
        let reasons: Vec<String> = plans.verdict_reasons.iter().map(|reason| format!("{reason:?}")).collect();
        let found = differ("verdict", verdict, &term(&plans.verdict));
        wrong.extend(found.map(|text| format!("{text} {}", reasons.join("; "))));
    }
    if let Some(question) = &expect.question {
        let asked = plans.question.as_ref().map_or("NONE".to_owned(), |own| own.attribute.to_string());
        wrong.extend(differ("question", question, &asked));
    }
    if let Some(weakest) = &expect.weakest {
        let own = plans.weakest.as_ref().map(|weakest| format!("{} {}", weakest.grade, weakest.record));
        wrong.extend(differ("weakest", weakest, &own.unwrap_or_default()));
    }
    wrong.extend(other_lines(snapshot, candidates, expect));
    wrong
}

/// What is said of one plan.
fn of_one(snapshot: &Snapshot, plan: &CasePlan, says: &Says, expect: &Expected) -> Vec<String> {
    let mut wrong: Vec<String> =
        expect.because.iter().filter_map(|wanted| says.because_lacks(wanted)).collect();
    let lists = [
        ("part", &expect.parts, &says.parts),
        ("consented loss", &expect.consented, &says.consented),
        ("part for the musts", &expect.musts_only, &says.musts_only),
    ];
    for (what, wanted, found) in lists {
        wrong.extend(wanted.as_ref().and_then(|own| differ(what, &own.join(" "), &found.join(" "))));
    }
    let numbers = [
        ("price", expect.price.map(|own| own as f64), says.price.map(|own| own as f64)),
        (
            "price of the musts",
            expect.musts_price.map(|own| own as f64),
            says.musts_price.map(|own| own as f64),
        ),
        ("spare depth", expect.spare_depth, says.spare_depth),
    ];
    for (what, wanted, found) in numbers {
        wrong.extend(wanted.and_then(|own| differ(what, &own.to_string(), &number(found))));
    }
    let among = [
        ("join", &expect.joins, &says.joins),
        ("insulated lead", &expect.insulated, &says.insulated),
        ("fetched lead", &expect.fetched, &says.fetched),
        ("undecided lead", &expect.undecided, &says.undecided),
        ("trap", &expect.traps, &says.traps),
        ("refused pair", &expect.refused, &says.refused),
        ("setting", &expect.settings, &says.settings),
        ("feature", &expect.features, &says.features),
        ("need", &expect.needs, &says.needs),
        ("check", &expect.checks, &says.checks),
    ];
    wrong.extend(among.iter().flat_map(|(what, wanted, found)| missing(what, wanted, found)));
    wrong.extend(says.out_of_order(&expect.steps));
    wrong.extend(other_numbers(says, expect));
    if let Some(wanted) = &expect.alternatives {
        wrong.extend(differ("alternatives", &format!("{wanted:?}"), &format!("{:?}", says.alternatives)));
    }
    if let Some(wanted) = expect.feigns_parking_brake {
        let found = plan.feigns_interlock(snapshot);
        wrong.extend(differ("feigns the parking brake", &wanted.to_string(), &found.to_string()));
    }
    wrong.extend(expect.never.iter().filter_map(|text| says.forbidden(text)));
    wrong
}

fn other_numbers(says: &Says, expect: &Expected) -> Vec<String> {
    let adds = expect.adds.iter().filter_map(|(need, wanted)| {
        let found = says.adds.get(need).map_or("nothing".to_owned(), ToString::to_string);
        differ(&format!("{need} adds"), &wanted.to_string(), &found)
    });
    let minutes = expect.minutes.iter().filter_map(|(place, wanted)| {
        differ(&format!("minutes at {place}"), &wanted.to_string(), &number(says.minutes.get(place).copied()))
    });
    let variants = expect.variants_of.iter().filter_map(|(part, wanted)| {
        let found = says.variants_of.get(part).cloned().unwrap_or_default();
        differ(&format!("variants of {part}"), &wanted.join(" "), &found.join(" "))
    });
    adds.chain(minutes).chain(variants).collect()
}

fn number(found: Option<f64>) -> String {
    found.map_or("nothing".to_owned(), |found| found.to_string())
}
