//! What a sheet rests on: computed checks with their numbers, records with their evidence, and the revision.

use dashwright_checks::result::{CheckResult, Figure, Outcome};
use dashwright_model::Evidence;
use dashwright_model::record::{RecordKey, RecordKind};
use dashwright_planner::{PlannedCheck, rests_on};

use super::sentence;
use crate::job::Job;
use crate::words::{self, spoken};

/// The last sections.
pub(crate) struct Proof {
    pub(super) checks: Vec<CheckRow>,
    /// The direct feed that the supply needs; empty where it needs none.
    pub(super) feed: String,
    pub(super) records: Vec<RecordRow>,
    pub(super) weakest: String,
    pub(super) not_proven: bool,
    pub(super) revision: u64,
    pub(super) token: String,
    pub(super) content_hash: String,
    pub(super) fingerprint: String,
}

/// A computed check.
pub(crate) struct CheckRow {
    pub(super) name: String,
    /// A sign that is told from the others without colour.
    pub(super) sign: &'static str,
    pub(super) outcome: &'static str,
    pub(super) inputs: String,
    pub(super) results: String,
    pub(super) settings: String,
    pub(super) formula: String,
    pub(super) margin: String,
    /// What is not recorded, and what else is worth knowing.
    pub(super) reasons: String,
}

/// A record that the plan rests on.
pub(crate) struct RecordRow {
    pub(super) record: String,
    pub(super) grade: String,
    pub(super) source: String,
    pub(super) jobs: String,
}

impl Proof {
    pub(super) fn of(job: &Job<'_>) -> Self {
        let input = job.input;
        let numbers = job.work.map(|work| &work.checks);
        let keys = rests_on(job.snapshot, input.candidates, input.radio, input.plan);
        Self {
            checks: numbers.into_iter().flat_map(|own| &own.checks).map(check).collect(),
            feed: numbers.and_then(|own| own.feed.as_ref()).map(words::direct_feed).unwrap_or_default(),
            records: keys.iter().filter_map(|key| record(job, key)).collect(),
            weakest: input
                .weakest
                .map(|weak| format!("{} ({})", weak.record, spoken(weak.grade.name())))
                .unwrap_or_default(),
            not_proven: job.chosen.is_some_and(|chosen| !chosen.proven),
            revision: input.revision.number,
            token: input.revision.token.to_owned(),
            content_hash: input.revision.content_hash.to_owned(),
            fingerprint: input.fingerprint.to_owned(),
        }
    }
}

fn check(check: &PlannedCheck) -> CheckRow {
    let PlannedCheck { subject, result, reasons } = check;
    let CheckResult { check: kind, outcome, formula, inputs, results, margin, settings, missing: _ } = result;
    let (sign, outcome) = match outcome {
        Outcome::Pass => ("✓", "holds"),
        Outcome::Advise => ("!", "take care"),
        Outcome::Fail => ("✗", "DOES NOT HOLD"),
        Outcome::NoData => ("?", "not known"),
    };
    let about = words::subject(*subject);
    let name = words::check_name(*kind);
    let name = if about.is_empty() { name.to_owned() } else { format!("{name}, {about}") };
    let list = |figures: &[Figure]| figures.iter().map(words::figure).collect::<Vec<_>>().join(", ");
    CheckRow {
        name: sentence(&name),
        sign,
        outcome,
        inputs: list(inputs),
        results: list(results),
        settings: list(settings),
        formula: formula.replace("<=", "≤").replace(">=", "≥").replace(" * ", " × "),
        margin: margin.as_ref().map(words::margin).unwrap_or_default(),
        reasons: reasons.iter().map(words::reason).collect::<Vec<_>>().join("; "),
    }
}

fn record(job: &Job<'_>, key: &RecordKey) -> Option<RecordRow> {
    let evidence = evidence(job, key)?;
    let Evidence { grade, source, date, confirmed_jobs, contradicted_jobs } = evidence;
    let mut jobs = vec![format!("{confirmed_jobs} confirmed")];
    jobs.extend((*contradicted_jobs > 0).then(|| format!("{contradicted_jobs} CONTRADICTED")));
    Some(RecordRow {
        record: key.to_string(),
        grade: spoken(grade.name()),
        source: format!("{source}, {date}"),
        jobs: jobs.join(", "),
    })
}

fn evidence<'a>(job: &Job<'a>, key: &RecordKey) -> Option<&'a Evidence> {
    let (snapshot, id) = (job.snapshot, key.id.as_str());
    Some(match key.kind {
        RecordKind::Dash => &snapshot.dashes().find(id)?.1.evidence,
        RecordKind::FactoryAudio => &snapshot.audios().find(id)?.1.evidence,
        RecordKind::Radio => &snapshot.radios().find(id)?.1.evidence,
        RecordKind::Part => &snapshot.parts().find(id)?.1.evidence,
        RecordKind::Vehicle => &snapshot.line(snapshot.line_by_id(id)?)?.facts.evidence,
        RecordKind::Vocabulary | RecordKind::GoldenQuestion => return None,
    })
}
