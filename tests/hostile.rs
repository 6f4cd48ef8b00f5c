//! Clients that mean harm, over real sockets against the binary as a process: what each of them gets, that honest clients are
//! answered meanwhile, and that the server's memory stays bounded. deploy/SCALING.md has the figures.
//!
//! `cargo test --test hostile -- --nocapture` prints a row for each attack.

#![cfg(target_os = "linux")]

#[cfg(test)]
#[path = "hostile/bodies.rs"]
mod bodies;
#[cfg(test)]
#[path = "hostile/connections.rs"]
mod connections;
#[cfg(test)]
#[path = "hostile/floods.rs"]
mod floods;
#[cfg(test)]
#[path = "hostile/frames.rs"]
mod frames;
#[cfg(test)]
#[path = "hostile/hand.rs"]
mod hand;
#[cfg(test)]
#[path = "hostile/readers.rs"]
mod readers;
#[cfg(test)]
#[path = "hostile/stage.rs"]
mod stage;
#[cfg(test)]
#[path = "hostile/wire.rs"]
mod wire;
