//! The client: one file for each command, which asks over gRPC and prints what comes back.

mod choices;
mod connection;
mod info;
mod json;
mod look_up;
mod record;
mod refusal;

pub(crate) use choices::choices;
pub(crate) use connection::Connection;
pub(crate) use info::info;
pub(crate) use look_up::{ask, look_up, printed};
pub(crate) use record::record;
pub(crate) use refusal::Refusal;
