//! Generated vehicle lines for benchmarks: the same lines on every machine, over the catalogue's dashes and audios.

use dashwright_model::record::Record;
use dashwright_model::record::vehicle::{Trims, Vehicle};
use dashwright_model::record::vocabulary::{Term, TermKind};
use dashwright_model::{Evidence, Grade, Valid};
use dashwright_quantity::{Label, ModelYear, Prose, TermId, YearSpan};

use crate::records;

/// The most makes that are generated: as many as a large real catalogue has in common use.
pub const MAX_GENERATED_MAKES: usize = 60;
/// The most lines that the names suffice for: every make has this many models of [`SPANS`] year spans.
pub const MAX_GENERATED_LINES: usize = MAX_GENERATED_MAKES * MODELS_PER_MAKE * SPANS;

/// Every record of the catalogue, and `lines` generated vehicle lines with their makes.
///
/// The lines are spread over the makes evenly; lines of one model have years that follow each other and never overlap.
/// More than [`MAX_GENERATED_LINES`] are not made. Ids begin with `gen-`, which no record of the catalogue does.
pub fn scaled(lines: usize) -> impl Iterator<Item = Record> {
    let base = records().unwrap_or_default();
    let stock = Stock::of(&base);
    let lines = lines.min(MAX_GENERATED_LINES);
    let makes = lines.min(MAX_GENERATED_MAKES);
    let terms = (0..makes).filter_map(make_term);
    let vehicles = (0..lines).filter_map(move |index| vehicle(index, &stock));
    base.into_iter().chain(terms).chain(vehicles)
}

/// Every line of the catalogue: a generated line takes over dash, audio options and supply, so that they agree.
pub(crate) struct Stock(Vec<Valid<Vehicle>>);

impl Stock {
    pub(crate) fn of(records: &[Record]) -> Self {
        let lines = records.iter().filter_map(|record| match record {
            Record::Vehicle(line) => Some(line.clone()),
            _ => None,
        });
        Self(lines.collect())
    }
}

fn make_term(make: usize) -> Option<Record> {
    let name = Label::new(&make_name(make)).ok()?;
    let (aliases, description) = (Vec::new(), None);
    let term =
        Term { id: make_id(make)?, of: TermKind::Make, name, aliases, description, evidence: evidence()? };
    Valid::new(term).ok().map(Record::Vocabulary)
}

/// Line `index` belongs to make `index % 60`; within a make, spans of years run fastest, then models.
pub(crate) fn vehicle(index: usize, stock: &Stock) -> Option<Record> {
    let (make, within) = (index % MAX_GENERATED_MAKES, index / MAX_GENERATED_MAKES);
    let (model, span) = (within / SPANS, within % SPANS);
    let like = stock.0.get((make * 31 + model * 7 + span) % stock.0.len().max(1))?;
    let from = i64::from(FIRST_YEAR) + i64::try_from(span * YEARS_PER_SPAN).ok()?;
    let last = from + i64::try_from(YEARS_PER_SPAN).ok()? - 1;
    let years = YearSpan::new(ModelYear::new(from).ok()?, ModelYear::new(last).ok()?).ok()?;
    let line = Vehicle {
        id: format!("gen-{make}-{model}-{from}").parse().ok()?,
        make: make_id(make)?,
        model: Label::new(&model_name(model)).ok()?,
        years,
        trims: Trims::All,
        build: None,
        market: None,
        drive_side: None,
        body: None,
        drivetrain: None,
        system_voltage: like.system_voltage,
        weight_class: like.weight_class,
        option_codes: Vec::new(),
        dash: like.dash.clone(),
        audio_options: like.audio_options.clone(),
        vin_patterns: Vec::new(),
        how_to_tell: std::collections::BTreeMap::new(),
        note: None,
        evidence: evidence()?,
    };
    Valid::new(line).ok().map(Record::Vehicle)
}

fn evidence() -> Option<Evidence> {
    let source = Prose::new("generated for a benchmark").ok()?;
    let date = "2026-01-01".parse().ok()?;
    Some(Evidence { grade: Grade::Assumed, source, date, confirmed_jobs: 0, contradicted_jobs: 0 })
}

fn make_id(make: usize) -> Option<TermId> {
    format!("gen-make-{make}").parse().ok()
}

/// Two syllables and an ending of its own: 60 names that differ.
fn make_name(make: usize) -> String {
    capitalised(&format!("{}{}rox", syllable(make), syllable(make / SYLLABLES.len() + 3)))
}

/// The digits of the model's number in syllables: as many names as numbers.
fn model_name(model: usize) -> String {
    let (low, mid, high) = (model % 20, model / 20 % 20, model / 400);
    capitalised(&format!("{}{}{}l", syllable(high), syllable(mid), syllable(low)))
}

fn syllable(index: usize) -> &'static str {
    SYLLABLES.get(index % SYLLABLES.len()).copied().unwrap_or_default()
}

fn capitalised(word: &str) -> String {
    let mut letters = word.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// Consonant and vowel, so that any row of them can be said and no two rows of one length are alike.
const SYLLABLES: &[&str] = &[
    "ba", "ke", "di", "fo", "gu", "ha", "je", "ki", "lo", "mu", "na", "pe", "ri", "so", "tu", "va", "we",
    "xi", "yo", "zu",
];

/// The model years that the spans begin with.
const FIRST_YEAR: u16 = 2005;
/// Spans of one model, one after the other.
const SPANS: usize = 5;
/// Model years of one span.
const YEARS_PER_SPAN: usize = 4;
/// Models of one make: 60 makes with this many models of five spans are a little more than a million lines.
const MODELS_PER_MAKE: usize = 3_400;
