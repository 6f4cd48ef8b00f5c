//! One file per call. A handler is four moves: parse, take the view, ask, render.

mod asked;
mod backup;
mod bulk_edit_draft;
mod check_cart;
mod check_carts;
mod create_draft;
mod create_key;
mod diff_revisions;
mod discard_draft;
mod edit_draft;
mod export_records;
mod findings;
mod get_checkpoint;
mod get_dataset_info;
mod get_draft;
mod get_proof;
mod get_record;
mod get_record_schema;
mod golden;
mod import_records;
mod list_choices;
mod list_drafts;
mod list_entries;
mod list_keys;
mod list_outcomes;
mod list_radios_for_vehicle;
mod list_records;
mod list_revisions;
mod list_vehicles_for_part;
mod list_vehicles_for_radio;
mod look_up_fitment;
mod plan_install;
mod preview_draft;
mod publish_draft;
mod reached;
mod render_bench_sheet;
mod render_picture;
mod report_outcome;
mod resolve_outcome;
mod resolve_vehicle;
mod revert_revision;
mod revoke_key;
mod search_records;
mod sheet_job;
mod size_feed;
mod validate_draft;
mod watch_revisions;

pub(crate) use findings::Found;
pub(crate) use list_vehicles_for_part::Served;

use std::pin::Pin;

use dashwright_api::replies::fitment_service_server::FitmentService;
use dashwright_api::reply::Reply;
use dashwright_api::v1;
use dashwright_api::v1::audit_service_server::AuditService;
use dashwright_api::v1::catalogue_service_server::CatalogueService;
use dashwright_api::v1::curation_service_server::CurationService;
use dashwright_api::v1::feedback_service_server::FeedbackService;
use dashwright_api::v1::key_service_server::KeyService;
use dashwright_api::v1::sheet_service_server::SheetService;
use dashwright_engine::keys::Caller;
use futures_util::Stream;
use tonic::{Request, Response, Status, Streaming};

use crate::Service;

#[tonic::async_trait]
impl FitmentService for Service {
    async fn list_choices(
        &self,
        request: Request<v1::ListChoicesRequest>,
    ) -> Result<Response<v1::ListChoicesResponse>, Status> {
        Ok(Response::new(self.choices(request.into_inner()).await?))
    }

    async fn resolve_vehicle(
        &self,
        request: Request<v1::ResolveVehicleRequest>,
    ) -> Result<Response<v1::ResolveVehicleResponse>, Status> {
        Ok(Response::new(self.candidates(request.into_inner()).await?))
    }

    async fn look_up_fitment(
        &self,
        request: Request<v1::LookUpFitmentRequest>,
    ) -> Result<Response<Reply>, Status> {
        Ok(Response::new(self.fitment(request.into_inner()).await?))
    }

    async fn plan_install(
        &self,
        request: Request<v1::PlanInstallRequest>,
    ) -> Result<Response<Reply>, Status> {
        Ok(Response::new(self.install_plan(request.into_inner()).await?))
    }

    async fn check_cart(
        &self,
        request: Request<v1::CheckCartRequest>,
    ) -> Result<Response<v1::CheckCartResponse>, Status> {
        Ok(Response::new(self.checked_cart(request.into_inner()).await?))
    }

    type CheckCartsStream = check_carts::Answers;

    async fn check_carts(
        &self,
        request: Request<Streaming<v1::CheckCartsRequest>>,
    ) -> Result<Response<Self::CheckCartsStream>, Status> {
        let account = request.extensions().get().cloned();
        Ok(Response::new(self.checked_carts(account, request.into_inner())))
    }

    async fn list_radios_for_vehicle(
        &self,
        request: Request<v1::ListRadiosForVehicleRequest>,
    ) -> Result<Response<v1::ListRadiosForVehicleResponse>, Status> {
        Ok(Response::new(self.radios(request.into_inner()).await?))
    }

    async fn list_vehicles_for_radio(
        &self,
        request: Request<v1::ListVehiclesForRadioRequest>,
    ) -> Result<Response<v1::ListVehiclesForRadioResponse>, Status> {
        Ok(Response::new(self.vehicles_for_radio(request.into_inner()).await?))
    }

    async fn list_vehicles_for_part(
        &self,
        request: Request<v1::ListVehiclesForPartRequest>,
    ) -> Result<Response<v1::ListVehiclesForPartResponse>, Status> {
        Ok(Response::new(self.vehicles_for_part(request.into_inner()).await?))
    }

    async fn size_feed(
        &self,
        request: Request<v1::SizeFeedRequest>,
    ) -> Result<Response<v1::SizeFeedResponse>, Status> {
        Ok(Response::new(self.sized_feed(request.into_inner())?))
    }
}

#[tonic::async_trait]
impl SheetService for Service {
    async fn render_bench_sheet(
        &self,
        request: Request<v1::RenderBenchSheetRequest>,
    ) -> Result<Response<v1::RenderBenchSheetResponse>, Status> {
        Ok(Response::new(self.bench_sheet(request.into_inner()).await?))
    }

    async fn render_picture(
        &self,
        request: Request<v1::RenderPictureRequest>,
    ) -> Result<Response<v1::RenderPictureResponse>, Status> {
        Ok(Response::new(self.pictures(request.into_inner()).await?))
    }
}

#[tonic::async_trait]
impl CatalogueService for Service {
    async fn get_record(
        &self,
        request: Request<v1::GetRecordRequest>,
    ) -> Result<Response<v1::GetRecordResponse>, Status> {
        Ok(Response::new(self.record(request.into_inner()).await?))
    }

    async fn list_records(
        &self,
        request: Request<v1::ListRecordsRequest>,
    ) -> Result<Response<v1::ListRecordsResponse>, Status> {
        Ok(Response::new(self.records(request.into_inner()).await?))
    }

    async fn search_records(
        &self,
        request: Request<v1::SearchRecordsRequest>,
    ) -> Result<Response<v1::SearchRecordsResponse>, Status> {
        Ok(Response::new(self.found_records(request.into_inner()).await?))
    }

    async fn get_dataset_info(
        &self,
        request: Request<v1::GetDatasetInfoRequest>,
    ) -> Result<Response<v1::GetDatasetInfoResponse>, Status> {
        Ok(Response::new(self.dataset_info(request.into_inner()).await?))
    }

    async fn get_record_schema(
        &self,
        request: Request<v1::GetRecordSchemaRequest>,
    ) -> Result<Response<v1::GetRecordSchemaResponse>, Status> {
        Ok(Response::new(self.record_schema(request.into_inner())?))
    }
}

#[tonic::async_trait]
impl CurationService for Service {
    async fn create_draft(
        &self,
        request: Request<v1::CreateDraftRequest>,
    ) -> Result<Response<v1::CreateDraftResponse>, Status> {
        let caller = caller(&request);
        Ok(Response::new(self.created_draft(caller, request.into_inner()).await?))
    }

    async fn get_draft(
        &self,
        request: Request<v1::GetDraftRequest>,
    ) -> Result<Response<v1::GetDraftResponse>, Status> {
        Ok(Response::new(self.draft(request.into_inner()).await?))
    }

    async fn list_drafts(
        &self,
        request: Request<v1::ListDraftsRequest>,
    ) -> Result<Response<v1::ListDraftsResponse>, Status> {
        Ok(Response::new(self.drafts(request.into_inner()).await?))
    }

    async fn edit_draft(
        &self,
        request: Request<v1::EditDraftRequest>,
    ) -> Result<Response<v1::EditDraftResponse>, Status> {
        let caller = caller(&request);
        Ok(Response::new(self.edited_draft(caller, request.into_inner()).await?))
    }

    async fn bulk_edit_draft(
        &self,
        request: Request<v1::BulkEditDraftRequest>,
    ) -> Result<Response<v1::BulkEditDraftResponse>, Status> {
        let caller = caller(&request);
        Ok(Response::new(self.bulk_edited_draft(caller, request.into_inner()).await?))
    }

    async fn validate_draft(
        &self,
        request: Request<v1::ValidateDraftRequest>,
    ) -> Result<Response<v1::ValidateDraftResponse>, Status> {
        Ok(Response::new(self.draft_findings(request.into_inner()).await?))
    }

    async fn list_draft_holes(
        &self,
        request: Request<v1::ListDraftHolesRequest>,
    ) -> Result<Response<v1::ListDraftHolesResponse>, Status> {
        Ok(Response::new(self.draft_holes(request.into_inner()).await?))
    }

    async fn list_findings(
        &self,
        request: Request<v1::ListFindingsRequest>,
    ) -> Result<Response<v1::ListFindingsResponse>, Status> {
        Ok(Response::new(self.findings(request.into_inner()).await?))
    }

    async fn list_holes(
        &self,
        request: Request<v1::ListHolesRequest>,
    ) -> Result<Response<v1::ListHolesResponse>, Status> {
        Ok(Response::new(self.holes(request.into_inner()).await?))
    }

    async fn list_draft_golden_answers(
        &self,
        request: Request<v1::ListDraftGoldenAnswersRequest>,
    ) -> Result<Response<v1::ListDraftGoldenAnswersResponse>, Status> {
        Ok(Response::new(self.draft_golden_answers(request.into_inner()).await?))
    }

    async fn list_golden_answers(
        &self,
        request: Request<v1::ListGoldenAnswersRequest>,
    ) -> Result<Response<v1::ListGoldenAnswersResponse>, Status> {
        Ok(Response::new(self.golden_answers(request.into_inner()).await?))
    }

    async fn discard_draft(
        &self,
        request: Request<v1::DiscardDraftRequest>,
    ) -> Result<Response<v1::DiscardDraftResponse>, Status> {
        let caller = caller(&request);
        Ok(Response::new(self.discarded_draft(caller, request.into_inner()).await?))
    }

    async fn publish_draft(
        &self,
        request: Request<v1::PublishDraftRequest>,
    ) -> Result<Response<v1::PublishDraftResponse>, Status> {
        let caller = caller(&request);
        Ok(Response::new(self.published_draft(caller, request.into_inner()).await?))
    }

    async fn revert_revision(
        &self,
        request: Request<v1::RevertRevisionRequest>,
    ) -> Result<Response<v1::RevertRevisionResponse>, Status> {
        let caller = caller(&request);
        Ok(Response::new(self.reverting_draft(caller, request.into_inner()).await?))
    }

    type PreviewDraftStream = preview_draft::Previewing;

    async fn preview_draft(
        &self,
        request: Request<v1::PreviewDraftRequest>,
    ) -> Result<Response<Self::PreviewDraftStream>, Status> {
        Ok(Response::new(self.preview(request.into_inner())?))
    }

    type ImportRecordsStream = import_records::Importing;

    async fn import_records(
        &self,
        request: Request<Streaming<v1::ImportRecordsRequest>>,
    ) -> Result<Response<Self::ImportRecordsStream>, Status> {
        let caller = caller(&request);
        Ok(Response::new(self.importing(caller, request.into_inner())))
    }

    type ExportRecordsStream = export_records::Export;

    async fn export_records(
        &self,
        request: Request<v1::ExportRecordsRequest>,
    ) -> Result<Response<Self::ExportRecordsStream>, Status> {
        Ok(Response::new(self.export(request.into_inner()).await?))
    }
}

#[tonic::async_trait]
impl FeedbackService for Service {
    async fn report_outcome(
        &self,
        request: Request<v1::ReportOutcomeRequest>,
    ) -> Result<Response<v1::ReportOutcomeResponse>, Status> {
        let caller = caller(&request);
        Ok(Response::new(self.reported_outcome(caller, request.into_inner()).await?))
    }

    async fn list_outcomes(
        &self,
        request: Request<v1::ListOutcomesRequest>,
    ) -> Result<Response<v1::ListOutcomesResponse>, Status> {
        Ok(Response::new(self.outcomes(request.into_inner()).await?))
    }

    async fn resolve_outcome(
        &self,
        request: Request<v1::ResolveOutcomeRequest>,
    ) -> Result<Response<v1::ResolveOutcomeResponse>, Status> {
        let caller = caller(&request);
        Ok(Response::new(self.resolved_outcome(caller, request.into_inner()).await?))
    }
}

#[tonic::async_trait]
impl AuditService for Service {
    async fn list_revisions(
        &self,
        request: Request<v1::ListRevisionsRequest>,
    ) -> Result<Response<v1::ListRevisionsResponse>, Status> {
        Ok(Response::new(self.revisions(request.into_inner()).await?))
    }

    async fn diff_revisions(
        &self,
        request: Request<v1::DiffRevisionsRequest>,
    ) -> Result<Response<v1::DiffRevisionsResponse>, Status> {
        Ok(Response::new(self.revision_diff(request.into_inner()).await?))
    }

    async fn list_entries(
        &self,
        request: Request<v1::ListEntriesRequest>,
    ) -> Result<Response<v1::ListEntriesResponse>, Status> {
        Ok(Response::new(self.entries(request.into_inner()).await?))
    }

    async fn get_proof(
        &self,
        request: Request<v1::GetProofRequest>,
    ) -> Result<Response<v1::GetProofResponse>, Status> {
        Ok(Response::new(self.proof(request.into_inner())?))
    }

    async fn get_checkpoint(
        &self,
        request: Request<v1::GetCheckpointRequest>,
    ) -> Result<Response<v1::GetCheckpointResponse>, Status> {
        Ok(Response::new(self.checkpoint(request.into_inner()).await?))
    }

    type WatchRevisionsStream = watch_revisions::Watch;

    async fn watch_revisions(
        &self,
        request: Request<v1::WatchRevisionsRequest>,
    ) -> Result<Response<Self::WatchRevisionsStream>, Status> {
        Ok(Response::new(self.watch(request.into_inner()).await?))
    }
}

#[tonic::async_trait]
impl KeyService for Service {
    async fn create_key(
        &self,
        request: Request<v1::CreateKeyRequest>,
    ) -> Result<Response<v1::CreateKeyResponse>, Status> {
        let caller = caller(&request);
        Ok(Response::new(self.created_key(caller, request.into_inner()).await?))
    }

    async fn list_keys(
        &self,
        request: Request<v1::ListKeysRequest>,
    ) -> Result<Response<v1::ListKeysResponse>, Status> {
        let caller = caller(&request);
        Ok(Response::new(self.keys(caller, request.into_inner()).await?))
    }

    async fn revoke_key(
        &self,
        request: Request<v1::RevokeKeyRequest>,
    ) -> Result<Response<v1::RevokeKeyResponse>, Status> {
        let caller = caller(&request);
        Ok(Response::new(self.revoked_key(caller, request.into_inner()).await?))
    }

    type BackupStream = backup::Backup;

    async fn backup(
        &self,
        request: Request<v1::BackupRequest>,
    ) -> Result<Response<Self::BackupStream>, Status> {
        let caller = caller(&request);
        Ok(Response::new(self.backup_of(caller, request.into_inner()).await?))
    }
}

/// Messages of a stream that are made as they are read.
type Pieces<T> = Pin<Box<dyn Stream<Item = Result<T, Status>> + Send>>;

/// Who calls, as the layer before the router has put it.
fn caller<T>(request: &Request<T>) -> Caller {
    request.extensions().get().cloned().unwrap_or_else(Caller::anybody)
}
