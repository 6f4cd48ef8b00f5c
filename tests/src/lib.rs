//! What the test files of this package share.

pub mod tree;
