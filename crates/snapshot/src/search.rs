//! Searching records by words: misspelt, out of order, or only in part.

use dashwright_model::record::{Part, Radio, RecordKey, RecordKind, Term};
use rapidfuzz::distance::damerau_levenshtein;

use crate::Snapshot;
use crate::words::normal;

/// A word that is less like another than this is another word: one wrong letter in four, two in eight.
const LEAST_WORD_LIKENESS: f64 = 0.72;
/// A record whose words are on average less like those asked for than this is not shown.
const LEAST_LIKENESS: f64 = 0.72;
/// What a word counts that only begins like the word asked for.
const PREFIX_LIKENESS: f64 = 0.97;
/// What a word counts that only holds the word asked for.
const INSIDE_LIKENESS: f64 = 0.9;
/// Words shorter than this are looked for as they are: almost every short word is like another.
const LEAST_FUZZY_CHARS: usize = 4;

/// A record that resembles the words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Hit {
    /// The record.
    pub key: RecordKey,
    /// How like, in percent.
    pub likeness: u8,
    /// The text that was compared.
    pub matched: String,
}

impl Snapshot {
    /// The records of some kinds that resemble the words, the likest first, then in the order of kind and id.
    #[must_use]
    pub fn search(&self, words: &str, kinds: &[RecordKind], most: usize) -> Vec<Hit> {
        let asked = normal(words);
        let asked: Vec<&str> = asked.split(' ').filter(|word| !word.is_empty()).collect();
        if asked.is_empty() {
            return Vec::new();
        }
        let mut hits = Vec::new();
        for kind in kinds {
            self.search_kind(*kind, &asked, most, &mut hits);
        }
        hits.sort_by(|one, other| other.likeness.cmp(&one.likeness).then_with(|| one.key.cmp(&other.key)));
        hits.truncate(most);
        hits
    }

    fn search_kind(&self, kind: RecordKind, asked: &[&str], most: usize, hits: &mut Vec<Hit>) {
        match kind {
            RecordKind::Vocabulary => {
                hits.extend(
                    self.terms
                        .iter()
                        .filter_map(|(_, term)| best(asked, kind, term.id.as_str(), term_texts(term))),
                );
            }
            RecordKind::Dash => {
                hits.extend(self.dashes.iter().filter_map(|(_, dash)| {
                    best(asked, kind, dash.id.as_str(), vec![dash.title.to_string()])
                }))
            }
            RecordKind::FactoryAudio => hits.extend(self.audios.iter().filter_map(|(_, audio)| {
                best(asked, kind, audio.id.as_str(), vec![audio.title.to_string()])
            })),
            RecordKind::Radio => {
                hits.extend(self.radios.iter().filter_map(|(_, radio)| {
                    best(asked, kind, radio.id.as_str(), vec![self.radio_text(radio)])
                }))
            }
            RecordKind::Part => hits.extend(
                self.parts
                    .iter()
                    .filter_map(|(_, part)| best(asked, kind, part.id.as_str(), vec![self.part_text(part)])),
            ),
            RecordKind::GoldenQuestion => hits.extend(self.golden.iter().filter_map(|(_, question)| {
                best(asked, kind, question.id.as_str(), vec![question.title.to_string()])
            })),
            RecordKind::Vehicle => self.search_vehicles(asked, most, hits),
        }
    }

    /// Vehicle lines are searched by model, of which there are far fewer; a line of a model that is like enough is shown,
    /// and those that also have the model year asked for come first.
    fn search_vehicles(&self, asked: &[&str], most: usize, hits: &mut Vec<Hit>) {
        let (years, asked): (Vec<&str>, Vec<&str>) = asked.iter().partition(|word| is_year(word));
        let year: Option<u16> = years.first().and_then(|year| year.parse().ok());
        let mut models: Vec<(u8, usize, String)> = Vec::new();
        for (place, model) in self.models.iter().enumerate() {
            let make = self.makes.get(model.make.get()).map(|make| make.name.as_str()).unwrap_or_default();
            let texts =
                std::iter::once(&model.name).chain(&model.aliases).map(|name| format!("{make} {name}"));
            if let Some((likeness, text)) = likest(&asked, texts.collect()) {
                models.push((likeness, place, text));
            }
        }
        models.sort_by(|one, other| other.0.cmp(&one.0).then_with(|| one.1.cmp(&other.1)));
        let lines = models.iter().flat_map(|(likeness, place, text)| {
            let lines = self.models.get(*place).map_or(0..0, |model| model.lines.clone());
            lines.filter_map(move |line| {
                let line = self.lines.get(line as usize)?;
                let fits = year.is_none_or(|year| line.years.years().any(|own| own.get() == year));
                let id = self.line_id(line).parse().ok()?;
                let key = RecordKey { kind: RecordKind::Vehicle, id };
                fits.then(|| Hit { key, likeness: *likeness, matched: text.clone() })
            })
        });
        hits.extend(lines.take(most));
    }

    fn radio_text(&self, radio: &Radio) -> String {
        format!("{} {}", self.term_name(radio.brand.as_str()), radio.model)
    }

    fn part_text(&self, part: &Part) -> String {
        format!("{} {} {}", self.term_name(part.brand.as_str()), part.number, part.title)
    }
}

fn term_texts(term: &Term) -> Vec<String> {
    std::iter::once(&term.name).chain(&term.aliases).map(ToString::to_string).collect()
}

fn is_year(word: &str) -> bool {
    word.len() == 4 && word.bytes().all(|byte| byte.is_ascii_digit())
}

/// The hit of a record, by its id or by the likest of its texts.
fn best(asked: &[&str], kind: RecordKind, id: &str, mut texts: Vec<String>) -> Option<Hit> {
    texts.push(id.to_owned());
    let (likeness, matched) = likest(asked, texts)?;
    Some(Hit { key: RecordKey { kind, id: id.parse().ok()? }, likeness, matched })
}

/// The likest of some texts; the first of equals.
fn likest(asked: &[&str], texts: Vec<String>) -> Option<(u8, String)> {
    let mut likest: Option<(u8, String)> = None;
    for text in texts {
        let likeness = likeness(asked, &normal(&text));
        let percent = percent(likeness);
        if likeness >= LEAST_LIKENESS && likest.as_ref().is_none_or(|(known, _)| percent > *known) {
            likest = Some((percent, text));
        }
    }
    likest
}

/// How like a text is to the words asked for: the mean over those words of the likest word of the text.
fn likeness(asked: &[&str], text: &str) -> f64 {
    let likest = |word: &&str| text.split(' ').map(|own| word_likeness(word, own)).fold(0.0, f64::max);
    let sum: f64 = asked.iter().map(likest).sum();
    #[expect(clippy::cast_precision_loss, reason = "a handful of words")]
    let count = asked.len() as f64;
    if asked.is_empty() { 0.0 } else { sum / count }
}

fn word_likeness(asked: &str, own: &str) -> f64 {
    if asked == own {
        return 1.0;
    }
    if own.starts_with(asked) {
        return PREFIX_LIKENESS;
    }
    if asked.chars().count() < LEAST_FUZZY_CHARS {
        return 0.0;
    }
    if own.contains(asked) {
        return INSIDE_LIKENESS;
    }
    let like = damerau_levenshtein::normalized_similarity(asked.chars(), own.chars());
    if like >= LEAST_WORD_LIKENESS { like } else { 0.0 }
}

fn percent(likeness: f64) -> u8 {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 100")]
    let percent = (likeness * 100.0).round() as u8;
    percent
}
