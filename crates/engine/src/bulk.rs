//! Bulk edits: worked out on a draft as it is, and written only if it still is.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use dashwright_curation::{
    BulkEdit, BulkError, BulkOutcome, Drafted as DraftedRecords, Remarked, Touched, golden_answer,
};
use dashwright_model::Valid;
use dashwright_model::exchange::{self, ExchangeError};
use dashwright_model::record::{GoldenQuestion, KeyError, RecordKey};
use dashwright_quantity::GoldenId;

use crate::drafts::from_state;
use crate::edit::{Line, draft_edits};
use crate::engine::Engine;
use crate::entry::DRAFT_EDIT;
use crate::load::LoadError;
use crate::state::StateError;
use crate::surroundings::Origin;
use crate::writer::{Drafted, Stand, WriteError};

/// How often an edit is worked out again because the draft or the dataset moved meanwhile.
const ATTEMPTS: usize = 32;

/// What is to be worked out on a draft as it is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum DraftWork {
    /// An edit that keeps references right.
    Edit(BulkEdit),
    /// Golden questions expect the answers that they are given now.
    Accept(Vec<GoldenId>),
    /// A golden question is asked, and put with the answer; what it expects so far says nothing.
    Ask(Box<Valid<GoldenQuestion>>),
}

/// What a bulk edit came to.
#[derive(Clone, Debug)]
pub struct BulkEdited {
    /// The draft afterwards.
    pub drafted: Drafted,
    /// What it touches; nothing where this repeats an earlier request, because the draft may have moved on since.
    pub touched: Vec<Touched>,
    /// What it leaves for a person to decide.
    pub remarks: Vec<Remarked>,
}

/// Why a bulk edit was not made.
#[derive(Debug, thiserror::Error)]
pub enum BulkEditError {
    /// It can not be made on these records.
    #[error(transparent)]
    Bulk(#[from] BulkError),
    /// Nothing can be asked of the records, because they contradict each other or can not be read.
    #[error(transparent)]
    Records(#[from] Box<LoadError<ExchangeError>>),
    /// A record has no JSON form.
    #[error("a record has no JSON form")]
    NotJson(#[from] serde_json::Error),
    /// The key of a drafted record is none.
    #[error(transparent)]
    Key(#[from] KeyError),
    /// It was not written.
    #[error(transparent)]
    Write(#[from] WriteError),
}

impl From<StateError> for BulkEditError {
    fn from(error: StateError) -> Self {
        from_state(error).into()
    }
}

impl Engine {
    /// Makes a bulk edit in a draft: all of it, or where it was broken off the repetition makes the rest. With `validate_only`
    /// it is told what it would come to. Blocks, like every change.
    ///
    /// # Errors
    /// See [`BulkEditError`].
    pub fn bulk_edit(
        &self,
        origin: &Origin,
        draft: &str,
        edit: &DraftWork,
        validate_only: bool,
    ) -> Result<BulkEdited, BulkEditError> {
        let (repeated, of) = (origin.clone(), draft.to_owned());
        let earlier = self.ask(move |writer| writer.drafted_earlier(&repeated, DRAFT_EDIT, Some(&of)))?;
        if let Some(drafted) = earlier {
            return Ok(BulkEdited { drafted, touched: Vec::new(), remarks: Vec::new() });
        }
        let mut left = ATTEMPTS;
        loop {
            match self.bulk_edit_once(origin, draft, edit, validate_only) {
                Err(BulkEditError::Write(WriteError::Outdated { .. } | WriteError::DraftMoved { .. }))
                    if left > 0 =>
                {
                    left -= 1;
                }
                outcome => return outcome,
            }
        }
    }

    fn bulk_edit_once(
        &self,
        origin: &Origin,
        draft: &str,
        work: &DraftWork,
        validate_only: bool,
    ) -> Result<BulkEdited, BulkEditError> {
        let (view, facts) = (self.view(), self.open_draft(draft)?);
        let items = self.items_of(&facts, None, usize::MAX)?;
        let items = items.into_iter().map(|item| Ok((item.record.parse()?, item.line)));
        let items = items.collect::<Result<BTreeMap<RecordKey, Option<Arc<str>>>, KeyError>>()?;
        let records = DraftedRecords::new(view.snapshot(), &items);
        let outcome = match work {
            DraftWork::Edit(edit) => records.bulk(edit)?,
            DraftWork::Accept(questions) => {
                let examined = self.examine_at(draft, &facts, &view).map_err(Box::new)?;
                examined.refuse_contradictions().map_err(Box::new)?;
                records.accept(&examined.golden, questions)?
            }
            DraftWork::Ask(question) => {
                let compiled = self.compile_at(&facts, &view).map_err(Box::new)?;
                records.ask(question, golden_answer(&compiled, question))?
            }
        };
        let BulkOutcome { others, own, deleted, touched, remarks } = outcome;
        let mut lines: Vec<Line> = Vec::new();
        for record in others.iter().chain(&own) {
            let key = record.key().map_err(WriteError::from)?;
            lines.push((key, Some(exchange::to_line(record)?.into())));
        }
        lines.extend(deleted.into_iter().map(|key| (key, None)));
        // What the edit is based on was in the draft, not in the dataset as it has become since: that goes on colliding.
        let keeps: BTreeSet<String> =
            lines.iter().filter(|(key, _)| items.contains_key(key)).map(|(key, _)| key.to_string()).collect();
        let edits = draft_edits(draft, lines, &keeps).map_err(WriteError::from)?;
        let stand = Stand { draft: draft.to_owned(), edits: facts.edits, revision: view.revision() };
        let origin = origin.clone();
        let drafted = self.ask(move |writer| writer.edit_at(&origin, &stand, edits, validate_only))?;
        Ok(BulkEdited { drafted, touched, remarks })
    }
}
