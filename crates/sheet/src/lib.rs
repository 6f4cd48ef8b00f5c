//! Plans on paper.
pub mod words;
