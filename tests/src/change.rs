//! Changes over the wire: request ids that were never used, and the short way to a new revision.

use dashwright_api::v1;
use dashwright_api::v1::curation_service_client::CurationServiceClient;
use tonic::Status;
use tonic::transport::Channel;

/// A change with a request id of its own.
#[must_use]
pub fn change(reason: &str) -> Option<v1::Change> {
    Some(v1::Change { request_id: uuid::Uuid::new_v4().to_string(), reason: reason.to_owned() })
}

/// A term of the vocabulary as a record's JSON.
#[must_use]
pub fn make(id: &str, name: &str) -> String {
    let evidence = r#""evidence":{"grade":"ASSUMED","source":"a test","date":"2026-01-01"}"#;
    format!(r#"{{"vocabulary":{{"id":"{id}","of":"MAKE","name":"{name}",{evidence}}}}}"#)
}

/// Records to put over whatever is there.
#[must_use]
pub fn puts(lines: Vec<String>) -> Vec<v1::RecordPut> {
    lines.into_iter().map(|json| v1::RecordPut { json, etag: "*".to_owned() }).collect()
}

/// A record to delete whatever is there.
#[must_use]
pub fn deleted(record: &str) -> v1::RecordDelete {
    v1::RecordDelete { record: record.to_owned(), etag: "*".to_owned() }
}

/// Publishes a draft, whatever is in it.
#[must_use]
pub fn publishing(draft_id: &str) -> v1::PublishDraftRequest {
    v1::PublishDraftRequest {
        change: change("a test publishes"),
        draft_id: draft_id.to_owned(),
        ..v1::PublishDraftRequest::default()
    }
}

/// Begins a draft and puts records into it.
///
/// # Errors
/// When the service refuses.
pub async fn draft(
    client: &mut CurationServiceClient<Channel>,
    lines: Vec<String>,
) -> Result<String, Status> {
    let begun = v1::CreateDraftRequest { change: change("a test begins") };
    let draft_id = client.create_draft(begun).await?.into_inner().draft.unwrap_or_default().draft_id;
    let edit = v1::EditDraftRequest {
        change: change("a test edits"),
        draft_id: draft_id.clone(),
        puts: puts(lines),
        ..v1::EditDraftRequest::default()
    };
    client.edit_draft(edit).await?;
    Ok(draft_id)
}

/// Publishes records as the next revision.
///
/// # Errors
/// When the service refuses.
pub async fn publish(
    client: &mut CurationServiceClient<Channel>,
    puts: Vec<String>,
) -> Result<v1::PublishDraftResponse, Status> {
    let draft_id = draft(client, puts).await?;
    Ok(client.publish_draft(publishing(&draft_id)).await?.into_inner())
}
