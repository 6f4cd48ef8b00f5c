//! Findings, holes and the answers to golden questions.

use dashwright_api::v1;
use dashwright_curation::{Finding, GoldenAnswer, Hole};
use dashwright_model::record::golden::ExpectedAnswer;
use dashwright_quantity::PartId;

use super::terms;
use crate::handlers::Found;

/// Those that are shown, and how many there are.
pub(crate) fn findings(shown: &[&Finding], all: &Found<'_>) -> v1::Findings {
    let Found { list: _, errors, warnings, complete } = all;
    v1::Findings {
        findings: shown.iter().map(|it| finding(it)).collect(),
        errors: *errors as u64,
        warnings: *warnings as u64,
        complete: *complete,
    }
}

fn finding(it: &Finding) -> v1::Finding {
    let Finding { record, path, kind, other, text } = it;
    v1::Finding {
        severity: terms::severity(it.severity()).into(),
        kind: terms::finding_kind(*kind).into(),
        record: record.to_string(),
        field: path.clone(),
        other: other.as_ref().map(ToString::to_string).unwrap_or_default(),
        text: text.clone(),
    }
}

/// A hole.
pub(crate) fn hole(it: &Hole) -> v1::Hole {
    let Hole { need, chassis, record, unknown, lines, total_lines } = it;
    v1::Hole {
        need: terms::need(*need).into(),
        chassis: chassis.iter().map(|class| terms::chassis_class(*class).into()).collect(),
        record: record.to_string(),
        fact_missing: *unknown,
        vehicle_ids: lines.clone(),
        vehicles_total: *total_lines,
    }
}

/// A golden question and its answer.
pub(crate) fn golden_answer(it: &GoldenAnswer) -> v1::GoldenAnswer {
    let GoldenAnswer { id, title, expected, found } = it;
    v1::GoldenAnswer {
        golden_id: id.to_string(),
        title: title.clone(),
        expected: Some(short_answer(expected)),
        found: found.as_ref().ok().map(short_answer),
        refused: found.as_ref().err().cloned().unwrap_or_default(),
        right: it.is_right(),
    }
}

fn short_answer(it: &ExpectedAnswer) -> v1::ShortAnswer {
    let ExpectedAnswer { verdict, plans } = it;
    let list =
        |parts: &Vec<PartId>| v1::PartList { part_ids: parts.iter().map(ToString::to_string).collect() };
    v1::ShortAnswer { verdict: terms::plan_verdict(*verdict).into(), plans: plans.iter().map(list).collect() }
}
