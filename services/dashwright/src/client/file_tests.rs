//! Files that are there as a whole or not at all.

use super::*;

fn names(directory: &Path) -> Vec<String> {
    let names = fs::read_dir(directory).unwrap().map(|entry| entry.unwrap().file_name());
    let mut names: Vec<_> = names.map(|name| name.into_string().unwrap()).collect();
    names.sort();
    names
}

#[test]
fn a_file_appears_when_it_is_finished_and_replaces_what_was_there() {
    let scratch = tempfile::tempdir().unwrap();
    let path = scratch.path().join("export.jsonl");
    fs::write(&path, "before").unwrap();
    let mut pending = Pending::begin(&path, Existing::Replace, Readers::Everybody).unwrap();
    pending.write(b"after").unwrap();
    assert_eq!(fs::read_to_string(&path).unwrap(), "before");
    let partial = names(scratch.path()).into_iter().find(|name| name != "export.jsonl").unwrap();
    assert!(partial.starts_with("export.jsonl.") && partial.ends_with(".partial"), "{partial}");
    pending.finish().unwrap();
    assert_eq!(fs::read_to_string(&path).unwrap(), "after");
    assert_eq!(names(scratch.path()), ["export.jsonl"]);
}

#[test]
fn a_file_that_is_given_up_leaves_nothing() {
    let scratch = tempfile::tempdir().unwrap();
    let path = scratch.path().join("export.jsonl");
    let mut pending = Pending::begin(&path, Existing::Replace, Readers::Everybody).unwrap();
    pending.write(b"half").unwrap();
    drop(pending);
    assert_eq!(names(scratch.path()), [""; 0]);
}

#[test]
fn a_file_that_must_stay_stays_also_when_it_comes_later() {
    let scratch = tempfile::tempdir().unwrap();
    let path = scratch.path().join("key");
    let mut pending = Pending::begin(&path, Existing::Keep, Readers::Owner).unwrap();
    pending.write(b"new").unwrap();
    fs::write(&path, "other").unwrap();
    assert!(matches!(pending.finish(), Err(KeepingFailure::Exists { .. })));
    assert_eq!(fs::read_to_string(&path).unwrap(), "other");
    assert_eq!(names(scratch.path()), ["key"]);
    let again = Pending::begin(&path, Existing::Keep, Readers::Owner);
    assert!(matches!(again, Err(KeepingFailure::Exists { .. })));
}

#[test]
fn what_can_not_be_written_is_told_at_the_beginning() {
    let scratch = tempfile::tempdir().unwrap();
    for path in [scratch.path().to_owned(), scratch.path().join("missing").join("file")] {
        let begun = Pending::begin(&path, Existing::Replace, Readers::Everybody);
        assert!(matches!(begun, Err(KeepingFailure::Unwritable { .. })), "{}", path.display());
    }
}

#[cfg(unix)]
#[test]
fn a_file_for_its_owner_is_readable_by_nobody_else_from_the_beginning() {
    use std::os::unix::fs::PermissionsExt as _;
    let scratch = tempfile::tempdir().unwrap();
    let path = scratch.path().join("key");
    let pending = Pending::begin(&path, Existing::Keep, Readers::Owner).unwrap();
    let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode() & 0o777;
    let partial = scratch.path().join(names(scratch.path()).concat());
    assert_eq!(mode(&partial), 0o600);
    pending.finish().unwrap();
    assert_eq!(mode(&path), 0o600);
}

#[test]
fn what_was_written_can_be_read_before_it_is_in_its_place() {
    let scratch = tempfile::tempdir().unwrap();
    let path = scratch.path().join("backup");
    let mut pending = Pending::begin(&path, Existing::Keep, Readers::Owner).unwrap();
    pending.write(b"all of it").unwrap();
    assert_eq!(io::read_to_string(pending.written().unwrap()).unwrap(), "all of it");
}
