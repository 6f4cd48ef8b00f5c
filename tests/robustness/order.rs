//! What no clock, no second process, no rival and no lost reply changes: the order, and that everything happens once.

use std::collections::BTreeSet;

use dashwright_api::v1;
use dashwright_tests::binary::{Process, run};
use dashwright_tests::change::{draft, make};

use crate::interposer::{Effect, Stage, Step};
use crate::proof::{Known, export};
use crate::work::{Answer, Asked, Caller, Ledger, NoAnswer, Request};

/// How often two publish at the same time.
const RACES: usize = 12;
const DAY_SECONDS: i64 = 24 * 60 * 60;

/// A dataset on its own, with a server that the interposer watches.
struct House {
    root: tempfile::TempDir,
    stage: Stage,
}

impl House {
    fn new() -> Self {
        let root = tempfile::tempdir().unwrap();
        let stage = Stage::new(&root.path().join("data")).unwrap();
        Self { root, stage }
    }

    async fn serve(&self, more: &[&str]) -> (Process, Caller) {
        let data = self.root.path().join("data");
        let serve = ["serve", "--data", data.to_str().unwrap(), "--listen", "127.0.0.1:0"];
        let mut server = self.stage.start(&[&serve[..], more].concat()).unwrap();
        let (_, address) = server.serving().unwrap();
        (server, Caller::connect(&address, "").await.unwrap())
    }
}

async fn trail(caller: &Caller) -> Vec<v1::TrailEntry> {
    let ask = v1::ListEntriesRequest { page_size: 500, ..v1::ListEntriesRequest::default() };
    caller.audit().list_entries(ask).await.unwrap().into_inner().entries
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_clock_that_goes_back_changes_no_order() {
    let house = House::new();
    let (mut server, mut caller) = house.serve(&["--init"]).await;
    let mut exports = Vec::new();
    for (revision, days) in (1..).zip([0, -1, 2, -400]) {
        house.stage.set_clock(days * DAY_SECONDS).unwrap();
        let put = make("orvane", &format!("Orvane {revision}"));
        let mut curation = v1::curation_service_client::CurationServiceClient::new(caller.channel.clone());
        let told = dashwright_tests::change::publish(&mut curation, vec![put]).await.unwrap();
        let told = told.revision.unwrap();
        assert_eq!(told.number, revision);
        exports.push((told.token.clone(), export(&caller, &told.token).await));
        drop(server);
        (server, caller) = house.serve(&[]).await;
    }
    assert_eq!(caller.latest().await.unwrap().number, 4);
    for (number, (token, bytes)) in (1..).zip(&exports) {
        assert_eq!(export(&caller, token).await, *bytes, "revision {number}");
        assert!(String::from_utf8_lossy(bytes).contains(&format!("Orvane {number}")));
    }
    let entries = trail(&caller).await;
    let sequences: Vec<u64> = entries.iter().map(|entry| entry.sequence).collect();
    assert_eq!(sequences, (1..=sequences.len() as u64).collect::<Vec<_>>());
    let times: Vec<&String> = entries.iter().map(|entry| &entry.time).collect();
    assert!(!times.is_sorted(), "the clock did not go back: {times:?}");
    let revisions = caller.audit().list_revisions(v1::ListRevisionsRequest::default()).await.unwrap();
    let numbers = revisions.into_inner().revisions.into_iter().map(|it| it.revision.unwrap().number);
    assert_eq!(numbers.collect::<Vec<_>>(), [4, 3, 2, 1]);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_second_process_is_refused_and_the_first_goes_on() {
    let house = House::new();
    let (_server, caller) = house.serve(&["--init"]).await;
    let data = house.root.path().join("data");
    for more in [&[][..], &["--init"]] {
        let serve = ["serve", "--data", data.to_str().unwrap(), "--listen", "127.0.0.1:0"];
        let second = run(&[&serve[..], more].concat()).unwrap();
        assert_eq!(second.status.code(), Some(1), "{second:?}");
        assert!(second.err.contains("one directory has one server"), "{second:?}");
        assert!(caller.ask(&Request::new(Asked::Create)).await.is_ok(), "the first does not go on");
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn of_two_that_publish_the_same_record_one_wins_and_the_other_is_told() {
    let house = House::new();
    let (_server, caller) = house.serve(&["--init"]).await;
    let mut curation = v1::curation_service_client::CurationServiceClient::new(caller.channel.clone());
    let mut revisions = Vec::new();
    for race in 0..RACES {
        let mut requests = Vec::new();
        for rival in ["left", "right"] {
            let put = make("contended", &format!("{rival} {race}"));
            let draft = draft(&mut curation, vec![put]).await.unwrap();
            requests.push(Request::new(Asked::Publish { draft }));
        }
        let (one, other) = tokio::join!(caller.ask(&requests[0]), caller.ask(&requests[1]));
        let (won, lost): (Vec<_>, Vec<_>) = [one, other].into_iter().partition(Result::is_ok);
        assert_eq!((won.len(), lost.len()), (1, 1), "{won:?} {lost:?}");
        let collides = matches!(&lost[0], Err(NoAnswer::Refused(reason)) if reason == "DRAFT_COLLIDES");
        assert!(collides, "{lost:?}");
        let told = won.into_iter().flatten().find_map(|answer: Answer| answer.published).unwrap();
        revisions.push(told.revision.unwrap().number);
    }
    assert_eq!(revisions, (1..=RACES as u64).collect::<Vec<_>>());
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_request_whose_reply_was_lost_is_done_once() {
    let house = House::new();
    let (mut server, mut caller) = house.serve(&["--init"]).await;
    let mut ids = BTreeSet::new();
    let kept = caller.ask(&Request::new(Asked::Create)).await.unwrap().id;
    let thrown = caller.ask(&Request::new(Asked::Create)).await.unwrap().id;
    let put = make("orvane", "Orvane");
    // Keys last: once there is one, whoever has none is refused.
    let asked = [
        Asked::Create,
        Asked::Edit { draft: kept.clone(), puts: vec![put] },
        Asked::Publish { draft: kept },
        Asked::Discard { draft: thrown },
    ];
    for asked in asked {
        let durable = Step {
            operation: "fdatasync".to_owned(),
            path: "log/".to_owned(),
            number: 1,
            effect: Effect::KillAfter,
        };
        house.stage.arm(&durable).unwrap();
        let request = Request::new(asked);
        let lost = caller.ask(&request).await;
        assert!(matches!(lost, Err(NoAnswer::Lost)), "{request:?}: {lost:?}");
        drop(server);
        house.stage.clear().unwrap();
        (server, caller) = house.serve(&[]).await;
        let again = caller.ask(&request).await.unwrap();
        assert!(again.repeated, "{request:?} was done twice");
        // Told the same from now on, and once in the trail.
        let ledger = Ledger { acknowledged: vec![(request.clone(), again)], ..Ledger::default() };
        Known::default().prove(&caller, ledger, "after a lost reply").await;
        let entries = trail(&caller).await;
        assert_eq!(entries.iter().filter(|entry| entry.request_id == request.id).count(), 1);
        ids.insert(request.id);
    }
    assert_eq!(ids.len(), 4);
    assert_eq!(caller.latest().await.unwrap().number, 1);
}
