//! `key`: who may call. The text of a key is told once, and goes where it was asked to go and nowhere else.

use std::path::Path;

use dashwright_api::v1;
use dashwright_engine::MadeKey;

use super::change::Change;
use super::connection::Connection;
use super::file::{Existing, Pending, Readers};
use super::json::{Layout, json};
use crate::args::{Key, KeyList, KeyNew, KeyRevoke, Role};
use crate::dataset::make_key;
use crate::failure::{Failure, KeepingFailure};
use crate::{out, text, wiring};

/// Makes, lists or revokes keys.
pub(crate) fn key(arguments: Key) -> Result<(), Failure> {
    match arguments {
        Key::New(arguments) => new(*arguments),
        Key::List(arguments) => wiring::block_on(list(arguments)),
        Key::Revoke(arguments) => wiring::block_on(revoke(arguments)),
    }
}

/// Makes a key with a server, or in a data directory. The file is begun before, because the text is told only once.
fn new(arguments: KeyNew) -> Result<(), Failure> {
    let file = arguments.to.as_deref().map(|path| Pending::begin(path, Existing::Keep, Readers::Owner));
    let file = file.transpose()?;
    let (to, json) = (arguments.to.clone(), arguments.client.json);
    let change = Change::of(arguments.changing.clone());
    let answer = match arguments.data.clone() {
        Some(directory) => make_here(&directory, &change, arguments)?,
        None => change.outcome(wiring::block_on(make(&change, arguments)))?,
    };
    if answer.text.is_empty() {
        let key_id = answer.key.unwrap_or_default().key_id;
        return change.outcome(Err(KeepingFailure::KeyTextGone { key_id }.into()));
    }
    hand_over(answer, file, to.as_deref(), json)
}

async fn make(change: &Change, arguments: KeyNew) -> Result<v1::CreateKeyResponse, Failure> {
    let KeyNew { holder, role, expires, data: _, to: _, changing: _, client } = arguments;
    let connection = Connection::open(&client).await?;
    let request = v1::CreateKeyRequest {
        change: change.message(),
        holder,
        roles: role.into_iter().map(|role| role.message().into()).collect(),
        expires_at: expires.unwrap_or_default(),
    };
    connection.answer(connection.keys().create_key(request).await)
}

fn make_here(directory: &Path, change: &Change, arguments: KeyNew) -> Result<v1::CreateKeyResponse, Failure> {
    let KeyNew { holder, role, expires, data: _, to: _, changing: _, client: _ } = arguments;
    let (reason, id) = change.parts();
    let made = make_key(directory, reason, id, holder, &role, expires)?;
    Ok(response(made, &role))
}

/// Puts the text of a key where it was asked to go, and says what the key is.
fn hand_over(
    mut answer: v1::CreateKeyResponse,
    file: Option<Pending>,
    to: Option<&Path>,
    as_json: bool,
) -> Result<(), Failure> {
    if let Some(file) = file {
        if let Err(failure) = keep(file, &answer.text) {
            // Better on the screen than lost.
            out::print(&format!("{}\n", answer.text))?;
            out::aside(&text::key_made(&answer, None, out::columns()));
            return Err(failure.into());
        }
        answer.text.clear();
    }
    if as_json {
        return out::print(&json("CreateKeyResponse", &answer, Layout::Wide)?);
    }
    let said = text::key_made(&answer, to, out::columns());
    if to.is_some() {
        return out::print(&said);
    }
    out::aside(&said);
    out::print(&format!("{}\n", answer.text))
}

/// The answer of a server, for a key that was made without one.
fn response(made: MadeKey, roles: &[Role]) -> v1::CreateKeyResponse {
    let MadeKey { facts, text } = made;
    let key = v1::Key {
        key_id: facts.id.as_str().to_owned(),
        holder: facts.holder,
        roles: roles.iter().map(|role| role.message().into()).collect(),
        created_at: facts.created,
        expires_at: facts.expires.unwrap_or_default(),
        live: true,
        ..v1::Key::default()
    };
    let repeated = text.is_none();
    let text = text.map(|text| text.reveal().to_owned()).unwrap_or_default();
    v1::CreateKeyResponse { key: Some(key), text, repeated }
}

fn keep(mut file: Pending, text: &str) -> Result<(), KeepingFailure> {
    file.write(format!("{text}\n").as_bytes())?;
    file.finish()
}

async fn list(arguments: KeyList) -> Result<(), Failure> {
    let KeyList { client } = arguments;
    let connection = Connection::open(&client).await?;
    let answer = connection.answer(connection.keys().list_keys(v1::ListKeysRequest {}).await)?;
    out::print(&if client.json {
        json("ListKeysResponse", &answer, Layout::Wide)?
    } else {
        text::keys(&answer, out::columns())
    })
}

async fn revoke(arguments: KeyRevoke) -> Result<(), Failure> {
    let KeyRevoke { key: key_id, changing, client } = arguments;
    let change = Change::of(changing);
    let connection = Connection::open(&client).await?;
    let request = v1::RevokeKeyRequest { change: change.message(), key_id };
    let answer = change.outcome(connection.answer(connection.keys().revoke_key(request).await))?;
    out::print(&if client.json {
        json("RevokeKeyResponse", &answer, Layout::Wide)?
    } else {
        text::key_revoked(&answer, out::columns())
    })
}
