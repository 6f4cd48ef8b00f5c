//! What readers and the writer share: the current view, earlier ones, the tree, the keys, whether writes are taken.

use std::collections::{BTreeMap, VecDeque};
use std::sync::atomic::{AtomicU8, Ordering};
use std::sync::{Arc, Mutex, OnceLock, PoisonError, RwLock};

use arc_swap::ArcSwap;
use dashwright_log::{Checkpoint, Checkpoints, Digest, KeepError, Log, Origin as LogOrigin, Signer, Tree};
use dashwright_snapshot::Snapshot;
use dashwright_store::{Space, Store};
use tokio::sync::watch;

use crate::content;
use crate::examine::LastExamined;
use crate::figures::Figures;
use crate::keys::{KeyFacts, KeyRing, ServerSecret};
use crate::layout;
use crate::state::{self, DatasetFacts, DraftFacts, RevisionFacts, StateError};
use crate::surroundings::Surroundings;
use crate::view::{AS_OF_KEPT, View, ViewError};
use crate::writer::Writes;

/// What readers and the writer share.
pub(crate) struct Shared {
    pub(crate) log: Arc<dyn Log>,
    pub(crate) store: Arc<Store>,
    view: ArcSwap<View>,
    revision: watch::Sender<u64>,
    writes: AtomicU8,
    dataset: DatasetFacts,
    earlier: Mutex<VecDeque<Arc<View>>>,
    tree: RwLock<Tree>,
    index: OnceLock<bool>,
    notary: Notary,
    key_secret: ServerSecret,
    keys: watch::Sender<Arc<KeyRing>>,
    surroundings: Arc<dyn Surroundings>,
    pub(crate) examined: LastExamined,
    pub(crate) previewing: Mutex<()>,
    pub(crate) importing: Mutex<()>,
    pub(crate) publishing: Mutex<()>,
    pub(crate) figures: Figures,
}

/// What makes and keeps checkpoints.
pub(crate) struct Notary {
    pub(crate) checkpoints: Arc<dyn Checkpoints>,
    pub(crate) signer: Option<Signer>,
}

/// What the shared part begins with.
pub(crate) struct Begin {
    pub(crate) log: Arc<dyn Log>,
    pub(crate) store: Arc<Store>,
    pub(crate) view: View,
    pub(crate) dataset: DatasetFacts,
    pub(crate) tree: Tree,
    pub(crate) notary: Notary,
    pub(crate) key_secret: ServerSecret,
    pub(crate) keys: KeyRing,
    pub(crate) surroundings: Arc<dyn Surroundings>,
}

impl Shared {
    pub(crate) fn new(begin: Begin) -> Shared {
        let Begin { log, store, view, dataset, tree, notary, key_secret, keys, surroundings } = begin;
        Shared {
            log,
            store,
            revision: watch::Sender::new(view.revision()),
            view: ArcSwap::from_pointee(view),
            writes: AtomicU8::new(Writes::Taken as u8),
            dataset,
            earlier: Mutex::default(),
            tree: RwLock::new(tree),
            index: OnceLock::new(),
            notary,
            key_secret,
            keys: watch::Sender::new(Arc::new(keys)),
            surroundings,
            examined: LastExamined::default(),
            previewing: Mutex::default(),
            importing: Mutex::default(),
            publishing: Mutex::default(),
            figures: Figures::default(),
        }
    }

    pub(crate) fn now(&self) -> String {
        self.surroundings.now()
    }

    pub(crate) fn view(&self) -> Arc<View> {
        self.view.load_full()
    }

    pub(crate) fn swap(&self, view: View) {
        let revision = view.revision();
        self.view.store(Arc::new(view));
        self.revision.send_replace(revision);
    }

    pub(crate) fn revisions(&self) -> watch::Receiver<u64> {
        self.revision.subscribe()
    }

    pub(crate) fn dataset(&self) -> &DatasetFacts {
        &self.dataset
    }

    pub(crate) fn writes(&self) -> Writes {
        match self.writes.load(Ordering::Acquire) {
            0 => Writes::Taken,
            1 => Writes::StoppedByLog,
            2 => Writes::StoppedByStore,
            _ => Writes::StoppedByCheckpoints,
        }
    }

    /// Stops writes; the first cause stays.
    pub(crate) fn stop(&self, writes: Writes) {
        let (taken, stopped) = (Writes::Taken as u8, writes as u8);
        let _ = self.writes.compare_exchange(taken, stopped, Ordering::AcqRel, Ordering::Acquire);
    }

    pub(crate) fn key_secret(&self) -> &ServerSecret {
        &self.key_secret
    }

    pub(crate) fn keys(&self) -> Arc<KeyRing> {
        Arc::clone(&self.keys.borrow())
    }

    pub(crate) fn watch_keys(&self) -> watch::Receiver<Arc<KeyRing>> {
        self.keys.subscribe()
    }

    pub(crate) fn share_keys(&self, facts: impl IntoIterator<Item = KeyFacts>) {
        match KeyRing::new(self.key_secret.clone(), facts) {
            Ok(ring) => drop(self.keys.send_replace(Arc::new(ring))),
            // Both were checked before the entry was written; the earlier keys stay.
            Err(error) => tracing::error!(%error, "the keys make no ring"),
        }
    }

    /// The tree has one more leaf.
    pub(crate) fn grow(&self, leaf: Digest) {
        self.tree.write().unwrap_or_else(PoisonError::into_inner).push(leaf);
    }

    pub(crate) fn with_tree<T>(&self, read: impl FnOnce(&Tree) -> T) -> T {
        // A push that panicked has added its leaf or not; a tree is whole either way.
        read(&self.tree.read().unwrap_or_else(PoisonError::into_inner))
    }

    /// The checkpoint with the publish of a revision as its last entry: the same note every time.
    pub(crate) fn checkpoint_of(&self, facts: &RevisionFacts) -> String {
        let RevisionFacts { revision, sequence, content_hash, .. } = facts;
        self.checkpoint_with(*sequence, (*revision, *content_hash))
    }

    /// The checkpoint of a view; of revision 0, the one of the first entry. It asks nothing of the store, so that it is given
    /// out also after the store has failed.
    pub(crate) fn checkpoint_of_view(&self, view: &View) -> String {
        self.checkpoint_with(view.entries(), (view.revision(), view.content_hash()))
    }

    fn checkpoint_with(&self, size: u64, last: (u64, Digest)) -> String {
        let root = self.with_tree(|tree| tree.root_at(size)).unwrap_or(Digest::ZERO);
        self.note(self.dataset.incarnation_of(last.0), size, root, last)
    }

    /// The checkpoint of the first `size` entries; none where there are fewer.
    pub(crate) fn checkpoint_at(&self, size: u64) -> Result<Option<String>, StateError> {
        let Some(root) = self.with_tree(|tree| tree.root_at(size)) else { return Ok(None) };
        let mut last = (0, Digest::of(b""));
        // Entries and revisions go up together, so that halving finds the last one within the first `size` entries.
        let (mut within, mut beyond) = (0, self.view().revision() + 1);
        while beyond - within > 1 {
            let middle = within + (beyond - within) / 2;
            match self.revision_facts(middle)?.filter(|facts| facts.sequence <= size) {
                Some(facts) => (within, last) = (middle, (middle, facts.content_hash)),
                None => beyond = middle,
            }
        }
        Ok(Some(self.note(self.dataset.incarnation(), size, root, last)))
    }

    fn note(&self, incarnation: &str, size: u64, root: Digest, last: (u64, Digest)) -> String {
        // Folding has refused every incarnation that makes no origin.
        let Ok(origin) = LogOrigin::of(incarnation) else { return String::new() };
        let (revision, content_hash) = last;
        let checkpoint = Checkpoint { origin, size, root, revision, content_hash };
        match &self.notary.signer {
            Some(signer) => checkpoint.encode_signed(signer),
            None => checkpoint.encode_unsigned(),
        }
    }

    pub(crate) fn keep(&self, note: &str) -> Result<(), KeepError> {
        self.notary.checkpoints.append(note)
    }

    pub(crate) fn signer(&self) -> Option<&Signer> {
        self.notary.signer.as_ref()
    }

    /// Whether no item of the index is missing, which is looked at once: no part of what is served rests on it.
    pub(crate) fn index_is_whole(&self) -> bool {
        *self.index.get_or_init(|| match self.store.verify(Space::Index) {
            Ok(()) => true,
            Err(error) => {
                tracing::error!(%error, "the index is damaged: the trail is read as a whole until a restart");
                false
            }
        })
    }

    /// The view of an earlier revision, kept from the last time or compiled anew; one at a time.
    pub(crate) fn as_of(&self, revision: u64) -> Result<Arc<View>, ViewError> {
        let mut kept = self.earlier.lock().unwrap_or_else(PoisonError::into_inner);
        let place = kept.iter().position(|view| view.revision() == revision);
        let view = match place.and_then(|place| kept.remove(place)) {
            Some(view) => view,
            None => {
                let timer = self.figures.as_of.start_timer();
                let view = Arc::new(self.compile(revision)?);
                timer.stop_and_record();
                view
            }
        };
        kept.truncate(AS_OF_KEPT - 1);
        kept.push_front(Arc::clone(&view));
        Ok(view)
    }

    fn compile(&self, revision: u64) -> Result<View, ViewError> {
        let facts = self.revision_facts(revision)?;
        let published = match &facts {
            Some(facts) => facts.content_hash,
            None if revision == 0 => Digest::of(b""),
            None => return Err(ViewError::NotKept { revision, oldest: self.oldest()? }),
        };
        let layers = self.layers()?;
        let sources = content::as_of(&self.store, &layers, revision)?;
        let snapshot = Snapshot::build(sources)
            .map_err(|source| ViewError::NotCompiled { revision, source: Box::new(source) })?;
        let found = Digest(snapshot.content_hash());
        if found != published {
            return Err(ViewError::Altered { revision, published, found });
        }
        Ok(View::new(Arc::new(snapshot), &self.dataset, facts.as_ref()))
    }

    /// What is known of a revision; nothing of revision 0, which nobody published.
    pub(crate) fn revision_facts(&self, revision: u64) -> Result<Option<RevisionFacts>, StateError> {
        let key = layout::revision_key(revision);
        let facts = self.store.get(Space::Meta, &key)?;
        Ok(facts.map(|facts| layout::read_facts(&key, &facts)).transpose()?)
    }

    /// The oldest revision that is kept; the empty dataset is known as long as the first revision is.
    fn oldest(&self) -> Result<u64, StateError> {
        let first = self.store.scan(Space::Meta, layout::REVISIONS, None, 1)?;
        let Some((key, facts)) = first.first() else { return Ok(0) };
        let facts: RevisionFacts = layout::read_facts(key, facts)?;
        Ok(if facts.revision == 1 { 0 } else { facts.revision })
    }

    /// Published drafts that are not settled, read before their items are.
    pub(crate) fn layers(&self) -> Result<BTreeMap<u64, u64>, StateError> {
        let drafts = self.drafts()?;
        Ok(drafts.iter().filter_map(|(_, facts)| state::layer(facts)).collect())
    }

    /// The drafts that are open or of which there are items, by id.
    pub(crate) fn drafts(&self) -> Result<Vec<(String, DraftFacts)>, StateError> {
        let mut drafts = Vec::new();
        for (key, facts) in self.store.scan(Space::Meta, layout::DRAFTS, None, usize::MAX)? {
            let id = layout::text(&key, key.strip_prefix(layout::DRAFTS).unwrap_or_default())?;
            drafts.push((id.to_string(), layout::read_facts(&key, &facts)?));
        }
        Ok(drafts)
    }
}
