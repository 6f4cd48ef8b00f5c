//! The binary as a process: its commands, its exit codes, and that no kill loses what was acknowledged.

#[cfg(test)]
#[path = "process/bench.rs"]
mod bench;
#[cfg(test)]
#[path = "process/commands.rs"]
mod commands;
#[cfg(test)]
#[path = "process/config.rs"]
mod config;
#[cfg(test)]
#[path = "process/encrypted.rs"]
mod encrypted;
#[cfg(test)]
#[path = "process/exchange.rs"]
mod exchange;
#[cfg(test)]
#[path = "process/feedback.rs"]
mod feedback;
#[cfg(test)]
#[path = "process/formats.rs"]
mod formats;
#[cfg(test)]
#[path = "process/golden.rs"]
mod golden;
#[cfg(test)]
#[path = "process/health.rs"]
mod health;
#[cfg(test)]
#[path = "process/keeping.rs"]
mod keeping;
#[cfg(test)]
#[path = "process/kill.rs"]
mod kill;
#[cfg(test)]
#[path = "process/life.rs"]
mod life;
#[cfg(test)]
#[path = "process/open.rs"]
mod open;
#[cfg(test)]
#[path = "process/rolling.rs"]
mod rolling;
#[cfg(test)]
#[path = "process/secrets.rs"]
mod secrets;
#[cfg(test)]
#[path = "process/serving.rs"]
mod serving;
#[cfg(test)]
#[path = "process/sheets.rs"]
mod sheets;
