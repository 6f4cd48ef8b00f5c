//! The n-th file operation fails: what is said is an error, nothing is acknowledged that a restart does not know, and what
//! was written to a failing disk is not written to again until then. Reads go on.

use std::path::Path;

use dashwright_api::v1;
use dashwright_tests::binary::{Process, binary, run};
use dashwright_tests::service::demo_lines;

use crate::interposer::{Effect, Stage, Step};
use crate::proof::{Known, reads_go_on};
use crate::work::{Asked, Caller, Client, NoAnswer, Random, Request, Shared, locked};

/// Every so many operations one fails in the ordinary run; the variable gives another stride, 1 for all.
const STRIDE: usize = 4;
const STRIDE_VARIABLE: &str = "DASHWRIGHT_STRIDE";
/// How they fail, in turn.
const EFFECTS: [Effect; 4] = [Effect::Eio, Effect::Enospc, Effect::Torn, Effect::Short];

fn stride() -> usize {
    std::env::var(STRIDE_VARIABLE).ok().and_then(|text| text.parse().ok()).unwrap_or(STRIDE)
}

/// The n-th operation of any kind.
pub(crate) fn nth(number: usize, effect: Effect) -> Step {
    Step { operation: "any".to_owned(), path: "*".to_owned(), number, effect }
}

/// A file with the demo catalogue.
pub(crate) fn catalogue(directory: &Path) -> String {
    let file = directory.join("catalogue.jsonl");
    std::fs::write(&file, demo_lines().join("\n") + "\n").unwrap();
    file.to_str().unwrap().to_owned()
}

/// Begins and loads a dataset of the demo catalogue; its content hash.
async fn whole(data: &Path, file: &str) -> String {
    let data = data.to_str().unwrap();
    let mut server =
        Process::start(&["serve", "--data", data, "--listen", "127.0.0.1:0", "--init", "--load", file])
            .unwrap();
    let (_, address) = server.serving().unwrap();
    content(&address).await.1
}

/// So that the suite takes as little of the disk as one run of it does.
fn remove(data: &Path) {
    std::fs::remove_dir_all(data).unwrap();
}

async fn content(address: &str) -> (u64, String) {
    let latest = Caller::connect(address, "").await.unwrap().latest().await.unwrap();
    (latest.number, latest.content_hash)
}

/// What a process that was to begin and load says, after its n-th operation has failed.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_begin_or_a_load_whose_nth_operation_fails_is_whole_or_told() {
    let root = tempfile::tempdir().unwrap();
    let file = catalogue(root.path());
    let expected = (1, whole(&root.path().join("whole"), &file).await);
    let (mut said, mut told, mut number) = (0, 0, 1 + stride() / 2);
    loop {
        let effect = EFFECTS[number / stride() % EFFECTS.len()];
        let data = root.path().join(format!("data-{number}"));
        let stage = Stage::new(&data).unwrap();
        stage.arm(&nth(number, effect)).unwrap();
        let serve = ["serve", "--data", data.to_str().unwrap(), "--listen", "127.0.0.1:0"];
        let load = [&serve[..], &["--load", &file]].concat();
        let begin = [&load[..], &["--init"]].concat();
        let mut first = stage.start(&begin).unwrap();
        let serves = first.serving().ok();
        let place = format!("{} of operation {number}, {:?}", effect.word(), stage.chosen().unwrap());
        match &serves {
            Some((_, address)) => {
                assert_eq!(content(address).await, expected, "{place}");
                said += 1;
                drop(first);
            }
            None => {
                let lines = format!("{:?}", first.seen);
                assert!(!first.ended().unwrap().success(), "{place}");
                assert!(lines.contains("error: "), "{place}: nothing is said: {lines}");
                assert_ne!(effect, Effect::Short, "{place}: a short write is no failure: {lines}");
                told += 1;
            }
        }
        let ended = stage.chosen().unwrap().is_none();
        again(&[&serve, &load, &begin], serves.is_some(), &expected, &place).await;
        remove(&data);
        if ended {
            break;
        }
        number += stride();
    }
    println!("begin and load: {said} runs served, {told} said why not, up to operation {number}");
    assert!(said > 1 && told > 1, "{said} served, {told} did not");
}

/// Starts as it is; where that is revision 0 loads, where it is none begins. The end is always the whole dataset.
async fn again(commands: &[&[&str]; 3], acknowledged: bool, expected: &(u64, String), place: &str) {
    for (attempt, command) in commands.iter().enumerate() {
        let mut server = Process::start(command).unwrap();
        let Ok((revision, address)) = server.serving() else {
            assert!(!acknowledged, "{place}: it served before: {:?}", server.seen);
            continue;
        };
        if revision == 0 && attempt == 0 {
            assert!(!acknowledged, "{place}: revision 1 is lost");
            continue;
        }
        assert_eq!(content(&address).await, *expected, "{place}");
        return;
    }
    panic!("{place}: it can neither be started nor begun again");
}

/// What clients are told when the n-th operation below them fails, and that a restart knows all that they were told.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_change_whose_nth_operation_fails_is_told_and_stops_writes() {
    let root = tempfile::tempdir().unwrap();
    let (mut stopped, mut unharmed, mut number) = (0, 0, 1);
    loop {
        let effect = EFFECTS[number / stride() % EFFECTS.len()];
        let data = root.path().join(format!("data-{number}"));
        let stage = Stage::new(&data).unwrap();
        let serve = ["serve", "--data", data.to_str().unwrap(), "--listen", "127.0.0.1:0"];
        let mut server = stage.start(&[&serve[..], &["--init"]].concat()).unwrap();
        let (_, address) = server.serving().unwrap();
        let caller = Caller::connect(&address, "").await.unwrap();
        let ledger = Shared::default();
        let client = |seed| Client {
            name: "only".to_owned(),
            caller: caller.clone(),
            ledger: ledger.clone(),
            random: Random(seed),
            makes_keys: false,
        };
        client(3).work(1).await;
        stage.arm(&nth(number, effect)).unwrap();
        client(5).work(2).await;
        let place = format!("{} of operation {number}, {:?}", effect.word(), stage.chosen().unwrap());
        let info = caller.catalogue().get_dataset_info(v1::GetDatasetInfoRequest::default()).await;
        let info = info.unwrap().into_inner();
        let revision = reads_go_on(&caller, &place).await;
        let one_more = caller.ask(&Request::new(Asked::Create)).await;
        match info.writes() {
            v1::Writes::Taken => {
                unharmed += 1;
                assert!(locked(&ledger).open.is_empty(), "{place}: a write failed and writes go on");
                // What failed in the background, in the store, the next write meets.
                let stops = matches!(&one_more, Err(NoAnswer::Refused(reason)) if reason == "WRITES_STOPPED");
                assert!(one_more.is_ok() || stops, "{place}: {one_more:?}");
            }
            why => {
                stopped += 1;
                assert_ne!(effect, Effect::Short, "{place}: a short write is no failure");
                let refused =
                    matches!(&one_more, Err(NoAnswer::Refused(reason)) if reason == "WRITES_STOPPED");
                assert!(refused, "{place}: {why:?} and yet {one_more:?}");
            }
        }
        drop(server);
        let ended = stage.chosen().unwrap().is_none();
        stage.clear().unwrap();
        let mut server = stage.start(&serve).unwrap();
        let (latest, address) = server.serving().unwrap();
        assert!(latest >= revision.number, "{place}: revision {} was shown and is lost", revision.number);
        let caller = Caller::connect(&address, "").await.unwrap();
        let acknowledged = std::mem::take(&mut *locked(&ledger));
        Known::default().prove(&caller, acknowledged, &place).await;
        drop(server);
        remove(&data);
        if ended {
            break;
        }
        number += stride().min(3);
    }
    println!(
        "changes: writes stopped {stopped} times, {unharmed} runs were not harmed, up to operation {number}"
    );
    assert!(stopped > 1, "no failure was seen");
}

/// A start whose n-th operation fails says so or serves the same, and the next one serves the same in any case.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_start_whose_nth_operation_fails_serves_the_same_or_nothing() {
    let root = tempfile::tempdir().unwrap();
    let (file, data) = (catalogue(root.path()), root.path().join("data"));
    let expected = (1, whole(&data, &file).await);
    let stage = Stage::new(&data).unwrap();
    let serve = ["serve", "--data", data.to_str().unwrap(), "--listen", "127.0.0.1:0"];
    let (mut served, mut refused, mut number) = (0, 0, 1);
    loop {
        stage.clear().unwrap();
        let effect = EFFECTS[number % EFFECTS.len()];
        stage.arm(&nth(number, effect)).unwrap();
        let mut server = stage.start(&serve).unwrap();
        let answer = server.serving();
        let place = format!("{} of operation {number}, {:?}", effect.word(), stage.chosen().unwrap());
        match answer {
            Ok((_, address)) => {
                served += 1;
                assert_eq!(content(&address).await, expected, "{place}");
                drop(server);
            }
            Err(_) => {
                refused += 1;
                assert!(format!("{:?}", server.seen).contains("error: "), "{place}: {:?}", server.seen);
                assert!(!server.ended().unwrap().success(), "{place}");
            }
        }
        let ended = stage.chosen().unwrap().is_none();
        stage.clear().unwrap();
        let mut server = stage.start(&serve).unwrap();
        let (_, address) = server.serving().unwrap_or_else(|error| panic!("{place}: {error}"));
        assert_eq!(content(&address).await, expected, "{place}");
        if ended {
            break;
        }
        number += stride().min(2);
    }
    println!("start: {served} runs served, {refused} said why not, up to operation {number}");
    assert!(served > 1 && refused > 1);
}

/// A backup or an export whose n-th operation fails is not there; one that is said to be there is whole.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_file_whose_nth_operation_fails_is_whole_or_not_there() {
    let root = tempfile::tempdir().unwrap();
    let (file, data) = (catalogue(root.path()), root.path().join("data"));
    let (data, file) = (data.to_str().unwrap(), file.as_str());
    let serve = ["serve", "--data", data, "--listen", "127.0.0.1:0", "--init", "--load", file];
    let mut server = Process::start(&serve).unwrap();
    let (_, address) = server.serving().unwrap();
    for (command, more) in [("backup", &["--reason", "a test"][..]), ("export", &[])] {
        let (mut made, mut told, mut number) = (0, 0, 1);
        loop {
            let effect = EFFECTS[number % EFFECTS.len()];
            let place = root.path().join(format!("{command}-{number}"));
            std::fs::create_dir(&place).unwrap();
            let stage = Stage::new(&place).unwrap();
            stage.arm(&nth(number, effect)).unwrap();
            let to = place.join("file");
            let to = to.to_str().unwrap();
            let ended = stage.run(&[&[command, "--to", to, "--server", &address], more].concat()).unwrap();
            let chosen = stage.chosen().unwrap();
            let place = format!("{command}, {} of operation {number}, {chosen:?}", effect.word());
            if ended.status.success() {
                made += 1;
            } else {
                told += 1;
                assert!(ended.err.contains("error: ") && ended.err.contains(to), "{place}: {ended:?}");
                assert_ne!(effect, Effect::Short, "{place}: a short write is no failure: {ended:?}");
            }
            // Whatever has the name is whole, also where the last step failed behind it.
            let there = Path::new(to).exists();
            assert!(there || !ended.status.success(), "{place}: it is not there: {ended:?}");
            let verified = run(&["audit", "verify", to]).unwrap();
            let without_checkpoint = command == "export" && !ended.status.success();
            assert!(!there || without_checkpoint || verified.status.success(), "{place}: {verified:?}");
            if chosen.is_none() {
                break;
            }
            number += 1;
        }
        println!("{command}: {made} were made, {told} said why not, up to operation {number}");
        assert!(made >= 1 && told >= 1, "{command}: {made} were made, {told} were not");
    }
}

/// A restore whose n-th operation fails leaves the whole dataset, or a place into which it can be made again.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_restore_whose_nth_operation_fails_is_whole_or_can_be_made_again() {
    let root = tempfile::tempdir().unwrap();
    let (file, data, trail) =
        (catalogue(root.path()), root.path().join("data"), root.path().join("backup.trail"));
    let (data, trail) = (data.to_str().unwrap(), trail.to_str().unwrap());
    let serve = ["serve", "--data", data, "--listen", "127.0.0.1:0", "--init", "--load", &file];
    let mut server = Process::start(&serve).unwrap();
    let (_, address) = server.serving().unwrap();
    let expected = content(&address).await;
    let backup = run(&["backup", "--to", trail, "--reason", "a test", "--server", &address]).unwrap();
    assert!(backup.status.success(), "{backup:?}");
    let (mut made, mut told, mut number) = (0, 0, 1);
    loop {
        let effect = EFFECTS[number / stride().min(2) % EFFECTS.len()];
        let into = root.path().join(format!("restored-{number}"));
        let stage = Stage::new(&into).unwrap();
        stage.arm(&nth(number, effect)).unwrap();
        let into = into.to_str().unwrap();
        let restore = ["restore", trail, "--data", into, "--reason", "a test"];
        let restored = stage.run(&restore).unwrap();
        let chosen = stage.chosen().unwrap();
        let place = format!("restore, {} of operation {number}, {chosen:?}", effect.word());
        let success = restored.status.success();
        (made, told) = if success { (made + 1, told) } else { (made, told + 1) };
        assert!(success || restored.err.contains("error: "), "{place}: {restored:?}");
        assert!(success || effect != Effect::Short, "{place}: a short write is no failure: {restored:?}");
        let serve = ["serve", "--data", into, "--listen", "127.0.0.1:0"];
        let mut server = Process::start(&serve).unwrap();
        let mut serves = server.serving();
        if let Err(refused) = &serves {
            assert!(!success, "{place}: it is said to be restored: {refused}");
            let again = run(&restore).unwrap();
            assert!(again.status.success(), "{place}: {restored:?}, and again: {again:?}");
            server = Process::start(&serve).unwrap();
            serves = server.serving();
        }
        assert_eq!(content(&serves.unwrap().1).await, expected, "{place}");
        drop(server);
        remove(Path::new(into));
        if chosen.is_none() {
            break;
        }
        number += stride().min(2);
    }
    println!("restore: {made} were made, {told} said why not, up to operation {number}");
    assert!(made >= 1 && told > 1);
}

/// The same without the interposer: the system calls themselves fail.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn system_calls_that_fail_are_told_as_well() {
    let traced = |arguments: &[&str]| {
        let mut command = std::process::Command::new("timeout");
        command.args(["-s", "KILL", "30", "strace", "-f", "-qq", "-o", "/dev/null"]).args(arguments).output()
    };
    let permitted = traced(&["-e", "trace=fsync", "-e", "inject=fsync:error=EIO:when=1", "true"]);
    if !permitted.is_ok_and(|output| output.status.success()) {
        println!("strace: not available, or not permitted");
        return;
    }
    let root = tempfile::tempdir().unwrap();
    let file = catalogue(root.path());
    let expected = (1, whole(&root.path().join("whole"), &file).await);
    // The number counts the calls of a thread. Of a begin: the format file, the first entry, the start, the secret's names.
    let begin =
        [("fdatasync", "EIO", 1), ("fdatasync", "EIO", 2), ("rename", "EIO", 1), ("rename", "ENOSPC", 2)];
    // Of a load into what was begun: the writer's edits and publish.
    let load = [("fdatasync", "EIO", 2), ("fdatasync", "ENOSPC", 3)];
    let points = begin.map(|point| (true, point)).into_iter().chain(load.map(|point| (false, point)));
    for (begins, (call, error, when)) in points {
        let data = root.path().join(format!("{begins}-{call}-{when}"));
        let serve = ["serve", "--data", data.to_str().unwrap(), "--listen", "127.0.0.1:0"];
        let load = [&serve[..], &["--load", &file]].concat();
        let begin = [&load[..], &["--init"]].concat();
        if !begins {
            Process::start(&[&serve[..], &["--init"]].concat()).unwrap().serving().unwrap();
        }
        let (trace, inject) = (format!("trace={call}"), format!("inject={call}:error={error}:when={when}"));
        let program = binary().unwrap().to_str().unwrap();
        let command = if begins { &begin } else { &load };
        let output = traced(&[&["-e", &trace, "-e", &inject, program], &command[..]].concat()).unwrap();
        let err = String::from_utf8_lossy(&output.stderr);
        let place = format!("strace: {error} of {call} {when}, {}", if begins { "begin" } else { "load" });
        assert_eq!(output.status.code(), Some(1), "{place}: {err}");
        assert!(err.contains("error: "), "{place}: {err}");
        println!("{place}: told");
        again(&[&serve, &load, &begin], false, &expected, &place).await;
    }
}
