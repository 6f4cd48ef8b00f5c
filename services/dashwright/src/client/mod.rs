//! The client: one file for each command, which asks over gRPC and prints what comes back.

mod cart;
mod cart_file;
mod choices;
mod connection;
mod info;
mod json;
mod look_up;
mod pages;
mod plan;
mod record;
mod refusal;
mod reverse;

pub(crate) use cart::cart;
pub(crate) use cart_file::CartFileError;
pub(crate) use choices::choices;
pub(crate) use connection::Connection;
pub(crate) use info::info;
pub(crate) use look_up::look_up;
pub(crate) use plan::{ask_plan, plan, plan_as_json};
pub(crate) use record::record;
pub(crate) use refusal::Refusal;
pub(crate) use reverse::{radios, vehicles};
