//! Records compiled once into an immutable index that every question reads without a lock.
//!
//! A [`Snapshot`] is built from the records of one revision and never changes. Vehicle lines are kept compact: what many
//! lines share (trims, evidence, audio options) is kept once, and which parts apply is worked out once per [`Case`], a
//! combination of dash, factory audio and whatever else of a line a part's scope can see.

mod applies;
mod build;
mod case;
pub mod identify;
mod intern;
mod line;
mod read;
mod records;
mod search;
pub mod words;

pub use applies::describes_line;
pub use build::{BuildError, SourceRecord};
pub use case::{Case, CaseIx, Exclusion, Offer, Via};
pub use identify::{
    Answer, Answers, Candidate, Choice, Choices, Identified, IdentifyError, MAX_CANDIDATES, Match, MatchKind,
};
pub use line::{Line, LineFacts, LineIx, LineOption, Make, MakeIx, Model, ModelIx, OptionSet};
pub use records::{KeptRecord, KeptText, RecordIx, Table};
pub use search::Hit;

use std::ops::Range;
use std::sync::Arc;

use dashwright_model::Scope;
use dashwright_model::record::{Dash, FactoryAudio, GoldenQuestion, Part, Radio, RecordKind, Term};
use dashwright_model::vin::VinPattern;

/// A dataset compiled for questions.
#[derive(Debug)]
pub struct Snapshot {
    pub(crate) records: records::Records,
    pub(crate) terms: Table<Term>,
    pub(crate) dashes: Table<Dash>,
    pub(crate) audios: Table<FactoryAudio>,
    pub(crate) radios: Table<Radio>,
    pub(crate) parts: Table<Part>,
    pub(crate) golden: Table<GoldenQuestion>,
    pub(crate) makes: Vec<Make>,
    pub(crate) models: Vec<Model>,
    pub(crate) lines: Vec<Line>,
    pub(crate) line_of_record: Vec<LineIx>,
    pub(crate) option_sets: Vec<OptionSet>,
    pub(crate) cases: Vec<Case>,
    pub(crate) vin_patterns: Vec<(VinPattern, LineIx)>,
    pub(crate) index: identify::index::Index,
    pub(crate) content_hash: [u8; 32],
    pub(crate) part_numbers: Vec<(String, RecordIx)>,
    pub(crate) scopes: applies::VehicleScopes,
}

impl Snapshot {
    /// SHA-256 over the export of the dataset: the records' lines in the order of kind and id, each with its line break.
    #[must_use]
    pub fn content_hash(&self) -> [u8; 32] {
        self.content_hash
    }

    /// How many records of a kind there are.
    #[must_use]
    pub fn count(&self, kind: RecordKind) -> usize {
        self.records.of(kind).len()
    }

    /// The records of a kind as they were written, in the order of their ids.
    #[must_use]
    pub fn records(&self, kind: RecordKind) -> &[KeptRecord] {
        self.records.of(kind)
    }

    /// A record as it was written.
    #[must_use]
    pub fn record(&self, kind: RecordKind, id: &str) -> Option<&KeptRecord> {
        self.records.find(kind, id).map(|(_, record)| record)
    }

    /// The vocabulary.
    #[must_use]
    pub fn terms(&self) -> &Table<Term> {
        &self.terms
    }

    /// The dashes.
    #[must_use]
    pub fn dashes(&self) -> &Table<Dash> {
        &self.dashes
    }

    /// The factory audio systems.
    #[must_use]
    pub fn audios(&self) -> &Table<FactoryAudio> {
        &self.audios
    }

    /// The radios.
    #[must_use]
    pub fn radios(&self) -> &Table<Radio> {
        &self.radios
    }

    /// The parts.
    #[must_use]
    pub fn parts(&self) -> &Table<Part> {
        &self.parts
    }

    /// The golden questions.
    #[must_use]
    pub fn golden_questions(&self) -> &Table<GoldenQuestion> {
        &self.golden
    }

    /// The parts that have a number, whatever spaces, points and case it is written with; two brands may share one.
    #[must_use]
    pub fn parts_by_number(&self, number: &str) -> Vec<RecordIx> {
        let key = build::number_key(number);
        let start = self.part_numbers.partition_point(|(own, _)| *own < key);
        let same = self.part_numbers.iter().skip(start).take_while(|(own, _)| *own == key);
        same.map(|(_, part)| *part).collect()
    }

    /// The makes that have vehicle lines, in the order of their names.
    #[must_use]
    pub fn makes(&self) -> &[Make] {
        &self.makes
    }

    /// Every model, grouped by make, in the order of their names.
    #[must_use]
    pub fn models(&self) -> &[Model] {
        &self.models
    }

    /// The models of a make, as indexes.
    #[must_use]
    pub fn models_of(&self, make: MakeIx) -> Range<u32> {
        self.makes.get(make.get()).map_or(0..0, |make| make.models.clone())
    }

    /// Every vehicle line, in the order of make, model, first year and id.
    #[must_use]
    pub fn lines(&self) -> &[Line] {
        &self.lines
    }

    /// A vehicle line.
    #[must_use]
    pub fn line(&self, line: LineIx) -> Option<&Line> {
        self.lines.get(line.get())
    }

    /// The lines of a model, as indexes.
    #[must_use]
    pub fn lines_of(&self, model: ModelIx) -> Range<u32> {
        self.models.get(model.get()).map_or(0..0, |model| model.lines.clone())
    }

    /// The line of a vehicle id.
    #[must_use]
    pub fn line_by_id(&self, id: &str) -> Option<LineIx> {
        let (record, _) = self.records.find(RecordKind::Vehicle, id)?;
        self.line_of_record.get(record.get()).copied()
    }

    /// The id of a line.
    #[must_use]
    pub fn line_id(&self, line: &Line) -> &str {
        self.records.of(RecordKind::Vehicle).get(line.record.get()).map_or("", |record| record.id.as_str())
    }

    /// The make of a line.
    #[must_use]
    pub fn make_of(&self, line: &Line) -> Option<&Make> {
        self.makes.get(self.model_of(line)?.make.get())
    }

    /// The model of a line.
    #[must_use]
    pub fn model_of(&self, line: &Line) -> Option<&Model> {
        self.models.get(line.model.get())
    }

    /// The audio options of a line, each with its case.
    #[must_use]
    pub fn options_of(&self, line: &Line) -> &[LineOption] {
        self.option_sets.get(line.options.get()).map_or(&[], |set| &set.options)
    }

    /// Every distinct set of audio options and cases; lines that share one get the same answers.
    #[must_use]
    pub fn option_sets(&self) -> &[OptionSet] {
        &self.option_sets
    }

    /// Every case, in the order in which lines first show it.
    #[must_use]
    pub fn cases(&self) -> &[Case] {
        &self.cases
    }

    /// A case.
    #[must_use]
    pub fn case(&self, case: CaseIx) -> Option<&Case> {
        self.cases.get(case.get())
    }

    /// Whether a scope of some part describes a case.
    #[must_use]
    pub fn describes(&self, scope: &Scope, case: &Case) -> bool {
        let (Some(dash), Some(audio)) = (self.dashes.get(case.dash), self.audios.get(case.audio)) else {
            return false;
        };
        let seen = applies::Seen { scopes: &self.scopes, signature: &case.signature, dash, audio };
        seen.via(scope).is_some()
    }

    /// VIN patterns with their lines, the most specific first.
    #[must_use]
    pub fn vin_patterns(&self) -> &[(VinPattern, LineIx)] {
        &self.vin_patterns
    }

    /// The name that a person knows a term by; the id where there is no such term.
    #[must_use]
    pub fn term_name<'a>(&'a self, id: &'a str) -> &'a str {
        self.terms.find(id).map_or(id, |(_, term)| term.name.as_str())
    }
}

/// A shared text of a record.
pub type Text = Arc<str>;
