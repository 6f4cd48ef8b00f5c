//! Conversions, status, layers and handlers: the only place where answers become messages.
//!
//! A handler is four moves: parse, take the view, ask, render. What every call has in common (deadlines, load, panics,
//! oversize) is the [`guard`]'s business.

pub mod auth;
mod callers;
mod direct;
mod ending;
mod fingerprint;
mod from_proto;
pub mod guard;
mod handlers;
mod incoming;
mod limits;
mod line;
pub mod observe;
pub mod operations;
mod page;
mod per_address;
mod server;
mod service;
mod shared;
mod silence;
mod status;
mod throttle;
pub mod tls;
mod to_proto;
pub mod web;

pub use callers::Spent;
pub use incoming::Peer;
pub use limits::{LIMITS, Limits};
pub use server::{ServeError, Serving, serve, serve_encrypted};
pub use service::Service;
pub use status::Refusal;
