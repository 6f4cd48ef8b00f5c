//! Lists that come in pages: one page is printed, or every one.

use prost::Message;

use super::json::{Layout, json};
use crate::args::Page;
use crate::failure::Failure;
use crate::out;

/// How an answer is printed: as JSON of a message's name, or as a text that knows whether it is the last.
pub(super) struct Printed<T> {
    /// The message's name.
    pub(super) name: &'static str,
    /// As JSON.
    pub(super) as_json: bool,
    /// As text.
    pub(super) text: T,
}

/// Asks for a page by its token and prints it, and so on while every page is wanted. Several answers in JSON stand one on
/// a line.
pub(super) async fn each_page<A: Message>(
    page: Page,
    ask: impl AsyncFn(String) -> Result<A, Failure>,
    next_token: impl Fn(&A) -> &str,
    printed: Printed<impl Fn(&A, bool) -> String>,
) -> Result<(), Failure> {
    let Page { page_size: _, page_token: mut token, all } = page;
    let layout = if all { Layout::OneLine } else { Layout::Wide };
    loop {
        let answer = ask(token).await?;
        token = next_token(&answer).to_owned();
        let last = token.is_empty() || !all;
        out::print(&if printed.as_json {
            json(printed.name, &answer, layout)?
        } else {
            (printed.text)(&answer, last)
        })?;
        if last {
            return Ok(());
        }
    }
}
