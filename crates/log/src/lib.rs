//! The append-only log: entry bytes, hash chain, the port, and its file and memory implementations.
