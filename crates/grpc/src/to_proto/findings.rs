//! Findings and holes.

use dashwright_api::v1;
use dashwright_curation::{Finding, Hole, Severity};

use super::terms;

/// Those that are shown of those that were asked for, which are counted.
pub(crate) fn findings(shown: &[&Finding], all: &[&Finding], complete: bool) -> v1::Findings {
    let errors = all.iter().filter(|it| it.severity() == Severity::Error).count();
    v1::Findings {
        findings: shown.iter().map(|it| finding(it)).collect(),
        errors: errors as u64,
        warnings: (all.len() - errors) as u64,
        complete,
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
