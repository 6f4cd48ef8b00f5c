//! How often one caller may call: by key, by address where no key is asked for, and who is not counted.

use std::num::NonZeroU32;
use std::time::{Duration, Instant};

use dashwright_api::v1::catalogue_service_client::CatalogueServiceClient;
use dashwright_api::v1::{GetDatasetInfoRequest, GetDatasetInfoResponse};
use dashwright_engine::keys::Role;
use dashwright_grpc::LIMITS;
use dashwright_grpc::auth::Access;
use dashwright_tests::keys::{Keys, with_key};
use dashwright_tests::refused::Refused;
use dashwright_tests::service::{Home, Running};
use tonic::transport::{Channel, Endpoint};
use tonic::{Code, Request, Status};
use tonic_health::pb::HealthCheckRequest;
use tonic_health::pb::health_client::HealthClient;
use tonic_types::StatusExt as _;

/// Few enough that none comes again while the test makes its calls.
const SLOW: NonZeroU32 = NonZeroU32::MIN;

/// One call; without a key as a proxy on this machine passes it on.
async fn ask(channel: &Channel, key: Option<&str>) -> Result<GetDatasetInfoResponse, Status> {
    let message = GetDatasetInfoRequest::default();
    let request = match key {
        Some(key) => with_key(message, key).unwrap(),
        None => {
            let mut request = Request::new(message);
            request.metadata_mut().insert("x-forwarded-for", "192.0.2.7".parse().unwrap());
            request
        }
    };
    Ok(CatalogueServiceClient::new(channel.clone()).get_dataset_info(request).await?.into_inner())
}

#[tokio::test(flavor = "multi_thread")]
async fn a_key_is_refused_when_it_calls_too_often_and_another_is_not() {
    let (home, mut keys) = (Home::new("callers").unwrap(), Keys::none());
    let (one, other) = (keys.make(Role::Reader).unwrap(), keys.make(Role::Reader).unwrap());
    let running = Running::start_at(&home, keys.access(), SLOW).await.unwrap();
    let begin = Instant::now();
    let info = ask(&running.channel, Some(one.reveal())).await.unwrap();
    assert_eq!(info.limits["calls_per_second"], 1);
    let told = ask(&running.channel, Some(one.reveal())).await.unwrap_err();
    let refused = Refused::of(&told);
    assert_eq!((refused.code, refused.reason.as_str()), (Code::ResourceExhausted, "CALLS_TOO_FREQUENT"));
    assert_eq!(refused.metadata["calls_per_second"], "1");
    let wait = told.get_details_retry_info().unwrap().retry_delay.unwrap();
    assert!(!wait.is_zero() && wait <= Duration::from_millis(1_001), "{wait:?}");

    ask(&running.channel, Some(other.reveal())).await.unwrap();
    let mut health = HealthClient::new(running.channel.clone());
    for _ in 0..10 {
        health.check(HealthCheckRequest::default()).await.unwrap();
    }
    // sleep: this is what the refusal says
    tokio::time::sleep(wait).await;
    ask(&running.channel, Some(one.reveal())).await.unwrap();
    assert!(begin.elapsed() >= Duration::from_secs(1), "{:?}", begin.elapsed());
    running.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn where_no_key_is_asked_for_an_address_is_a_caller_and_this_machine_is_not_counted() {
    let (home, keys) = (Home::new("callers").unwrap(), Keys::none());
    let access = Access { everybody_reads: true, ..keys.access() };
    let running = Running::start_at(&home, access, SLOW).await.unwrap();
    for last in [2, 3] {
        let endpoint = Endpoint::new(format!("http://{}", running.address)).unwrap();
        let channel = endpoint.local_address(Some([127, 0, 0, last].into())).connect().await.unwrap();
        ask(&channel, None).await.unwrap();
        let refused = Refused::of(&ask(&channel, None).await.unwrap_err());
        assert_eq!(refused.reason, "CALLS_TOO_FREQUENT", "127.0.0.{last}");
    }
    let mut here = running.catalogue.clone();
    for _ in 0..10 {
        here.get_dataset_info(GetDatasetInfoRequest::default()).await.unwrap();
    }
    running.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn what_one_caller_may_take_is_told() {
    let (_home, running) = Running::demo().await.unwrap();
    let request = GetDatasetInfoRequest::default();
    let info = running.catalogue.clone().get_dataset_info(request).await.unwrap().into_inner();
    assert_eq!(info.limits["calls_per_second"], u64::from(LIMITS.calls_per_second.get()));
    assert_eq!(info.limits["calls_per_caller"], LIMITS.calls_per_caller as u64);
    assert_eq!(info.limits["unread_bytes_per_caller"], LIMITS.unread_bytes_per_caller as u64);
    running.stop().await.unwrap();
}
