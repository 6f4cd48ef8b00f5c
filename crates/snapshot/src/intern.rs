//! Keeping once what many lines share.

use std::collections::HashMap;
use std::hash::Hash;
use std::sync::Arc;

/// Gives equal values one allocation.
#[derive(Debug)]
pub(crate) struct Interner<T> {
    known: HashMap<Arc<T>, u32>,
    in_order: Vec<Arc<T>>,
}

impl<T: Hash + Eq> Interner<T> {
    pub(crate) fn new() -> Self {
        Self { known: HashMap::new(), in_order: Vec::new() }
    }

    /// The shared value and its number; numbers run from 0 in the order of first appearance.
    pub(crate) fn intern(&mut self, value: T) -> (Arc<T>, u32) {
        if let Some((shared, number)) = self.known.get_key_value(&value) {
            return (Arc::clone(shared), *number);
        }
        let number = u32::try_from(self.in_order.len()).unwrap_or(u32::MAX);
        let shared = Arc::new(value);
        self.known.insert(Arc::clone(&shared), number);
        self.in_order.push(Arc::clone(&shared));
        (shared, number)
    }

    /// Every value, in the order of first appearance.
    pub(crate) fn into_values(self) -> Vec<Arc<T>> {
        self.in_order
    }
}
