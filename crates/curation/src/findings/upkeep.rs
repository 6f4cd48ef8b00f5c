//! What wants a person's eye: records that nothing names, parts that lead nowhere, prices, weak evidence.

use std::collections::{BTreeMap, BTreeSet};

use dashwright_model::record::part::{Life, Part};
use dashwright_model::record::vocabulary::TermKind;
use dashwright_model::record::{RecordKey, RecordKind, Reference, References};
use dashwright_model::{Evidence, Grade};
use dashwright_quantity::{Currency, PartId, TermId};
use dashwright_snapshot::{RecordIx, Snapshot};

use super::{Finding, FindingKind, add};

pub(super) fn find(snapshot: &Snapshot, found: &mut Vec<Finding>) {
    orphans(snapshot, found);
    for (index, part) in snapshot.parts().iter() {
        let id = part.id.as_term();
        life(snapshot, (RecordKind::Part, &id), part, found);
        needs_others(snapshot, (RecordKind::Part, &id), part, found);
        if part.can_be_had() && !part.covers.is_empty() && serves_nothing(snapshot, index) {
            let words = "says what it meets, and no vehicle is described by that";
            add(found, (RecordKind::Part, &id), "covers", FindingKind::Orphan, None, words);
        }
    }
    prices(snapshot, found);
    evidence(snapshot, found);
}

fn serves_nothing(snapshot: &Snapshot, part: RecordIx) -> bool {
    snapshot.cases().iter().all(|case| case.offers.iter().all(|offer| offer.part != part))
}

/// Dashes and audios of no vehicle line, terms that no record names.
fn orphans(snapshot: &Snapshot, found: &mut Vec<Finding>) {
    let orphan = |found: &mut Vec<Finding>, kind, id: &TermId, words: &str| {
        add(found, (kind, id), "id", FindingKind::Orphan, None, words);
    };
    let dashes: BTreeSet<_> = snapshot.lines().iter().map(|line| line.dash).collect();
    for (_, dash) in snapshot.dashes().iter().filter(|(index, _)| !dashes.contains(index)) {
        orphan(found, RecordKind::Dash, &dash.id.as_term(), "is the dash of no vehicle line");
    }
    let audios: BTreeSet<_> = snapshot.cases().iter().map(|case| case.audio).collect();
    for (_, audio) in snapshot.audios().iter().filter(|(index, _)| !audios.contains(index)) {
        orphan(found, RecordKind::FactoryAudio, &audio.id.as_term(), "is an option of no vehicle line");
    }
    let named = named_terms(snapshot);
    let models: BTreeSet<(&str, &str)> = models_with_lines(snapshot);
    for (_, term) in snapshot.terms().iter() {
        match &term.of {
            TermKind::Make | TermKind::Brand | TermKind::PlugFamily { .. } if !named.contains(&term.id) => {
                orphan(found, RecordKind::Vocabulary, &term.id, "is named by no record");
            }
            TermKind::Model { make } if !models.contains(&(make.as_str(), term.name.as_str())) => {
                orphan(found, RecordKind::Vocabulary, &term.id, "is the model of no vehicle line");
            }
            _ => {}
        }
    }
}

/// The terms that a record names; of makes, those that have vehicle lines.
fn named_terms(snapshot: &Snapshot) -> BTreeSet<TermId> {
    let mut named: BTreeSet<TermId> = snapshot.makes().iter().map(|make| make.term.clone()).collect();
    let mut add = |references: Vec<Reference>| {
        let terms = references.into_iter().filter(|it| it.target.kind == RecordKind::Vocabulary);
        // A model alone does not keep its make.
        named.extend(terms.filter(|it| it.path != "of.make").map(|it| it.target.id));
    };
    for (_, audio) in snapshot.audios().iter() {
        add(References::of(|references| audio.references(references)));
    }
    for (_, radio) in snapshot.radios().iter() {
        add(References::of(|references| radio.references(references)));
    }
    for (_, part) in snapshot.parts().iter() {
        add(References::of(|references| part.references(references)));
    }
    named
}

fn models_with_lines(snapshot: &Snapshot) -> BTreeSet<(&str, &str)> {
    let models = snapshot.models().iter().filter(|model| !model.lines.is_empty());
    models
        .filter_map(|model| {
            let make = snapshot.makes().get(model.make.get())?;
            Some((make.term.as_str(), model.name.as_str()))
        })
        .collect()
}

/// A superseded part leads to one that can be had.
fn life(snapshot: &Snapshot, record: (RecordKind, &TermId), part: &Part, found: &mut Vec<Finding>) {
    let Life::SupersededBy(next) = &part.life else { return };
    let own = snapshot.parts().find(part.id.as_str());
    let standing = own.map(|(index, _)| dashwright_planner::successor(snapshot, index));
    let standing = standing.and_then(|index| snapshot.parts().get(index));
    if let Some(standing) = standing.filter(|standing| !standing.can_be_had()) {
        let words =
            format!("is superseded by `{next}`, and in the end by `{}`, which can not be had", standing.id);
        add(found, record, "life", FindingKind::NoSuccessorLeft, Some(key_of(&standing.id)), &words);
    }
}

fn needs_others(snapshot: &Snapshot, record: (RecordKind, &TermId), part: &Part, found: &mut Vec<Finding>) {
    if !part.can_be_had() {
        return;
    }
    let had = |id: &PartId| snapshot.parts().find(id.as_str()).is_some_and(|(_, part)| part.can_be_had());
    for (place, group) in part.requires.iter().enumerate() {
        let path = format!("requires.{place}");
        let other = group.first().map(key_of);
        if !group.iter().any(had) {
            let words = "needs one of parts of which none can be had";
            add(found, record, path, FindingKind::NeedsUnavailable, other, words);
        } else if group.iter().all(|id| part.conflicts.contains(id)) {
            let words = "needs one of parts with none of which it can be used";
            add(found, record, path, FindingKind::NeedsItsConflict, other, words);
        }
    }
}

/// Parts to be had without a price, and prices that can not be added to most others.
fn prices(snapshot: &Snapshot, found: &mut Vec<Finding>) {
    let mut currencies: BTreeMap<Currency, usize> = BTreeMap::new();
    for price in snapshot.parts().iter().filter_map(|(_, part)| part.price) {
        *currencies.entry(price.amount.currency).or_default() += 1;
    }
    let usual = currencies.iter().max_by_key(|(_, count)| **count).map(|(currency, _)| *currency);
    for (_, part) in snapshot.parts().iter().filter(|(_, part)| part.can_be_had()) {
        let id = part.id.as_term();
        match part.price {
            None => {
                let words = "can be had and has no price: plans with it have no total";
                add(found, (RecordKind::Part, &id), "price", FindingKind::NoPrice, None, words);
            }
            Some(price) if Some(price.amount.currency) != usual => {
                let words = format!("has a price in {}, and most have not", price.amount.currency);
                let path = "price.amount.currency";
                add(found, (RecordKind::Part, &id), path, FindingKind::OtherCurrency, None, &words);
            }
            Some(_) => {}
        }
    }
}

/// Records that are assumed only, and those that jobs contradicted more often than they confirmed them.
fn evidence(snapshot: &Snapshot, found: &mut Vec<Finding>) {
    let mut look = |kind: RecordKind, id: &TermId, evidence: &Evidence| {
        if evidence.grade == Grade::Assumed {
            let words = "is only assumed";
            add(found, (kind, id), "evidence.grade", FindingKind::Assumed, None, words);
        }
        let Evidence { confirmed_jobs, contradicted_jobs, .. } = evidence;
        if contradicted_jobs > confirmed_jobs {
            let words =
                format!("was contradicted by {contradicted_jobs} jobs and confirmed by {confirmed_jobs}");
            let path = "evidence.contradicted_jobs";
            add(found, (kind, id), path, FindingKind::Contradicted, None, &words);
        }
    };
    for (_, dash) in snapshot.dashes().iter() {
        look(RecordKind::Dash, &dash.id.as_term(), &dash.evidence);
    }
    for (_, audio) in snapshot.audios().iter() {
        look(RecordKind::FactoryAudio, &audio.id.as_term(), &audio.evidence);
    }
    for (_, radio) in snapshot.radios().iter() {
        look(RecordKind::Radio, &radio.id.as_term(), &radio.evidence);
    }
    for (_, part) in snapshot.parts().iter() {
        look(RecordKind::Part, &part.id.as_term(), &part.evidence);
    }
    for line in snapshot.lines() {
        let evidence = &line.facts.evidence;
        // Most lines are neither, and their ids are looked up only then.
        if (evidence.grade == Grade::Assumed || evidence.contradicted_jobs > evidence.confirmed_jobs)
            && let Ok(id) = snapshot.line_id(line).parse()
        {
            look(RecordKind::Vehicle, &id, evidence);
        }
    }
}

fn key_of(id: &PartId) -> RecordKey {
    RecordKey { kind: RecordKind::Part, id: id.as_term() }
}
