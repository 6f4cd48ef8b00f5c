//! Keys, without their texts, and backups.

use std::path::Path;

use dashwright_api::v1;
use dashwright_log::TrailReport;

use super::curation::repeated;
use super::lists::count;
use super::page::Page;
use super::terms;
use crate::dataset::Restored;

/// The width of labels.
const LABEL: usize = 11;

/// The keys, and what was refused.
pub(crate) fn keys(answer: &v1::ListKeysResponse, columns: usize) -> String {
    let mut page = Page::new(columns);
    let rows = answer.keys.iter().map(|key| {
        let uses =
            if key.uses == 0 { String::new() } else { format!("{}, last {}", key.uses, key.last_used_at) };
        vec![key.key_id.clone(), key.holder.clone(), roles(key), state(key), uses]
    });
    page.table(&["key", "holder", "roles", "state", "uses since the start"], rows.collect());
    if answer.keys.is_empty() {
        page.line(0, "no key was made yet: whoever calls from the server's own machine may do everything");
    }
    let mut refused: Vec<_> = answer.refused.iter().filter(|(_, calls)| **calls > 0).collect();
    refused.sort();
    if !refused.is_empty() {
        page.heading("Calls whose key was not taken since the start");
        page.table(
            &["cause", "calls"],
            refused.into_iter().map(|(cause, calls)| vec![cause.clone(), calls.to_string()]).collect(),
        );
    }
    page.finish()
}

/// A key that was made; its text is printed apart, or is in the file.
pub(crate) fn key_made(answer: &v1::CreateKeyResponse, file: Option<&Path>, columns: usize) -> String {
    let mut page = Page::new(columns);
    about(&mut page, &answer.key.clone().unwrap_or_default());
    repeated(&mut page, answer.repeated);
    page.line(
        0,
        &match file {
            Some(file) => format!("its text is in `{}`, which only its owner can read", file.display()),
            None => "its text is told this once and nowhere kept:".to_owned(),
        },
    );
    page.finish()
}

/// A key that was ended.
pub(crate) fn key_revoked(answer: &v1::RevokeKeyResponse, columns: usize) -> String {
    let mut page = Page::new(columns);
    about(&mut page, &answer.key.clone().unwrap_or_default());
    repeated(&mut page, answer.repeated);
    page.finish()
}

/// A backup that was received and verified.
pub(crate) fn backed_up(report: &TrailReport, file: &Path, columns: usize) -> String {
    let mut page = Page::new(columns);
    let TrailReport { header, entries, bytes, head, root, note } = report;
    page.heading(&format!("{} entries in `{}`, all verified", entries, file.display()));
    page.labelled(2, "incarnation", LABEL, &header.incarnation);
    page.labelled(2, "made", LABEL, &header.made);
    page.labelled(2, "bytes", LABEL, &bytes.to_string());
    page.labelled(2, "head", LABEL, &head.to_string());
    page.labelled(2, "root", LABEL, &root.to_string());
    page.heading("Checkpoint of these entries: keep it elsewhere");
    page.finish() + note
}

/// A data directory that was made from a backup.
pub(crate) fn restored(directory: &Path, done: &Restored, columns: usize) -> String {
    let mut page = Page::new(columns);
    let Restored { entries, made, before, incarnation, revision, content, keys } = done;
    page.heading(&format!("{} is revision {revision} of the backup, verified", directory.display()));
    page.labelled(
        2,
        "entries",
        LABEL,
        &format!("{entries} of the backup, made {made}, and 1 that tells of this"),
    );
    page.labelled(2, "content", LABEL, content);
    page.labelled(2, "was", LABEL, before);
    page.labelled(2, "is now", LABEL, incarnation);
    page.heading("From here on");
    page.line(
        2,
        "Tokens of the revisions up to here stay valid; what is published from now on is another history.",
    );
    if *keys > 0 {
        let keys = count(*keys as u64, "key");
        page.line(
            2,
            &format!(
                "{keys} of the backup can not be used here, because the secret behind them is in no backup: put the file \
                 `key-secret` of the old directory in place of the new one, or make a key with `dashwright key new --data DIR`."
            ),
        );
    }
    page.line(2, &format!("Serve it with `dashwright serve --data {}`.", directory.display()));
    page.finish()
}

fn about(page: &mut Page, key: &v1::Key) {
    page.heading(&format!("Key {}", key.key_id));
    page.labelled(2, "holder", LABEL, &key.holder);
    page.labelled(2, "roles", LABEL, &roles(key));
    page.labelled(2, "made", LABEL, &key.created_at);
    page.labelled(2, "state", LABEL, &state(key));
    if key.uses > 0 {
        let uses = count(key.uses, "call");
        page.labelled(2, "used", LABEL, &format!("{uses} since the start, last {}", key.last_used_at));
    }
}

fn roles(key: &v1::Key) -> String {
    key.roles().map(terms::role).collect::<Vec<_>>().join(", ")
}

fn state(key: &v1::Key) -> String {
    let v1::Key { expires_at, revoked_at, live, .. } = key;
    match (revoked_at.as_str(), expires_at.as_str(), live) {
        ("", "", true) => "live".to_owned(),
        ("", expires, true) => format!("live until {expires}"),
        ("", "", false) => "not taken".to_owned(),
        ("", expires, false) => format!("ended {expires}"),
        (revoked, _, _) => format!("revoked {revoked}"),
    }
}
