//! Superseding: a part whose place another one takes, and those that need it or bar it take note.

use dashwright_model::Valid;
use dashwright_model::record::part::{Contained, Life, Part};
use dashwright_model::record::{Record, RecordKey};
use dashwright_quantity::PartId;

use super::{BulkError, BulkOutcome, Drafted, Remark, Touch, key_of, part_key, sound};

impl Drafted<'_> {
    pub(super) fn supersede(&self, part: &PartId, by: &PartId) -> Result<BulkOutcome, BulkError> {
        let (key, successor) = (part_key(part), part_key(by));
        let earlier = self.part(&key)?;
        if !self.part(&successor)?.can_be_had() {
            return Err(BulkError::NotToBeHad(successor));
        }
        let life = Life::SupersededBy(by.clone());
        if earlier.life == life {
            return Err(BulkError::NothingToDo(key));
        }
        let mut outcome = BulkOutcome::default();
        outcome.touch(&key, Touch::Superseded, vec!["life".to_owned()]);
        let superseded = sound(&key, earlier.changed(|earlier| earlier.life = life))?;
        outcome.own.push(Record::Part(superseded));
        for (other, _) in self.naming(&key)? {
            let other_key = key_of(&other)?;
            let Record::Part(other) = other else { continue };
            for (index, contained) in other.contains.iter().enumerate() {
                if matches!(contained, Contained::Part { part: inside, .. } if inside == part) {
                    outcome.remark(&other_key, Remark::StillInTheBox, format!("contains.{index}.part"));
                }
            }
            if other_key != key && other_key != successor {
                names_successor(&other_key, other, part, by, &mut outcome)?;
            }
        }
        Ok(outcome)
    }

    pub(super) fn part(&self, key: &RecordKey) -> Result<Valid<Part>, BulkError> {
        match self.get(key)? {
            Record::Part(part) => Ok(part),
            _ => Err(BulkError::NoRecord(key.clone())),
        }
    }
}

/// Whoever needs the part is served by its successor too; whoever can not be used with it is kept from the successor too,
/// until a person knows better.
fn names_successor(
    key: &RecordKey,
    other: Valid<Part>,
    part: &PartId,
    by: &PartId,
    outcome: &mut BulkOutcome,
) -> Result<(), BulkError> {
    let lacks = |ids: &[PartId]| ids.contains(part) && !ids.contains(by);
    let mut paths = Vec::new();
    for (index, group) in other.requires.iter().enumerate() {
        if lacks(group) {
            paths.push(format!("requires.{index}"));
        }
    }
    if lacks(&other.conflicts) {
        paths.push("conflicts".to_owned());
    }
    if paths.is_empty() {
        return Ok(());
    }
    let changed = other.changed(|other| {
        for ids in other.requires.iter_mut().chain(std::iter::once(&mut other.conflicts)) {
            if lacks(ids) {
                ids.push(by.clone());
            }
        }
    });
    outcome.others.push(Record::Part(sound(key, changed)?));
    outcome.touch(key, Touch::NamesSuccessor, paths);
    Ok(())
}
