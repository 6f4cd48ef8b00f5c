//! Edits that touch many records.

use dashwright_api::v1::bulk_edit_draft_request::Edit;
use dashwright_api::v1::split_vehicle_line::At;
use dashwright_api::v1::{
    AcceptAnswers, AskGolden, RenameRecord, RetireRecord, SplitVehicleLine, SupersedePart,
};
use dashwright_curation::{BulkEdit, SplitAt};
use dashwright_engine::DraftWork;
use dashwright_quantity::{DateError, GoldenId, IdError, Label, ModelYear, Prose, TextError, YearMonth};
use std::collections::BTreeSet;
use std::str::FromStr;

use dashwright_model::record::Record;

use super::change::record_of;
use super::{FieldFaults, FieldProblem, record_key_text};
use crate::limits::GOLDEN_ACCEPTED;

/// What is to be done.
pub(crate) fn bulk_edit(edit: Option<Edit>, faults: &mut FieldFaults) -> Option<DraftWork> {
    Some(DraftWork::Edit(match faults.take("edit", edit.ok_or(FieldProblem::Missing))? {
        Edit::Rename(rename) => renamed(rename, faults)?,
        Edit::Supersede(SupersedePart { part_id, successor_id }) => {
            let part = faults.take("supersede.part_id", id(&part_id));
            let by = faults.take("supersede.successor_id", id(&successor_id));
            BulkEdit::Supersede { part: part?, by: by? }
        }
        Edit::Split(split) => splitting(split, faults)?,
        Edit::Retire(RetireRecord { record }) => {
            let record = faults.take("retire.record", record_key_text(&record))?;
            BulkEdit::Retire { record }
        }
        Edit::Ask(AskGolden { json }) => return asking(&json, faults),
        Edit::Accept(AcceptAnswers { golden_ids }) => return accepting(&golden_ids, faults),
    }))
}

fn asking(json: &str, faults: &mut FieldFaults) -> Option<DraftWork> {
    match faults.take("ask.json", record_of(json))? {
        Record::GoldenQuestion(question) => Some(DraftWork::Ask(Box::new(question))),
        other => faults.take("ask.json", Err(FieldProblem::OtherKind { found: other.kind() })),
    }
}

fn accepting(ids: &[String], faults: &mut FieldFaults) -> Option<DraftWork> {
    const PATH: &str = "accept.golden_ids";
    if ids.is_empty() {
        faults.take::<()>(PATH, Err(FieldProblem::Missing));
    }
    faults.count(PATH, ids.len(), GOLDEN_ACCEPTED);
    let mut known = BTreeSet::new();
    for (place, text) in ids.iter().take(GOLDEN_ACCEPTED).enumerate() {
        let path = format!("{PATH}.{place}");
        if let Some(id) = faults.take(&path, id::<GoldenId>(text))
            && !known.insert(id)
        {
            faults.take::<()>(&path, Err(FieldProblem::Twice));
        }
    }
    Some(DraftWork::Accept(known.into_iter().collect()))
}

fn renamed(rename: RenameRecord, faults: &mut FieldFaults) -> Option<BulkEdit> {
    let RenameRecord { record, new_id, new_name } = rename;
    let record = faults.take("rename.record", record_key_text(&record));
    if new_id.is_empty() && new_name.is_empty() {
        faults.take::<()>("rename.new_id", Err(FieldProblem::Missing));
    }
    let id = some(&new_id).and_then(|new_id| faults.take("rename.new_id", id(new_id)));
    let name = some(&new_name).and_then(|name| faults.take("rename.new_name", text(Label::new(name))));
    Some(BulkEdit::Rename { record: record?, id, name })
}

fn splitting(split: SplitVehicleLine, faults: &mut FieldFaults) -> Option<BulkEdit> {
    let SplitVehicleLine { line_id, new_line_id, at, how_to_tell } = split;
    let line = faults.take("split.line_id", id(&line_id));
    let new_line = faults.take("split.new_line_id", id(&new_line_id));
    let words =
        some(&how_to_tell).and_then(|words| faults.take("split.how_to_tell", text(Prose::new(words))));
    let at = match faults.take("split.at", at.ok_or(FieldProblem::Missing))? {
        At::ModelYear(year) => {
            if !how_to_tell.is_empty() {
                faults.take::<()>("split.how_to_tell", Err(FieldProblem::OnlyWith { other: "build_month" }));
            }
            faults.take("split.model_year", date(ModelYear::new(year.into()))).map(SplitAt::ModelYear)
        }
        At::BuildMonth(month) => faults
            .take("split.build_month", date(YearMonth::from_str(&month)))
            .map(|month| SplitAt::BuildMonth { month, how_to_tell: words }),
    };
    Some(BulkEdit::Split { line: line?, at: at?, new_line: new_line? })
}

fn some(text: &str) -> Option<&str> {
    (!text.is_empty()).then_some(text)
}

fn id<I: FromStr<Err = IdError>>(text: &str) -> Result<I, FieldProblem> {
    if text.is_empty() { Err(FieldProblem::Missing) } else { text.parse().map_err(FieldProblem::Id) }
}

fn text<T>(made: Result<T, TextError>) -> Result<T, FieldProblem> {
    made.map_err(FieldProblem::Text)
}

fn date<T>(made: Result<T, DateError>) -> Result<T, FieldProblem> {
    made.map_err(FieldProblem::Date)
}
