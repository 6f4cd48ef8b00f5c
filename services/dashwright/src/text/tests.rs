//! Golden texts.
