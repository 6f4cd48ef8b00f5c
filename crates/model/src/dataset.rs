//! What records say of each other: the faults that no record can see alone.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;

use dashwright_quantity::Label;

use crate::record::part::{LeadOrigin, Life, Part};
use crate::record::vehicle::{Trims, Vehicle};
use crate::record::vocabulary::TermKind;
use crate::record::{Record, RecordKey, RecordKind};

/// Something that is wrong between records.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Clash {
    /// The record in which it shows.
    pub record: RecordKey,
    /// The field in which it shows.
    pub path: String,
    /// What is wrong.
    pub kind: ClashKind,
}

/// The ways in which records can contradict each other.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ClashKind {
    /// Two records have one key.
    SameKey,
    /// A record is named that does not exist.
    Dangling {
        /// The record that is named.
        target: RecordKey,
    },
    /// A vocabulary term is named that names something else.
    WrongTerm {
        /// The term.
        target: RecordKey,
        /// What the field needs.
        wanted: &'static str,
        /// What the term is.
        found: &'static str,
    },
    /// Two vehicle lines of one make and model share years, trims, build months, market, drive side and body.
    Overlap {
        /// The other line.
        other: RecordKey,
    },
    /// A chain of supersessions that leads back to its beginning.
    SupersessionLoop,
    /// A lead that comes from a way of a plug family which the part does not occupy.
    LeadFromForeignPlug {
        /// The plug family.
        family: RecordKey,
    },
}

impl fmt::Display for Clash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { record, path, kind } = self;
        match kind {
            ClashKind::SameKey => write!(f, "`{record}` stands twice"),
            ClashKind::Dangling { target } => {
                write!(f, "`{record}` names `{target}` in `{path}`, which does not exist")
            }
            ClashKind::WrongTerm { target, wanted, found } => {
                write!(f, "`{record}` names `{target}` in `{path}` as a {wanted}, but it is a {found}")
            }
            ClashKind::Overlap { other } => write!(
                f,
                "`{record}` and `{other}` overlap in years, trims, build months, market, drive side and body"
            ),
            ClashKind::SupersessionLoop => write!(f, "`{record}` is superseded in a circle"),
            ClashKind::LeadFromForeignPlug { family } => {
                write!(f, "`{record}` has a lead in `{path}` from `{family}`, a plug that it does not occupy")
            }
        }
    }
}

/// Everything that is wrong between the records of a dataset, in the order of the records given.
#[must_use]
pub fn clashes(records: &[Record]) -> Vec<Clash> {
    let mut clashes = Vec::new();
    let mut terms: BTreeMap<RecordKey, Option<&TermKind>> = BTreeMap::new();
    for record in records {
        let Ok(key) = record.key() else { continue };
        let kind = if let Record::Vocabulary(term) = record { Some(&term.of) } else { None };
        if terms.insert(key.clone(), kind).is_some() {
            clashes.push(Clash { record: key, path: "id".to_owned(), kind: ClashKind::SameKey });
        }
    }
    for record in records {
        references(record, &terms, &mut clashes);
        foreign_leads(record, &mut clashes);
    }
    supersession_loops(records, &mut clashes);
    overlaps(records, &mut clashes);
    clashes
}

fn references(record: &Record, terms: &BTreeMap<RecordKey, Option<&TermKind>>, clashes: &mut Vec<Clash>) {
    let Ok(key) = record.key() else { return };
    for reference in record.references() {
        let kind = match terms.get(&reference.target) {
            None => ClashKind::Dangling { target: reference.target },
            Some(None) => continue,
            Some(Some(term)) => {
                let wanted = wanted_term(&reference.path);
                if term.name() == wanted {
                    continue;
                }
                ClashKind::WrongTerm { target: reference.target, wanted, found: term.name() }
            }
        };
        clashes.push(Clash { record: key.clone(), path: reference.path, kind });
    }
}

/// Which kind of term a field names, told by the field's last name.
fn wanted_term(path: &str) -> &'static str {
    match path.rsplit('.').next() {
        Some("make" | "vehicles") => TermKind::Make.name(),
        Some("brand" | "brands") => TermKind::Brand.name(),
        _ => "PLUG_FAMILY",
    }
}

fn foreign_leads(record: &Record, clashes: &mut Vec<Clash>) {
    let (Record::Part(part), Ok(key)) = (record, record.key()) else { return };
    let occupied: BTreeSet<&str> = occupied_families(part).collect();
    for (index, lead) in part.leads.iter().enumerate() {
        let LeadOrigin::Way { family, .. } = &lead.from else { continue };
        if !occupied.contains(family.as_str()) {
            let family = RecordKey { kind: RecordKind::Vocabulary, id: family.clone() };
            let kind = ClashKind::LeadFromForeignPlug { family };
            clashes.push(Clash { record: key.clone(), path: format!("leads.{index}.from"), kind });
        }
    }
}

fn occupied_families(part: &Part) -> impl Iterator<Item = &str> {
    part.occupies.iter().filter_map(|occupied| match &occupied.what {
        crate::record::part::Resource::FactoryPlug(family) => Some(family.as_str()),
        crate::record::part::Resource::RadioSocket(_) => None,
    })
}

fn supersession_loops(records: &[Record], clashes: &mut Vec<Clash>) {
    let successors: BTreeMap<&str, &str> = records
        .iter()
        .filter_map(|record| match record {
            Record::Part(part) => match &part.life {
                Life::SupersededBy(successor) => Some((part.id.as_str(), successor.as_str())),
                _ => None,
            },
            _ => None,
        })
        .collect();
    for record in records {
        let (Record::Part(part), Ok(key)) = (record, record.key()) else { continue };
        let mut at = part.id.as_str();
        let mut seen = BTreeSet::new();
        while let Some(next) = successors.get(at) {
            if *next == part.id.as_str() {
                let kind = ClashKind::SupersessionLoop;
                clashes.push(Clash { record: key.clone(), path: "life".to_owned(), kind });
            }
            if !seen.insert(*next) {
                break;
            }
            at = next;
        }
    }
}

/// Lines are compared within one make and model only, sorted by their first year, so that a large dataset is checked in
/// little more than the time of sorting it.
fn overlaps(records: &[Record], clashes: &mut Vec<Clash>) {
    let mut groups: BTreeMap<(&str, &str), Vec<&Vehicle>> = BTreeMap::new();
    for record in records {
        if let Record::Vehicle(vehicle) = record {
            groups.entry((vehicle.make.as_str(), vehicle.model.as_str())).or_default().push(vehicle);
        }
    }
    for lines in groups.values_mut() {
        lines.sort_by_key(|line| (line.years.from(), line.id.clone()));
        for (index, line) in lines.iter().enumerate() {
            let later =
                lines.iter().skip(index + 1).take_while(|other| other.years.from() <= line.years.to());
            for other in later.filter(|other| overlap(line, other)) {
                let key = |vehicle: &Vehicle| vehicle.id.as_str().parse();
                let (Ok(id), Ok(other)) = (key(line), key(other)) else { continue };
                let record = RecordKey { kind: RecordKind::Vehicle, id };
                let other = RecordKey { kind: RecordKind::Vehicle, id: other };
                clashes.push(Clash { record, path: "years".to_owned(), kind: ClashKind::Overlap { other } });
            }
        }
    }
}

/// Whether one car could belong to both lines.
#[must_use]
pub fn overlap(one: &Vehicle, other: &Vehicle) -> bool {
    one.years.overlaps(other.years)
        && trims_overlap(&one.trims, &other.trims)
        && may_equal(one.build.as_ref(), other.build.as_ref(), |a, b| a.overlaps(b))
        && may_equal(one.market.as_ref(), other.market.as_ref(), |a, b| a == b)
        && may_equal(one.drive_side.as_ref(), other.drive_side.as_ref(), |a, b| a == b)
        && may_equal(one.body.as_ref(), other.body.as_ref(), |a, b| a == b)
        && may_equal(one.drivetrain.as_ref(), other.drivetrain.as_ref(), |a, b| a == b)
}

/// An attribute that is not stated means every value.
fn may_equal<T>(one: Option<&T>, other: Option<&T>, equal: impl Fn(&T, &T) -> bool) -> bool {
    match (one, other) {
        (Some(one), Some(other)) => equal(one, other),
        _ => true,
    }
}

fn trims_overlap(one: &Trims, other: &Trims) -> bool {
    let shared = |these: &[Label], those: &[Label]| these.iter().any(|trim| those.contains(trim));
    match (one, other) {
        (Trims::These(these), Trims::These(those)) => shared(these, those),
        // "All others" means those that the named lines leave over.
        (Trims::AllOthers, Trims::These(_)) | (Trims::These(_), Trims::AllOthers) => false,
        _ => true,
    }
}

/// Whether a list of trims names every trim of a line; a line for all trims, or for all others, is never named whole.
#[must_use]
pub fn names_all_trims(named: &[Label], line: &Trims) -> bool {
    match line {
        Trims::These(trims) => trims.iter().all(|trim| named.contains(trim)),
        Trims::All | Trims::AllOthers => false,
    }
}

#[cfg(test)]
#[path = "dataset_tests.rs"]
mod tests;
