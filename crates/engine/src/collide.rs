//! Drafts and the revisions that were published since: what can be carried over, and what collides.

use std::collections::BTreeMap;
use std::sync::Arc;

use dashwright_model::record::RecordKey;

use crate::content;
use crate::drafts::DraftItem;
use crate::edit::item_etag;
use crate::engine::Engine;
use crate::layout::Version;
use crate::shared::Shared;
use crate::state::StateError;
use crate::view::View;

/// What became of a record in the dataset, after an item of a draft was made, and differs from what the draft makes of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Collision {
    /// The record's line when the item was made; none where there was no such record.
    pub before: Version,
    /// Its line now; none where it was deleted.
    pub now: Version,
}

/// An item of a draft beside the dataset as it is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ItemState {
    /// What the next change of this record in this draft has to expect. With a collision it stands for both sides.
    pub etag: String,
    /// Where the dataset has moved on under it.
    pub collision: Option<Collision>,
}

impl Engine {
    /// How items of a draft stand to a view.
    ///
    /// # Errors
    /// See [`StateError`].
    pub fn item_states(&self, view: &View, items: &[DraftItem]) -> Result<Vec<ItemState>, StateError> {
        let layers = self.shared.layers()?;
        items.iter().map(|item| self.shared.item_state(view, &layers, item)).collect()
    }
}

impl Shared {
    pub(crate) fn item_state(
        &self,
        view: &View,
        layers: &BTreeMap<u64, u64>,
        item: &DraftItem,
    ) -> Result<ItemState, StateError> {
        let collision = self.collision(view, layers, item)?;
        let theirs = collision.as_ref().map(|collision| collision.now.as_deref());
        Ok(ItemState { etag: item_etag(item.line.as_deref(), theirs), collision })
    }

    /// Where the record was changed after the item was made, and not to the same.
    pub(crate) fn collision(
        &self,
        view: &View,
        layers: &BTreeMap<u64, u64>,
        item: &DraftItem,
    ) -> Result<Option<Collision>, StateError> {
        let DraftItem { record, line, seen } = item;
        if *seen >= view.revision() {
            return Ok(None);
        }
        let key: Option<RecordKey> = record.parse().ok();
        let kept = key.and_then(|key| view.snapshot().record(key.kind, key.id.as_str()));
        let (now, moved) = match kept {
            Some(kept) => (Some(Arc::from(&*kept.text)), kept.revision > *seen),
            // It may have been deleted meanwhile.
            None => (None, true),
        };
        if !moved || now == *line {
            return Ok(None);
        }
        let before = content::record_as_of(&self.store, layers, record.as_bytes(), *seen)?;
        Ok((before != now).then_some(Collision { before, now }))
    }
}
