//! Words with what they mean, found as typed or as likely meant.

use rapidfuzz::distance::osa::BatchComparator;

/// Words of up to this many characters are never taken for a misspelling: one slip makes another word of them.
pub const SHORT_WORD_CHARS: usize = 3;

/// A misspelling may have one slip (a letter wrong, missing, too many, or two changed places) for each so many
/// characters of the longer word. At one in four, `sprot` is `Sport` and `corlon` is `Corlan`, while a word of which a
/// third would have to change is another word (common practice, no source: spelling checkers allow about as much).
pub const CHARS_PER_SLIP: usize = 4;

/// Words and what they mean, in the order of the words.
#[derive(Debug)]
pub(crate) struct Dictionary<T> {
    entries: Vec<Entry<T>>,
    /// The words without spaces, so that `f 150` and `f150` are one.
    squeezed: Vec<(Box<str>, u32)>,
    /// The shapes of the words by length, so that most words are passed over without being looked at.
    shapes: Vec<Shape>,
}

#[derive(Debug)]
struct Shape {
    chars: u16,
    entry: u32,
    letters: u64,
}

/// A word in its normal form.
#[derive(Debug)]
pub(crate) struct Entry<T> {
    pub(crate) word: Box<str>,
    pub(crate) meanings: Vec<T>,
    chars: usize,
}

/// A word that is likely meant.
#[derive(Debug)]
pub(crate) struct Near<'a, T> {
    pub(crate) entry: &'a Entry<T>,
    slips: usize,
    /// 0 to 100.
    pub(crate) similarity: u8,
}

impl<T> Default for Dictionary<T> {
    fn default() -> Self {
        Self { entries: Vec::new(), squeezed: Vec::new(), shapes: Vec::new() }
    }
}

impl<T: Ord> Dictionary<T> {
    /// Takes words in normal form; what is said twice is kept once, whatever the order.
    pub(crate) fn new(mut words: Vec<(String, T)>) -> Self {
        words.retain(|(word, _)| !word.is_empty());
        words.sort();
        words.dedup();
        let mut entries: Vec<Entry<T>> = Vec::new();
        for (word, meaning) in words {
            match entries.last_mut() {
                Some(entry) if *entry.word == *word => entry.meanings.push(meaning),
                _ => entries.push(Entry::new(&word, meaning)),
            }
        }
        let numbered = entries.iter().zip(0_u32..);
        let mut squeezed: Vec<_> = numbered.map(|(entry, number)| (squeeze(&entry.word), number)).collect();
        squeezed.sort();
        let mut shapes: Vec<Shape> =
            entries.iter().zip(0..).map(|(entry, number)| entry.shape(number)).collect();
        shapes.sort_by_key(|shape| (shape.chars, shape.entry));
        Self { entries, squeezed, shapes }
    }
}

impl<T> Dictionary<T> {
    /// The entries of a word as typed, spaces aside.
    pub(crate) fn exact(&self, word: &str) -> Vec<&Entry<T>> {
        if let Ok(index) = self.entries.binary_search_by(|entry| (*entry.word).cmp(word)) {
            return self.entries.get(index).into_iter().collect();
        }
        let squeezed = squeeze(word);
        let start = self.squeezed.partition_point(|(own, _)| *own < squeezed);
        let same = self.squeezed.iter().skip(start).take_while(|(own, _)| *own == squeezed);
        same.filter_map(|(_, number)| self.entries.get(*number as usize)).collect()
    }

    /// The entries with the fewest slips, if few enough: several when they tie. Only entries with a meaning that counts
    /// are looked at.
    pub(crate) fn misspelt(&self, word: &str, counts: impl Fn(&T) -> bool) -> Vec<Near<'_, T>> {
        let chars = word.chars().count();
        if chars <= SHORT_WORD_CHARS {
            return Vec::new();
        }
        let letters = letters(word);
        let comparator = BatchComparator::new(word.chars());
        let mut best: Vec<Near<'_, T>> = Vec::new();
        let start =
            self.shapes.partition_point(|shape| usize::from(shape.chars) + chars / CHARS_PER_SLIP < chars);
        for shape in self.shapes.iter().skip(start) {
            let longer = chars.max(usize::from(shape.chars));
            if longer - chars > longer / CHARS_PER_SLIP {
                break;
            }
            let allowed = longer / CHARS_PER_SLIP;
            let allowed = best.first().map_or(allowed, |near| near.slips.min(allowed));
            // A slip changes at most two letters of the set.
            if (letters ^ shape.letters).count_ones() as usize > 2 * allowed
                || usize::from(shape.chars) <= SHORT_WORD_CHARS
            {
                continue;
            }
            let Some(entry) = self.entries.get(shape.entry as usize) else { continue };
            let slips = comparator.distance(entry.word.chars());
            let few = (1..=allowed).contains(&slips);
            if !few || !entry.meanings.iter().any(&counts) || !same_digits(word, &entry.word) {
                continue;
            }
            if best.first().is_some_and(|near| slips < near.slips) {
                best.clear();
            }
            best.push(Near { entry, slips, similarity: similarity(slips, longer) });
        }
        best.sort_by(|one, other| one.entry.word.cmp(&other.entry.word));
        best
    }

    /// The entries most like what was typed, as a whole or in one of its words, however unlike: the likest first, with
    /// the similarity in percent.
    pub(crate) fn nearest(
        &self,
        typed: &str,
        most: usize,
        counts: impl Fn(&T) -> bool,
    ) -> Vec<(u8, &Entry<T>)> {
        let words = std::iter::once(typed).chain(typed.split(' ').filter(|word| *word != typed));
        let words: Vec<_> =
            words.map(|word| (word.chars().count(), BatchComparator::new(word.chars()))).collect();
        let likeness = |entry: &Entry<T>| {
            let each = words.iter().map(|(chars, comparator)| {
                similarity(comparator.distance(entry.word.chars()), entry.chars.max(*chars))
            });
            each.max().unwrap_or(0)
        };
        let counted = self.entries.iter().filter(|entry| entry.meanings.iter().any(&counts));
        let mut scored: Vec<_> = counted.map(|entry| (likeness(entry), entry)).collect();
        scored.sort_by(|(one, entry), (other, other_entry)| {
            other.cmp(one).then_with(|| entry.word.cmp(&other_entry.word))
        });
        scored.truncate(most);
        scored
    }
}

impl<T> Entry<T> {
    fn shape(&self, number: u32) -> Shape {
        let chars = u16::try_from(self.chars).unwrap_or(u16::MAX);
        Shape { chars, entry: number, letters: letters(&self.word) }
    }

    fn new(word: &str, meaning: T) -> Self {
        Self { word: word.into(), meanings: vec![meaning], chars: word.chars().count() }
    }
}

/// How much of the longer word is right, in percent, rounded down.
fn similarity(slips: usize, longer: usize) -> u8 {
    let right = longer.saturating_sub(slips) * 100;
    u8::try_from(right.checked_div(longer).unwrap_or(0)).unwrap_or(100)
}

/// The letters that occur, as a set; letters beyond the 64th share places.
fn letters(word: &str) -> u64 {
    word.chars().fold(0, |set, c| set | 1 << (u32::from(c) % 64))
}

/// Whether the digits are the same in the same order: a slip never changes a number, for `300` and `500` are two models,
/// not a misspelling.
fn same_digits(one: &str, other: &str) -> bool {
    let digits = |word: &'_ str| -> Vec<char> { word.chars().filter(|c| c.is_numeric()).collect() };
    digits(one) == digits(other)
}

fn squeeze(word: &str) -> Box<str> {
    word.chars().filter(|c| *c != ' ').collect()
}
