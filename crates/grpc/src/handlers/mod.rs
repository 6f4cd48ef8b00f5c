//! One file per call. A handler is four moves: parse, take the view, ask, render.

mod asked;
mod check_cart;
mod check_carts;
mod get_dataset_info;
mod get_record;
mod get_record_schema;
mod list_choices;
mod list_radios_for_vehicle;
mod list_records;
mod list_vehicles_for_part;
mod list_vehicles_for_radio;
mod look_up_fitment;
mod plan_install;
mod reached;
mod resolve_vehicle;
mod search_records;

pub(crate) use list_vehicles_for_part::Served;

use dashwright_api::replies::fitment_service_server::FitmentService;
use dashwright_api::reply::Reply;
use dashwright_api::v1;
use dashwright_api::v1::catalogue_service_server::CatalogueService;
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
        Ok(Response::new(self.checked_carts(request.into_inner())))
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
