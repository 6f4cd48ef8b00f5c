//! numbers
