//! How much is measured.

use crate::{Outcome, load};

/// Vehicle lines of the datasets, the smallest first.
const SIZES: [usize; 4] = [150, 15_000, 150_000, 1_000_000];
/// To see that it works.
const SHORT_SIZES: [usize; 2] = [150, 600];
/// Rounds.
const ROUNDS: usize = 7;
/// Vehicle lines that a publish beside look-ups changes.
pub(crate) const BESIDE_PUBLISH: usize = 150_000;

/// How much is measured.
pub(crate) struct Options {
    pub(crate) sizes: Vec<usize>,
    pub(crate) rounds: usize,
    pub(crate) length: load::Length,
    pub(crate) beside_publish: usize,
    /// Look-ups of the smallest size beside the echo, and nothing else: for a change on the way of every call, and its profile.
    pub(crate) only_floor: bool,
    /// Whether the figures are worth keeping.
    pub(crate) kept: bool,
}

impl Options {
    /// As the command line says.
    pub(crate) fn of(arguments: &[String]) -> Outcome<Self> {
        let after = |name: &str| {
            let mut rest = arguments.iter().skip_while(|argument| *argument != name);
            rest.next().and_then(|_| rest.next())
        };
        // `cargo test` runs benches with `--test` to see that they work: one short round.
        let mut options = if arguments.iter().any(|argument| argument == "--test") {
            let (length, beside_publish) = (load::SHORT, SHORT_SIZES[0]);
            Self {
                sizes: SHORT_SIZES.to_vec(),
                rounds: 1,
                length,
                beside_publish,
                only_floor: false,
                kept: false,
            }
        } else {
            let (length, beside_publish) = (load::LONG, BESIDE_PUBLISH);
            Self {
                sizes: SIZES.to_vec(),
                rounds: ROUNDS,
                length,
                beside_publish,
                only_floor: false,
                kept: true,
            }
        };
        if let Some(sizes) = after("--sizes") {
            options.sizes = sizes.split(',').map(str::parse).collect::<Result<_, _>>()?;
        }
        if let Some(rounds) = after("--rounds") {
            options.rounds = rounds.parse()?;
        }
        options.only_floor = arguments.iter().any(|argument| argument == "--only-floor");
        if options.sizes.is_empty() || !options.sizes.is_sorted() || options.rounds == 0 {
            return Err("at least one size, the smallest first, and one round".into());
        }
        Ok(options)
    }
}
