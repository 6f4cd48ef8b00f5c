//! Progress bars, for whoever watches.

use std::time::Duration;

use indicatif::{ProgressBar, ProgressStyle};

/// How often a progress bar is drawn anew, at most.
const DRAWN_EVERY: Duration = Duration::from_millis(100);

/// A bar on standard error, shown only where that is a terminal.
pub(crate) fn bar(length: u64, template: &str) -> ProgressBar {
    drawn(ProgressBar::new(length), template)
}

/// What is shown where the end is not known.
pub(crate) fn spinner(template: &str) -> ProgressBar {
    drawn(ProgressBar::no_length(), template)
}

/// Has a bar show something else from here on.
pub(crate) fn change(bar: &ProgressBar, position: u64, length: Option<u64>, template: &str) {
    match length {
        Some(length) => bar.set_length(length),
        None => bar.unset_length(),
    }
    bar.set_position(position);
    bar.set_style(style(template));
}

fn drawn(bar: ProgressBar, template: &str) -> ProgressBar {
    let bar = bar.with_style(style(template));
    bar.enable_steady_tick(DRAWN_EVERY);
    bar
}

fn style(template: &str) -> ProgressStyle {
    ProgressStyle::with_template(template).unwrap_or_else(|_| ProgressStyle::default_bar())
}
