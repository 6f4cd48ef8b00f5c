//! What whoever runs the service asks over HTTP: from before the dataset is open until it goes down.

use std::net::SocketAddr;

use dashwright_grpc::auth::Access;
use dashwright_grpc::observe::Gauge;
use dashwright_grpc::operations::Operations;
use dashwright_grpc::{Service, Serving};
use dashwright_tests::service::Home;
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::{TcpListener, TcpStream};

/// Status line and body of an answer.
pub(crate) async fn get(address: SocketAddr, path: &str) -> (String, String) {
    let mut stream = TcpStream::connect(address).await.unwrap();
    let request = format!("GET {path} HTTP/1.1\r\nhost: here\r\nconnection: close\r\n\r\n");
    stream.write_all(request.as_bytes()).await.unwrap();
    let mut answer = String::new();
    stream.read_to_string(&mut answer).await.unwrap();
    let (head, body) = answer.split_once("\r\n\r\n").unwrap();
    (head.lines().next().unwrap().to_owned(), body.to_owned())
}

fn machine() -> Vec<Gauge> {
    let gauge = |name| Gauge { name, help: "Of a test.", value: Box::new(|| 17.0) };
    vec![gauge("test_seventeen")]
}

#[tokio::test(flavor = "multi_thread")]
async fn it_is_ready_from_when_the_dataset_is_open_until_it_goes_down() {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap();
    let operations = Operations::default();
    let answers = tokio::spawn(operations.clone().serve(listener));
    let unavailable = "HTTP/1.1 503 Service Unavailable";
    assert_eq!(get(address, "/livez").await, ("HTTP/1.1 200 OK".to_owned(), "alive\n".to_owned()));
    let (status, body) = get(address, "/readyz").await;
    assert_eq!(
        (status.as_str(), body.lines().next()),
        (unavailable, Some("started failed: the dataset is being opened"))
    );
    assert_eq!(get(address, "/metrics").await.0, unavailable);

    let home = Home::new("watched").unwrap();
    let engine = home.engine().unwrap();
    let access = Access::by(engine.keys());
    let serving = Serving::new(Service::new(engine, home.imports()), access).await.unwrap();
    operations.tell_of(&serving, machine()).unwrap();
    assert_eq!(get(address, "/readyz").await.1, "started ok\nstaying ok\nwrites ok\n");
    let (status, metrics) = get(address, "/metrics").await;
    assert_eq!(status, "HTTP/1.1 200 OK");
    for line in [
        "test_seventeen 17",
        "dashwright_dataset_revision 0",
        "dashwright_writes_taken 1",
        "dashwright_log_entries 1",
    ] {
        assert!(metrics.lines().any(|told| told == line), "{line} is not in\n{metrics}");
    }

    serving.going_down().await;
    let (status, body) = get(address, "/readyz").await;
    assert_eq!(
        (status.as_str(), body.as_str()),
        (unavailable, "started ok\nstaying failed: the service is going down\nwrites ok\n")
    );
    assert_eq!(get(address, "/readyz/staying").await.0, unavailable);
    assert_eq!(get(address, "/readyz/started").await.0, "HTTP/1.1 200 OK");
    assert_eq!(get(address, "/livez").await.0, "HTTP/1.1 200 OK");
    answers.abort();
}

#[tokio::test(flavor = "multi_thread")]
async fn two_figures_of_one_name_are_refused() {
    let home = Home::new("doubled").unwrap();
    let engine = home.engine().unwrap();
    let access = Access::by(engine.keys());
    let serving = Serving::new(Service::new(engine, home.imports()), access).await.unwrap();
    let doubled = || machine().into_iter().chain(machine()).collect();
    let error = Operations::default().tell_of(&serving, doubled()).unwrap_err();
    assert_eq!(error.to_string(), "the metrics can not be set up");
}
