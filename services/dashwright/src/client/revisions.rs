//! `revisions`, `diff` and `watch`: what was published, and what it changed.

use std::num::NonZeroU64;
use std::time::Duration;

use dashwright_api::v1;
use tokio::time::timeout;

use super::connection::Connection;
use super::json::{Layout, json};
use super::pages::{Printed, each_page};
use crate::args::{Client, Diff, Revisions, Watch, WhichRevision};
use crate::failure::{Failure, KeepingFailure};
use crate::{out, text, wiring};

/// Revisions on a page where a number is looked for: the most that the service gives.
const LARGEST_PAGE: u32 = 500;
/// How long is waited before a server that went away is asked again: first, and at most.
const FIRST_WAIT: Duration = Duration::from_millis(500);
const LONGEST_WAIT: Duration = Duration::from_secs(30);
/// How long a stream may say nothing, although the service says every so often that nothing was published: several times
/// as long as that, so that a connection that broke off unseen is noticed.
const LONGEST_SILENCE: Duration = Duration::from_secs(120);

/// Lists the revisions.
pub(crate) fn revisions(arguments: Revisions) -> Result<(), Failure> {
    let Revisions { page, client } = arguments;
    let page_size = page.page_size;
    let printed = Printed {
        name: "ListRevisionsResponse",
        as_json: client.json,
        text: |answer: &_, last| text::revisions(answer, last, out::columns()),
    };
    wiring::block_on(async {
        let connection = Connection::open(&client).await?;
        let ask = async |page_token| list(&connection, page_size, page_token).await;
        each_page(page, ask, |answer| &answer.next_page_token, printed).await
    })
}

/// Shows what differs between two revisions.
pub(crate) fn diff(arguments: Diff) -> Result<(), Failure> {
    let Diff { from, to, page, client } = arguments;
    let page_size = page.page_size;
    let printed = Printed {
        name: "DiffRevisionsResponse",
        as_json: client.json,
        text: |answer: &_, last| text::diff(answer, last, out::columns()),
    };
    wiring::block_on(async {
        let connection = Connection::open(&client).await?;
        let from = token(&connection, from).await?;
        let to = match to {
            Some(to) => token(&connection, to).await?,
            None => String::new(),
        };
        let ask = async |page_token| {
            let request =
                v1::DiffRevisionsRequest { from: from.clone(), to: to.clone(), page_size, page_token };
            connection.answer(connection.audit().diff_revisions(request).await)
        };
        each_page(page, ask, |answer| &answer.next_page_token, printed).await
    })
}

/// Tells each revision as it is published, until it is stopped or has told as many as are wanted.
pub(crate) fn watch(arguments: Watch) -> Result<(), Failure> {
    let Watch { after, once, client } = arguments;
    wiring::block_on(async {
        let connection = Connection::open(&client).await?;
        let after = match after {
            Some(token) => token,
            None => latest(&connection).await?,
        };
        let mut watcher = Watcher { client, after, left: once, lost: false };
        let mut connection = Some(connection);
        let mut wait = FIRST_WAIT;
        loop {
            let before = watcher.after.clone();
            match watcher.follow(connection.take()).await {
                Ok(()) => return Ok(()),
                Err(failure) if passes(&failure) => watcher.tell_lost(&failure),
                Err(failure) => return Err(failure),
            }
            wait = if watcher.after == before { (wait * 2).min(LONGEST_WAIT) } else { FIRST_WAIT };
            tokio::time::sleep(wait).await;
        }
    })
}

/// Somebody who watches.
struct Watcher {
    client: Client,
    /// The last that was told.
    after: String,
    /// How many more are wanted; every one without it.
    left: Option<NonZeroU64>,
    /// Whether the server went away, and nothing has come since.
    lost: bool,
}

impl Watcher {
    /// Follows one stream to its end. It is well when as many revisions were told as are wanted.
    async fn follow(&mut self, connection: Option<Connection>) -> Result<(), Failure> {
        let connection = match connection {
            Some(connection) => connection,
            None => Connection::open(&self.client).await?,
        };
        let request = v1::WatchRevisionsRequest { after: self.after.clone() };
        let mut events = connection.answer(connection.audit().watch_revisions(request).await)?;
        loop {
            let event = timeout(LONGEST_SILENCE, events.message()).await;
            let event = event.map_err(|_| KeepingFailure::Silent { seconds: LONGEST_SILENCE.as_secs() })?;
            let Some(event) = connection.item(event)? else { return Err(KeepingFailure::StreamEnded.into()) };
            self.lost = false;
            if let Some(v1::watch_revisions_response::Event::Published(revision)) = &event.event {
                out::print(&if self.client.json {
                    json("WatchRevisionsResponse", &event, Layout::OneLine)?
                } else {
                    text::watched(revision)
                })?;
                if self.is_last() {
                    return Ok(());
                }
            }
            if !event.resume_token.is_empty() {
                self.after = event.resume_token;
            }
        }
    }

    /// Counts one revision; whether it was the last that is wanted.
    fn is_last(&mut self) -> bool {
        let Some(left) = self.left else { return false };
        self.left = NonZeroU64::new(left.get() - 1);
        self.left.is_none()
    }

    /// Says once that the server went away.
    fn tell_lost(&mut self, failure: &Failure) {
        if !self.lost {
            out::aside(&format!(
                "{}; going on from where it was once the server answers\n",
                failure.message()
            ));
        }
        self.lost = true;
    }
}

/// Whether a failure of a watch passes by itself: the server is away, goes down, or has too much to do.
fn passes(failure: &Failure) -> bool {
    match failure {
        Failure::Unreachable { .. } => true,
        Failure::Keeping(KeepingFailure::StreamEnded | KeepingFailure::Silent { .. }) => true,
        Failure::Refused(refusal) => refusal.code == "UNAVAILABLE" || refusal.code == "CANCELLED",
        _ => false,
    }
}

/// The token of the latest revision: a watch begins with it, so that it misses none when its first stream breaks off.
async fn latest(connection: &Connection) -> Result<String, Failure> {
    let request = v1::GetDatasetInfoRequest { read_at: None };
    let info = connection.answer(connection.catalogue().get_dataset_info(request).await)?;
    Ok(info.revision.unwrap_or_default().token)
}

/// The token of a revision.
async fn token(connection: &Connection, which: WhichRevision) -> Result<String, Failure> {
    let number = match which {
        WhichRevision::Token(token) => return Ok(token),
        WhichRevision::Number(number) => number.get(),
    };
    let (mut page_token, mut latest) = (String::new(), 0);
    loop {
        let answer = list(connection, LARGEST_PAGE, page_token).await?;
        let mut revisions = answer.revisions.into_iter().filter_map(|revision| revision.revision);
        if let Some(found) = revisions.find(|revision| {
            latest = latest.max(revision.number);
            revision.number == number
        }) {
            return Ok(found.token);
        }
        page_token = answer.next_page_token;
        if page_token.is_empty() || latest < number {
            return Err(KeepingFailure::NoRevision { number, latest }.into());
        }
    }
}

async fn list(
    connection: &Connection,
    page_size: u32,
    page_token: String,
) -> Result<v1::ListRevisionsResponse, Failure> {
    let request = v1::ListRevisionsRequest { page_size, page_token };
    connection.answer(connection.audit().list_revisions(request).await)
}
