//! `serve`: begin, load, restart, refuse, and an orderly end.

use std::path::Path;
use std::time::Duration;

use dashwright_api::v1::catalogue_service_client::CatalogueServiceClient;
use dashwright_api::v1::read_at::At;
use dashwright_api::v1::{GetDatasetInfoRequest, GetDatasetInfoResponse, ReadAt};
use dashwright_engine::RevisionToken;
use dashwright_tests::binary::{Process, run};
use dashwright_tests::refused::Refused;
use dashwright_tests::service::demo_lines;
use tonic::Request;

/// What a server tells of its dataset.
pub(crate) async fn info(address: &str) -> GetDatasetInfoResponse {
    let mut client = CatalogueServiceClient::connect(address.to_owned()).await.unwrap();
    client.get_dataset_info(GetDatasetInfoRequest::default()).await.unwrap().into_inner()
}

/// A file with the demo catalogue.
fn catalogue(directory: &Path) -> String {
    let file = directory.join("catalogue.jsonl");
    std::fs::write(&file, demo_lines().join("\n") + "\n").unwrap();
    file.to_str().unwrap().to_owned()
}

#[tokio::test]
async fn a_restart_serves_the_same_revision_and_content() {
    let directory = tempfile::tempdir().unwrap();
    let (file, data) = (catalogue(directory.path()), directory.path().join("data"));
    let serve = ["serve", "--data", data.to_str().unwrap(), "--listen", "127.0.0.1:0"];
    let mut first = Process::start(&[&serve[..], &["--init", "--load", &file]].concat()).unwrap();
    let (revision, address) = first.serving().unwrap();
    assert_eq!(revision, 1);
    let before = info(&address).await;
    first.terminate().unwrap();
    assert!(first.ended().unwrap().success());

    let mut second = Process::start(&serve).unwrap();
    let (revision, address) = second.serving().unwrap();
    assert_eq!((revision, info(&address).await), (1, before));
    let verified = run(&["verify", data.to_str().unwrap()]).unwrap();
    // It is in use; verifying says so or reads beside it, and harms nothing.
    assert_eq!(info(&address).await.revision.unwrap().number, 1, "{verified:?}");
    second.terminate().unwrap();
    assert!(second.ended().unwrap().success());
    let verified = run(&["verify", data.to_str().unwrap()]).unwrap();
    assert!(verified.status.success(), "{verified:?}");
}

#[tokio::test]
async fn what_can_not_be_served_is_refused_with_what_to_do_next() {
    let directory = tempfile::tempdir().unwrap();
    let file = catalogue(directory.path());
    let path = |name: &str| directory.path().join(name).to_str().unwrap().to_owned();
    let serve_at = |listen: &str, data: &str, more: &[&str]| {
        let data = path(data);
        run(&[&["serve", "--data", &data, "--listen", listen], more].concat()).unwrap()
    };
    let serve = |data: &str, more: &[&str]| serve_at("127.0.0.1:0", data, more);
    let refused = serve("missing", &[]);
    assert_eq!(refused.status.code(), Some(1), "{refused:?}");
    assert!(refused.err.contains("--init") && refused.err.contains("missing"), "{refused:?}");
    assert!(!Path::new(&path("missing")).exists(), "it was made although it was refused");

    std::fs::create_dir(path("occupied")).unwrap();
    std::fs::write(path("occupied/letter.txt"), "dear").unwrap();
    let refused = serve("occupied", &["--init"]);
    assert!(!refused.status.success() && refused.err.contains("next:"), "{refused:?}");
    assert_eq!(std::fs::read_dir(path("occupied")).unwrap().count(), 1, "something was left there");

    std::fs::write(path("faulty.jsonl"), "{\"dash\":{\"id\":\"d\"}}\nno json\n").unwrap();
    let refused = serve("faulty", &["--init", "--load", &path("faulty.jsonl")]);
    assert!(refused.err.contains("line 1") && refused.err.contains("line 2"), "{refused:?}");
    assert!(!refused.status.success() && !Path::new(&path("faulty")).exists(), "{refused:?}");

    let refused = serve_at("0.0.0.0:0", "public", &["--init", "--load", &file]);
    assert!(!refused.status.success() && !Path::new(&path("public")).exists(), "{refused:?}");
}

#[tokio::test]
async fn the_second_process_on_a_directory_is_refused_and_the_first_goes_on() {
    let directory = tempfile::tempdir().unwrap();
    let data = directory.path().join("data");
    let serve = ["serve", "--data", data.to_str().unwrap(), "--listen", "127.0.0.1:0"];
    let mut first = Process::start(&[&serve[..], &["--init"]].concat()).unwrap();
    let (_, address) = first.serving().unwrap();
    for more in [&[][..], &["--init"]] {
        let second = run(&[&serve[..], more].concat()).unwrap();
        assert!(!second.status.success(), "{second:?}");
        assert!(second.err.contains("one directory has one server"), "{second:?}");
    }
    assert_eq!(info(&address).await.revision.unwrap().number, 0);
    first.terminate().unwrap();
    assert!(first.ended().unwrap().success());
}

#[tokio::test(flavor = "multi_thread")]
async fn a_signal_lets_the_calls_in_flight_finish() {
    let directory = tempfile::tempdir().unwrap();
    let data = directory.path().join("data");
    let serve = ["serve", "--data", data.to_str().unwrap(), "--listen", "127.0.0.1:0", "--init"];
    let mut server = Process::start(&serve).unwrap();
    let (_, address) = server.serving().unwrap();
    let mut client = CatalogueServiceClient::connect(address).await.unwrap();
    let mut other = client.clone();
    let known = other.get_dataset_info(GetDatasetInfoRequest::default()).await.unwrap().into_inner();

    // It waits for a revision that does not come, and so is in flight when the signal comes.
    let token = RevisionToken::new(&known.incarnation, 9).to_string();
    let read_at = Some(ReadAt { at: Some(At::AtLeast(token)) });
    let mut request = Request::new(GetDatasetInfoRequest { read_at });
    request.set_timeout(Duration::from_secs(3));
    let waiting = client.get_dataset_info(request);
    tokio::pin!(waiting);
    // Both go over one connection in the order in which they are polled: when the second is answered the first is there.
    tokio::select! {
        biased;
        ended = &mut waiting => panic!("it did not wait: {ended:?}"),
        answered = other.get_dataset_info(GetDatasetInfoRequest::default()) => drop(answered.unwrap()),
    }
    server.terminate().unwrap();
    let refused = Refused::of(&waiting.await.unwrap_err());
    assert_eq!(refused.reason, "REVISION_NOT_REACHED", "{refused:?}");
    assert!(tokio::task::spawn_blocking(move || server.ended().unwrap()).await.unwrap().success());
}
