//! What every keeper of checkpoints does: one suite, run against each.
//!
//! A case panics when the keeper does not conform, as a test does; nothing else calls this module.

use super::{ok, wrong};
use crate::{Checkpoint, CheckpointError, Checkpoints, Digest, KeepError, Kept, Origin, Signer};

/// A case and its name.
type Case = (&'static str, fn(&dyn Checkpoints));

const CASES: &[Case] = &[
    ("a new keeper has none", a_new_keeper_has_none),
    ("what is kept is read back in order", what_is_kept_is_read_back),
    ("notes keep their bytes", notes_keep_their_bytes),
    ("what is no checkpoint is refused", what_is_no_checkpoint_is_refused),
    ("the same may be kept twice", the_same_may_be_kept_twice),
    ("several threads may keep", several_threads_may_keep),
];

/// Runs every case, each against a new empty keeper, and returns how many ran.
///
/// # Panics
/// When a case fails.
pub fn run(make: impl Fn() -> Box<dyn Checkpoints>) -> usize {
    let mut ran = 0;
    for (name, case) in CASES {
        tracing::info!(name, "conformance case");
        case(&*make());
        ran += 1;
    }
    assert_eq!(ran, CASES.len());
    ran
}

/// An unsigned checkpoint of a log of `size` entries.
#[must_use]
pub fn sample(size: u64) -> String {
    checkpoint(size).encode_unsigned()
}

fn a_new_keeper_has_none(keeper: &dyn Checkpoints) {
    assert_eq!(keeper.latest(), None);
    let list = ok(keeper.all());
    assert!(list.kept.is_empty() && list.damaged.is_empty());
}

fn what_is_kept_is_read_back(keeper: &dyn Checkpoints) {
    for size in 0..50 {
        ok(keeper.append(&sample(size)));
        assert_eq!(keeper.latest(), Some(Kept { note: sample(size), checkpoint: checkpoint(size) }));
    }
    let list = ok(keeper.all());
    assert!(list.kept.iter().map(|kept| kept.checkpoint.size).eq(0..50));
    assert!(list.damaged.is_empty());
}

fn notes_keep_their_bytes(keeper: &dyn Checkpoints) {
    // A signed note has an em dash, so that its bytes are not all ASCII, and foreign signatures may follow.
    let note = checkpoint(3).encode_signed(&ok(Signer::new("schlüssel\"\\", [1; 32])));
    let cosigned = note.clone() + &ok(Signer::new("other", [2; 32])).sign("something else").to_string();
    for note in [&note, &cosigned] {
        ok(keeper.append(note));
    }
    let notes: Vec<String> = ok(keeper.all()).kept.into_iter().map(|kept| kept.note).collect();
    assert_eq!(notes, [note, cosigned]);
}

fn what_is_no_checkpoint_is_refused(keeper: &dyn Checkpoints) {
    ok(keeper.append(&sample(1)));
    for bad in ["", "text\n\n", &sample(2).replace("revision", "version")] {
        match keeper.append(bad) {
            Err(KeepError::Invalid(CheckpointError::Note(_) | CheckpointError::TooShort)) => {}
            Err(KeepError::Invalid(CheckpointError::Revision { .. })) => assert!(bad.contains("version")),
            other => wrong("a refusal", other),
        }
    }
    ok(keeper.append(&sample(3)));
    assert!(ok(keeper.all()).kept.iter().map(|kept| kept.checkpoint.size).eq([1, 3]));
}

fn the_same_may_be_kept_twice(keeper: &dyn Checkpoints) {
    ok(keeper.append(&sample(1)));
    ok(keeper.append(&sample(1)));
    assert_eq!(ok(keeper.all()).kept.len(), 2);
}

fn several_threads_may_keep(keeper: &dyn Checkpoints) {
    std::thread::scope(|scope| {
        for thread in 0..4 {
            scope.spawn(move || (0..10).for_each(|place| ok(keeper.append(&sample(thread * 10 + place)))));
        }
    });
    let mut sizes: Vec<u64> = ok(keeper.all()).kept.iter().map(|kept| kept.checkpoint.size).collect();
    sizes.sort_unstable();
    assert!(sizes.into_iter().eq(0..40));
}

fn checkpoint(size: u64) -> Checkpoint {
    Checkpoint {
        origin: ok(Origin::of("conformance")),
        size,
        root: Digest::of(&size.to_be_bytes()),
        revision: size / 2,
        content_hash: Digest::of(b"content"),
    }
}
