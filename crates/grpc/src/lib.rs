//! Conversions, status, layers and handlers: the only place where answers become messages.
//!
//! A handler is four moves: parse, take the view, ask, render. What every call has in common (deadlines, load, panics,
//! oversize) is the [`guard`]'s business.

pub mod auth;
mod ending;
mod fingerprint;
mod from_proto;
pub mod guard;
mod handlers;
mod incoming;
mod limits;
mod page;
mod server;
mod service;
mod shared;
mod status;
mod throttle;
pub mod tls;
mod to_proto;

pub use incoming::Peer;
pub use limits::{LIMITS, Limits};
pub use server::{ServeError, Serving, serve, serve_encrypted};
pub use service::Service;
pub use status::Refusal;
