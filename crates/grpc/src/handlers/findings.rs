//! `ListFindings` and `ListHoles`: what is wrong with a revision, and what nothing in it covers.

use std::sync::Arc;

use dashwright_api::v1;
use dashwright_curation::{Finding, Severity};
use dashwright_engine::{Examined, View};
use dashwright_model::record::RecordKey;

use crate::from_proto::{FieldFaults, record_key_text};
use crate::limits::FINDINGS;
use crate::page::Page;
use crate::{Refusal, Service, to_proto};

/// Which findings are asked for.
#[derive(Clone, Debug)]
pub(super) struct Wanted {
    record: Option<RecordKey>,
    errors_only: bool,
}

/// What is found of what is asked for.
pub(crate) struct Found<'a> {
    /// Errors first; errors only, where only they are asked for.
    pub(crate) list: Vec<&'a Finding>,
    /// How many errors there are.
    pub(crate) errors: usize,
    /// How many warnings there are, asked for or not.
    pub(crate) warnings: usize,
    /// Whether everything was looked for.
    pub(crate) complete: bool,
}

impl Wanted {
    pub(super) fn of(record: &str, errors_only: bool, faults: &mut FieldFaults) -> Self {
        let record = if record.is_empty() { None } else { faults.take("record", record_key_text(record)) };
        Self { record, errors_only }
    }

    /// Those of what is found; nothing of a record that nobody knows is no answer.
    pub(super) fn among<'a>(
        &self,
        examined: &'a Examined,
        knows: impl FnOnce(&RecordKey) -> bool,
    ) -> Result<Found<'a>, Refusal> {
        let about = |it: &&Finding| self.record.as_ref().is_none_or(|record| it.is_about(record));
        let mut found: Vec<&Finding> = examined.findings.iter().filter(about).collect();
        if let Some(record) = self.record.as_ref().filter(|record| found.is_empty() && !knows(record)) {
            return Err(Refusal::RecordNotFound { kind: record.kind, id: record.id.to_string() });
        }
        // They come first.
        let errors = found.partition_point(|it| it.severity() == Severity::Error);
        let warnings = found.len() - errors;
        found.truncate(if self.errors_only { errors } else { found.len() });
        Ok(Found { list: found, errors, warnings, complete: examined.complete })
    }
}

impl Service {
    pub(crate) async fn findings(
        &self,
        request: v1::ListFindingsRequest,
    ) -> Result<v1::ListFindingsResponse, Refusal> {
        let v1::ListFindingsRequest { read_at, record, errors_only, page_size, page_token } = request;
        let mut faults = FieldFaults::default();
        let wanted = Wanted::of(&record, errors_only, &mut faults);
        let others = format!("findings {record} {errors_only}");
        let page = Page::of(others, (read_at, page_size, &page_token), FINDINGS, &mut faults);
        let page = faults.or(page)?;
        let (view, examined) = self.examined(&page).await?;
        let all = wanted.among(&examined, |record| kept(&view, record))?;
        let shown = page.part(&all.list);
        let next_page_token = page.next(&view, shown.len(), all.list.len());
        let (revision, found) = (to_proto::dataset_revision(&view), to_proto::findings(shown, &all));
        Ok(v1::ListFindingsResponse { revision: Some(revision), found: Some(found), next_page_token })
    }

    pub(crate) async fn holes(
        &self,
        request: v1::ListHolesRequest,
    ) -> Result<v1::ListHolesResponse, Refusal> {
        let v1::ListHolesRequest { read_at, page_size, page_token } = request;
        let mut faults = FieldFaults::default();
        let page = Page::of("holes".to_owned(), (read_at, page_size, &page_token), FINDINGS, &mut faults);
        let page = faults.or(page)?;
        let (view, examined) = self.examined(&page).await?;
        let (shown, total) = (page.part(&examined.holes), examined.holes.len());
        let next_page_token = page.next(&view, shown.len(), total);
        let (revision, holes) =
            (Some(to_proto::dataset_revision(&view)), shown.iter().map(to_proto::hole).collect());
        Ok(v1::ListHolesResponse { revision, holes, total: total as u64, next_page_token })
    }

    pub(super) async fn examined(&self, page: &Page) -> Result<(Arc<View>, Arc<Examined>), Refusal> {
        let view = self.view(page.freshness).await?;
        self.blocking(move |engine| {
            let examined = engine.examine(&view);
            Ok((view, examined))
        })
        .await
    }
}

/// Whether a revision has the record.
pub(super) fn kept(view: &View, record: &RecordKey) -> bool {
    view.snapshot().record(record.kind, record.id.as_str()).is_some()
}
