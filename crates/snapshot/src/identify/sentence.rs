//! Free words: what a sentence at the counter says of a vehicle.

use dashwright_model::record::vehicle::DriveSide;
use dashwright_quantity::{ModelYear, YearMonth};

use super::index::Meaning;
use super::names::Names;
use super::query::Query;
use super::resolve::{Found, known, known_values, likely, likely_values};
use super::values::{Values, add_month, add_side, take_foreign, take_values};
use super::{IdentifyError, Source};
use crate::Snapshot;
use crate::line::MakeIx;
use crate::words::{is_filler, normal};

/// The most words of one name or phrase: "left hand drive" has three, a long trim name four.
const MAX_NAME_WORDS: usize = 6;

/// Words that turn what follows into its contrary. Nothing behind them narrows anything: it is handed on as unmatched.
const NEGATIONS: [&str; 6] = ["but", "except", "no", "non", "not", "without"];

/// What the trade calls the drive sides (common practice, no source).
const DRIVE_SIDE_WORDS: [(&str, DriveSide); 6] = [
    ("left hand drive", DriveSide::Left),
    ("left hand driven", DriveSide::Left),
    ("lhd", DriveSide::Left),
    ("right hand drive", DriveSide::Right),
    ("right hand driven", DriveSide::Right),
    ("rhd", DriveSide::Right),
];

/// A sentence, cut into words and names that mean something and words that do not.
pub(crate) struct Sentence {
    months: Vec<YearMonth>,
    pieces: Vec<Piece>,
}

/// A run of words in normal form, and what it could mean anywhere in the catalogue.
struct Piece {
    text: String,
    /// Where it stands, counted in words, so that neighbours are known.
    place: usize,
    year: Option<ModelYear>,
    side: Option<DriveSide>,
    makes: Vec<Found<MakeIx>>,
    is_model: bool,
    values: Vec<Found<Meaning>>,
    /// Whether it stands behind a "not": then it is handed on as it is, for it says what the vehicle is not.
    negated: bool,
    used: bool,
}

impl Sentence {
    /// Cuts a text: at every place the longest run of words that means something.
    pub(crate) fn of(snapshot: &Snapshot, text: &str) -> Self {
        let (months, rest) = months(text);
        let normal = normal(&rest);
        let words: Vec<&str> = normal.split(' ').filter(|word| !word.is_empty()).collect();
        let mut pieces = Vec::new();
        let mut place = 0;
        let mut negated = false;
        while let Some(rest) = words.get(place..).filter(|rest| !rest.is_empty()) {
            negated |= rest.first().is_some_and(|word| NEGATIONS.contains(word));
            let most = if negated { 0 } else { rest.len().min(MAX_NAME_WORDS) };
            let known = (1..=most).rev().find_map(|count| {
                let run = rest.get(..count)?;
                let filler = count == 1 && run.iter().all(|word| is_filler(word));
                let piece = Piece::of(snapshot, run.join(" "), place);
                (!filler && !piece.is_unknown()).then_some((piece, count))
            });
            match (known, rest.first()) {
                (Some((piece, count)), _) => {
                    pieces.push(piece);
                    place += count;
                }
                (None, Some(word)) => {
                    if !is_filler(word) {
                        pieces.push(Piece::unknown((*word).to_owned(), place, negated));
                    }
                    place += 1;
                }
                (None, None) => break,
            }
        }
        Self { months, pieces }
    }

    /// Whether nothing but fillers was said.
    pub(crate) fn is_empty(&self) -> bool {
        self.months.is_empty() && self.pieces.is_empty()
    }

    /// The model years that are named. A number that is also the name of a model is a year only where nothing else is.
    pub(crate) fn take_years(&mut self, has_year: bool) -> Vec<ModelYear> {
        let sure = self.pieces.iter().any(|piece| piece.year.is_some() && !piece.is_model);
        let mut found = has_year || sure;
        let mut years = Vec::new();
        for piece in &mut self.pieces {
            let Some(year) = piece.year.filter(|_| !piece.is_model || !found) else { continue };
            found = true;
            piece.used = true;
            years.push(year);
        }
        years
    }

    /// Takes the makes that are named; a likely misspelling only where nobody names one.
    pub(crate) fn name_makes(
        &mut self,
        query: &mut Query<'_>,
        names: &mut Names<'_>,
    ) -> Result<(), IdentifyError> {
        for piece in self.pieces.iter_mut().filter(|piece| !piece.used && !piece.makes.is_empty()) {
            // The name of the make stated may begin another make's: then it is the model that is named here.
            if piece.is_model && names.has_make() {
                continue;
            }
            names.take_makes(query, Source::Words, &piece.text, &piece.makes)?;
            piece.used = true;
        }
        if names.has_make() {
            return Ok(());
        }
        let index = &query.snapshot.index;
        let of_models = self.makes_of_models(query.snapshot);
        let counts = |make| of_models.is_empty() || of_models.contains(&make);
        self.try_unknown(|text| {
            if names.has_make() {
                return Ok(false);
            }
            let makes = likely(&index.makes, text, counts);
            let best_model = likely(&index.models, text, |_| true).first().map_or(0, |found| found.likeness);
            if makes.first().is_none_or(|found| found.likeness <= best_model) {
                return Ok(false);
            }
            names.take_makes(query, Source::Words, text, &makes)?;
            Ok(true)
        })
    }

    /// Takes the models that are named. A word that could as well be a trim is a model only where no other word is.
    pub(crate) fn name_models(
        &mut self,
        query: &mut Query<'_>,
        names: &mut Names<'_>,
    ) -> Result<(), IdentifyError> {
        let open = |piece: &&mut Piece| !piece.used && piece.is_model;
        for piece in self.pieces.iter_mut().filter(open).filter(|piece| piece.values.is_empty()) {
            names.model(query, Source::Words, &piece.text)?;
            piece.used = true;
        }
        for piece in self.pieces.iter_mut().filter(open) {
            let found = names.known_models(&piece.text);
            if !names.has_model() && !found.is_empty() {
                names.take_models(query, Source::Words, &piece.text, &found)?;
                piece.used = true;
            }
        }
        self.try_unknown(|text| {
            let found = if names.has_model() { Vec::new() } else { names.likely_models(text) };
            if !found.is_empty() {
                names.take_models(query, Source::Words, text, &found)?;
            }
            Ok(!found.is_empty())
        })
    }

    /// Takes what is said of lines, and hands on what means nothing.
    pub(crate) fn say_values<'a>(
        mut self,
        query: &mut Query<'a>,
        values: &mut Values<'a>,
    ) -> Result<(), IdentifyError> {
        for month in &self.months {
            add_month(query, Source::Words, *month);
        }
        if self.pieces.iter().all(|piece| piece.used) {
            return Ok(());
        }
        let words = values.vocabulary(query).words();
        for piece in self.pieces.iter_mut().filter(|piece| !piece.used) {
            if piece.negated {
                continue;
            }
            let here = known_values(words, &piece.text, |_| true);
            piece.used = true;
            if let Some(side) = piece.side {
                add_side(query, Source::Words, &piece.text, side);
            } else if !here.is_empty() {
                take_values(query, Source::Words, &piece.text, &here);
            } else if !piece.values.is_empty() {
                take_foreign(query, Source::Words, &piece.text, &piece.values);
            } else {
                piece.used = false;
            }
        }
        self.try_unknown(|text| {
            let found = likely_values(words, text, |_| true);
            if !found.is_empty() {
                take_values(query, Source::Words, text, &found);
            }
            Ok(!found.is_empty())
        })?;
        query.unmatched = self.unused();
        Ok(())
    }

    /// Words that have not been taken for anything.
    fn unused(&self) -> Vec<String> {
        self.pieces.iter().filter(|piece| !piece.used).map(|piece| piece.text.clone()).collect()
    }

    /// The makes of the models that are named.
    fn makes_of_models(&self, snapshot: &Snapshot) -> Vec<MakeIx> {
        let named = self.pieces.iter().filter(|piece| !piece.used && piece.is_model);
        let models = named.flat_map(|piece| known(&snapshot.index.models, &piece.text, |_| true));
        models.filter_map(|found| snapshot.models.get(found.of.get()).map(|model| model.make)).collect()
    }

    /// Offers every run of neighbouring words that mean nothing yet, the longest first; what is taken is used up.
    fn try_unknown(
        &mut self,
        mut take: impl FnMut(&str) -> Result<bool, IdentifyError>,
    ) -> Result<(), IdentifyError> {
        for count in (1..=MAX_NAME_WORDS.min(self.pieces.len())).rev() {
            for start in 0..=self.pieces.len() - count {
                let Some(run) = self.pieces.get_mut(start..start + count) else { continue };
                if !is_unknown_run(run) {
                    continue;
                }
                let text = run.iter().map(|piece| piece.text.as_str()).collect::<Vec<_>>().join(" ");
                if take(&text)? {
                    run.iter_mut().for_each(|piece| piece.used = true);
                }
            }
        }
        Ok(())
    }
}

/// The words and the makes and models that look most like them.
pub(crate) fn nothing_recognised(snapshot: &Snapshot, words: Vec<String>) -> IdentifyError {
    let nearest = Names::new(snapshot).nearest_of_all(&words.join(" "));
    IdentifyError::NothingRecognised { words, nearest }
}

impl Piece {
    fn of(snapshot: &Snapshot, text: String, place: usize) -> Self {
        let index = &snapshot.index;
        let year = text.parse().ok().filter(|_| text.len() == 4).and_then(|year| ModelYear::new(year).ok());
        let side = DRIVE_SIDE_WORDS.iter().find(|(words, _)| *words == text).map(|(_, side)| *side);
        Self {
            year,
            side,
            makes: known(&index.makes, &text, |_| true),
            is_model: !known(&index.models, &text, |_| true).is_empty(),
            values: known_values(&index.values, &text, |_| true),
            text,
            place,
            negated: false,
            used: false,
        }
    }

    fn unknown(text: String, place: usize, negated: bool) -> Self {
        let (makes, values) = (Vec::new(), Vec::new());
        let (year, side, is_model, used) = (None, None, false, false);
        Self { text, place, year, side, makes, is_model, values, negated, used }
    }

    fn is_unknown(&self) -> bool {
        let Self { text: _, place: _, year, side, makes, is_model, values, negated: _, used: _ } = self;
        year.is_none() && side.is_none() && makes.is_empty() && !is_model && values.is_empty()
    }
}

fn is_unknown_run(run: &[Piece]) -> bool {
    let unknown = run.iter().all(|piece| !piece.used && !piece.negated && piece.is_unknown());
    unknown && run.windows(2).all(|pair| matches!(pair, [one, next] if one.place + 1 == next.place))
}

/// The build months in a text, and the rest of it.
fn months(text: &str) -> (Vec<YearMonth>, String) {
    let (mut months, mut rest) = (Vec::new(), Vec::new());
    for word in text.split_whitespace() {
        match word.trim_matches(|c: char| !c.is_alphanumeric()).parse() {
            Ok(month) => months.push(month),
            Err(_) => rest.push(word),
        }
    }
    (months, rest.join(" "))
}
