//! `ListChoices`: the next attribute that is still open, and its choices.

use dashwright_api::v1;

use crate::from_proto::{FieldFaults, read_at, vehicle_question};
use crate::limits::{CHOICES_DEFAULT, CHOICES_MOST};
use crate::page::Page;
use crate::{Refusal, Service, to_proto};

impl Service {
    pub(crate) async fn choices(
        &self,
        request: v1::ListChoicesRequest,
    ) -> Result<v1::ListChoicesResponse, Refusal> {
        let v1::ListChoicesRequest { read_at: at, vehicle, page_size, page_token } = request;
        let fingerprint = format!("choices {vehicle:?}");
        let mut faults = FieldFaults::default();
        let at = read_at(at, &mut faults);
        let question = vehicle_question(vehicle, &mut faults);
        let size = faults.page_size(page_size, CHOICES_DEFAULT, CHOICES_MOST);
        let page = Page::of(&page_token, &fingerprint, &mut faults);
        let question = faults.or(question)?;

        let view = self.view(page.freshness(at)).await?;
        let found = view.snapshot().choices(&question).map_err(|error| Refusal::Identify(Box::new(error)))?;

        let choices: Vec<_> = found.choices.iter().skip(page.skip).take(size).map(to_proto::choice).collect();
        Ok(v1::ListChoicesResponse {
            revision: Some(to_proto::dataset_revision(&view)),
            attribute: found.attribute.map(to_proto::attribute).unwrap_or_default().into(),
            remaining_lines: u32::try_from(found.remaining).unwrap_or(u32::MAX),
            matches: to_proto::matches(&found.matched, &found.unmatched),
            vin_concerns: to_proto::vin_concerns(&found.concerns),
            next_page_token: page.next(&view, &fingerprint, choices.len(), found.choices.len()),
            choices,
        })
    }
}
