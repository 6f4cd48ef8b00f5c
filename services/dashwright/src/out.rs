//! Standard output: what a command answers with. A reader that goes away is no failure.

use std::io::{self, IsTerminal as _, Write as _};

use crate::failure::Failure;

/// The width of output that no terminal limits, and the widest that is still easy to read on one.
pub(crate) const MOST_COLUMNS: usize = 100;
/// The narrowest that tables are laid out for; a narrower terminal breaks the lines itself.
const LEAST_COLUMNS: usize = 60;

/// Prints a text as it is; colours are left out unless the output is a terminal that wants them (NO_COLOR).
///
/// # Errors
/// When it can not be written, other than because nobody reads on.
pub(crate) fn print(text: &str) -> Result<(), Failure> {
    let mut out = anstream::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => Err(Failure::Output(error)),
        _ => Ok(()),
    }
}

/// Writes bytes as they are.
///
/// # Errors
/// When they can not be written, other than because nobody reads on.
pub(crate) fn write(bytes: &[u8]) -> Result<(), Failure> {
    let mut out = io::stdout().lock();
    match out.write_all(bytes).and_then(|()| out.flush()) {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => Err(Failure::Output(error)),
        _ => Ok(()),
    }
}

/// Tells something beside the answer, on standard error.
pub(crate) fn aside(text: &str) {
    anstream::eprint!("{text}");
}

/// The columns that a text may take.
pub(crate) fn columns() -> usize {
    if !io::stdout().is_terminal() {
        return MOST_COLUMNS;
    }
    let width = terminal_size::terminal_size().map_or(MOST_COLUMNS, |(width, _)| usize::from(width.0));
    width.clamp(LEAST_COLUMNS, MOST_COLUMNS)
}
