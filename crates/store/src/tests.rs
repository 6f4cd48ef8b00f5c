//! The store against its own rules, and against flipped, cut, missing and foreign files.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use dashwright_log::{Digest, Head, Sequence};

use crate::*;

/// What a store should hold.
type Model = BTreeMap<(Space, Vec<u8>), Vec<u8>>;

fn head(sequence: u64) -> Head {
    Head { sequence: Sequence(sequence), digest: Digest::of(&sequence.to_be_bytes()) }
}

fn open(directory: &Path) -> Store {
    let Opened { store, report } = Store::open(directory).unwrap();
    assert!(report.set_aside.is_none(), "{report:?}");
    store
}

/// Puts, overwrites and deletes over several entries, on the store and on a plain map.
fn fill(store: &Store, entries: u64) -> Model {
    fill_and_keep(store, entries, 1).pop().unwrap()
}

/// The same with values that are `size` times as long, keeping what the store should hold after each entry, from none.
fn fill_and_keep(store: &Store, entries: u64, size: usize) -> Vec<Model> {
    let mut model = Model::new();
    let mut models = vec![model.clone()];
    for entry in 1..=entries {
        let mut changes = Changes::new();
        for place in 0..20_u64 {
            let space = Space::ALL[place as usize % Space::ALL.len()];
            let key = format!("key-{:03}", (entry * 7 + place * 3) % 60).into_bytes();
            if place == 19 {
                changes.delete(space, key.clone());
                model.remove(&(space, key));
            } else {
                let value = format!("value {entry} {place} ")
                    .repeat((place as usize % 5) * 8 * size + 1)
                    .into_bytes();
                changes.put(space, key.clone(), value.clone());
                model.insert((space, key), value);
            }
        }
        store.apply(head(entry), &changes).unwrap();
        models.push(model.clone());
    }
    models
}

fn content(store: &Store) -> Result<Model, StoreError> {
    let mut found = Model::new();
    for space in Space::ALL {
        store.for_each(space, |key, value| {
            found.insert((space, key.to_vec()), value.to_vec());
        })?;
    }
    Ok(found)
}

#[test]
fn a_new_store_is_empty() {
    let root = tempfile::tempdir().unwrap();
    let store = open(&root.path().join("store"));
    assert_eq!(store.applied(), None);
    assert_eq!(store.get(Space::Record, b"key").unwrap(), None);
    assert!(content(&store).unwrap().is_empty());
}

#[test]
fn state_survives_a_restart() {
    let root = tempfile::tempdir().unwrap();
    let store = open(root.path());
    let model = fill(&store, 30);
    assert_eq!(content(&store).unwrap(), model);
    drop(store);
    let store = open(root.path());
    assert_eq!(store.applied(), Some(head(30)));
    assert_eq!(content(&store).unwrap(), model);
    for space in Space::ALL {
        let expected = model.keys().filter(|(of, _)| *of == space).count();
        assert!(expected > 0);
        assert_eq!(store.count(space), expected as u64);
    }
    for ((space, key), value) in &model {
        assert_eq!(store.get(*space, key).unwrap().as_ref(), Some(value));
    }
}

#[test]
fn entries_apply_forwards_only_and_may_change_nothing() {
    let root = tempfile::tempdir().unwrap();
    let store = open(root.path());
    store.apply(head(3), &Changes::new()).unwrap();
    let stale = store.apply(head(3), &Changes::new());
    assert!(matches!(stale, Err(StoreError::NotBeyond { given, applied }) if given == applied));
    store.apply(head(5), &Changes::new()).unwrap();
    assert_eq!(store.applied(), Some(head(5)));
}

#[test]
fn sizes_are_limited_and_a_refused_entry_changes_nothing() {
    let root = tempfile::tempdir().unwrap();
    let store = open(root.path());
    let mut changes = Changes::new();
    changes.put(Space::Record, "a", "kept whole");
    changes.put(Space::Record, "b", vec![7; MAX_VALUE_BYTES + 1]);
    let refused = store.apply(head(1), &changes);
    assert!(matches!(refused, Err(StoreError::LargeValue { bytes, .. }) if bytes == MAX_VALUE_BYTES + 1));
    assert_eq!((store.applied(), store.get(Space::Record, b"a").unwrap()), (None, None));
    changes.put(Space::Record, "b", vec![7; MAX_VALUE_BYTES]);
    changes.put(Space::Record, vec![b'k'; MAX_KEY_BYTES], "");
    store.apply(head(1), &changes).unwrap();
    assert_eq!(store.get(Space::Record, b"b").unwrap().unwrap().len(), MAX_VALUE_BYTES);
    changes.put(Space::Record, vec![b'k'; MAX_KEY_BYTES + 1], "");
    assert!(matches!(store.apply(head(2), &changes), Err(StoreError::LongKey { .. })));
    store.verify(Space::Record).unwrap();
}

#[test]
fn scans_keep_to_space_prefix_and_place() {
    let root = tempfile::tempdir().unwrap();
    let store = open(root.path());
    let mut changes = Changes::new();
    for key in ["a", "a1", "a2", "a2\0", "a3", "b"] {
        changes.put(Space::Version, key, key);
    }
    changes.put(Space::Record, "a9", "other");
    changes.put(Space::Draft, "a0", "other");
    store.apply(head(1), &changes).unwrap();
    let scan = |prefix: &str, after: Option<&str>, limit| {
        let items = store.scan(Space::Version, prefix.as_bytes(), after.map(str::as_bytes), limit).unwrap();
        items
            .into_iter()
            .map(|(key, value)| {
                assert_eq!(key, value);
                String::from_utf8(key).unwrap()
            })
            .collect::<Vec<_>>()
    };
    assert_eq!(scan("", None, 99), ["a", "a1", "a2", "a2\0", "a3", "b"]);
    assert_eq!(scan("a", None, 2), ["a", "a1"]);
    assert_eq!(scan("a", Some("a1"), 2), ["a2", "a2\0"]);
    assert_eq!(scan("a", Some("a2"), 9), ["a2\0", "a3"]);
    assert_eq!(scan("b", Some("a1"), 9), ["b"], "a place before the prefix");
    assert_eq!(scan("a", Some("a3"), 9), [""; 0]);
    assert_eq!(scan("", None, 0), [""; 0]);
    let last = |prefix: &str, most: &str| {
        let item = store.last(Space::Version, prefix.as_bytes(), most.as_bytes()).unwrap();
        item.map(|(key, _)| String::from_utf8(key).unwrap())
    };
    assert_eq!(last("a", "a25").as_deref(), Some("a2\0"));
    assert_eq!(last("a", "a2").as_deref(), Some("a2"));
    assert_eq!(last("a3", "a2"), None);
    assert_eq!(last("", "A"), None, "the item before belongs to another space");
}

#[test]
fn clearing_begins_anew() {
    let root = tempfile::tempdir().unwrap();
    let mut store = open(&root.path().join("store"));
    fill(&store, 5);
    store.clear().unwrap();
    assert_eq!(store.applied(), None);
    assert!(content(&store).unwrap().is_empty());
    let model = fill(&store, 3);
    drop(store);
    assert_eq!(content(&open(&root.path().join("store"))).unwrap(), model);
}

#[test]
fn an_unfinished_snapshot_is_deleted() {
    let root = tempfile::tempdir().unwrap();
    let directory = root.path().join("store");
    let model = fill(&open(&directory), 5);
    let unfinished = directory.join("snap.00000000000001A4.generating");
    fs::write(&unfinished, "cut sho").unwrap();
    let Opened { store, report } = Store::open(&directory).unwrap();
    assert_eq!((report.unfinished_snapshots, report.set_aside.is_none()), (1, true));
    assert!(!unfinished.exists());
    assert_eq!(content(&store).unwrap(), model);
}

#[test]
fn a_store_that_is_open_elsewhere_is_left_alone() {
    let root = tempfile::tempdir().unwrap();
    let directory = root.path().join("store");
    let store = open(&directory);
    let model = fill(&store, 2);
    assert!(matches!(Store::open(&directory), Err(StoreError::InUse { .. })));
    assert_eq!(content(&store).unwrap(), model);
    assert_eq!(fs::read_dir(root.path()).unwrap().count(), 1);
}

#[test]
fn the_damaged_are_kept_up_to_a_bound() {
    let root = tempfile::tempdir().unwrap();
    let directory = root.path().join("store");
    for round in 1..=MAX_KEPT_ASIDE + 2 {
        fs::create_dir_all(&directory).unwrap();
        fs::write(directory.join("conf"), "no configuration").unwrap();
        let Opened { store, report } = Store::open(&directory).unwrap();
        let (_, aside) = report.set_aside.unwrap();
        assert_eq!(aside, root.path().join(format!("store.damaged-{round}")));
        fill(&store, 1);
        drop(store);
        fs::remove_dir_all(&directory).unwrap();
    }
    assert_eq!(fs::read_dir(root.path()).unwrap().count(), MAX_KEPT_ASIDE);
}

#[test]
fn a_file_in_the_place_of_the_directory_is_set_aside() {
    let root = tempfile::tempdir().unwrap();
    let directory = root.path().join("store");
    fs::write(&directory, "not a directory").unwrap();
    let Opened { store, report } = Store::open(&directory).unwrap();
    assert!(report.set_aside.is_some());
    assert_eq!(fs::read(root.path().join("store.damaged-1")).unwrap(), b"not a directory");
    fill(&store, 1);
}

#[test]
fn items_that_vanish_or_change_places_show() {
    let root = tempfile::tempdir().unwrap();
    let model = fill(&open(root.path()), 10);
    let key = |space: Space| model.keys().find(|(of, _)| *of == space).unwrap().1.clone();
    let (one, two) =
        (Space::Record.full_key(&key(Space::Record)), Space::Version.full_key(&key(Space::Version)));

    let with = |act: &dyn Fn(&sled::Db)| {
        let db = sled::open(root.path()).unwrap();
        act(&db);
        drop(db);
        open(root.path())
    };
    let value = sled::open(root.path()).unwrap().get(&one).unwrap().unwrap().to_vec();
    let gone = with(&|db| drop(db.remove(&one).unwrap()));
    assert!(matches!(
        gone.verify(Space::Record),
        Err(StoreError::Incomplete { space: Space::Record, expected, found }) if expected == found + 1
    ));
    gone.verify(Space::Version).unwrap();
    drop(gone);
    let moved = with(&|db| drop(db.insert(&two, value.clone()).unwrap()));
    let error = moved.get(Space::Version, &two[1..]).unwrap_err();
    assert!(matches!(error, StoreError::Damaged { space: Space::Version, .. }));
    drop(moved);
    let mended = with(&|db| drop(db.insert(&one, value.clone()).unwrap()));
    mended.verify(Space::Record).unwrap();
    drop(mended);

    let db = sled::open(root.path()).unwrap();
    db.remove([0]).unwrap();
    drop(db);
    let report = Store::open(root.path()).unwrap().report;
    assert!(matches!(report.set_aside, Some((Doubt::NoLedger, _))), "{report:?}");
}

/// A newer version wrote it: the log says the same, so that it is set aside whole and filled anew from there.
#[test]
fn a_store_of_a_newer_layout_is_set_aside_as_it_was() {
    let root = tempfile::tempdir().unwrap();
    let directory = root.path().join("store");
    fill(&open(&directory), 3);
    let stored = crate::ledger::Ledger { applied: head(3), totals: BTreeMap::new() }.encode();
    let (content, _) = crate::value::unwrap(0, &[], &stored).unwrap();
    let mut content = content.to_vec();
    content[0] += 1;
    let newer = crate::value::wrap(0, &[], &content).0;
    let db = sled::open(&directory).unwrap();
    db.insert([0], newer.clone()).unwrap();
    drop(db);
    let Opened { store, report } = Store::open(&directory).unwrap();
    let Some((Doubt::DamagedLedger, aside)) = report.set_aside else { panic!("{report:?}") };
    assert_eq!(store.applied(), None);
    drop(store);
    assert_eq!(sled::open(aside).unwrap().get([0]).unwrap().unwrap(), newer);
}

/// What a damaged directory turned out as.
#[derive(Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Outcome {
    /// The database panicked while it opened.
    Panicked,
    SetAside,
    Empty,
    Refused,
    Older,
    Identical,
}

/// Opens what damage has left. The one thing that must never come out is a head with other content than it had.
fn outcome(directory: &Path, models: &[Model]) -> Outcome {
    let Opened { store, report } = Store::open(directory).unwrap();
    if let Some((doubt, _)) = report.set_aside {
        assert_eq!(store.applied(), None);
        return if matches!(doubt, Doubt::Panicked) { Outcome::Panicked } else { Outcome::SetAside };
    }
    let Some(applied) = store.applied() else { return Outcome::Empty };
    let Ok(found) = content(&store) else { return Outcome::Refused };
    let place = applied.sequence.0 as usize;
    assert_eq!(applied, head(applied.sequence.0));
    assert!(found == models[place], "other content after {place} entries");
    // The caller finds an older head in the log and applies what follows.
    if place + 1 < models.len() { Outcome::Older } else { Outcome::Identical }
}

fn files(directory: &Path) -> Vec<PathBuf> {
    let mut files = Vec::new();
    for entry in fs::read_dir(directory).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() { files.extend(self::files(&path)) } else { files.push(path) }
    }
    files.sort();
    files
}

fn copy(from: &Path, to: &Path) {
    for file in files(from) {
        let target = to.join(file.strip_prefix(from).unwrap());
        fs::create_dir_all(target.parent().unwrap()).unwrap();
        fs::copy(&file, target).unwrap();
    }
}

/// Damages a copy of a store and counts what comes of it.
fn damage(root: &Path, original: &Path, models: &[Model], case: &str, act: impl FnOnce(&Path)) -> Outcome {
    let directory = root.join(case).join("store");
    copy(original, &directory);
    act(&directory);
    let outcome = outcome(&directory, models);
    fs::remove_dir_all(root.join(case)).unwrap();
    outcome
}

#[test]
fn flipped_bytes_are_noticed_or_harmless() {
    // Where things lie in the files depends on when the database's own thread writes; with some layouts no flip makes it panic.
    const LAYOUTS: usize = 10;
    let mut outcomes: BTreeMap<Outcome, usize> = BTreeMap::new();
    for _ in 0..LAYOUTS {
        flip(&mut outcomes);
        if outcomes.contains_key(&Outcome::Panicked) {
            break;
        }
    }
    println!("{outcomes:?}");
    assert!(outcomes.values().sum::<usize>() > 100, "{outcomes:?}");
    assert!(
        outcomes.keys().any(|outcome| *outcome != Outcome::Identical),
        "no flip reached anything: {outcomes:?}"
    );
    // A panic of the database while it opens is one of the things that a start gets over.
    assert!(outcomes.contains_key(&Outcome::Panicked), "{outcomes:?}");
}

/// Flips bytes of a new store, each in a copy of its own.
fn flip(outcomes: &mut BTreeMap<Outcome, usize>) {
    let root = tempfile::tempdir().unwrap();
    let original = root.path().join("original");
    let models = fill_and_keep(&open(&original), 60, 12);
    for file in files(&original) {
        let bytes = fs::read(&file).unwrap();
        let name = file.strip_prefix(&original).unwrap();
        // The files are mostly zeros that nothing has been written to yet: flip bytes in what has been, and some others.
        let written: Vec<usize> = (0..bytes.len()).filter(|at| bytes[*at] != 0).collect();
        let step = (written.len() / 120).max(1);
        let chosen =
            written.iter().copied().step_by(step).chain((0..bytes.len()).step_by(bytes.len() / 8 + 1));
        for at in chosen {
            let found = damage(root.path(), &original, &models, "flip", |directory| {
                let mut flipped = bytes.clone();
                flipped[at] ^= 1 << (at % 8);
                fs::write(directory.join(name), flipped).unwrap();
            });
            *outcomes.entry(found).or_default() += 1;
        }
    }
}

#[test]
fn cut_missing_and_foreign_files_are_noticed_or_harmless() {
    let root = tempfile::tempdir().unwrap();
    let original = root.path().join("original");
    let models = fill_and_keep(&open(&original), 60, 12);
    for file in files(&original) {
        let bytes = fs::read(&file).unwrap();
        let name = file.strip_prefix(&original).unwrap();
        for length in [0, bytes.len() / 2, bytes.len().saturating_sub(1)] {
            let found = damage(root.path(), &original, &models, "cut", |directory| {
                fs::write(directory.join(name), &bytes[..length]).unwrap();
            });
            println!("{} cut to {length}: {found:?}", name.display());
        }
        let gone = damage(root.path(), &original, &models, "gone", |directory| {
            fs::remove_file(directory.join(name)).unwrap();
        });
        println!("{} gone: {gone:?}", name.display());
        let noise = damage(root.path(), &original, &models, "noise", |directory| {
            let noise: Vec<u8> =
                (0..bytes.len() as u64).map(|at| Digest::of(&at.to_be_bytes()).0[0]).collect();
            fs::write(directory.join(name), noise).unwrap();
        });
        println!("{} overwritten: {noise:?}", name.display());
        if name == Path::new("db") {
            assert_ne!((gone, noise), (Outcome::Identical, Outcome::Identical));
        }
    }
    let stranger = damage(root.path(), &original, &models, "stranger", |directory| {
        fs::write(directory.join("letter.txt"), "dear").unwrap();
    });
    assert_eq!(stranger, Outcome::Identical);
}
