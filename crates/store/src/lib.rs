//! The materialised copy of the log's state in sled: rebuildable, checked on every read.
