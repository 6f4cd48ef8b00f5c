//! sentences
