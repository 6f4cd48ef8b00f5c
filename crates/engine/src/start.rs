//! Starting: the store is brought to the log's head, and what it then holds is compiled.

use std::sync::Arc;
use std::time::{Duration, Instant};

use dashwright_log::{
    Checkpoints, Digest, Head, KeepError, Kept, Log, NewEntry, ReadError, Sequence, Signer, Tree,
};
use dashwright_snapshot::{BuildError, Snapshot};
use dashwright_store::{Space, Store, StoreError};

use crate::content;
use crate::engine::Engine;
use crate::entry::{DATASET_INIT, DATASET_RESTORE, DatasetInit, DatasetRestore, FORMAT};
use crate::fold::{FoldError, fold};
use crate::keys::{KeyRing, RingError, ServerSecret};
use crate::layout::{self, LayoutError};
use crate::load::Pace;
use crate::shared::{Begin, Notary, Shared};
use crate::state::{State, StateError};
use crate::surroundings::{Origin, Surroundings};
use crate::view::View;
use crate::writer::{WriteError, Writer, new_entry};

/// Entries that are read from the log at once while it is replayed; the log bounds their bytes.
const REPLAYED_AT_ONCE: usize = 256;

/// What a start found and how long it took.
#[derive(Debug, Default)]
pub struct StartReport {
    /// Why the store was filled anew from the log.
    pub rebuilt: Option<RebuildCause>,
    /// Entries that the store was behind by.
    pub replayed: u64,
    /// Records in the dataset.
    pub records: u64,
    /// Time to bring the store to the log's head.
    pub replay: Duration,
    /// Time to read the records from the store.
    pub read: Duration,
    /// Time to compile them.
    pub compile: Duration,
}

/// Why a store was filled anew from the log.
#[derive(Debug, thiserror::Error)]
pub enum RebuildCause {
    /// It is the store of another log.
    #[error("the store stands at {applied}, where the log holds another entry")]
    OtherLog {
        /// What the store has applied.
        applied: Head,
    },
    /// Its files have grown far beyond their content.
    #[error("the store's files have grown far beyond their content")]
    Overgrown,
    /// It is new, or was set aside when it was opened.
    #[error("the store is empty")]
    Empty,
    /// It could not be read or written.
    #[error("the store could not be used")]
    Store(#[source] StoreError),
    /// It is of another layout, or its content contradicts itself.
    #[error("the store is of another layout")]
    State(#[source] StateError),
    /// What it holds does not follow from the log.
    #[error("the store does not go with the log")]
    Fold(#[source] FoldError),
    /// What it holds does not compile.
    #[error("what the store holds does not compile")]
    Compile(#[source] Box<BuildError>),
    /// What it holds is not what was published.
    #[error("the store holds the content {found} of the dataset, {published} was published")]
    Content {
        /// The hash that was published.
        published: Digest,
        /// The hash of what it holds.
        found: Digest,
    },
}

/// Why there is no engine.
#[derive(Debug, thiserror::Error)]
pub enum StartError {
    /// Nobody has begun a dataset in this log.
    #[error("the log is empty, no dataset was begun in it")]
    NotBegun,
    /// The log has lost entries that the store has applied: its end was cut, or it is an older copy.
    #[error("the log ends with {head} and the store has applied {applied}: entries are lost")]
    LogBehindStore {
        /// The end of the log.
        head: Head,
        /// What the store has applied.
        applied: Head,
    },
    /// The log can not be read.
    #[error(transparent)]
    Log(#[from] ReadError),
    /// An entry of the log can not be followed.
    #[error("entry {sequence} of the log can not be followed")]
    Entry {
        /// The entry.
        sequence: Sequence,
        /// Why.
        source: Box<FoldError>,
    },
    /// The log itself does not lead to the content that was published.
    #[error("the log does not lead to what was published")]
    Inconsistent(#[source] Box<RebuildCause>),
    /// The store can not be used, even after it was begun anew.
    #[error("the store can not be used")]
    Store(#[source] Box<RebuildCause>),
    /// A checkpoint that was given out does not go with the log: its history was rewritten or rolled back.
    #[error("the checkpoint of {size} entries has the root {kept}, the log has {}", told(*found))]
    Rewritten {
        /// Entries that the checkpoint speaks of.
        size: u64,
        /// The root that it states.
        kept: Digest,
        /// The root that so many entries have; none where the log has fewer.
        found: Option<Digest>,
    },
    /// The last checkpoint can not be kept.
    #[error(transparent)]
    Keep(#[from] KeepError),
    /// The keys contradict each other.
    #[error(transparent)]
    Keys(#[from] RingError),
    /// There is no thread for the writer.
    #[error("the writer can not be started")]
    Thread(#[source] std::io::Error),
}

/// Why a dataset was not begun.
#[derive(Debug, thiserror::Error)]
pub enum InitError {
    /// The log has entries.
    #[error("the log has entries already, the last is {head}")]
    NotEmpty {
        /// Its end.
        head: Head,
    },
    /// The entry was not written.
    #[error(transparent)]
    Write(#[from] WriteError),
}

/// Begins a dataset in an empty log: revision 0, without records.
///
/// # Errors
/// See [`InitError`].
pub fn initialise(log: &dyn Log, surroundings: &dyn Surroundings, origin: &Origin) -> Result<(), InitError> {
    let head = log.head();
    if head != Head::EMPTY {
        return Err(InitError::NotEmpty { head });
    }
    let payload = DatasetInit { incarnation: surroundings.new_id(), format: FORMAT };
    let entry = new_entry(surroundings, origin, DATASET_INIT, &payload)?;
    log.append(head, entry).map_err(WriteError::from)?;
    Ok(())
}

/// The entry that stands behind those of a backup: from it on the history has a name of its own, so that nothing that is
/// published later is mistaken for what the other history publishes.
///
/// # Errors
/// See [`WriteError`].
pub fn restored(
    backup: Head,
    surroundings: &dyn Surroundings,
    origin: &Origin,
) -> Result<NewEntry, WriteError> {
    let payload = DatasetRestore { incarnation: surroundings.new_id(), format: FORMAT, backup };
    new_entry(surroundings, origin, DATASET_RESTORE, &payload)
}

/// What an engine stands on.
pub struct Ground {
    /// What is durable.
    pub log: Arc<dyn Log>,
    /// The materialised copy.
    pub store: Store,
    /// Where checkpoints are kept.
    pub checkpoints: Arc<dyn Checkpoints>,
    /// What signs them.
    pub signer: Option<Signer>,
    /// What keys are proven with.
    pub key_secret: ServerSecret,
    /// Time, ids, chance.
    pub surroundings: Arc<dyn Surroundings>,
}

/// Starts the engine.
///
/// A store that is behind is brought forward. One that is empty, of another log, overgrown, damaged, or whose content is not
/// what was published, is filled anew from the log, once. The last checkpoint that was kept must go with the log. Blocks.
///
/// # Errors
/// See [`StartError`].
pub fn start(ground: Ground) -> Result<(Engine, StartReport), StartError> {
    start_at(ground, Pace::default())
}

pub(crate) fn start_at(ground: Ground, pace: Pace) -> Result<(Engine, StartReport), StartError> {
    let Ground { log, mut store, checkpoints, signer, key_secret, surroundings } = ground;
    let mut report = StartReport::default();
    if log.head() == Head::EMPTY {
        return Err(StartError::NotBegun);
    }
    report.rebuilt = doubt(&*log, &store)?;
    let mut ready = match &report.rebuilt {
        Some(cause) => {
            match cause {
                RebuildCause::Empty => tracing::info!("filling an empty store from the log"),
                cause => tracing::warn!(%cause, "filling the store anew from the log"),
            }
            rebuild(&*log, &mut store, pace, &mut report)?
        }
        None => match bring_up(&*log, &store, pace, &mut report)? {
            Ok(ready) => ready,
            Err(cause) => {
                tracing::warn!(
                    cause = &cause as &dyn std::error::Error,
                    "filling the store anew from the log"
                );
                report.rebuilt = Some(cause);
                rebuild(&*log, &mut store, pace, &mut report)?
            }
        },
    };
    let store = reopened(&*log, store, pace, &mut report, &mut ready)?;
    report.records = crate::load::count(&ready.snapshot);
    refuse_rewritten(&*checkpoints, &ready.tree)?;
    let notary = Notary { checkpoints, signer };
    launch(Launch { log, store, notary, key_secret, surroundings, pace, ready })
        .map(|engine| (engine, report))
}

/// The log must go with the last checkpoint that was given out.
fn refuse_rewritten(checkpoints: &dyn Checkpoints, tree: &Tree) -> Result<(), StartError> {
    let Some(Kept { checkpoint, .. }) = checkpoints.latest() else { return Ok(()) };
    let (size, kept, found) = (checkpoint.size, checkpoint.root, tree.root_at(checkpoint.size));
    if found == Some(kept) { Ok(()) } else { Err(StartError::Rewritten { size, kept, found }) }
}

/// The store without what the start made it hold. One that is not what it was when it was closed is filled anew.
fn reopened(
    log: &dyn Log,
    store: Store,
    pace: Pace,
    report: &mut StartReport,
    ready: &mut Ready,
) -> Result<Store, StartError> {
    let reopened = store.reopen().map_err(|error| StartError::Store(Box::new(RebuildCause::Store(error))))?;
    let mut store = reopened.store;
    if store.applied() != Some(ready.head) {
        let cause = store.applied().map_or(RebuildCause::Empty, |applied| RebuildCause::OtherLog { applied });
        tracing::warn!(%cause, "filling the store anew from the log");
        *ready = rebuild(log, &mut store, pace, report)?;
        report.rebuilt = Some(cause);
    }
    Ok(store)
}

struct Launch {
    log: Arc<dyn Log>,
    store: Store,
    notary: Notary,
    key_secret: ServerSecret,
    surroundings: Arc<dyn Surroundings>,
    pace: Pace,
    ready: Ready,
}

fn launch(launch: Launch) -> Result<Engine, StartError> {
    let Launch { log, store, notary, key_secret, surroundings, pace, ready } = launch;
    let Ready { state, head, snapshot, tree } = ready;
    let dataset = state.dataset.clone().ok_or(StartError::NotBegun)?;
    let view = View::new(Arc::new(snapshot), &dataset, state.last.as_ref());
    tracing::info!(revision = view.revision(), content_hash = %view.content_hash(), "serving the dataset");
    let keys = KeyRing::new(key_secret.clone(), state.keys.values().cloned())?;
    let kept = notary.checkpoints.latest().map_or(0, |kept| kept.checkpoint.size);
    let store = Arc::new(store);
    let begin = Begin {
        log: Arc::clone(&log),
        store: Arc::clone(&store),
        view,
        dataset,
        tree,
        notary,
        key_secret,
        keys,
        surroundings: Arc::clone(&surroundings),
    };
    let shared = Arc::new(Shared::new(begin));
    // A kill between a publish and its checkpoint, or a file of checkpoints that is gone.
    if let Some(last) = state.last.as_ref().filter(|last| last.sequence > kept) {
        shared.keep(&shared.checkpoint_of(last))?;
    }
    let writer =
        Writer { log, store, surroundings, shared: Arc::clone(&shared), state, head, settled: pace.settled };
    Engine::new(shared, pace, writer).map_err(StartError::Thread)
}

/// What is served when the store stands at the log's head.
struct Ready {
    state: State,
    head: Head,
    snapshot: Snapshot,
    tree: Tree,
}

/// Why the store can not even be brought forward.
fn doubt(log: &dyn Log, store: &Store) -> Result<Option<RebuildCause>, StartError> {
    let Some(applied) = store.applied() else { return Ok(Some(RebuildCause::Empty)) };
    let head = log.head();
    if applied.sequence > head.sequence {
        return Err(StartError::LogBehindStore { head, applied });
    }
    let same = match log.read_from(applied.sequence, 1)?.first() {
        Some(stored) => stored.head() == applied,
        None => false,
    };
    if !same {
        return Ok(Some(RebuildCause::OtherLog { applied }));
    }
    match store.is_overgrown() {
        Ok(overgrown) => Ok(overgrown.then_some(RebuildCause::Overgrown)),
        Err(error) => Ok(Some(RebuildCause::Store(error))),
    }
}

fn rebuild(
    log: &dyn Log,
    store: &mut Store,
    pace: Pace,
    report: &mut StartReport,
) -> Result<Ready, StartError> {
    if store.applied().is_some() {
        store.clear().map_err(|error| StartError::Store(Box::new(RebuildCause::Store(error))))?;
    }
    bring_up(log, store, pace, report)?.map_err(|cause| match cause {
        RebuildCause::Compile(_) | RebuildCause::Content { .. } => StartError::Inconsistent(Box::new(cause)),
        cause => StartError::Store(Box::new(cause)),
    })
}

/// Brings the store to the log's head and compiles what it holds. The inner error is one that a rebuild may mend.
fn bring_up(
    log: &dyn Log,
    store: &Store,
    pace: Pace,
    report: &mut StartReport,
) -> Result<Result<Ready, RebuildCause>, StartError> {
    let mut state = match State::read(store) {
        Ok(state) => state,
        Err(error) => return Ok(Err(RebuildCause::State(error))),
    };
    let begin = Instant::now();
    if let Err(cause) = replay(log, store, &mut state, pace, report)? {
        return Ok(Err(cause));
    }
    report.replay = begin.elapsed();
    let head = store.applied().unwrap_or(Head::EMPTY);
    let tree = match tree(store, head) {
        Ok(tree) => tree,
        Err(cause) => return Ok(Err(cause)),
    };
    Ok(compile(store, &state, report).map(|snapshot| Ready { state, head, snapshot, tree }))
}

/// The Merkle tree of the entries up to the head, from their leaves.
fn tree(store: &Store, head: Head) -> Result<Tree, RebuildCause> {
    let (mut tree, mut wrong) = (Tree::new(), None);
    let visited = store.for_each(Space::Leaf, |key, leaf| match layout::leaf(key, leaf) {
        Ok((sequence, leaf)) if sequence == tree.size() + 1 => tree.push(leaf),
        _ => wrong = Some(LayoutError { key: key.to_vec() }),
    });
    visited.map_err(RebuildCause::Store)?;
    if tree.size() != head.sequence.0 {
        wrong.get_or_insert(LayoutError { key: tree.size().to_be_bytes().to_vec() });
    }
    wrong.map_or(Ok(tree), |wrong| Err(RebuildCause::State(wrong.into())))
}

fn replay(
    log: &dyn Log,
    store: &Store,
    state: &mut State,
    pace: Pace,
    report: &mut StartReport,
) -> Result<Result<(), RebuildCause>, StartError> {
    report.replayed = 0;
    let mut next = store.applied().map_or(Sequence::FIRST, |applied| applied.sequence.next());
    loop {
        let entries = log.read_from(next, REPLAYED_AT_ONCE)?;
        let Some(last) = entries.last() else { return Ok(Ok(())) };
        next = last.entry.sequence.next();
        for stored in &entries {
            let changes = match fold(state, store, stored, pace.settled) {
                Ok(changes) => changes,
                Err(error @ (FoldError::Store(_) | FoldError::Layout(_))) => {
                    return Ok(Err(RebuildCause::Fold(error)));
                }
                Err(error) => {
                    let sequence = stored.entry.sequence;
                    return Err(StartError::Entry { sequence, source: Box::new(error) });
                }
            };
            if let Err(error) = store.apply(stored.head(), &changes) {
                return Ok(Err(RebuildCause::Store(error)));
            }
            report.replayed += 1;
        }
    }
}

fn compile(store: &Store, state: &State, report: &mut StartReport) -> Result<Snapshot, RebuildCause> {
    let begin = Instant::now();
    let sources = content::current(store, &state.layers()).map_err(RebuildCause::State)?;
    report.read = begin.elapsed();
    let begin = Instant::now();
    let snapshot = Snapshot::build(sources).map_err(|error| RebuildCause::Compile(Box::new(error)))?;
    report.compile = begin.elapsed();
    let published = state.last.as_ref().map_or(Digest::of(b""), |last| last.content_hash);
    let found = Digest(snapshot.content_hash());
    if found == published { Ok(snapshot) } else { Err(RebuildCause::Content { published, found }) }
}

fn told(root: Option<Digest>) -> String {
    root.map_or_else(|| "fewer".to_owned(), |root| format!("the root {root}"))
}
