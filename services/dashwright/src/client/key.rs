//! `key`: who may call. The text of a key is told once, and goes where it was asked to go and nowhere else.

use dashwright_api::v1;

use super::change::Change;
use super::connection::Connection;
use super::file::{Existing, Pending, Readers};
use super::json::{Layout, json};
use crate::args::{Key, KeyList, KeyNew, KeyRevoke};
use crate::failure::{Failure, KeepingFailure};
use crate::{out, text, wiring};

/// Makes, lists or revokes keys.
pub(crate) fn key(arguments: Key) -> Result<(), Failure> {
    match arguments {
        Key::New(arguments) => wiring::block_on(new(arguments)),
        Key::List(arguments) => wiring::block_on(list(arguments)),
        Key::Revoke(arguments) => wiring::block_on(revoke(arguments)),
    }
}

/// The file is begun before the key is made, because the text is told only once.
async fn new(arguments: KeyNew) -> Result<(), Failure> {
    let KeyNew { holder, role, expires, to, changing, client } = arguments;
    let change = Change::of(changing);
    let file = to.as_deref().map(|path| Pending::begin(path, Existing::Keep, Readers::Owner)).transpose()?;
    let connection = Connection::open(&client).await?;
    let request = v1::CreateKeyRequest {
        change: change.message(),
        holder,
        roles: role.into_iter().map(|role| role.message().into()).collect(),
        expires_at: expires.unwrap_or_default(),
    };
    let mut answer = change.outcome(connection.answer(connection.keys().create_key(request).await))?;
    if answer.text.is_empty() {
        let key_id = answer.key.unwrap_or_default().key_id;
        return change.outcome(Err(KeepingFailure::KeyTextGone { key_id }.into()));
    }
    if let Some(file) = file {
        if let Err(failure) = keep(file, &answer.text) {
            // Better on the screen than lost.
            out::print(&format!("{}\n", answer.text))?;
            out::aside(&text::key_made(&answer, None, out::columns()));
            return Err(failure.into());
        }
        answer.text.clear();
    }
    if client.json {
        return out::print(&json("CreateKeyResponse", &answer, Layout::Wide)?);
    }
    let said = text::key_made(&answer, to.as_deref(), out::columns());
    if to.is_some() {
        return out::print(&said);
    }
    out::aside(&said);
    out::print(&format!("{}\n", answer.text))
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
