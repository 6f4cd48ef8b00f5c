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

#![cfg(target_os = "linux")]

#[cfg(test)]
#[path = "robustness/damage.rs"]
mod damage;
#[cfg(test)]
#[path = "robustness/disk_full.rs"]
mod disk_full;
#[cfg(test)]
#[path = "robustness/failures.rs"]
mod failures;
#[cfg(test)]
#[path = "robustness/interposer.rs"]
mod interposer;
#[cfg(test)]
#[path = "robustness/kills.rs"]
mod kills;
#[cfg(test)]
#[path = "robustness/order.rs"]
mod order;
#[cfg(test)]
#[path = "robustness/proof.rs"]
mod proof;
#[cfg(test)]
#[path = "robustness/work.rs"]
mod work;
