//! `draft preview`: what a draft changes in the plans.

use dashwright_api::v1;
use v1::preview_draft_response::Piece;

use super::connection::Connection;
use super::json::{Layout, json};
use crate::args::DraftPreview;
use crate::failure::{Failure, KeepingFailure};
use crate::{out, progress, text};

/// Receives the pieces, shows how far it has come, and prints what it comes to.
pub(super) async fn preview(arguments: DraftPreview) -> Result<(), Failure> {
    let DraftPreview { draft: draft_id, groups: shown, client } = arguments;
    let connection = Connection::open(&client).await?;
    let request = v1::PreviewDraftRequest { draft_id };
    let mut pieces = connection.answer(connection.curation().preview_draft(request).await)?;
    let bar = progress::bar(0, "planning {bar:30} {human_pos} of {human_len}");
    let mut groups = Vec::new();
    while let Some(answer) = connection.item(pieces.message().await)? {
        match answer.piece {
            Some(Piece::Progress(v1::PreviewProgress { done, total })) => {
                bar.set_length(total.into());
                bar.set_position(done.into());
            }
            Some(Piece::Group(group)) if client.json => {
                out::print(&json("PlanChangeGroup", &group, Layout::OneLine)?)?;
            }
            Some(Piece::Group(group)) => groups.push(group),
            Some(Piece::End(end)) => {
                bar.finish_and_clear();
                return out::print(&if client.json {
                    json("PreviewEnd", &end, Layout::OneLine)?
                } else {
                    text::preview(&end, &groups, shown, out::columns())
                });
            }
            None => {}
        }
    }
    Err(KeepingFailure::PreviewCutShort.into())
}
