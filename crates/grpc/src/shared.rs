//! What look-ups and plans share: the answer for a set of audio options, encoded once and sent as it is.
//!
//! For one vehicle line the answer depends on the line's set of audio options and on which of them the question leaves
//! possible; only the candidates, the matches and the revision are the line's own. Each cell is filled by the first
//! look-up that needs it and never changes; reading one takes no lock.

use std::sync::{Arc, OnceLock};

use bytes::Bytes;
use dashwright_api::v1;
use dashwright_engine::View;
use dashwright_planner::{Fitment, JobCounts, WeakestEvidence, look_up};
use dashwright_snapshot::{Candidate, RecordIx, Snapshot};
use prost::Message as _;
use quick_cache::Weighter;
use quick_cache::sync::Cache;

use crate::fingerprint::Fingerprints;
use crate::to_proto;

/// An answer that is ready to be sent, but for what is the vehicle line's own.
#[derive(Clone, Debug)]
pub(crate) struct SharedAnswer {
    pub(crate) bytes: Bytes,
    pub(crate) weakest: Option<WeakestEvidence>,
    /// What jobs have said of what a plan rests on, but for its vehicle lines.
    pub(crate) jobs: JobCounts,
    /// SHA-256 over the gist of a plan, which its fingerprint is made of.
    pub(crate) gist: [u8; 32],
}

impl SharedAnswer {
    /// An answer that is not a plan.
    pub(crate) fn plain(bytes: Bytes, weakest: Option<WeakestEvidence>) -> Self {
        Self { bytes, weakest, jobs: JobCounts::default(), gist: [0; 32] }
    }
}

/// The cells of one set of audio options.
#[derive(Debug, Default)]
struct Cells {
    all: OnceLock<SharedAnswer>,
    each: Vec<OnceLock<SharedAnswer>>,
}

/// Bytes of plans that are kept. Unlike look-ups, plans have no bound of their own: sets of options times radios times
/// whatever callers order.
const PLAN_BYTES: u64 = 64 << 20;
/// What a plan takes, for the first size of the table.
const USUAL_PLAN_BYTES: usize = 16 << 10;

/// What a plan of one vehicle line depends on, beside the dataset.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub(crate) struct PlanKey {
    /// The set of audio options.
    set: usize,
    /// The one that is known; all without it.
    option: Option<u16>,
    radio: RecordIx,
    /// The order as it was asked for.
    order: Vec<u8>,
}

#[derive(Clone, Debug)]
struct ByBytes;

impl Weighter<PlanKey, SharedAnswer> for ByBytes {
    fn weight(&self, key: &PlanKey, answer: &SharedAnswer) -> u64 {
        (key.order.len() + answer.bytes.len()) as u64
    }
}

/// A view with the answers that were encoded from it.
#[derive(Debug)]
pub(crate) struct Answers {
    pub(crate) view: Arc<View>,
    /// The revision as the first field of an answer, encoded once: its two texts take as long as finding the vehicle.
    revision: Vec<u8>,
    fingerprints: Fingerprints,
    cells: Vec<Cells>,
    plans: OnceLock<Cache<PlanKey, SharedAnswer, ByBytes>>,
}

impl Answers {
    pub(crate) fn new(view: Arc<View>) -> Self {
        let sets = view.snapshot().option_sets().iter();
        let empty = |count: usize| (0..count).map(|_| OnceLock::new()).collect();
        let cells = sets.map(|set| Cells { all: OnceLock::new(), each: empty(set.options.len()) }).collect();
        let (fingerprints, revision) = (Fingerprints::of(&view), revision_field(&view));
        Self { view, revision, fingerprints, cells, plans: OnceLock::new() }
    }

    /// What is a call's own, encoded with the revision before it. The revision is the first field of every answer that is made
    /// of two parts, and `own` leaves it out.
    pub(crate) fn own(&self, own: &impl prost::Message) -> Bytes {
        let mut bytes = Vec::with_capacity(self.revision.len() + own.encoded_len());
        bytes.extend_from_slice(&self.revision);
        own.encode_raw(&mut bytes);
        bytes.into()
    }

    /// The answer for candidates, each with one option: from its cell where they are one line with all of its options or
    /// with a single one, and made afresh otherwise.
    pub(crate) fn of(&self, candidates: &[Candidate]) -> SharedAnswer {
        let snapshot = self.view.snapshot();
        match self.cell(candidates) {
            Some(cell) => cell.get_or_init(|| encode(snapshot, candidates)).clone(),
            None => encode(snapshot, candidates),
        }
    }

    /// A plan: kept where it is for one line with all of its options or with a single one, and made afresh otherwise.
    pub(crate) fn plan(
        &self,
        candidates: &[Candidate],
        (radio, order): (RecordIx, Vec<u8>),
        make: impl FnOnce() -> SharedAnswer,
    ) -> SharedAnswer {
        let Some((set, option)) = self.place(candidates) else { return make() };
        let plans = self.plans.get_or_init(|| {
            let items = usize::try_from(PLAN_BYTES).unwrap_or(usize::MAX) / USUAL_PLAN_BYTES;
            Cache::with_weighter(items, PLAN_BYTES, ByBytes)
        });
        let key = PlanKey { set, option, radio, order };
        if let Some(kept) = plans.get(&key) {
            return kept;
        }
        // Two calls may both make it; they make the same.
        let made = make();
        plans.insert(key, made.clone());
        made
    }

    /// The fingerprint of a plan for candidates.
    pub(crate) fn fingerprint(&self, candidates: &[Candidate], gist: &[u8; 32]) -> String {
        self.fingerprints.plan(self.view.snapshot(), candidates, gist)
    }

    fn cell(&self, candidates: &[Candidate]) -> Option<&OnceLock<SharedAnswer>> {
        let (set, option) = self.place(candidates)?;
        let cells = self.cells.get(set)?;
        option.map_or(Some(&cells.all), |option| cells.each.get(usize::from(option)))
    }

    /// The set of options of the one line that candidates are of, and the option where it is a single one.
    fn place(&self, candidates: &[Candidate]) -> Option<(usize, Option<u16>)> {
        let (first, others) = candidates.split_first()?;
        if others.iter().any(|other| other.line != first.line) {
            return None;
        }
        let set = self.view.snapshot().line(first.line)?.options.get();
        let options = self.cells.get(set)?.each.len();
        match others {
            _ if candidates.len() == options => Some((set, None)),
            [] => Some((set, Some(*first.options.first()?))),
            _ => None,
        }
    }
}

fn revision_field(view: &View) -> Vec<u8> {
    let revision = Some(to_proto::dataset_revision(view));
    v1::LookUpFitmentResponse { revision, ..v1::LookUpFitmentResponse::default() }.encode_to_vec()
}

fn encode(snapshot: &Snapshot, candidates: &[Candidate]) -> SharedAnswer {
    let fitment: Fitment = look_up(snapshot, candidates);
    let message = to_proto::shared_answer(snapshot, &fitment);
    SharedAnswer::plain(message.encode_to_vec().into(), fitment.weakest)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_revision_is_the_first_field_of_every_answer_of_two_parts() {
        let revision = Some(v1::DatasetRevision { token: "T".into(), number: 7, content_hash: "h".into() });
        let remaining_lines = 3;
        let plan = v1::PlanInstallResponse { revision: revision.clone(), ..Default::default() };
        let look_up = v1::LookUpFitmentResponse { revision: revision.clone(), ..Default::default() };
        assert_eq!(plan.encode_to_vec(), look_up.encode_to_vec());
        // What stands first is also encoded first.
        let whole = v1::PlanInstallResponse { revision, remaining_lines, ..Default::default() };
        let rest = v1::PlanInstallResponse { remaining_lines, ..Default::default() };
        assert_eq!(whole.encode_to_vec(), [plan.encode_to_vec(), rest.encode_to_vec()].concat());
    }
}
