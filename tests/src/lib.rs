//! What the test files of this package share.

pub mod binary;
pub mod change;
pub mod keys;
pub mod question;
pub mod raw;
pub mod refused;
pub mod rolling;
pub mod service;
pub mod tree;
