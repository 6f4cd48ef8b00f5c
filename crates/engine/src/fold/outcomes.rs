//! What entries make of outcomes.

use dashwright_store::{Space, Store};

use super::{FoldError, Step};
use crate::entry::payload;
use crate::layout::{self, Index};
use crate::outcomes::{
    AcceptedIn, OutcomeAcceptance, OutcomeFacts, OutcomeReject, OutcomeReport, OutcomeState, Resolution,
};

impl Step<'_> {
    pub(super) fn report_outcome(&mut self) -> Result<(), FoldError> {
        let report: OutcomeReport = payload(&self.stored.entry)?;
        for record in &report.rests_on {
            self.index(Index::Record, record);
        }
        let entry = &self.stored.entry;
        let (time, actor, reason) = (entry.time.clone(), entry.actor.clone(), entry.reason.clone());
        let number = entry.sequence.0;
        self.request(&number.to_string(), None, None)?;
        self.put_outcome(&OutcomeFacts { number, time, actor, reason, report, resolution: None })
    }

    pub(super) fn reject_outcome(&mut self, store: &Store) -> Result<(), FoldError> {
        let OutcomeReject { outcome } = payload(&self.stored.entry)?;
        self.request(&outcome.to_string(), None, None)?;
        self.resolve(store, outcome, None)
    }

    pub(super) fn accept_outcome(
        &mut self,
        store: &Store,
        acceptance: &OutcomeAcceptance,
        (draft, number): (&str, u64),
        records: Vec<String>,
    ) -> Result<(), FoldError> {
        let OutcomeAcceptance { outcome } = acceptance;
        self.changes.put(Space::Meta, layout::acceptance_key(number, *outcome), []);
        self.resolve(store, *outcome, Some(AcceptedIn { draft: draft.to_owned(), records }))
    }

    /// A draft has ended. What was accepted in one that was thrown away counts nowhere and is open again; what was published
    /// stays accepted. A draft takes a bounded number of outcomes, so that this is a bounded change.
    pub(super) fn end_acceptances(
        &mut self,
        store: &Store,
        draft: u64,
        discarded: bool,
    ) -> Result<(), FoldError> {
        for (key, _) in store.scan(Space::Meta, &layout::acceptances_prefix(draft), None, usize::MAX)? {
            if discarded {
                let number = layout::indexed(&key)?;
                let mut facts = self.take_outcome(store, OutcomeState::Accepted, number)?;
                facts.resolution = None;
                self.put_outcome(&facts)?;
            }
            self.changes.delete(Space::Meta, key);
        }
        Ok(())
    }

    fn resolve(&mut self, store: &Store, number: u64, accepted: Option<AcceptedIn>) -> Result<(), FoldError> {
        let mut facts = self.take_outcome(store, OutcomeState::Open, number)?;
        let entry = &self.stored.entry;
        let (time, actor, reason) = (entry.time.clone(), entry.actor.clone(), entry.reason.clone());
        facts.resolution = Some(Resolution { time, actor, reason, accepted });
        self.state.open_outcomes = self.state.open_outcomes.saturating_sub(1);
        self.put_outcome(&facts)
    }

    /// An outcome, from the place where those in this state are; it is put back in another one.
    fn take_outcome(
        &mut self,
        store: &Store,
        state: OutcomeState,
        number: u64,
    ) -> Result<OutcomeFacts, FoldError> {
        let key = layout::outcome_key(state, number);
        let facts = store.get(Space::Meta, &key)?.ok_or(FoldError::NoOpenOutcome { outcome: number })?;
        let facts = layout::read_facts(&key, &facts)?;
        self.changes.delete(Space::Meta, key);
        Ok(facts)
    }

    fn put_outcome(&mut self, facts: &OutcomeFacts) -> Result<(), FoldError> {
        let state = facts.state();
        if state == OutcomeState::Open {
            self.state.open_outcomes += 1;
        }
        self.put_meta(layout::outcome_key(state, facts.number), facts)
    }
}
