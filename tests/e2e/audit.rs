//! The trail over the wire: what was done by whom, what differs, proofs, checkpoints, watches, backups.

use std::time::Duration;

use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use dashwright_api::v1;
use dashwright_api::v1::audit_service_client::AuditServiceClient;
use dashwright_api::v1::curation_service_client::CurationServiceClient;
use dashwright_api::v1::key_service_client::KeyServiceClient;
use dashwright_log::{Digest, leaf_hash, read_trail, verify_consistency, verify_inclusion};
use dashwright_tests::change::{change, draft, make, publish};
use dashwright_tests::refused::Refused;
use dashwright_tests::service::{Home, Running};
use sha2::{Digest as _, Sha256};
use tonic::Code;
use tonic::transport::Channel;
use v1::get_proof_request::Proof;
use v1::watch_revisions_response::Event;

/// How long a watch is waited for before the test gives up.
const PATIENCE: Duration = Duration::from_secs(20);

fn clients(running: &Running) -> (CurationServiceClient<Channel>, AuditServiceClient<Channel>) {
    let channel = || running.channel.clone();
    (CurationServiceClient::new(channel()), AuditServiceClient::new(channel()))
}

async fn entries(
    audit: &mut AuditServiceClient<Channel>,
    request: v1::ListEntriesRequest,
) -> Vec<(u64, String, u64)> {
    let (mut found, mut page_token) = (Vec::new(), String::new());
    loop {
        let page = v1::ListEntriesRequest { page_size: 2, page_token, ..request.clone() };
        let page = audit.list_entries(page).await.unwrap().into_inner();
        let told = |entry: &v1::TrailEntry| (entry.sequence, entry.kind.clone(), entry.published_in_revision);
        found.extend(page.entries.iter().map(told));
        if page.next_page_token.is_empty() {
            assert_eq!(page.total, found.len() as u64);
            return found;
        }
        page_token = page.next_page_token;
    }
}

fn told(entries: &[(u64, &str, u64)]) -> Vec<(u64, String, u64)> {
    entries.iter().map(|(sequence, kind, revision)| (*sequence, (*kind).to_owned(), *revision)).collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn entries_are_found_by_what_they_concern() {
    let home = Home::new("trail").unwrap();
    let running = Running::start(&home).await.unwrap();
    let (mut curation, mut audit) = clients(&running);
    // 1 the dataset; 2 to 4 and 5 to 7 a draft each, published; 8 and 9 one that stays open.
    publish(&mut curation, vec![make("zz-a", "Zza"), make("zz-b", "Zzb")]).await.unwrap();
    publish(&mut curation, vec![make("zz-a", "Zz A")]).await.unwrap();
    let open = draft(&mut curation, vec![make("zz-b", "Zz B")]).await.unwrap();
    let by = |request: v1::ListEntriesRequest| request;
    let everything = [
        (1, "dataset.init", 0),
        (2, "draft.create", 1),
        (3, "draft.edit", 1),
        (4, "revision.publish", 1),
        (5, "draft.create", 2),
        (6, "draft.edit", 2),
        (7, "revision.publish", 2),
        (8, "draft.create", 0),
        (9, "draft.edit", 0),
    ];
    assert_eq!(entries(&mut audit, by(Default::default())).await, told(&everything));
    let mut reversed = everything;
    reversed.reverse();
    let latest = v1::ListEntriesRequest { latest_first: true, ..Default::default() };
    assert_eq!(entries(&mut audit, latest).await, told(&reversed));
    let of = |record: &str| v1::ListEntriesRequest { record: record.to_owned(), ..Default::default() };
    let edits = |places: &[usize]| told(&places.iter().map(|place| everything[*place]).collect::<Vec<_>>());
    assert_eq!(entries(&mut audit, of("vocabulary/zz-a")).await, edits(&[2, 5]));
    assert_eq!(entries(&mut audit, of("vocabulary/zz-b")).await, edits(&[2, 8]));
    assert_eq!(entries(&mut audit, of("vocabulary/zz")).await, []);
    let kind = |kind: &str| v1::ListEntriesRequest { kind: kind.to_owned(), ..Default::default() };
    assert_eq!(entries(&mut audit, kind("revision.publish")).await, edits(&[3, 6]));
    let of_draft = v1::ListEntriesRequest { draft_id: open, ..Default::default() };
    assert_eq!(entries(&mut audit, of_draft).await, edits(&[7, 8]));
    let actor = |actor: &str| v1::ListEntriesRequest { actor: actor.to_owned(), ..Default::default() };
    assert_eq!(entries(&mut audit, actor("tests")).await, edits(&[0]));
    let both = v1::ListEntriesRequest { kind: "draft.edit".to_owned(), ..actor("this machine") };
    assert_eq!(entries(&mut audit, both).await, edits(&[2, 5, 8]));
    // The clock of the tests stands at 09:05.
    let times = |from: &str, to: &str| v1::ListEntriesRequest {
        from_time: from.to_owned(),
        to_time: to.to_owned(),
        ..Default::default()
    };
    assert_eq!(entries(&mut audit, times("2026-01-31T09:05:00Z", "")).await.len(), 9);
    assert_eq!(entries(&mut audit, times("2026-01-31T09:05:01Z", "")).await.len(), 0);
    assert_eq!(entries(&mut audit, times("", "2026-01-31T09:05:00Z")).await.len(), 0);
    let bad = audit.list_entries(times("yesterday", "")).await.unwrap_err();
    assert_eq!(Refused::of(&bad).paths, ["from_time"]);

    let with = v1::ListEntriesRequest { with_payload: true, ..of("vocabulary/zz-a") };
    let page = audit.list_entries(with).await.unwrap().into_inner();
    let payload: serde_json::Value = serde_json::from_str(&page.entries[1].payload).unwrap();
    assert_eq!(payload["puts"][0]["vocabulary"]["name"], "Zz A");
    assert_eq!(
        (page.entries[0].reason.as_str(), page.entries[0].actor.as_str()),
        ("a test edits", "this machine")
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn revisions_are_listed_and_told_apart_field_by_field() {
    let home = Home::new("diff").unwrap();
    let running = Running::start(&home).await.unwrap();
    let (mut curation, mut audit) = clients(&running);
    publish(&mut curation, vec![make("zz-a", "Zza"), make("zz-b", "Zzb")]).await.unwrap();
    publish(&mut curation, vec![make("zz-a", "Zz A"), make("zz-c", "Zzc")]).await.unwrap();
    let list = v1::ListRevisionsRequest { page_size: 1, page_token: String::new() };
    let first = audit.list_revisions(list.clone()).await.unwrap().into_inner();
    let page_token = first.next_page_token.clone();
    let second =
        audit.list_revisions(v1::ListRevisionsRequest { page_token, ..list }).await.unwrap().into_inner();
    let (two, one) = (&first.revisions[0], &second.revisions[0]);
    assert_eq!(second.next_page_token, "");
    assert_eq!(
        (two.sequence, two.changed_records, two.records, two.reason.as_str()),
        (7, 2, 3, "a test publishes")
    );
    assert_eq!((one.sequence, one.records, one.actor.as_str()), (4, 2, "this machine"));
    let token = |revision: &v1::Revision| revision.revision.clone().unwrap().token;
    let request = v1::DiffRevisionsRequest { from: token(one), to: String::new(), ..Default::default() };
    let diff = audit.diff_revisions(request.clone()).await.unwrap().into_inner();
    assert_eq!((diff.added, diff.deleted, diff.changed), (1, 0, 1));
    let changed = &diff.records[0];
    assert_eq!((changed.key.clone().unwrap().id.as_str(), changed.kind()), ("zz-a", v1::DiffKind::Changed));
    let [field] = changed.fields.as_slice() else { panic!("{changed:?}") };
    assert_eq!(
        (field.path.as_str(), field.before.as_str(), field.after.as_str()),
        ("/name", r#""Zza""#, r#""Zz A""#)
    );
    assert_eq!(diff.records[1].kind(), v1::DiffKind::Added);
    let back = v1::DiffRevisionsRequest { from: token(two), to: token(one), ..Default::default() };
    let back = audit.diff_revisions(back).await.unwrap().into_inner();
    assert_eq!((back.added, back.deleted, back.changed), (0, 1, 1));
    let bad = audit.diff_revisions(v1::DiffRevisionsRequest { from: "x".to_owned(), ..request }).await;
    assert_eq!(Refused::of(&bad.unwrap_err()).reason, "REVISION_TOKEN_INVALID");
}

fn digest(bytes: &[u8]) -> Digest {
    Digest(bytes.try_into().unwrap())
}

#[tokio::test(flavor = "multi_thread")]
async fn proofs_hold_against_the_checkpoints_that_were_given_out() {
    let home = Home::new("proof").unwrap();
    let running = Running::start(&home).await.unwrap();
    let (mut curation, mut audit) = clients(&running);
    let given = publish(&mut curation, vec![make("zz-a", "Zza")]).await.unwrap().checkpoint;
    publish(&mut curation, vec![make("zz-b", "Zzb")]).await.unwrap();
    let now = audit.get_checkpoint(v1::GetCheckpointRequest {}).await.unwrap().into_inner();
    assert!(!now.signed && now.verifier_key.is_empty());
    let (given, now) =
        (dashwright_log::Note::parse(&given).unwrap(), dashwright_log::Note::parse(&now.checkpoint).unwrap());
    let (given, now) = (given.checkpoint(), now.checkpoint());
    assert_eq!((given.size, now.size, given.revision, now.revision), (4, 7, 1, 2));

    let log = running.engine.log().read_from(dashwright_log::Sequence::FIRST, 100).unwrap();
    for stored in &log {
        let inclusion = v1::InclusionProofRequest { sequence: stored.entry.sequence.0, tree_size: 0 };
        let request = v1::GetProofRequest { proof: Some(Proof::Inclusion(inclusion)) };
        let proof = audit.get_proof(request).await.unwrap().into_inner();
        let hashes: Vec<Digest> = proof.hashes.iter().map(|hash| digest(hash)).collect();
        let (leaf, index) = (leaf_hash(&stored.bytes), stored.entry.sequence.0 - 1);
        assert_eq!(digest(&proof.leaf_hash), leaf);
        assert!(verify_inclusion(leaf, index, now.size, now.root, &hashes));
        assert!(!verify_inclusion(leaf, (index + 1) % now.size, now.size, now.root, &hashes));
    }
    let consistency = v1::ConsistencyProofRequest { from_size: given.size, to_size: 0 };
    let request = v1::GetProofRequest { proof: Some(Proof::Consistency(consistency)) };
    let proof = audit.get_proof(request).await.unwrap().into_inner();
    let hashes: Vec<Digest> = proof.hashes.iter().map(|hash| digest(hash)).collect();
    assert_eq!(digest(&proof.from_root), given.root);
    assert!(verify_consistency(given.size, given.root, now.size, now.root, &hashes));

    let beyond = v1::InclusionProofRequest { sequence: 8, tree_size: 0 };
    let request = v1::GetProofRequest { proof: Some(Proof::Inclusion(beyond)) };
    let told = Refused::of(&audit.get_proof(request).await.unwrap_err());
    assert_eq!(
        (told.code, told.reason.as_str(), told.keys()),
        (Code::OutOfRange, "TRAIL_SHORTER", vec!["entries", "wanted"])
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn a_watch_tells_every_revision_and_goes_on_where_it_ended() {
    let home = Home::new("watch").unwrap();
    let running = Running::start(&home).await.unwrap();
    let (mut curation, mut audit) = clients(&running);
    let mut watch = audit.watch_revisions(v1::WatchRevisionsRequest::default()).await.unwrap().into_inner();
    let mut tokens = Vec::new();
    for number in 1..=3 {
        publish(&mut curation, vec![make(&format!("zz-{number}"), &format!("Zz {number}"))]).await.unwrap();
        let told = tokio::time::timeout(PATIENCE, watch.message()).await.unwrap().unwrap().unwrap();
        match told.event.unwrap() {
            Event::Published(revision) => assert_eq!(revision.revision.unwrap().number, number),
            Event::Heartbeat(_) => panic!("a heartbeat in place of revision {number}"),
        }
        tokens.push(told.resume_token);
    }
    // A publish while nobody watches, and a watch that goes on behind the first revision.
    let after = v1::WatchRevisionsRequest { after: tokens[0].clone() };
    let mut resumed = audit.watch_revisions(after).await.unwrap().into_inner();
    for number in 2..=3 {
        let told = resumed.message().await.unwrap().unwrap();
        assert!(
            matches!(told.event, Some(Event::Published(it)) if it.revision.as_ref().unwrap().number == number)
        );
    }
    // A service that goes down says so to those who watch.
    let stopping = running.stop();
    let ended = async { tokio::time::timeout(PATIENCE, resumed.message()).await.unwrap() };
    let (stopped, ended) = tokio::join!(stopping, ended);
    stopped.unwrap();
    assert_eq!(Refused::of(&ended.unwrap_err()).reason, "DRAINING");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_backup_is_a_whole_trail_and_leaves_a_trace() {
    let home = Home::new("backup").unwrap();
    let running = Running::start(&home).await.unwrap();
    let (mut curation, mut audit) = clients(&running);
    publish(&mut curation, vec![make("zz-a", "Zza")]).await.unwrap();
    let mut keys = KeyServiceClient::new(running.channel.clone());
    let request = v1::BackupRequest { reason: "before the holidays".to_owned() };
    let mut stream = keys.backup(request).await.unwrap().into_inner();
    let mut bytes = Vec::new();
    while let Some(piece) = stream.message().await.unwrap() {
        bytes.extend_from_slice(&piece.chunk);
    }
    let mut kinds = Vec::new();
    let report = read_trail(bytes.as_slice(), |stored| {
        kinds.push(stored.entry.kind.to_string());
        std::ops::ControlFlow::Continue(())
    });
    let report = report.unwrap();
    assert_eq!((report.entries, kinds.last().map(String::as_str)), (5, Some("operator.call")));
    let cut = read_trail(&bytes[..bytes.len() - 2], |_| std::ops::ControlFlow::Continue(()));
    assert!(matches!(cut, Err(dashwright_log::TrailError::Incomplete { .. })), "{cut:?}");
    let calls =
        v1::ListEntriesRequest { kind: "operator.call".to_owned(), with_payload: true, ..Default::default() };
    let entry = audit.list_entries(calls).await.unwrap().into_inner().entries.remove(0);
    assert_eq!(
        (entry.reason.as_str(), entry.payload.as_str()),
        ("before the holidays", r#"{"call":"Backup"}"#)
    );
    let told = Refused::of(&keys.backup(v1::BackupRequest::default()).await.unwrap_err());
    assert_eq!(told.paths, ["reason"]);
}

#[tokio::test(flavor = "multi_thread")]
async fn keys_are_made_listed_and_revoked_over_the_wire() {
    let home = Home::new("keys").unwrap();
    let running = Running::start(&home).await.unwrap();
    let mut keys = KeyServiceClient::new(running.channel.clone());
    let new = |holder: &str, role: v1::Role, expires_at: &str| v1::CreateKeyRequest {
        change: change("a key"),
        holder: holder.to_owned(),
        roles: vec![role.into()],
        expires_at: expires_at.to_owned(),
    };
    let told = |status: tonic::Status| Refused::of(&status);
    let first = told(keys.create_key(new("till", v1::Role::Reader, "")).await.unwrap_err());
    assert_eq!((first.code, first.reason.as_str()), (Code::FailedPrecondition, "FIRST_KEY_NOT_OPERATOR"));
    let over =
        told(keys.create_key(new("owner", v1::Role::Operator, "2020-01-01T00:00:00Z")).await.unwrap_err());
    assert_eq!((over.reason.as_str(), over.paths), ("FIELDS_INVALID", vec!["expires_at".to_owned()]));
    let request = new("owner", v1::Role::Operator, "");
    let made = keys.create_key(request.clone()).await.unwrap().into_inner();
    assert!(made.text.starts_with("dwk_") && made.key.as_ref().unwrap().live);

    // From the first key on, a key is needed.
    let without = told(keys.list_keys(v1::ListKeysRequest {}).await.unwrap_err());
    assert_eq!((without.code, without.reason.as_str()), (Code::Unauthenticated, "KEY_MISSING"));
    let with = |text: &str| {
        let bearer: tonic::metadata::MetadataValue<_> = format!("Bearer {text}").parse().unwrap();
        move |mut request: tonic::Request<()>| {
            request.metadata_mut().insert("authorization", bearer.clone());
            Ok(request)
        }
    };
    let mut operator = KeyServiceClient::with_interceptor(running.channel.clone(), with(&made.text));
    let again = operator.create_key(request).await.unwrap().into_inner();
    assert_eq!(
        (again.text.as_str(), again.repeated, &again.key.unwrap().key_id),
        ("", true, &made.key.clone().unwrap().key_id)
    );
    let till = operator.create_key(new("till", v1::Role::Reader, "")).await.unwrap().into_inner();
    operator.create_key(new("till", v1::Role::Reader, "")).await.unwrap();
    let third = told(operator.create_key(new("till", v1::Role::Reader, "")).await.unwrap_err());
    assert_eq!((third.reason.as_str(), third.metadata["holder"].as_str()), ("TOO_MANY_KEYS", "till"));

    let key_id = till.key.unwrap().key_id;
    let revoke = v1::RevokeKeyRequest { change: change("lost"), key_id: key_id.clone() };
    let revoked = operator.revoke_key(revoke.clone()).await.unwrap().into_inner();
    assert!(!revoked.key.as_ref().unwrap().live && !revoked.key.unwrap().revoked_at.is_empty());
    assert!(operator.revoke_key(revoke).await.unwrap().into_inner().repeated);
    let unknown = v1::RevokeKeyRequest { change: change("lost"), key_id: "f".repeat(16) };
    assert_eq!(told(operator.revoke_key(unknown).await.unwrap_err()).reason, "KEY_NOT_FOUND");
    let listed = operator.list_keys(v1::ListKeysRequest {}).await.unwrap().into_inner();
    let live: Vec<(&str, bool)> = listed.keys.iter().map(|key| (key.holder.as_str(), key.live)).collect();
    assert_eq!(live.iter().filter(|(holder, live)| *holder == "till" && *live).count(), 1, "{live:?}");
    assert_eq!(listed.refused.get("missing"), Some(&1), "{:?}", listed.refused);
    let dead = with(&till.text);
    let mut dead = KeyServiceClient::with_interceptor(running.channel.clone(), dead);
    assert_eq!(told(dead.list_keys(v1::ListKeysRequest {}).await.unwrap_err()).reason, "KEY_REVOKED");

    // Keys outlive a restart, and so does the end of one.
    running.stop().await.unwrap();
    let running = Running::start(&home).await.unwrap();
    let mut operator = KeyServiceClient::with_interceptor(running.channel.clone(), with(&made.text));
    assert_eq!(operator.list_keys(v1::ListKeysRequest {}).await.unwrap().into_inner().keys.len(), 3);
    let mut dead = KeyServiceClient::with_interceptor(running.channel.clone(), with(&till.text));
    assert_eq!(told(dead.list_keys(v1::ListKeysRequest {}).await.unwrap_err()).reason, "KEY_REVOKED");
}

/// The form of a page token is no secret: whoever reads the sources makes one whose checksum holds. It may not make the service
/// look through more than there is.
#[tokio::test]
async fn pages_that_nobody_gave_out_are_within_the_trail() {
    let (_home, running) = Running::demo().await.unwrap();
    let (_, mut audit) = clients(&running);
    let all = entries(&mut audit, v1::ListEntriesRequest::default()).await;
    let none = "record: None, actor: None, kind: None, draft: None, from_time: None, to_time: None";
    for end in [u64::MAX, 1 << 40, 1_000] {
        let page_token = forged(end, &format!("entries Filter {{ {none} }} false false"));
        let request =
            v1::ListEntriesRequest { page_token, page_size: 500, ..v1::ListEntriesRequest::default() };
        let page = audit.list_entries(request).await.unwrap().into_inner();
        assert_eq!((page.total, page.entries.len()), (all.len() as u64, all.len()), "{end}");
        let page_token = forged(end, "revisions");
        let request = v1::ListRevisionsRequest { page_token, page_size: 500 };
        let page = audit.list_revisions(request).await.unwrap().into_inner();
        assert_eq!(page.revisions.len(), 1, "{end}");
    }
}

/// A page token as the service makes them, written here once more: form, pin, place, and the beginning of a hash over them and
/// what the request asks for.
fn forged(pin: u64, request: &str) -> String {
    let content = format!("1.{pin}.0");
    let sum = Sha256::new().chain_update(&content).chain_update([0]).chain_update(request).finalize();
    URL_SAFE_NO_PAD.encode(format!("{content}.{}", URL_SAFE_NO_PAD.encode(&sum[..12])))
}
