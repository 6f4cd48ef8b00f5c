//! What holds for every decoder of bytes from outside, whatever the bytes: one file a family, each a function that panics
//! where something does not hold. The fuzzer drives them by coverage; `tests/decoders.rs` drives the same ones by their seeds
//! and by chance in the ordinary test run.

mod datasets;
mod directories;
mod histories;
mod house;
mod identities;
mod lines;
mod requests;
mod texts;
mod trails;
mod vehicles;

/// A family of decoders.
pub(crate) type Target = (&'static str, fn(&[u8]));

/// Every family. Its seeds stand in `tests/fuzz/corpus/<name>/`.
pub(crate) const ALL: &[Target] = &[
    ("datasets", datasets::hold),
    ("directories", directories::hold),
    ("histories", histories::hold),
    ("identities", identities::hold),
    ("lines", lines::hold),
    ("requests", requests::hold),
    ("tables", lines::tables_hold),
    ("texts", texts::hold),
    ("trails", trails::hold),
    ("vehicles", vehicles::hold),
];
