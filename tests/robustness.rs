//! What the binary as a process does when it is killed, when its disk fails or is full, when its files are damaged, when the
//! clock goes back, and when two do the same.
//!
//! The ordinary run is bounded. In full:
//!
//! ```text
//! DASHWRIGHT_KILLS=500 cargo test --release --test robustness -- --nocapture
//! ```
//!
//! `DASHWRIGHT_SEED` gives another order of kills and other clients. A C compiler makes the interposer,
//! `robustness/interpose.c`, through which a process fails or dies at a chosen file operation.

#![cfg(all(test, target_os = "linux"))]

#[path = "robustness/damage.rs"]
mod damage;
#[path = "robustness/disk_full.rs"]
mod disk_full;
#[path = "robustness/failures.rs"]
mod failures;
#[path = "robustness/interposer.rs"]
mod interposer;
#[path = "robustness/kills.rs"]
mod kills;
#[path = "robustness/order.rs"]
mod order;
#[path = "robustness/proof.rs"]
mod proof;
#[path = "robustness/work.rs"]
mod work;
