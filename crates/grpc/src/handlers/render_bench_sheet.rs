//! `RenderBenchSheet`: a plan on paper.

use dashwright_api::v1;
use dashwright_sheet::{SheetInput, bench_sheet};

use super::sheet_job::SheetQuestion;
use crate::from_proto::{FieldFaults, paper, read_at};
use crate::limits::SHEET_BYTES;
use crate::{Refusal, Service};

impl Service {
    pub(crate) async fn bench_sheet(
        &self,
        request: v1::RenderBenchSheetRequest,
    ) -> Result<v1::RenderBenchSheetResponse, Refusal> {
        let v1::RenderBenchSheetRequest { read_at: at, vehicle, radio_id, order, paper: on } = request;
        let mut faults = FieldFaults::default();
        let at = read_at(at, &mut faults);
        let question = SheetQuestion::of(vehicle, radio_id, order, &mut faults);
        let paper = paper(on, &mut faults);
        let answers = self.answers(at).await?;
        let job = question.job(&answers, faults)?;
        let html = page(&job.input(&answers.view, paper))?;
        Ok(v1::RenderBenchSheetResponse { html, revision: Some(job.revision), fingerprint: job.fingerprint })
    }
}

/// The page, where it is not larger than an answer may be.
fn page(input: &SheetInput<'_>) -> Result<String, Refusal> {
    let html = bench_sheet(input).map_err(Refusal::Sheet)?;
    if html.len() > SHEET_BYTES { Err(Refusal::SheetTooLarge { bytes: html.len() }) } else { Ok(html) }
}
