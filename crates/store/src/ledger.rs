//! The ledger: which entry of the log the store stands at, and what each space holds then.

use std::collections::BTreeMap;

use dashwright_log::{Digest, Head, Sequence};

use crate::space::Space;
use crate::value::{self, Total};

/// The space number of the ledger itself, which no [`Space`] has.
const LEDGER_SPACE: u8 = 0;

/// The key of the ledger; it sorts before all others.
pub(crate) const LEDGER_KEY: &[u8] = &[LEDGER_SPACE];

/// The number of the layout of this store; it changes with anything that an older version would misread.
const LAYOUT: u8 = 4;

/// Written in the same batch as every change.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Ledger {
    pub(crate) applied: Head,
    pub(crate) totals: BTreeMap<Space, Total>,
}

impl Ledger {
    pub(crate) fn total(&self, space: Space) -> Total {
        self.totals.get(&space).copied().unwrap_or_default()
    }

    pub(crate) fn encode(&self) -> Vec<u8> {
        let Ledger { applied: Head { sequence, digest }, totals } = self;
        let mut content = vec![LAYOUT];
        content.extend_from_slice(&sequence.0.to_be_bytes());
        content.extend_from_slice(&digest.0);
        for (space, Total { items, bytes, sum }) in totals {
            content.push(space.number());
            content.extend_from_slice(&items.to_be_bytes());
            content.extend_from_slice(&bytes.to_be_bytes());
            content.extend_from_slice(&sum.to_be_bytes());
        }
        value::wrap(LEDGER_SPACE, &[], &content).0
    }

    /// `None` when the stored bytes are damaged or of another layout.
    pub(crate) fn decode(stored: &[u8]) -> Option<Ledger> {
        let (content, _) = value::unwrap(LEDGER_SPACE, &[], stored)?;
        let rest = content.strip_prefix(&[LAYOUT])?;
        let (sequence, rest) = rest.split_first_chunk()?;
        let (digest, mut rest) = rest.split_first_chunk()?;
        let applied = Head { sequence: Sequence(u64::from_be_bytes(*sequence)), digest: Digest(*digest) };
        let mut totals = BTreeMap::new();
        while let Some((number, more)) = rest.split_first() {
            let space = Space::ALL.into_iter().find(|space| space.number() == *number)?;
            let (items, more) = more.split_first_chunk()?;
            let (bytes, more) = more.split_first_chunk()?;
            let (sum, more) = more.split_first_chunk()?;
            let (items, bytes) = (u64::from_be_bytes(*items), u64::from_be_bytes(*bytes));
            totals.insert(space, Total { items, bytes, sum: u128::from_be_bytes(*sum) });
            rest = more;
        }
        Some(Ledger { applied, totals })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn encodes_and_decodes() {
        let applied = Head { sequence: Sequence(7), digest: Digest([3; 32]) };
        let total = Total { items: 2, bytes: 30, sum: u128::MAX };
        let ledger = Ledger { applied, totals: [(Space::Record, total), (Space::Meta, total)].into() };
        let bytes = ledger.encode();
        assert_eq!(Ledger::decode(&bytes), Some(ledger));
        for cut in 0..bytes.len() {
            assert_eq!(Ledger::decode(&bytes[..cut]), None);
        }
    }
}
