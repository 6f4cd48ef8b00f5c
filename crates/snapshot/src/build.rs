//! Compiling: from the records of one revision to a snapshot.

use std::collections::{BTreeMap, HashMap};
use std::fmt;

use dashwright_model::record::vehicle::{DriveSide, SystemVoltage};
use dashwright_model::record::vocabulary::TermKind;
use dashwright_model::record::{GoldenQuestion, Record, RecordKey, RecordKind, Term, Vehicle};
use dashwright_model::{Valid, exchange};
use dashwright_quantity::{IdError, Label, TermId};
use sha2::{Digest as _, Sha256};

use crate::applies::{Seen, VehicleScopes};
use crate::case::{Case, CaseIx};
use crate::identify::index::{Index, Source};
use crate::intern::Interner;
use crate::line::{
    Line, LineFacts, LineIx, LineOption, Make, MakeIx, Model, ModelIx, OptionSet, OptionSetIx,
};
use crate::read::{self, First, Place};
use crate::records::{Loose, RecordIx, Records, Table};
use crate::{Snapshot, Text};

/// A record with its line and the revision in which it was last changed.
#[derive(Clone, Debug)]
pub struct SourceRecord {
    /// The record's line, as [`exchange::to_line`] writes it.
    pub text: Text,
    /// The revision in which it was last changed.
    pub revision: u64,
}

/// Why records can not be compiled.
#[derive(Debug)]
pub enum BuildError {
    /// A line is not a record.
    NotARecord {
        /// Which of the lines, counted from 0.
        index: usize,
        /// Why.
        source: exchange::ExchangeError,
    },
    /// An id that is none.
    Id {
        /// Which of the lines, counted from 0.
        index: usize,
        /// Why.
        source: IdError,
    },
    /// Two records of one kind and id.
    Twice {
        /// Which.
        key: RecordKey,
    },
    /// A vehicle line names a dash, an audio or a make that does not exist.
    Dangling {
        /// The line.
        vehicle: RecordKey,
        /// What it names.
        target: RecordKey,
    },
}

impl fmt::Display for BuildError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotARecord { index, .. } => {
                write!(f, "record number {index} of the dataset can not be read")
            }
            Self::Id { index, .. } => write!(f, "record number {index} of the dataset has no proper id"),
            Self::Twice { key } => write!(f, "`{key}` stands twice in the dataset"),
            Self::Dangling { vehicle, target } => {
                write!(f, "`{vehicle}` names `{target}`, which does not exist")
            }
        }
    }
}

impl std::error::Error for BuildError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Self::NotARecord { source, .. } => Some(source),
            Self::Id { source, .. } => Some(source),
            Self::Twice { .. } | Self::Dangling { .. } => None,
        }
    }
}

impl Snapshot {
    /// Compiles a dataset.
    ///
    /// # Errors
    /// When a line is no record, a key stands twice, or a vehicle line names what does not exist.
    pub fn build(sources: Vec<SourceRecord>) -> Result<Self, BuildError> {
        let first = read::first_pass(&sources)?;
        let mut sorted = Sorted::default();
        for (index, (first, source)) in first.into_iter().zip(sources).enumerate() {
            sorted.add(index, first, source)?;
        }
        sorted.compile()
    }
}

/// Records by kind, before they are compiled.
#[derive(Default)]
struct Sorted {
    loose: BTreeMap<RecordKind, Vec<Loose>>,
    terms: Vec<(TermId, Valid<Term>)>,
    dashes: Vec<(TermId, Valid<dashwright_model::record::Dash>)>,
    audios: Vec<(TermId, Valid<dashwright_model::record::FactoryAudio>)>,
    radios: Vec<(TermId, Valid<dashwright_model::record::Radio>)>,
    parts: Vec<(TermId, Valid<dashwright_model::record::Part>)>,
    golden: Vec<(TermId, Valid<GoldenQuestion>)>,
    vehicles: Vec<Place>,
}

impl Sorted {
    fn add(&mut self, index: usize, first: First, source: SourceRecord) -> Result<(), BuildError> {
        let record = match first {
            First::Whole(record) => *record,
            First::Vehicle(place) => {
                self.keep(RecordKind::Vehicle, place.id.clone(), source);
                self.vehicles.push(place);
                return Ok(());
            }
        };
        let id: TermId = record.id().parse().map_err(|source| BuildError::Id { index, source })?;
        self.keep(record.kind(), id.clone(), source);
        match record {
            Record::Vocabulary(term) => self.terms.push((id, term)),
            Record::Dash(dash) => self.dashes.push((id, dash)),
            Record::FactoryAudio(audio) => self.audios.push((id, audio)),
            Record::Radio(radio) => self.radios.push((id, radio)),
            Record::Part(part) => self.parts.push((id, part)),
            Record::GoldenQuestion(question) => self.golden.push((id, question)),
            // Written by hand, with white space: the first pass read it whole.
            Record::Vehicle(vehicle) => self.vehicles.push(Place::of(&vehicle, id, index)),
        }
        Ok(())
    }

    fn keep(&mut self, kind: RecordKind, id: TermId, source: SourceRecord) {
        self.loose.entry(kind).or_default().push((id, source.revision, source.text));
    }

    fn compile(mut self) -> Result<Snapshot, BuildError> {
        let mut records = Records::default();
        for (kind, mut loose) in self.loose {
            loose.sort_by(|(one, ..), (other, ..)| one.cmp(other));
            refuse_twice(kind, &loose)?;
            records.keep(kind, loose);
        }
        let content_hash = content_hash(&records);
        let tables = Tables {
            terms: Table::new(self.terms),
            dashes: Table::new(self.dashes),
            audios: Table::new(self.audios),
            radios: Table::new(self.radios),
            parts: Table::new(self.parts),
            golden: Table::new(self.golden),
        };
        let mut lines = Lines::new(&tables);
        self.vehicles.sort_unstable();
        for chunk in self.vehicles.chunks(read::CHUNK) {
            for (vehicle, place) in read::vehicles(chunk, &records)?.iter().zip(chunk) {
                lines.add(&place.id, vehicle, &records)?;
            }
        }
        Ok(lines.finish(records.of(RecordKind::Vehicle).len()).into_snapshot(records, tables, content_hash))
    }
}

fn refuse_twice(kind: RecordKind, records: &[Loose]) -> Result<(), BuildError> {
    let twice = records.windows(2).find_map(|pair| match pair {
        [(one, ..), (other, ..)] if one == other => Some(one.clone()),
        _ => None,
    });
    twice.map_or(Ok(()), |id| Err(BuildError::Twice { key: RecordKey { kind, id } }))
}

fn content_hash(records: &Records) -> [u8; 32] {
    let mut hash = Sha256::new();
    for record in RecordKind::ALL.iter().flat_map(|kind| records.of(*kind)) {
        hash.update(record.text.as_bytes());
        hash.update(b"\n");
    }
    hash.finalize().into()
}

struct Tables {
    terms: Table<Term>,
    dashes: Table<dashwright_model::record::Dash>,
    audios: Table<dashwright_model::record::FactoryAudio>,
    radios: Table<dashwright_model::record::Radio>,
    parts: Table<dashwright_model::record::Part>,
    golden: Table<GoldenQuestion>,
}

/// What tells one case from another.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
struct CaseKey {
    dash: RecordIx,
    audio: RecordIx,
    system_voltage: Option<SystemVoltage>,
    drive_side: Option<DriveSide>,
    signature: Vec<u32>,
}

/// Vehicle lines while they are being compiled.
struct Lines<'a> {
    tables: &'a Tables,
    scopes: VehicleScopes,
    aliases: BTreeMap<(String, String), Vec<Label>>,
    makes: Vec<Make>,
    models: Vec<Model>,
    lines: Vec<Line>,
    trims: Interner<dashwright_model::record::vehicle::Trims>,
    facts: Interner<LineFacts>,
    options: Interner<dashwright_model::record::vehicle::AudioOption>,
    option_sets: Interner<OptionSet>,
    cases: HashMap<CaseKey, CaseIx>,
    compiled: Vec<Case>,
    vin_patterns: Vec<(dashwright_model::vin::VinPattern, LineIx)>,
}

impl<'a> Lines<'a> {
    fn new(tables: &'a Tables) -> Self {
        Self {
            tables,
            scopes: VehicleScopes::of(&tables.parts),
            aliases: model_aliases(&tables.terms),
            makes: Vec::new(),
            models: Vec::new(),
            lines: Vec::new(),
            trims: Interner::new(),
            facts: Interner::new(),
            options: Interner::new(),
            option_sets: Interner::new(),
            cases: HashMap::new(),
            compiled: Vec::new(),
            vin_patterns: Vec::new(),
        }
    }

    fn add(&mut self, id: &TermId, vehicle: &Vehicle, records: &Records) -> Result<(), BuildError> {
        let dangling = |kind, target: &str| BuildError::Dangling {
            vehicle: RecordKey { kind: RecordKind::Vehicle, id: id.clone() },
            target: RecordKey { kind, id: target.parse().unwrap_or_else(|_| id.clone()) },
        };
        let (dash, _) = (self.tables.dashes.find(vehicle.dash.as_str()))
            .ok_or_else(|| dangling(RecordKind::Dash, vehicle.dash.as_str()))?;
        let make = self
            .make(&vehicle.make)
            .ok_or_else(|| dangling(RecordKind::Vocabulary, vehicle.make.as_str()))?;
        let model = self.model(make, vehicle);
        let mut options = Vec::with_capacity(vehicle.audio_options.len());
        for option in &vehicle.audio_options {
            let (audio, _) = (self.tables.audios.find(option.audio.as_str()))
                .ok_or_else(|| dangling(RecordKind::FactoryAudio, option.audio.as_str()))?;
            let case = self.case(vehicle, dash, audio);
            options.push(LineOption { option: self.options.intern(option.clone()).0, case });
        }
        let (_, set) = self.option_sets.intern(OptionSet { options });
        let line = LineIx(number(self.lines.len()));
        self.vin_patterns.extend(vehicle.vin_patterns.iter().map(|pattern| (*pattern, line)));
        let record = records.find(RecordKind::Vehicle, id.as_str()).map_or(RecordIx(0), |(record, _)| record);
        self.lines.push(Line {
            record,
            model,
            years: vehicle.years,
            trims: self.trims.intern(vehicle.trims.clone()).0,
            facts: self.facts.intern(facts(vehicle)).0,
            dash,
            options: OptionSetIx(set),
        });
        Ok(())
    }

    /// The make of the line being added; lines come grouped by make.
    fn make(&mut self, id: &TermId) -> Option<MakeIx> {
        if self.makes.last().is_none_or(|make| make.term != *id) {
            let (_, term) = self.tables.terms.find(id.as_str())?;
            let models = number(self.models.len());
            let (name, aliases) = (term.name.clone(), term.aliases.clone());
            self.makes.push(Make { term: id.clone(), name, aliases, models: models..models });
        }
        Some(MakeIx(number(self.makes.len()) - 1))
    }

    /// The model of the line being added; lines come grouped by model.
    fn model(&mut self, make: MakeIx, vehicle: &Vehicle) -> ModelIx {
        let next = number(self.lines.len());
        let same = |model: &&mut Model| model.make == make && model.name == vehicle.model;
        if let Some(model) = self.models.last_mut().filter(same) {
            model.lines.end = next + 1;
        } else {
            let aliases = self.aliases.get(&(vehicle.make.to_string(), vehicle.model.to_string()));
            let aliases = aliases.cloned().unwrap_or_default();
            self.models.push(Model { make, name: vehicle.model.clone(), aliases, lines: next..next + 1 });
            if let Some(make) = self.makes.last_mut() {
                make.models.end = number(self.models.len());
            }
        }
        ModelIx(number(self.models.len()) - 1)
    }

    fn case(&mut self, vehicle: &Vehicle, dash: RecordIx, audio: RecordIx) -> CaseIx {
        let (system_voltage, drive_side) = (vehicle.system_voltage, vehicle.drive_side);
        let signature = self.scopes.signature(vehicle);
        let key = CaseKey { dash, audio, system_voltage, drive_side, signature };
        if let Some(case) = self.cases.get(&key) {
            return *case;
        }
        let (offers, former, exclusions) = (Vec::new(), Vec::new(), Vec::new());
        let signature = key.signature.clone();
        let mut case =
            Case { dash, audio, system_voltage, drive_side, signature, offers, former, exclusions };
        if let (Some(dash), Some(audio)) = (self.tables.dashes.get(dash), self.tables.audios.get(audio)) {
            let seen = Seen { scopes: &self.scopes, signature: &key.signature, dash, audio };
            seen.fill(&self.tables.parts, &mut case);
        }
        let index = CaseIx(number(self.compiled.len()));
        self.compiled.push(case);
        self.cases.insert(key, index);
        index
    }

    fn finish(mut self, vehicle_records: usize) -> Compiled {
        let mut line_of_record = vec![LineIx(0); vehicle_records];
        for (line, number) in self.lines.iter().zip(0_u32..) {
            if let Some(place) = line_of_record.get_mut(line.record.get()) {
                *place = LineIx(number);
            }
        }
        self.vin_patterns.sort_by(|(one, line), (other, other_line)| {
            other.specificity().cmp(&one.specificity()).then_with(|| line.cmp(other_line))
        });
        let option_sets = self.option_sets.into_values().iter().map(|set| OptionSet::clone(set)).collect();
        Compiled {
            scopes: self.scopes,
            makes: self.makes,
            models: self.models,
            lines: self.lines,
            line_of_record,
            option_sets,
            cases: self.compiled,
            vin_patterns: self.vin_patterns,
        }
    }
}

/// Vehicle lines when they have been compiled.
struct Compiled {
    scopes: VehicleScopes,
    makes: Vec<Make>,
    models: Vec<Model>,
    lines: Vec<Line>,
    line_of_record: Vec<LineIx>,
    option_sets: Vec<OptionSet>,
    cases: Vec<Case>,
    vin_patterns: Vec<(dashwright_model::vin::VinPattern, LineIx)>,
}

impl Compiled {
    fn into_snapshot(self, records: Records, tables: Tables, content_hash: [u8; 32]) -> Snapshot {
        let Self { scopes, makes, models, lines, line_of_record, option_sets, cases, vin_patterns } = self;
        let Tables { terms, dashes, audios, radios, parts, golden } = tables;
        let index = Index::of(&Source {
            makes: &makes,
            models: &models,
            lines: &lines,
            option_sets: &option_sets,
            terms: &terms,
            vin_patterns: &vin_patterns,
        });
        let part_numbers = part_numbers(&parts);
        Snapshot {
            records,
            scopes,
            part_numbers,
            terms,
            dashes,
            audios,
            radios,
            parts,
            golden,
            makes,
            models,
            lines,
            line_of_record,
            option_sets,
            cases,
            vin_patterns,
            index,
            content_hash,
        }
    }
}

fn facts(vehicle: &Vehicle) -> LineFacts {
    LineFacts {
        build: vehicle.build,
        market: vehicle.market.clone(),
        drive_side: vehicle.drive_side,
        body: vehicle.body.clone(),
        drivetrain: vehicle.drivetrain.clone(),
        system_voltage: vehicle.system_voltage,
        weight_class: vehicle.weight_class,
        option_codes: vehicle.option_codes.clone(),
        how_to_tell: vehicle.how_to_tell.clone(),
        note: vehicle.note.clone(),
        evidence: vehicle.evidence.clone(),
    }
}

/// The numbers of the parts in the form in which they are looked up, in order.
fn part_numbers(parts: &Table<dashwright_model::record::Part>) -> Vec<(String, RecordIx)> {
    let mut numbers: Vec<(String, RecordIx)> =
        parts.iter().map(|(index, part)| (number_key(part.number.as_str()), index)).collect();
    numbers.sort();
    numbers
}

/// A part number as it is looked up: letters and digits alone, so that spaces and points do not matter.
pub(crate) fn number_key(number: &str) -> String {
    number.chars().filter(|letter| letter.is_alphanumeric()).flat_map(char::to_lowercase).collect()
}

/// The aliases of models, by make and by the name that vehicle lines write.
fn model_aliases(terms: &Table<Term>) -> BTreeMap<(String, String), Vec<Label>> {
    let models = terms.iter().filter_map(|(_, term)| match &term.of {
        TermKind::Model { make } => Some(((make.to_string(), term.name.to_string()), term.aliases.clone())),
        _ => None,
    });
    models.collect()
}

/// A count as an index: a dataset of four thousand million lines does not fit into memory.
fn number(count: usize) -> u32 {
    u32::try_from(count).unwrap_or(u32::MAX)
}

#[cfg(test)]
#[path = "build_tests.rs"]
mod tests;
