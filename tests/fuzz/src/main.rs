//! The fuzzer: libFuzzer over one target, which the environment variable `FUZZ_TARGET` names.
//!
//! One program has every target, because linking takes longer than most of them. `tests/fuzz/run` builds and runs it.
#![no_main]

mod targets;

use std::sync::LazyLock;

use libfuzzer_sys::fuzz_target;

static TARGET: LazyLock<fn(&[u8])> = LazyLock::new(|| {
    let name = std::env::var("FUZZ_TARGET").unwrap_or_default();
    let found = targets::ALL.iter().find(|(known, _)| *known == name);
    let known: Vec<&str> = targets::ALL.iter().map(|(known, _)| *known).collect();
    found.map_or_else(
        || panic!("FUZZ_TARGET is `{name}`, not one of {}", known.join(", ")),
        |(_, target)| *target,
    )
});

fuzz_target!(|bytes: &[u8]| TARGET(bytes));
