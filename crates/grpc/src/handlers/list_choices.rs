//! `ListChoices`: the next attribute that is still open, and its choices.

use dashwright_api::v1;
use dashwright_engine::View;
use dashwright_snapshot::Choices;

use crate::from_proto::{FieldFaults, vehicle_question};
use crate::limits::CHOICES;
use crate::page::Page;
use crate::{Refusal, Service, to_proto};

impl Service {
    pub(crate) async fn choices(
        &self,
        request: v1::ListChoicesRequest,
    ) -> Result<v1::ListChoicesResponse, Refusal> {
        let v1::ListChoicesRequest { read_at, vehicle, page_size, page_token } = request;
        let others = format!("choices {vehicle:?}");
        let mut faults = FieldFaults::default();
        let question = vehicle_question(vehicle, &mut faults);
        let page = Page::of(others, (read_at, page_size, &page_token), CHOICES, &mut faults);
        let (page, question) = faults.or((page, question))?;

        let view = self.view(page.freshness).await?;
        let found = view.snapshot().choices(&question)?;
        Ok(response(&view, &page, &found))
    }
}

fn response(view: &View, page: &Page, found: &Choices) -> v1::ListChoicesResponse {
    let choices: Vec<_> = page.part(&found.choices).iter().map(to_proto::choice).collect();
    v1::ListChoicesResponse {
        revision: Some(to_proto::dataset_revision(view)),
        attribute: found.attribute.map(to_proto::attribute).unwrap_or_default().into(),
        remaining_lines: u32::try_from(found.remaining).unwrap_or(u32::MAX),
        matches: to_proto::matches(&found.matched, &found.unmatched),
        vin_concerns: to_proto::vin_concerns(&found.concerns),
        next_page_token: page.next(view, choices.len(), found.choices.len()),
        choices,
    }
}
