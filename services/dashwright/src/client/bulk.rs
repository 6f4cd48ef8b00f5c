//! `draft rename`, `supersede`, `split` and `retire`: edits that touch many records.

use dashwright_api::v1;
use dashwright_api::v1::bulk_edit_draft_request::Edit;
use dashwright_api::v1::split_vehicle_line::At;

use super::change::Change;
use super::connection::Connection;
use super::draft::print;
use crate::args::{Bulk, DraftRename, DraftRetire, DraftSplit, DraftSupersede};
use crate::failure::Failure;
use crate::text;

pub(super) async fn rename(arguments: DraftRename) -> Result<(), Failure> {
    let DraftRename { draft, record, to, name, bulk } = arguments;
    let new_id = to.map(|id| id.to_string()).unwrap_or_default();
    let new_name = name.unwrap_or_default();
    let rename = v1::RenameRecord { record: record.to_string(), new_id, new_name };
    ask(draft, Edit::Rename(rename), bulk).await
}

pub(super) async fn supersede(arguments: DraftSupersede) -> Result<(), Failure> {
    let DraftSupersede { draft, part, by, bulk } = arguments;
    let supersede = v1::SupersedePart { part_id: part.to_string(), successor_id: by.to_string() };
    ask(draft, Edit::Supersede(supersede), bulk).await
}

pub(super) async fn split(arguments: DraftSplit) -> Result<(), Failure> {
    let DraftSplit { draft, line, new_line, at_year, at_month, how_to_tell, bulk } = arguments;
    let month = at_month.map(|month| At::BuildMonth(month.to_string()));
    let split = v1::SplitVehicleLine {
        line_id: line.to_string(),
        new_line_id: new_line.to_string(),
        at: at_year.map(At::ModelYear).or(month),
        how_to_tell: how_to_tell.unwrap_or_default(),
    };
    ask(draft, Edit::Split(split), bulk).await
}

pub(super) async fn retire(arguments: DraftRetire) -> Result<(), Failure> {
    let DraftRetire { draft, record, bulk } = arguments;
    ask(draft, Edit::Retire(v1::RetireRecord { record: record.to_string() }), bulk).await
}

pub(super) async fn ask(draft_id: String, edit: Edit, bulk: Bulk) -> Result<(), Failure> {
    let Bulk { validate_only, changing, client } = bulk;
    let change = Change::of(changing);
    let connection = Connection::open(&client).await?;
    let change_message = change.message();
    let request =
        v1::BulkEditDraftRequest { change: change_message, draft_id, edit: Some(edit), validate_only };
    let answer = connection.answer(connection.curation().bulk_edit_draft(request).await);
    print("BulkEditDraftResponse", &change.outcome(answer)?, client.json, |answer, columns| {
        text::bulk_edited(answer, validate_only, columns)
    })
}
