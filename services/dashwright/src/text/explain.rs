//! Why a plan is as it is: from the need to its rule, to the records that it rests on, to their evidence.

use std::collections::{BTreeMap, BTreeSet};

use dashwright_api::v1;
use serde_json::Value;

use super::frame::{names, verdict_text};
use super::page::Page;
use super::plan::Writer;
use super::terms;

/// Records by their keys, as `part/kit-7`.
pub(crate) type Records = BTreeMap<String, v1::Record>;

/// The records that the reasons of a plan rest on.
pub(crate) fn records_of(answer: &v1::PlanInstallResponse) -> BTreeMap<String, v1::RecordKey> {
    let mut keys = BTreeMap::new();
    let mut add = |key: v1::RecordKey| {
        keys.insert(terms::record(&key), key);
    };
    for reason in reasons_of(answer) {
        reason.records.iter().cloned().for_each(&mut add);
    }
    for pieces in all_pieces(answer) {
        let parts = pieces.needs.iter().flat_map(|need| &need.part_ids);
        let parts = parts.chain(pieces.parts.iter().map(|part| &part.part_id));
        parts.map(|id| part_key(id)).for_each(&mut add);
    }
    keys
}

/// The chain of each verdict, need and outcome, and then the evidence of the records that were named.
pub(super) fn explain(
    page: &mut Page,
    answer: &v1::PlanInstallResponse,
    writer: &Writer<'_>,
    records: &Records,
) {
    let mut chain = Chain { writer, records, named: BTreeSet::new() };
    page.heading("Why");
    chain.verdict(page, answer.verdict(), &answer.verdict_reasons);
    if let Some(settled) = &answer.settled {
        chain.pieces(page, settled);
    }
    for variant in &answer.depends {
        page.heading(&format!("Why, only for {}", names(&variant.candidates, &answer.candidates)));
        chain.verdict(page, variant.verdict(), &variant.verdict_reasons);
        if let Some(pieces) = &variant.pieces {
            chain.pieces(page, pieces);
        }
    }
    chain.evidence(page);
}

struct Chain<'a> {
    writer: &'a Writer<'a>,
    records: &'a Records,
    /// The records that were named so far.
    named: BTreeSet<String>,
}

impl Chain<'_> {
    fn verdict(&mut self, page: &mut Page, verdict: v1::Verdict, reasons: &[v1::Reason]) {
        page.line(2, &format!("verdict: {}", verdict_text(verdict)));
        self.reasons(page, reasons);
    }

    fn pieces(&mut self, page: &mut Page, pieces: &v1::PlanPieces) {
        for need in &pieces.needs {
            self.need(page, need, &pieces.parts);
        }
        for part in pieces.parts.iter().filter(|part| part.serves.is_empty()) {
            self.required(page, part);
        }
        for feature in &pieces.features {
            self.feature(page, feature);
        }
        if !pieces.refused_joins.is_empty() {
            page.line(2, "leads that are never joined");
            self.reasons(page, &pieces.refused_joins);
        }
    }

    /// A need, why it arises, and by which statement of which record each part meets it.
    fn need(&mut self, page: &mut Page, need: &v1::PlannedNeed, parts: &[v1::PlannedPart]) {
        let what = format!("{} ({})", terms::need(need.need()), terms::importance(need.importance()));
        let numbers = self.writer.numbers(&need.part_ids, ", ");
        let how = match (need.met(), numbers.is_empty()) {
            (v1::Met::ByPart, _) => format!("by {numbers}"),
            (met, true) => terms::met(met).to_owned(),
            (met, false) => format!("{}; these could: {numbers}", terms::met(met)),
        };
        page.line(2, &format!("{what}: {how}"));
        self.reasons(page, &need.reasons);
        for id in &need.part_ids {
            let serves = parts.iter().filter(|part| part.part_id == *id).flat_map(|part| &part.serves);
            for served in serves.filter(|served| served.need == need.need) {
                self.statement(page, id, &served.statement);
            }
        }
    }

    /// The statement of a part, with evidence of its own where it has any.
    fn statement(&mut self, page: &mut Page, id: &str, statement: &str) {
        let record = self.name(&part_key(id));
        let own = self.records.get(&terms::record(&part_key(id)));
        let own = own.and_then(|record| own_evidence(&record.json, statement));
        let own = own.map(|own| format!(", which rests on {own}")).unwrap_or_default();
        page.line(4, &format!("by its statement `{statement}` in {record}{own}"));
    }

    /// A part that is there because another one needs it.
    fn required(&mut self, page: &mut Page, part: &v1::PlannedPart) {
        let by: Vec<String> = part.required_by.iter().map(|id| self.name(&part_key(id))).collect();
        page.line(2, &format!("{}: needed by {}", self.writer.number(&part.part_id), by.join(", ")));
    }

    fn feature(&mut self, page: &mut Page, feature: &v1::PlannedFeature) {
        let by = self.writer.numbers(&feature.kept_by, ", ");
        let by = if by.is_empty() { by } else { format!(" by {by}") };
        let outcome = terms::outcome(feature.outcome());
        page.line(2, &format!("{}: {outcome}{by}", terms::feature(feature.feature())));
        self.reasons(page, &feature.reasons);
        for id in &feature.would_keep {
            let record = self.name(&part_key(id));
            page.line(4, &format!("{} would keep it: {record}", self.writer.number(id)));
        }
    }

    /// Reasons with the records that each rests on.
    fn reasons(&mut self, page: &mut Page, reasons: &[v1::Reason]) {
        for reason in reasons {
            let v1::Reason { code: _, text, records, field: _, figures } = reason;
            let figure = |it: &v1::Figure| format!("{} {} {}", it.name, terms::number(it.value), it.unit);
            let mut beside: Vec<String> = figures.iter().map(figure).collect();
            beside.extend(records.iter().map(|key| self.name(key)));
            let beside = if beside.is_empty() { String::new() } else { format!(" [{}]", beside.join(", ")) };
            page.line(4, &format!("{text}{beside}"));
        }
    }

    /// A record by its key, and how strong its evidence is; it is told in full at the end.
    fn name(&mut self, key: &v1::RecordKey) -> String {
        let name = terms::record(key);
        let evidence = self.records.get(&name).and_then(|record| record.evidence.as_ref());
        let grade = evidence.map(|evidence| format!(": {}", terms::grade(evidence.grade())));
        self.named.insert(name.clone());
        format!("{name}{}", grade.unwrap_or_default())
    }

    fn evidence(&self, page: &mut Page) {
        page.heading("Evidence of the records named above");
        let width = self.named.iter().map(String::len).max().unwrap_or_default();
        for name in &self.named {
            let evidence = self.records.get(name).and_then(|record| record.evidence.as_ref());
            let evidence = evidence.map_or("none is told".to_owned(), terms::evidence);
            page.labelled(2, name, width, &evidence);
        }
    }
}

/// The evidence that a statement of a record has of its own: `covers.3` in the record's JSON.
fn own_evidence(json: &str, statement: &str) -> Option<String> {
    let record: Value = serde_json::from_str(json).ok()?;
    let facts = record.as_object()?.values().next()?;
    let evidence = facts.pointer(&format!("/{}/evidence", statement.replace('.', "/")))?;
    let text = |name: &str| evidence.get(name).and_then(Value::as_str).map(str::to_owned);
    let grade = text("grade")?.to_lowercase().replace('_', " ");
    let beside = [text("source"), text("date")].into_iter().flatten().collect::<Vec<_>>().join(", ");
    Some(format!("{grade}: {beside}"))
}

fn reasons_of(answer: &v1::PlanInstallResponse) -> Vec<&v1::Reason> {
    let mut reasons: Vec<&v1::Reason> = answer.verdict_reasons.iter().collect();
    reasons.extend(answer.depends.iter().flat_map(|variant| &variant.verdict_reasons));
    for pieces in all_pieces(answer) {
        reasons.extend(pieces.needs.iter().flat_map(|need| &need.reasons));
        reasons.extend(pieces.features.iter().flat_map(|feature| &feature.reasons));
        reasons.extend(&pieces.refused_joins);
    }
    reasons
}

fn all_pieces(answer: &v1::PlanInstallResponse) -> impl Iterator<Item = &v1::PlanPieces> {
    let variants = answer.depends.iter().filter_map(|variant| variant.pieces.as_ref());
    answer.settled.iter().chain(variants)
}

fn part_key(id: &str) -> v1::RecordKey {
    v1::RecordKey { kind: v1::RecordKind::Part.into(), id: id.to_owned() }
}
