//! Renaming: another id, another name, and everything that speaks of the record follows.

use dashwright_model::record::vocabulary::TermKind;
use dashwright_model::record::{Record, RecordKey, RecordKind};
use dashwright_quantity::{Label, TermId};

use super::{BulkError, BulkOutcome, Drafted, Touch, key_of, sound};

impl Drafted<'_> {
    pub(super) fn rename(
        &self,
        key: &RecordKey,
        id: Option<&TermId>,
        name: Option<&Label>,
    ) -> Result<BulkOutcome, BulkError> {
        let mut record = self.get(key)?;
        let id = id.filter(|id| **id != key.id);
        let renamed = id.map_or_else(|| key.clone(), |id| RecordKey { kind: key.kind, id: id.clone() });
        let mut outcome = BulkOutcome::default();
        if let Some(id) = id {
            self.refuse_existing(&renamed)?;
            record = sound(key, record.renamed(key, id))?;
            outcome.touch(&renamed, Touch::Renamed, vec!["id".to_owned()]);
            outcome.deleted.push(key.clone());
            for (other, paths) in self.naming(key)? {
                let other_key = key_of(&other)?;
                if other_key != *key {
                    outcome.touch(&other_key, Touch::Follows, paths);
                    outcome.others.push(sound(&other_key, other.renamed(key, id))?);
                }
            }
        }
        if let Some(name) = name {
            record = self.name(&renamed, record, name, &mut outcome)?;
        }
        if outcome.touched.is_empty() {
            return Err(BulkError::NothingToDo(key.clone()));
        }
        outcome.own.push(record);
        Ok(outcome)
    }

    /// Gives a term another name, also where vehicle lines and scopes write it.
    fn name(
        &self,
        key: &RecordKey,
        record: Record,
        name: &Label,
        outcome: &mut BulkOutcome,
    ) -> Result<Record, BulkError> {
        let Record::Vocabulary(term) = record else { return Err(BulkError::NoName(key.clone())) };
        let earlier = term.name.clone();
        if earlier == *name {
            return Ok(Record::Vocabulary(term));
        }
        if let TermKind::Model { make } = &term.of {
            for other in self.with_text(&[RecordKind::Vehicle, RecordKind::Part], make.as_str())? {
                let other_key = key_of(&other)?;
                let line = other.clone();
                let changed = sound(&other_key, other.with_model_named(make, &earlier, name))?;
                if changed != line {
                    outcome.touch(&other_key, Touch::Follows, vec!["model".to_owned()]);
                    outcome.others.push(changed);
                }
            }
        }
        outcome.touch(key, Touch::Named, vec!["name".to_owned(), "aliases".to_owned()]);
        Ok(Record::Vocabulary(sound(key, term.changed(|term| term.rename(name.clone())))?))
    }
}
