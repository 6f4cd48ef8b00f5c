//! What look-ups share: the answer for a set of audio options, encoded once and sent as it is.
//!
//! For one vehicle line the answer depends on the line's set of audio options and on which of them the question leaves
//! possible; only the candidates, the matches and the revision are the line's own. Each cell is filled by the first
//! look-up that needs it and never changes; reading one takes no lock.

use std::sync::{Arc, OnceLock};

use bytes::Bytes;
use dashwright_engine::View;
use dashwright_planner::{Fitment, WeakestEvidence, look_up};
use dashwright_snapshot::{Candidate, Snapshot};
use prost::Message as _;

use crate::to_proto;

/// An answer that is ready to be sent, but for what is the vehicle line's own.
#[derive(Clone, Debug)]
pub(crate) struct SharedAnswer {
    pub(crate) bytes: Bytes,
    pub(crate) weakest: Option<WeakestEvidence>,
}

/// The cells of one set of audio options.
#[derive(Debug, Default)]
struct Cells {
    all: OnceLock<SharedAnswer>,
    each: Vec<OnceLock<SharedAnswer>>,
}

/// A view with the answers that were encoded from it.
#[derive(Debug)]
pub(crate) struct Answers {
    pub(crate) view: Arc<View>,
    cells: Vec<Cells>,
}

impl Answers {
    pub(crate) fn new(view: Arc<View>) -> Self {
        let sets = view.snapshot().option_sets().iter();
        let empty = |count: usize| (0..count).map(|_| OnceLock::new()).collect();
        let cells = sets.map(|set| Cells { all: OnceLock::new(), each: empty(set.options.len()) }).collect();
        Self { view, cells }
    }

    /// The answer for candidates, each with one option: from its cell where they are one line with all of its options or
    /// with a single one, and made afresh otherwise.
    pub(crate) fn of(&self, candidates: &[Candidate]) -> SharedAnswer {
        let snapshot = self.view.snapshot();
        match self.cell(snapshot, candidates) {
            Some(cell) => cell.get_or_init(|| encode(snapshot, candidates)).clone(),
            None => encode(snapshot, candidates),
        }
    }

    fn cell(&self, snapshot: &Snapshot, candidates: &[Candidate]) -> Option<&OnceLock<SharedAnswer>> {
        let (first, others) = candidates.split_first()?;
        if others.iter().any(|other| other.line != first.line) {
            return None;
        }
        let line = snapshot.line(first.line)?;
        let cells = self.cells.get(line.options.get())?;
        if candidates.len() == cells.each.len() {
            return Some(&cells.all);
        }
        if !others.is_empty() {
            return None;
        }
        cells.each.get(usize::from(*first.options.first()?))
    }
}

fn encode(snapshot: &Snapshot, candidates: &[Candidate]) -> SharedAnswer {
    let fitment: Fitment = look_up(snapshot, candidates);
    let message = to_proto::shared_answer(snapshot, &fitment);
    SharedAnswer { bytes: message.encode_to_vec().into(), weakest: fitment.weakest }
}
