//! `ListGoldenAnswers` and `ListDraftGoldenAnswers`: golden questions, asked of a revision or of a draft.

use dashwright_api::v1;
use dashwright_curation::GoldenAnswer;
use dashwright_engine::{Engine, Examined};

use super::validate_draft::pinned;
use crate::from_proto::{FieldFaults, draft_id};
use crate::limits::FINDINGS;
use crate::page::{Page, PinnedPage};
use crate::{Refusal, Service, to_proto};

impl Service {
    pub(crate) async fn golden_answers(
        &self,
        request: v1::ListGoldenAnswersRequest,
    ) -> Result<v1::ListGoldenAnswersResponse, Refusal> {
        let v1::ListGoldenAnswersRequest { read_at, wrong_only, page_size, page_token } = request;
        let mut faults = FieldFaults::default();
        let others = format!("golden answers {wrong_only}");
        let page = Page::of(others, (read_at, page_size, &page_token), FINDINGS, &mut faults);
        let page = faults.or(page)?;
        let (view, examined) = self.examined(&page).await?;
        let all = wanted(&examined, wrong_only);
        let shown = page.part(&all);
        Ok(v1::ListGoldenAnswersResponse {
            revision: Some(to_proto::dataset_revision(&view)),
            answers: shown.iter().map(|it| to_proto::golden_answer(it)).collect(),
            total: all.len() as u64,
            wrong: wrong(&examined),
            next_page_token: page.next(&view, shown.len(), all.len()),
        })
    }

    pub(crate) async fn draft_golden_answers(
        &self,
        request: v1::ListDraftGoldenAnswersRequest,
    ) -> Result<v1::ListDraftGoldenAnswersResponse, Refusal> {
        let v1::ListDraftGoldenAnswersRequest { draft_id: id, wrong_only, page_size, page_token } = request;
        let mut faults = FieldFaults::default();
        let others = format!("draft golden answers {id} {wrong_only}");
        let page = PinnedPage::of(others, (page_size, &page_token), FINDINGS, &mut faults);
        let id = draft_id(id, &mut faults);
        let id = faults.with(id)?;
        self.blocking(move |engine| of_draft(engine, &id, wrong_only, &page)).await
    }
}

fn of_draft(
    engine: &Engine,
    id: &str,
    wrong_only: bool,
    page: &PinnedPage,
) -> Result<v1::ListDraftGoldenAnswersResponse, Refusal> {
    let it = engine.examine_draft(id)?;
    let all = wanted(&it.examined, wrong_only);
    let (shown, next_page_token) = page.part(&pinned(page, id, &it)?, &all);
    Ok(v1::ListDraftGoldenAnswersResponse {
        draft: Some(to_proto::draft(engine, id, &it.draft)?),
        onto: Some(to_proto::dataset_revision(&it.onto)),
        answers: shown.iter().map(|it| to_proto::golden_answer(it)).collect(),
        total: all.len() as u64,
        wrong: wrong(&it.examined),
        complete: it.examined.complete,
        next_page_token,
    })
}

fn wanted(examined: &Examined, wrong_only: bool) -> Vec<&GoldenAnswer> {
    examined.golden.iter().filter(|answer| !wrong_only || !answer.is_right()).collect()
}

fn wrong(examined: &Examined) -> u64 {
    examined.golden.iter().filter(|answer| !answer.is_right()).count() as u64
}
