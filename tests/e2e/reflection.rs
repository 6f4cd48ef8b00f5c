//! Reflection and health: what a generic client needs to find and call the service.

use std::collections::BTreeSet;

use dashwright_tests::raw::methods;
use dashwright_tests::service::Running;
use prost::Message as _;
use prost_types::FileDescriptorProto;
use tonic_health::pb::HealthCheckRequest;
use tonic_health::pb::health_check_response::ServingStatus;
use tonic_health::pb::health_client::HealthClient;

/// Asks one version of reflection for the services and for the files that describe each.
macro_rules! reflect {
    ($version:ident, $running:expr) => {{
        use tonic_reflection::pb::$version::ServerReflectionRequest;
        use tonic_reflection::pb::$version::server_reflection_client::ServerReflectionClient;
        use tonic_reflection::pb::$version::server_reflection_request::MessageRequest;
        use tonic_reflection::pb::$version::server_reflection_response::MessageResponse;

        let mut client = ServerReflectionClient::new($running.channel.clone());
        let mut ask = async |request: MessageRequest| {
            let request = ServerReflectionRequest { host: String::new(), message_request: Some(request) };
            let stream = client.server_reflection_info(tokio_stream::once(request)).await;
            stream.unwrap().into_inner().message().await.unwrap().unwrap().message_response.unwrap()
        };
        let MessageResponse::ListServicesResponse(list) =
            ask(MessageRequest::ListServices(String::new())).await
        else {
            panic!("no list of services")
        };
        let services: BTreeSet<String> = list.service.into_iter().map(|it| it.name).collect();
        let mut files = Vec::new();
        for service in &services {
            let request = MessageRequest::FileContainingSymbol(service.clone());
            let MessageResponse::FileDescriptorResponse(found) = ask(request).await else {
                panic!("{service} is listed and not described")
            };
            files.extend(found.file_descriptor_proto);
        }
        (services, files)
    }};
}

/// Every service of the schema is listed, every method described with the types of its messages.
fn check_described(services: &BTreeSet<String>, files: &[Vec<u8>]) {
    for expected in
        ["dashwright.v1.CatalogueService", "dashwright.v1.FitmentService", "grpc.health.v1.Health"]
    {
        assert!(services.contains(expected), "{services:?}");
    }
    let files: Vec<FileDescriptorProto> =
        files.iter().map(|it| FileDescriptorProto::decode(it.as_slice()).unwrap()).collect();
    let mut described = BTreeSet::new();
    for file in &files {
        for service in &file.service {
            for method in &service.method {
                assert!(method.input_type().ends_with("Request"), "{method:?}");
                described.insert(format!("/{}.{}/{}", file.package(), service.name(), method.name()));
            }
        }
    }
    for method in methods().unwrap() {
        assert!(described.contains(&method), "{method} is not described");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn both_versions_of_reflection_describe_every_method() {
    let (_home, running) = Running::demo().await.unwrap();
    let (services, files) = reflect!(v1, running);
    check_described(&services, &files);
    assert!(services.contains("grpc.reflection.v1.ServerReflection"), "{services:?}");
    let (services, files) = reflect!(v1alpha, running);
    check_described(&services, &files);
    assert!(services.contains("grpc.reflection.v1alpha.ServerReflection"), "{services:?}");
    running.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn health_is_told_for_the_server_and_each_service() {
    let (_home, running) = Running::demo().await.unwrap();
    let mut client = HealthClient::new(running.channel.clone());
    for service in ["", "dashwright.v1.CatalogueService", "dashwright.v1.FitmentService"] {
        let request = HealthCheckRequest { service: service.to_owned() };
        let health = client.check(request).await.unwrap().into_inner();
        assert_eq!(health.status(), ServingStatus::Serving, "`{service}`");
    }
    let request = HealthCheckRequest { service: "no.such.Service".to_owned() };
    assert_eq!(client.check(request).await.unwrap_err().code(), tonic::Code::NotFound);
    running.stop().await.unwrap();
}
