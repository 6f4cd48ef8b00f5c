//! Retiring: a part can no longer be had; a record of another kind leaves the catalogue, and nothing goes on naming it.

use dashwright_model::record::part::{Contained, Life};
use dashwright_model::record::{Record, RecordKey, RecordKind};

use super::{BulkError, BulkOutcome, Drafted, MAX_NAMED, Remark, Touch, key_of, paths_to, sound};

impl Drafted<'_> {
    pub(super) fn retire(&self, key: &RecordKey) -> Result<BulkOutcome, BulkError> {
        if key.kind == RecordKind::Part { self.discontinue(key) } else { self.take_away(key) }
    }

    fn discontinue(&self, key: &RecordKey) -> Result<BulkOutcome, BulkError> {
        let part = self.part(key)?;
        if !part.can_be_had() {
            return Err(BulkError::NothingToDo(key.clone()));
        }
        let mut outcome = BulkOutcome::default();
        for (other, _) in self.naming(key)? {
            let other_key = key_of(&other)?;
            let Record::Part(other) = other else { continue };
            if other.life == Life::SupersededBy(part.id.clone()) {
                outcome.remark(&other_key, Remark::LosesItsSuccessor, "life");
            }
            for (index, group) in other.requires.iter().enumerate() {
                if group.iter().all(|one| *one == part.id) {
                    outcome.remark(&other_key, Remark::NeedsTheRetired, format!("requires.{index}"));
                }
            }
            for (index, contained) in other.contains.iter().enumerate() {
                if matches!(contained, Contained::Part { part: inside, .. } if *inside == part.id) {
                    outcome.remark(&other_key, Remark::StillInTheBox, format!("contains.{index}.part"));
                }
            }
        }
        let discontinued = sound(key, part.changed(|part| part.life = Life::Discontinued))?;
        outcome.own.push(Record::Part(discontinued));
        outcome.touch(key, Touch::Discontinued, vec!["life".to_owned()]);
        Ok(outcome)
    }

    /// Parts that name the record among others go on without it; a statement that was for it alone goes with it.
    fn take_away(&self, key: &RecordKey) -> Result<BulkOutcome, BulkError> {
        self.get(key)?;
        let (mut outcome, mut first, mut total) = (BulkOutcome::default(), Vec::new(), 0);
        for (other, paths) in self.naming(key)? {
            let other_key = key_of(&other)?;
            let changed = match other {
                Record::Part(part) => Record::Part(sound(&other_key, part.changed(|part| part.forget(key)))?),
                other => other,
            };
            let still = paths_to(&changed, key);
            if still.is_empty() {
                outcome.others.push(changed);
                outcome.touch(&other_key, Touch::Forgets, paths);
            }
            total += still.len();
            let room = MAX_NAMED.saturating_sub(first.len());
            first.extend(still.into_iter().take(room).map(|path| (other_key.clone(), path)));
        }
        if total > 0 {
            return Err(BulkError::StillNamed { record: key.clone(), first, total });
        }
        outcome.deleted.push(key.clone());
        outcome.touch(key, Touch::Deleted, Vec::new());
        Ok(outcome)
    }
}
