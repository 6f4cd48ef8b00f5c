//! A key made without a server: the way back when every operator's key is lost.

use std::collections::BTreeSet;
use std::path::Path;

use dashwright_engine::keys::Role;
use dashwright_engine::{MadeKey, NewKey, Origin};

use crate::args;
use crate::failure::{Failure, KeepingFailure};

use super::{origin, start};

/// Makes a key in a data directory. Whoever can write to its files may do that, and the trail says so.
pub(crate) fn make_key(
    directory: &Path,
    reason: &str,
    request_id: String,
    holder: String,
    roles: &[args::Role],
    expires: Option<String>,
) -> Result<MadeKey, Failure> {
    let roles: BTreeSet<Role> = roles.iter().copied().map(role).collect();
    let origin = Origin { request_id: Some(request_id), ..origin(reason) };
    let engine = start(directory, None)?;
    let made = engine.create_key(&origin, NewKey { holder, roles, expires });
    Ok(made.map_err(|error| KeepingFailure::Key(Box::new(error)))?)
}

fn role(role: args::Role) -> Role {
    match role {
        args::Role::Reader => Role::Reader,
        args::Role::Curator => Role::Curator,
        args::Role::Publisher => Role::Publisher,
        args::Role::Auditor => Role::Auditor,
        args::Role::Operator => Role::Operator,
    }
}
