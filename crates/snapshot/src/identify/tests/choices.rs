//! choices
