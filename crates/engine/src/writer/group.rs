//! Edits that wait together are made durable together: each is an entry of its own, and one synchronisation serves all.

use std::collections::BTreeSet;
use std::sync::mpsc::Receiver;

use dashwright_log::NewEntry;
use dashwright_model::record::RecordKey;
use tokio::sync::oneshot;

use super::{Command, Drafted, Wanted, WriteError, Writer, new_entry};
use crate::entry::{DRAFT_EDIT, DraftEdit};
use crate::surroundings::Origin;

/// Most bytes of records in edits that are made durable together: what a disk writes in the time of one synchronisation,
/// so that no caller waits noticeably longer for the edits of others.
pub(crate) const BYTES_TOGETHER: usize = 2 * 1024 * 1024;

/// An edit whose caller waits.
pub(crate) struct WaitingEdit {
    pub(crate) origin: Origin,
    pub(crate) edit: DraftEdit,
    /// What its records are to be before.
    pub(crate) wanted: Vec<Wanted>,
    pub(crate) answer: oneshot::Sender<Result<Drafted, WriteError>>,
}

impl WaitingEdit {
    fn bytes(&self) -> usize {
        let DraftEdit { draft: _, puts, deletes, keeps: _, accepts: _, import: _ } = &self.edit;
        puts.iter().map(|line| line.get().len()).chain(deletes.iter().map(String::len)).sum()
    }
}

/// The edits that wait behind the first one, and the command that came after them.
pub(crate) fn gather(
    first: WaitingEdit,
    commands: &Receiver<Command>,
) -> (Vec<WaitingEdit>, Option<Command>) {
    let (mut bytes, mut group) = (first.bytes(), vec![first]);
    while bytes < BYTES_TOGETHER {
        match commands.try_recv() {
            Ok(Command::Edit(next)) => {
                bytes += next.bytes();
                group.push(next);
            }
            Ok(other) => return (group, Some(other)),
            Err(_) => break,
        }
    }
    (group, None)
}

/// What the edits that are made together have said so far.
#[derive(Default)]
struct Beside {
    requests: BTreeSet<String>,
    /// Records with the number of their draft.
    records: BTreeSet<(u64, RecordKey)>,
}

impl Writer {
    /// Makes edits durable together and answers each. Those that are not plainly new, and all of them when the log takes
    /// them not together, are done one by one: nothing of them has been acknowledged.
    pub(crate) fn edit_together(&mut self, group: Vec<WaitingEdit>) {
        let (together, mut alone) = self.sort_out(group);
        // Looking for earlier requests may have stopped writes.
        if together.len() > 1 && self.go_on().is_ok() {
            let (edits, entries): (Vec<_>, Vec<_>) = together.into_iter().unzip();
            let mut waiting = edits.into_iter();
            let mut answer = |writer: &Writer| {
                if let Some(WaitingEdit { edit, answer, .. }) = waiting.next() {
                    let _ = answer.send(writer.drafted(edit.draft));
                }
            };
            let _ = self.append_entries(entries, &mut answer);
            alone.extend(waiting);
        } else {
            alone.extend(together.into_iter().map(|(edit, _)| edit));
        }
        for WaitingEdit { origin, edit, wanted, answer } in alone {
            // A caller that no longer waits has changed nothing about what was done.
            let _ = answer.send(self.edit_checked(&origin, edit, &wanted, false));
        }
    }

    /// The edits that are plainly new, each with its entry, and the others.
    fn sort_out(&self, group: Vec<WaitingEdit>) -> (Vec<(WaitingEdit, NewEntry)>, Vec<WaitingEdit>) {
        let (mut together, mut alone, mut beside) = (Vec::new(), Vec::new(), Beside::default());
        for waiting in group {
            match self.plainly_new(&waiting, &mut beside) {
                Some(entry) => together.push((waiting, entry)),
                None => alone.push(waiting),
            }
        }
        (together, alone)
    }

    /// The entry of an edit, unless it would be refused, repeats an earlier request or one that waits beside it, or
    /// changes a record that an edit beside it changes: what it expects there is not known before that one is made.
    fn plainly_new(&self, waiting: &WaitingEdit, beside: &mut Beside) -> Option<NewEntry> {
        let WaitingEdit { origin, edit, wanted, answer: _ } = waiting;
        self.go_on().ok()?;
        if let Some(id) = &origin.request_id {
            let unknown = self.earlier(Some(id), DRAFT_EDIT).ok()?.is_none();
            if !unknown || !beside.requests.insert(id.clone()) {
                return None;
            }
        }
        let number = self.free_draft(&edit.draft).ok()?.number;
        let records: Vec<_> = wanted.iter().map(|wanted| (number, wanted.key.clone())).collect();
        if records.iter().any(|record| beside.records.contains(record)) {
            return None;
        }
        let edit = DraftEdit { keeps: self.met(number, wanted).ok()?, ..edit.clone() };
        beside.records.extend(records);
        new_entry(&*self.surroundings, origin, DRAFT_EDIT, &edit).ok()
    }
}
