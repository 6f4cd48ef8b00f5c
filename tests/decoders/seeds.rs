//! The seeds of the fuzzer: each is held, and each still reaches what it was written for.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use crate::targets;

/// All seeds together: they are in every checkout, and a fuzzer finds the rest by itself.
const MOST_BYTES: usize = 200_000;

/// The seeds of a target, by name.
pub(crate) fn of(target: &str) -> BTreeMap<String, Vec<u8>> {
    let directory = Path::new(env!("CARGO_MANIFEST_DIR")).join("fuzz/corpus").join(target);
    let files = fs::read_dir(&directory).unwrap_or_else(|error| panic!("{}: {error}", directory.display()));
    let files = files.map(|file| file.unwrap());
    files.map(|file| (file.file_name().into_string().unwrap(), fs::read(file.path()).unwrap())).collect()
}

#[test]
fn every_seed_is_held() {
    for (target, hold) in targets::ALL {
        let seeds = of(target);
        assert!(!seeds.is_empty(), "`{target}` has no seeds");
        for (name, seed) in seeds {
            eprintln!("{target}/{name}");
            hold(&seed);
        }
    }
}

#[test]
fn seeds_are_small_and_belong_to_a_target() {
    let corpus = Path::new(env!("CARGO_MANIFEST_DIR")).join("fuzz/corpus");
    for directory in fs::read_dir(corpus).unwrap() {
        let name = directory.unwrap().file_name().into_string().unwrap();
        assert!(targets::ALL.iter().any(|(target, _)| *target == name), "`{name}` is no target");
    }
    let bytes: usize =
        targets::ALL.iter().flat_map(|(target, _)| of(target)).map(|(_, seed)| seed.len()).sum();
    assert!(bytes <= MOST_BYTES, "{bytes} bytes of seeds");
}
