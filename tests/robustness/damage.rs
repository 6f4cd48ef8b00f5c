//! Damage to every file of a data directory: flipped bytes, cut, deleted, replaced by an older copy.
//!
//! After each the directory is refused with a text that names what is wrong, or everything is answered as before. Never is
//! anything answered otherwise, and never does it start as an empty dataset.
//!
//! Not detectable from the directory alone, by design: everything rolled back together, to a moment at which it was whole
//! (the log, the checkpoints, and the store, or no store). That is an older dataset, and nothing in it says that it was once
//! longer. Whoever was given a checkpoint later than that can show it: `audit verify DIR --checkpoint FILE`.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use dashwright_api::v1;
use dashwright_api::v1::curation_service_client::CurationServiceClient;
use dashwright_api::v1::read_at::At;
use dashwright_tests::binary::{Process, run};
use dashwright_tests::change::{draft, make, publish};
use dashwright_tests::raw::call_with;
use dashwright_tests::refused::Refused;
use prost::Message as _;
use tempfile::TempDir;
use tonic::transport::{Channel, Endpoint};

use crate::work::{Asked, Caller, Random, Request};

/// Bytes that are flipped in each file in the ordinary run, at even distances; the variable asks for more.
const FLIPS: usize = 10;
const FLIPS_VARIABLE: &str = "DASHWRIGHT_FLIPS";
/// Of the bits that are flipped.
const SEED: u64 = 0x2545_f491_4f6c_dd1d;
/// Revisions of the dataset.
const REVISIONS: u64 = 3;
/// The file that is in use by whoever has it locked; its content only helps a person.
const LOCK: &str = "LOCK";
/// What keys are proven with. Without the right one, nobody is let in, and everybody is told why.
const KEY_SECRET: &str = "key-secret";

/// A directory with a few records, three revisions, keys and checkpoints; and what it was one revision ago and two.
struct Sample {
    root: TempDir,
    key: String,
    tokens: Vec<String>,
    /// The last checkpoint that was given out.
    checkpoint: String,
    expected: Answers,
}

/// What was answered to each question, as bytes.
type Answers = BTreeMap<String, Result<Vec<u8>, String>>;

impl Sample {
    async fn new() -> Self {
        let root = tempfile::tempdir().unwrap();
        let data = root.path().join("now");
        let mut server = start(&data, &["--init"]);
        let (_, mut address) = server.serving().unwrap();
        let (mut key, mut tokens, mut checkpoint) = (String::new(), Vec::new(), String::new());
        for revision in 1..=REVISIONS {
            let channel = connect(&address).await;
            if revision == 1 {
                let mut curation = CurationServiceClient::new(channel.clone());
                let told = publish(&mut curation, records(revision)).await.unwrap();
                draft(&mut curation, vec![make("left-open", "Left open")]).await.unwrap();
                (checkpoint, key) = (told.checkpoint, make_key(&address).await);
                tokens.push(told.revision.unwrap().token);
            } else {
                let told = publish_with(&address, &key, records(revision)).await;
                checkpoint = told.checkpoint;
                tokens.push(told.revision.unwrap().token);
            }
            server.terminate().unwrap();
            assert!(server.ended().unwrap().success());
            copy(&data, &root.path().join(format!("at-{revision}")));
            server = start(&data, &[]);
            (_, address) = server.serving().unwrap();
        }
        let mut sample = Self { root, key, tokens, checkpoint, expected: Answers::new() };
        sample.expected = sample.ask(&address).await;
        let refused = sample.expected.iter().find(|(_, answer)| answer.is_err());
        assert!(refused.is_none(), "{refused:?}");
        server.terminate().unwrap();
        assert!(server.ended().unwrap().success());
        sample
    }

    fn now(&self) -> PathBuf {
        self.root.path().join("now")
    }

    fn at(&self, revision: u64) -> PathBuf {
        self.root.path().join(format!("at-{revision}"))
    }

    /// A copy to be damaged.
    fn copy(&self) -> PathBuf {
        let to = self.root.path().join("damaged");
        match fs::remove_dir_all(&to) {
            Err(error) if error.kind() != std::io::ErrorKind::NotFound => panic!("{error}"),
            _ => {}
        }
        copy(&self.now(), &to);
        to
    }

    /// Asks a fixed list of questions as of every revision, and of the trail.
    async fn ask(&self, address: &str) -> Answers {
        let channel = connect(address).await;
        let mut answers = Answers::new();
        for (name, path, message) in self.questions() {
            let answer = call_with(&channel, path, message, Some(&self.key)).await.unwrap();
            answers.insert(name, answer.map_err(|status| Refused::of(&status).reason));
        }
        answers
    }

    fn questions(&self) -> Vec<(String, &'static str, Vec<u8>)> {
        let mut questions = Vec::new();
        for (revision, token) in (1..).zip(&self.tokens) {
            let read_at = Some(v1::ReadAt { at: Some(At::Exactly(token.clone())) });
            let key =
                Some(v1::RecordKey { kind: v1::RecordKind::Vocabulary.into(), id: "orvane".to_owned() });
            let mut add = |path, message| questions.push((format!("{path} as of {revision}"), path, message));
            let info = v1::GetDatasetInfoRequest { read_at: read_at.clone() };
            add("/dashwright.v1.CatalogueService/GetDatasetInfo", info.encode_to_vec());
            let get = v1::GetRecordRequest { read_at: read_at.clone(), key };
            add("/dashwright.v1.CatalogueService/GetRecord", get.encode_to_vec());
            let query = "orvane".to_owned();
            let search = v1::SearchRecordsRequest { read_at: read_at.clone(), query, ..Default::default() };
            add("/dashwright.v1.CatalogueService/SearchRecords", search.encode_to_vec());
            let export = v1::ExportRecordsRequest { read_at, ..Default::default() };
            add("/dashwright.v1.CurationService/ExportRecords", export.encode_to_vec());
        }
        let mut add = |path: &'static str, message| questions.push((path.to_owned(), path, message));
        let latest = v1::GetDatasetInfoRequest::default();
        add("/dashwright.v1.CatalogueService/GetDatasetInfo", latest.encode_to_vec());
        let entries = v1::ListEntriesRequest { with_payload: true, page_size: 500, ..Default::default() };
        add("/dashwright.v1.AuditService/ListEntries", entries.encode_to_vec());
        add("/dashwright.v1.AuditService/ListRevisions", Vec::new());
        let diff = v1::DiffRevisionsRequest { from: self.tokens[0].clone(), ..Default::default() };
        add("/dashwright.v1.AuditService/DiffRevisions", diff.encode_to_vec());
        add("/dashwright.v1.AuditService/GetCheckpoint", Vec::new());
        add("/dashwright.v1.CurationService/ListDrafts", Vec::new());
        questions
    }
}

fn records(revision: u64) -> Vec<String> {
    let numbered = |id: &str| make(id, &format!("{id} {revision}"));
    [make("steady", "Steady"), numbered("orvane"), numbered(&format!("new-in-{revision}"))].to_vec()
}

fn start(data: &Path, more: &[&str]) -> Process {
    let serve = ["serve", "--data", data.to_str().unwrap(), "--listen", "127.0.0.1:0"];
    Process::start(&[&serve[..], more].concat()).unwrap()
}

async fn connect(address: &str) -> Channel {
    Endpoint::new(address.to_owned()).unwrap().connect().await.unwrap()
}

async fn make_key(address: &str) -> String {
    use v1::Role::{Auditor, Curator, Operator, Publisher, Reader};
    let roles = vec![Reader, Curator, Publisher, Auditor, Operator];
    let request = Request::new(Asked::MakeKey { holder: "the test".to_owned(), roles });
    Caller::connect(address, "").await.unwrap().ask(&request).await.unwrap().text
}

async fn publish_with(address: &str, key: &str, puts: Vec<String>) -> v1::PublishDraftResponse {
    let caller = Caller::connect(address, key).await.unwrap();
    let draft = caller.ask(&Request::new(Asked::Create)).await.unwrap().id;
    caller.ask(&Request::new(Asked::Edit { draft: draft.clone(), puts })).await.unwrap();
    caller.ask(&Request::new(Asked::Publish { draft })).await.unwrap().published.unwrap()
}

fn copy(from: &Path, to: &Path) {
    fs::create_dir_all(to).unwrap();
    for file in files(from) {
        let target = to.join(&file);
        fs::create_dir_all(target.parent().unwrap()).unwrap();
        fs::copy(from.join(&file), target).unwrap();
    }
    // Empty, and looked for.
    fs::create_dir_all(to.join("store/blobs")).unwrap();
}

/// Every file below a directory, relative to it, in order.
fn files(directory: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let mut open = vec![directory.to_owned()];
    while let Some(at) = open.pop() {
        for entry in fs::read_dir(at).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                open.push(path);
            } else {
                found.push(path.strip_prefix(directory).unwrap().to_owned());
            }
        }
    }
    found.sort();
    found
}

/// What is done to a file.
#[derive(Clone, Debug)]
enum Damage {
    Flip { byte: usize, bit: u8 },
    CutTo { bytes: usize },
    Delete,
    Older { revision: u64 },
}

impl Damage {
    /// Everything that is done to a file of so many bytes.
    fn all(bytes: usize, flips: usize, random: &mut Random) -> Vec<Self> {
        let mut all = vec![Self::CutTo { bytes: 0 }, Self::CutTo { bytes: bytes / 2 }, Self::Delete];
        all.extend(bytes.checked_sub(1).map(|bytes| Self::CutTo { bytes }));
        all.extend([1, REVISIONS - 1].map(|revision| Self::Older { revision }));
        let step = (bytes / flips).max(1);
        let bit = |random: &mut Random| u8::try_from(random.below(8)).unwrap();
        all.extend((step / 2..bytes).step_by(step).map(|byte| Self::Flip { byte, bit: bit(random) }));
        all
    }

    /// False where there is nothing to do.
    fn to(&self, sample: &Sample, data: &Path, file: &Path) -> bool {
        let path = data.join(file);
        let mut bytes = fs::read(&path).unwrap();
        let before = bytes.clone();
        match self {
            Self::Flip { byte, bit } => bytes[*byte] ^= 1 << bit,
            Self::CutTo { bytes: length } => bytes.truncate(*length),
            Self::Delete => {
                fs::remove_file(&path).unwrap();
                return true;
            }
            Self::Older { revision } => match fs::read(sample.at(*revision).join(file)) {
                Ok(older) => bytes = older,
                // It was not there then.
                Err(_) => return false,
            },
        }
        fs::write(&path, &bytes).unwrap();
        bytes != before
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_damaged_file_is_named_or_changes_no_answer() {
    let flips = std::env::var(FLIPS_VARIABLE).ok().and_then(|text| text.parse().ok()).unwrap_or(FLIPS);
    let sample = Sample::new().await;
    let mut random = Random(SEED);
    let mut told: BTreeMap<String, [usize; 2]> = BTreeMap::new();
    for file in files(&sample.now()) {
        let bytes = fs::metadata(sample.now().join(&file)).unwrap().len();
        for damage in Damage::all(usize::try_from(bytes).unwrap(), flips, &mut random) {
            let data = sample.copy();
            if !damage.to(&sample, &data, &file) {
                continue;
            }
            let place = format!("{} {damage:?}", file.display());
            let mut server = start(&data, &[]);
            let same = match server.serving() {
                Ok((_, address)) => {
                    let answers = sample.ask(&address).await;
                    compare(&sample.expected, &answers, &file, &place);
                    let said = format!("{:?}", server.kill().unwrap());
                    let dead = said.contains("they let nobody in");
                    assert_eq!(
                        dead,
                        file == Path::new(KEY_SECRET) && answers != sample.expected,
                        "{place}: {said}"
                    );
                    true
                }
                Err(_) => {
                    let said = format!("{:?}", server.seen);
                    assert!(!server.ended().unwrap().success(), "{place}: {said}");
                    names(&said, &data, &place);
                    refuses_to_begin(&data, &place);
                    false
                }
            };
            told.entry(file.display().to_string()).or_default()[usize::from(same)] += 1;
        }
    }
    for (file, [refused, same]) in &told {
        println!("{file}: {refused} refused by name, {same} answered as before");
    }
    let all: usize = told.values().flatten().sum();
    println!("{all} damages, answered otherwise = 0");
    assert!(all > 40);
}

/// Byte for byte as before; or, with another secret for keys, nothing at all.
fn compare(expected: &Answers, answers: &Answers, file: &Path, place: &str) {
    if file == Path::new(KEY_SECRET)
        && answers.values().all(|answer| answer == &Err("KEY_UNKNOWN".to_owned()))
    {
        return;
    }
    for (question, answer) in expected {
        let found = &answers[question];
        assert!(answer == found, "{place}: {question} is answered otherwise: {found:?}");
    }
}

/// The text of a refusal says where to look.
fn names(said: &str, data: &Path, place: &str) {
    let text = said.split("error: ").nth(1).unwrap_or_else(|| panic!("{place}: no text: {said}"));
    let directory = data.to_str().unwrap();
    let words = ["entry", "entries", "line ", "checkpoint", directory];
    assert!(words.iter().any(|word| text.contains(word)), "{place}: it names nothing: {text}");
}

/// A damaged dataset is not mistaken for a place to begin one.
fn refuses_to_begin(data: &Path, place: &str) {
    let before = files(data);
    let begun =
        run(&["serve", "--data", data.to_str().unwrap(), "--listen", "127.0.0.1:0", "--init"]).unwrap();
    assert_eq!(begun.status.code(), Some(1), "{place}: {begun:?}");
    let after: Vec<_> = files(data).into_iter().filter(|file| !file.starts_with("store")).collect();
    let before: Vec<_> = before.into_iter().filter(|file| !file.starts_with("store")).collect();
    assert!(after.iter().all(|file| before.contains(file) || file == Path::new(LOCK)), "{place}: {after:?}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn all_rolled_back_together_is_shown_by_a_checkpoint_that_was_given_out() {
    let sample = Sample::new().await;
    let kept = sample.root.path().join("kept");
    fs::write(&kept, &sample.checkpoint).unwrap();
    let verify = |data: &Path| {
        run(&["audit", "verify", data.to_str().unwrap(), "--checkpoint", kept.to_str().unwrap()]).unwrap()
    };
    let verified = verify(&sample.now());
    assert!(verified.status.success(), "{verified:?}");
    for revision in 1..REVISIONS {
        let older = sample.at(revision);
        let verified = verify(&older);
        assert_eq!(verified.status.code(), Some(1), "{verified:?}");
        assert!(verified.err.contains("entries"), "{verified:?}");
        // By itself it is whole: nothing in it could tell.
        let (served, _) = start(&older, &[]).serving().unwrap();
        assert_eq!(served, revision);
        // The log alone, with the checkpoints that are known, does not start.
        let mixed = sample.copy();
        fs::remove_dir_all(mixed.join("store")).unwrap();
        fs::remove_dir_all(mixed.join("log")).unwrap();
        copy(&older.join("log"), &mixed.join("log"));
        fs::remove_dir_all(mixed.join("log/store")).unwrap();
        let mut server = start(&mixed, &[]);
        assert!(server.serving().is_err(), "the log was rolled back behind its checkpoints and is served");
        assert!(format!("{:?}", server.seen).contains("checkpoint"), "{:?}", server.seen);
    }
}
