//! `RenderPicture`: the pictures of a plan alone.

use dashwright_api::v1;
use dashwright_sheet::{Paper, Picture, pictures};

use super::sheet_job::SheetQuestion;
use crate::from_proto::{FieldFaults, picture_kind, read_at};
use crate::limits::SHEET_BYTES;
use crate::{Refusal, Service, to_proto};

impl Service {
    pub(crate) async fn pictures(
        &self,
        request: v1::RenderPictureRequest,
    ) -> Result<v1::RenderPictureResponse, Refusal> {
        let v1::RenderPictureRequest { read_at: at, vehicle, radio_id, order, picture, subject } = request;
        let mut faults = FieldFaults::default();
        let at = read_at(at, &mut faults);
        let question = SheetQuestion::of(vehicle, radio_id, order, &mut faults);
        let kind = picture_kind(picture, &mut faults);
        let answers = self.answers(at).await?;
        let (job, kind) = (question.job(&answers, faults)?, kind.unwrap_or_default());
        let mut all = pictures(&job.input(&answers.view, Paper::default()), kind);
        all.retain(|picture| subject.is_empty() || picture.subject == subject);
        Ok(v1::RenderPictureResponse { revision: Some(job.revision), pictures: told(&all)? })
    }
}

/// The pictures, where they are not larger than an answer may be.
fn told(pictures: &[Picture]) -> Result<Vec<v1::Picture>, Refusal> {
    let told: Vec<v1::Picture> = pictures.iter().map(to_proto::picture).collect();
    let bytes: usize = told.iter().map(prost::Message::encoded_len).sum();
    if bytes > SHEET_BYTES { Err(Refusal::SheetTooLarge { bytes }) } else { Ok(told) }
}
