//! How many of something each address has, so that none has too many.

use std::collections::HashMap;
use std::collections::hash_map::Entry;
use std::net::IpAddr;
use std::sync::{Arc, Mutex, PoisonError};

/// Counts by address; one that has none is forgotten.
pub(crate) struct PerAddress {
    most: usize,
    taken: Arc<Mutex<Counts>>,
}

/// Those without an address have gone already, and count together.
type Counts = HashMap<Option<IpAddr>, usize>;

impl PerAddress {
    /// At most so many each.
    pub(crate) fn new(most: usize) -> Self {
        Self { most, taken: Arc::default() }
    }

    /// One more of an address; none when it has as many as it may.
    pub(crate) fn take(&self, address: Option<IpAddr>) -> Option<OfAddress> {
        let mut taken = self.taken.lock().unwrap_or_else(PoisonError::into_inner);
        let count = taken.entry(address).or_default();
        if *count >= self.most {
            return None;
        }
        *count += 1;
        Some(OfAddress { address, taken: Arc::clone(&self.taken) })
    }
}

/// One of what an address has; given back when this goes.
pub(crate) struct OfAddress {
    address: Option<IpAddr>,
    taken: Arc<Mutex<Counts>>,
}

impl Drop for OfAddress {
    fn drop(&mut self) {
        let mut taken = self.taken.lock().unwrap_or_else(PoisonError::into_inner);
        if let Entry::Occupied(mut count) = taken.entry(self.address) {
            *count.get_mut() -= 1;
            if *count.get() == 0 {
                count.remove();
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_has_as_many_as_it_may_and_leaves_nothing_behind() {
        let counts = PerAddress::new(2);
        let [one, other] = [1, 2].map(|last| Some(IpAddr::from([192, 0, 2, last])));
        let mut held = vec![counts.take(one), counts.take(one)];
        assert!(held.iter().all(Option::is_some) && counts.take(one).is_none());
        assert!(counts.take(other).is_some() && counts.take(None).is_some());
        held.pop();
        assert!(counts.take(one).is_some());
        drop(held);
        assert!(counts.taken.lock().unwrap().is_empty());
    }
}
