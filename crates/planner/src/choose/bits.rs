//! Sets of small numbers as arrays of words.

/// The numbers that a set of needs can have.
pub(crate) const NEEDS: usize = 256;
/// The numbers that a set of items can have.
pub(crate) const ITEMS: usize = 512;

/// Bits of a word.
const WORD: usize = u64::BITS as usize;

/// A set of needs.
pub(crate) type Needs = [u64; NEEDS / WORD];
/// A set of items.
pub(crate) type Items = [u64; ITEMS / WORD];

/// No needs.
pub(crate) const NO_NEEDS: Needs = [0; NEEDS / WORD];
/// No items.
pub(crate) const NO_ITEMS: Items = [0; ITEMS / WORD];

/// Adds a number.
pub(crate) fn insert<const N: usize>(set: &mut [u64; N], number: usize) {
    if let Some(word) = set.get_mut(number / WORD) {
        *word |= 1 << (number % WORD);
    }
}

/// Takes a number away.
pub(crate) fn remove<const N: usize>(set: &mut [u64; N], number: usize) {
    if let Some(word) = set.get_mut(number / WORD) {
        *word &= !(1 << (number % WORD));
    }
}

/// Whether a number is in a set.
pub(crate) fn has<const N: usize>(set: &[u64; N], number: usize) -> bool {
    set.get(number / WORD).is_some_and(|word| word & (1 << (number % WORD)) != 0)
}

/// What is in both sets.
pub(crate) fn and<const N: usize>(one: &[u64; N], other: &[u64; N]) -> [u64; N] {
    zip(one, other, |one, other| one & other)
}

/// What is in one of the sets.
pub(crate) fn or<const N: usize>(one: &[u64; N], other: &[u64; N]) -> [u64; N] {
    zip(one, other, |one, other| one | other)
}

/// What is in the first set and not in the second.
pub(crate) fn without<const N: usize>(one: &[u64; N], other: &[u64; N]) -> [u64; N] {
    zip(one, other, |one, other| one & !other)
}

fn zip<const N: usize>(one: &[u64; N], other: &[u64; N], join: impl Fn(u64, u64) -> u64) -> [u64; N] {
    let mut joined = *one;
    for (own, their) in joined.iter_mut().zip(other) {
        *own = join(*own, *their);
    }
    joined
}

/// Whether there is nothing in a set.
pub(crate) fn is_empty<const N: usize>(set: &[u64; N]) -> bool {
    set.iter().all(|word| *word == 0)
}

/// How many numbers there are.
pub(crate) fn count<const N: usize>(set: &[u64; N]) -> u32 {
    set.iter().map(|word| word.count_ones()).sum()
}

/// The numbers of a set, in order.
pub(crate) fn numbers<const N: usize>(set: &[u64; N]) -> impl Iterator<Item = usize> + use<N> {
    let words = *set;
    words.into_iter().enumerate().flat_map(|(place, mut word)| {
        std::iter::from_fn(move || {
            let bit = (word != 0).then(|| word.trailing_zeros() as usize)?;
            word &= word - 1;
            Some(place * WORD + bit)
        })
    })
}

/// The set of some items.
pub(crate) fn of(items: &[usize]) -> Items {
    let mut set = NO_ITEMS;
    for item in items {
        insert(&mut set, *item);
    }
    set
}
