//! What is received is what was sent, in its order, and bounded.

use super::*;

fn announced(request_id: &str, file: &[u8]) -> Announced {
    Announced { request_id: request_id.to_owned(), bytes: file.len() as u64, content: Digest::of(file) }
}

fn chunk(sequence: u64, offset: u64, data: &[u8]) -> Chunk {
    Chunk { sequence, offset, data: data.to_vec(), sha256: Digest::of(data).0.to_vec() }
}

#[test]
fn a_transfer_goes_on_where_it_ended() {
    let home = tempfile::tempdir().unwrap();
    let imports = Inbox::new(home.path().join("imports"));
    let announced = announced("r1", b"0123456789");
    let mut first = imports.begin(&announced).unwrap();
    first.take(&chunk(0, 0, b"0123")).unwrap();
    assert!(matches!(imports.begin(&announced), Err(ReceiveError::Busy)));
    assert!(matches!(first.check(), Err(ReceiveError::Incomplete { received: 4, bytes: 10 })));
    drop(first);
    // As after a restart.
    let imports = Inbox::new(home.path().join("imports"));
    let mut second = imports.begin(&announced).unwrap();
    assert_eq!(second.received(), 4);
    second.take(&chunk(0, 4, b"456789")).unwrap();
    second.check().unwrap();
    assert_eq!(fs::read(&second.path).unwrap(), b"0123456789");
    second.remove();
    drop(second);
    assert_eq!(imports.begin(&announced).unwrap().received(), 0);
}

#[test]
fn what_is_not_the_next_chunk_is_refused_and_changes_nothing() {
    let home = tempfile::tempdir().unwrap();
    let imports = Inbox::new(home.path().join("imports"));
    let mut receiving = imports.begin(&announced("r1", b"0123456789")).unwrap();
    receiving.take(&chunk(0, 0, b"01")).unwrap();
    for (wrong, at) in
        [(chunk(0, 2, b"23"), (1, 2)), (chunk(1, 0, b"01"), (1, 2)), (chunk(2, 2, b"23"), (1, 2))]
    {
        let error = receiving.take(&wrong).unwrap_err();
        assert!(
            matches!(error, ReceiveError::OutOfPlace { sequence, offset, bytes: 10 } if (sequence, offset) == at),
            "{error}"
        );
    }
    let altered = Chunk { data: b"xx".to_vec(), ..chunk(1, 2, b"23") };
    assert!(matches!(receiving.take(&altered), Err(ReceiveError::AlteredChunk { offset: 2 })));
    let beyond = receiving.take(&chunk(1, 2, b"23456789x"));
    assert!(matches!(beyond, Err(ReceiveError::OutOfPlace { .. })));
    // Each chunk is what it says, and the whole is another one.
    receiving.take(&chunk(1, 2, b"2345678x")).unwrap();
    assert!(matches!(receiving.check(), Err(ReceiveError::AlteredFile)));
    drop(receiving);
    assert_eq!(imports.begin(&announced("r1", b"0123456789")).unwrap().received(), 0);
}

#[test]
fn so_many_are_kept_and_no_longer_than_so() {
    let home = tempfile::tempdir().unwrap();
    let directory = home.path().join("imports");
    let imports = Inbox::new(directory.clone());
    let kept: Vec<_> = (0..MAX_KEPT_IMPORTS)
        .map(|number| imports.begin(&announced(&format!("r{number}"), b"x")).unwrap())
        .collect();
    assert!(matches!(imports.begin(&announced("more", b"x")), Err(ReceiveError::Full)));
    drop(kept);
    assert!(matches!(imports.begin(&announced("more", b"x")), Err(ReceiveError::Full)));
    imports.begin(&announced("r3", b"x")).unwrap();
    // What nobody went on with for long makes room.
    let old = SystemTime::now() - IMPORT_KEPT - Duration::from_secs(1);
    for entry in fs::read_dir(&directory).unwrap().take(2) {
        File::options().append(true).open(entry.unwrap().path()).unwrap().set_modified(old).unwrap();
    }
    imports.begin(&announced("more", b"x")).unwrap();
    assert_eq!(fs::read_dir(&directory).unwrap().count(), MAX_KEPT_IMPORTS - 1);
}

#[test]
fn a_file_for_which_there_is_no_room_is_refused_before_it_is_sent() {
    let home = tempfile::tempdir().unwrap();
    let imports = Inbox::new(home.path().join("imports"));
    let huge = Announced { bytes: u64::MAX / 2, ..announced("r1", b"x") };
    assert!(matches!(imports.begin(&huge), Err(ReceiveError::NoSpace { .. })));
}

#[test]
fn a_disk_that_fills_up_on_the_way_costs_no_byte_that_was_received() {
    let home = tempfile::tempdir().unwrap();
    let imports = Inbox::new(home.path().join("imports"));
    let announced = announced("r1", b"0123456789");
    let mut receiving = imports.begin(&announced).unwrap();
    receiving.take(&chunk(0, 0, b"01")).unwrap();
    // The device of Linux that is always full.
    let full = OpenOptions::new().write(true).open("/dev/full").unwrap();
    let file = std::mem::replace(&mut receiving.file, full);
    let error = receiving.with(&chunk(1, 2, b"2345")).unwrap_err();
    assert!(matches!(&error, ReceiveError::Io(it) if it.kind() == io::ErrorKind::StorageFull), "{error:?}");

    // As when the first two bytes of the chunk had still found room.
    (&file).write_all(b"23").unwrap();
    let mut receiving = imports.begin(&announced).unwrap();
    assert_eq!(receiving.received(), 4);
    receiving.take(&chunk(0, 4, b"456789")).unwrap();
    receiving.check().unwrap();
}
