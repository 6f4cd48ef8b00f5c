//! Findings and holes of a dataset, and of one with a draft in it.

use std::ops::ControlFlow;
use std::sync::{Arc, Mutex, PoisonError};

use dashwright_curation::{
    Finding, GoldenAnswer, Hole, MAX_PREVIEWED, Preview, Progress, findings, golden_answers, holes, preview,
    sort,
};
use dashwright_model::exchange::ExchangeError;
use dashwright_quantity::GoldenId;
use dashwright_snapshot::Snapshot;

use crate::drafts::{changes, from_state};
use crate::engine::Engine;
use crate::load::{Counted, Gathered, LoadError, compile, gather, refuse, write};
use crate::state::DraftFacts;
use crate::token::RevisionToken;
use crate::view::View;

/// What is found in a dataset.
#[derive(Debug)]
pub struct Examined {
    /// Every finding, errors first, then in the order of records and fields.
    pub findings: Vec<Finding>,
    /// Every hole, the one that leaves out most vehicle lines first; none where the records contradict each other.
    pub holes: Vec<Hole>,
    /// Every golden question with its answer, in the order of their ids; none where the records contradict each other.
    pub golden: Vec<GoldenAnswer>,
    /// Whether everything was looked for: where records contradict each other, only these contradictions were.
    pub complete: bool,
}

impl Examined {
    fn of(snapshot: &Snapshot) -> Self {
        let (holes, golden) = (holes(snapshot), golden_answers(snapshot));
        Self { findings: findings(snapshot, &holes, &golden), holes, golden, complete: true }
    }
}

impl Examined {
    /// Whether everything could be looked for.
    pub(crate) fn refuse_contradictions(&self) -> Result<(), LoadError<ExchangeError>> {
        if self.complete { Ok(()) } else { refuse(self.findings.clone()) }
    }
}

/// What is found in a draft.
#[derive(Debug)]
pub struct DraftExamined {
    /// The draft.
    pub draft: DraftFacts,
    /// The revision that it was put onto.
    pub onto: Arc<View>,
    /// What is found.
    pub examined: Arc<Examined>,
}

/// What a draft changes in the plans.
#[derive(Debug)]
pub struct DraftPreview {
    /// The draft.
    pub draft: DraftFacts,
    /// The revision that it was put onto.
    pub onto: Arc<View>,
    /// What changes.
    pub preview: Preview,
    /// Golden questions that are answered otherwise than a person found right.
    pub golden_wrong: Vec<GoldenId>,
}

/// What was examined: a revision, or a draft at an edit of it on a revision.
#[derive(Clone, Debug, PartialEq, Eq)]
enum Subject {
    Revision(RevisionToken),
    Draft { etag: String, onto: RevisionToken },
}

/// What was examined last: a list is read page by page, of the dataset and of a draft in turn.
#[derive(Debug, Default)]
pub(crate) struct LastExamined(Mutex<Vec<(Subject, Arc<Examined>)>>);

/// Examinations that are kept.
const KEPT: usize = 2;

impl LastExamined {
    /// One at a time: it takes as long as a publish.
    fn get<E>(
        &self,
        subject: Subject,
        examine: impl FnOnce() -> Result<Examined, E>,
    ) -> Result<Arc<Examined>, E> {
        let mut kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((_, examined)) = kept.iter().find(|(of, _)| *of == subject) {
            return Ok(Arc::clone(examined));
        }
        let examined = Arc::new(examine()?);
        kept.truncate(KEPT - 1);
        kept.insert(0, (subject, Arc::clone(&examined)));
        Ok(examined)
    }
}

impl Engine {
    /// What is found in a revision. Blocks.
    #[must_use]
    pub fn examine(&self, view: &View) -> Arc<Examined> {
        let examine = || Ok(Examined::of(view.snapshot()));
        let examined: Result<_, std::convert::Infallible> =
            self.shared.examined.get(Subject::Revision(view.token()), examine);
        match examined {
            Ok(examined) => examined,
            Err(never) => match never {},
        }
    }

    /// What is found in the latest revision with a draft in it. Blocks.
    ///
    /// # Errors
    /// See [`LoadError`]; contradictions are findings.
    pub fn examine_draft(&self, draft: &str) -> Result<DraftExamined, LoadError<ExchangeError>> {
        let (onto, facts) = (self.view(), self.open_draft(draft).map_err(write)?);
        let examined = self.examine_at(draft, &facts, &onto)?;
        Ok(DraftExamined { draft: facts, onto, examined })
    }

    /// What is found in a revision with a draft in it, as they were read.
    pub(crate) fn examine_at(
        &self,
        draft: &str,
        facts: &DraftFacts,
        onto: &View,
    ) -> Result<Arc<Examined>, LoadError<ExchangeError>> {
        let subject = Subject::Draft { etag: facts.etag(draft), onto: onto.token() };
        self.shared.examined.get(subject, || self.examine_now(facts, onto))
    }

    /// What a draft changes in the plans of the latest revision; nothing where it was told to stop. Blocks, for many seconds where
    /// much is touched.
    ///
    /// # Errors
    /// See [`LoadError`].
    pub fn preview_draft(
        &self,
        draft: &str,
        progress: impl FnMut(Progress) -> ControlFlow<()>,
    ) -> Result<Option<DraftPreview>, LoadError<ExchangeError>> {
        // One at a time: it takes a processor for as long as it lasts.
        let _one = self.shared.previewing.lock().unwrap_or_else(PoisonError::into_inner);
        let (onto, facts) = (self.view(), self.open_draft(draft).map_err(write)?);
        let compiled = self.compile_at(&facts, &onto)?;
        let preview = preview(onto.snapshot(), &compiled, MAX_PREVIEWED, progress);
        let wrong = golden_answers(&compiled).into_iter().filter(|answer| !answer.is_right());
        let golden_wrong = wrong.map(|answer| answer.id).collect();
        Ok(preview.map(|preview| DraftPreview { draft: facts, onto, preview, golden_wrong }))
    }

    /// A revision with a draft in it.
    pub(crate) fn compile_at(
        &self,
        facts: &DraftFacts,
        onto: &View,
    ) -> Result<Snapshot, LoadError<ExchangeError>> {
        let gathered = self.gather_at(facts, onto)?;
        refuse(gathered.contradictions())?;
        Ok(compile(onto, gathered, Counted::All)?.snapshot)
    }

    fn gather_at(&self, facts: &DraftFacts, onto: &View) -> Result<Gathered, LoadError<ExchangeError>> {
        let items = self.items_of(facts, None, usize::MAX).map_err(|error| write(from_state(error)))?;
        let (puts, deletes) = changes(&items)?;
        gather(onto, puts, &deletes)
    }

    fn examine_now(&self, facts: &DraftFacts, view: &View) -> Result<Examined, LoadError<ExchangeError>> {
        let gathered = self.gather_at(facts, view)?;
        let mut contradictions = gathered.contradictions();
        if !contradictions.is_empty() {
            sort(&mut contradictions);
            return Ok(Examined {
                findings: contradictions,
                holes: Vec::new(),
                golden: Vec::new(),
                complete: false,
            });
        }
        Ok(Examined::of(&compile(view, gathered, Counted::All)?.snapshot))
    }
}
