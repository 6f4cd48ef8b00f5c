//! Sheets of the demo catalogue, and of input that means harm.
