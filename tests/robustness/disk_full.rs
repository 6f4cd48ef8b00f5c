//! A disk that is full during a load and during changes: it is told, reads go on, and when there is room again everything
//! that was acknowledged is there.

use std::fs::{self, File};
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::Command;

use dashwright_api::v1;
use dashwright_log::{RESERVE_BYTES, SEGMENT_BYTES};
use dashwright_model::exchange::to_line;
use dashwright_tests::binary::Process;

use crate::failures::{catalogue, nth};
use crate::interposer::{Effect, Stage};
use crate::proof::{Known, reads_go_on};
use crate::work::{Asked, Caller, Client, NoAnswer, Random, Request, Shared, locked};

/// Bytes of the small disk: the reserve, the store's file, and a little.
const DISK_BYTES: u64 = RESERVE_BYTES + 4 * 1024 * 1024;
/// Lines of a load that does not fit beside the reserve.
const LINES: usize = 9_000;

/// A small disk in memory; it goes when this is dropped.
struct SmallDisk(PathBuf);

impl SmallDisk {
    /// None where this process may not mount one.
    fn mount(at: &Path) -> Option<Self> {
        fs::create_dir_all(at).unwrap();
        let size = format!("size={DISK_BYTES}");
        let mounted = Command::new("mount").args(["-t", "tmpfs", "-o", &size, "none"]).arg(at).output();
        let mounted = mounted.is_ok_and(|output| output.status.success());
        if !mounted {
            println!("a small disk can not be mounted here; the interposer's is used alone");
        }
        mounted.then(|| Self(at.to_owned()))
    }

    fn grow(&self) {
        let size = format!("remount,size={}", DISK_BYTES + SEGMENT_BYTES);
        assert!(Command::new("mount").args(["-o", &size]).arg(&self.0).status().unwrap().success());
    }

    /// Fills it up to so many bytes.
    fn fill(&self, leave: u64) -> PathBuf {
        let path = self.0.join("filler");
        let mut file = File::create(&path).unwrap();
        let zeros = vec![0; 64 * 1024];
        while free(&self.0) > leave {
            let most = usize::try_from(free(&self.0) - leave).unwrap().min(zeros.len());
            if file.write_all(&zeros[..most]).is_err() {
                break;
            }
        }
        path
    }
}

impl Drop for SmallDisk {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg("-l").arg(&self.0).status();
    }
}

/// Free bytes, as coreutils tells them.
fn free(at: &Path) -> u64 {
    let output = Command::new("stat").args(["-f", "-c", "%a %S"]).arg(at).output().unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    let (blocks, size) = text.trim().split_once(' ').unwrap();
    blocks.parse::<u64>().unwrap() * size.parse::<u64>().unwrap()
}

fn serve(data: &Path, more: &[&str]) -> Process {
    let serve = ["serve", "--data", data.to_str().unwrap(), "--listen", "127.0.0.1:0"];
    Process::start(&[&serve[..], more].concat()).unwrap()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_load_that_does_not_fit_is_told_and_fits_when_there_is_room() {
    let root = tempfile::tempdir().unwrap();
    let Some(disk) = SmallDisk::mount(&root.path().join("disk")) else { return };
    let data = disk.0.join("data");
    let lines = dashwright_demo::scaled(LINES).map(|record| to_line(&record).unwrap() + "\n");
    let file = root.path().join("records.jsonl");
    fs::write(&file, lines.collect::<String>()).unwrap();
    let file = file.to_str().unwrap();
    let mut server = serve(&data, &["--init", "--load", file]);
    assert!(server.serving().is_err(), "it fits: take more lines");
    let said = format!("{:?}", server.seen);
    assert!(said.contains("error: ") && said.contains("bytes are free"), "{said}");
    assert!(!server.ended().unwrap().success());

    let (revision, _) = serve(&data, &[]).serving().unwrap();
    assert_eq!(revision, 0);
    disk.grow();
    let (revision, _) = serve(&data, &["--load", file]).serving().unwrap();
    assert_eq!(revision, 1);
    let (revision, _) = serve(&data, &[]).serving().unwrap();
    assert_eq!(revision, 1);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn changes_on_a_full_disk_are_refused_and_reads_go_on() {
    let root = tempfile::tempdir().unwrap();
    let Some(disk) = SmallDisk::mount(&root.path().join("disk")) else { return };
    let data = disk.0.join("data");
    let mut server = serve(&data, &["--init"]);
    let (_, address) = server.serving().unwrap();
    let caller = Caller::connect(&address, "").await.unwrap();
    let ledger = Shared::default();
    let client = |seed| client(&caller, &ledger, seed);
    client(11).work(3).await;
    // First to within the reserve, then to the last byte.
    for leave in [RESERVE_BYTES, 0] {
        let before = caller.latest().await.unwrap();
        let filler = disk.fill(leave);
        let refused = caller.ask(&Request::new(Asked::Create)).await;
        let full = matches!(&refused, Err(NoAnswer::Refused(reason)) if reason == "DISK_FULL");
        assert!(full, "{leave} bytes are left: {refused:?}");
        assert_eq!(reads_go_on(&caller, "on a full disk").await, before);
        fs::remove_file(filler).unwrap();
        // It was refused before anything was written, so that room is all it takes.
        client(13).work(1).await;
        assert!(locked(&ledger).open.is_empty());
    }
    drop(server);
    let mut server = serve(&data, &[]);
    let (_, address) = server.serving().unwrap();
    let caller = Caller::connect(&address, "").await.unwrap();
    let acknowledged = std::mem::take(&mut *locked(&ledger));
    Known::default().prove(&caller, acknowledged, "after room was made").await;
}

/// The disk that takes so many more bytes, whatever it said of its room before.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_disk_that_is_full_in_the_middle_of_a_write_loses_nothing() {
    let root = tempfile::tempdir().unwrap();
    let file = catalogue(root.path());
    for room in [100, 600, 60_000, 300_000] {
        let data = root.path().join(format!("load-{room}"));
        let stage = Stage::new(&data).unwrap();
        stage.arm(&nth(room, Effect::Room)).unwrap();
        let begin =
            ["serve", "--data", data.to_str().unwrap(), "--listen", "127.0.0.1:0", "--init", "--load", &file];
        let mut server = stage.start(&begin).unwrap();
        let said = server.serving().is_ok();
        assert!(said || format!("{:?}", server.seen).contains("error: "), "{room}: {:?}", server.seen);
        drop(server);
        let mut plain = serve(&data, &[]);
        let (revision, more) = match plain.serving() {
            Ok((revision, _)) => (revision, &["--load", &file][..]),
            Err(_) => (0, &["--init", "--load", &file][..]),
        };
        drop(plain);
        assert!(revision == 1 || !said, "{room}: it served revision 1, which is lost");
        if revision == 0 {
            assert_eq!(serve(&data, more).serving().unwrap().0, 1, "{room}");
        }
    }
    for room in [100, 900, 2_500] {
        let data = root.path().join(format!("changes-{room}"));
        let stage = Stage::new(&data).unwrap();
        let begin = ["serve", "--data", data.to_str().unwrap(), "--listen", "127.0.0.1:0", "--init"];
        let mut server = stage.start(&begin).unwrap();
        let (_, address) = server.serving().unwrap();
        let caller = Caller::connect(&address, "").await.unwrap();
        let ledger = Shared::default();
        client(&caller, &ledger, 17).work(1).await;
        stage.arm(&nth(room, Effect::Room)).unwrap();
        client(&caller, &ledger, 19).work(6).await;
        let info = caller.catalogue().get_dataset_info(v1::GetDatasetInfoRequest::default()).await;
        let info = info.unwrap().into_inner();
        assert_ne!(info.writes(), v1::Writes::Taken, "{room}: the disk is full and writes are taken");
        reads_go_on(&caller, &format!("{room} bytes of room")).await;
        drop(server);
        let mut server = serve(&data, &[]);
        let (_, address) = server.serving().unwrap();
        let caller = Caller::connect(&address, "").await.unwrap();
        let acknowledged = std::mem::take(&mut *locked(&ledger));
        Known::default().prove(&caller, acknowledged, &format!("{room} bytes of room")).await;
    }
}

fn client(caller: &Caller, ledger: &Shared, seed: u64) -> Client {
    let (name, caller, ledger) = ("only".to_owned(), caller.clone(), ledger.clone());
    Client { name, caller, ledger, random: Random(seed), makes_keys: false }
}
