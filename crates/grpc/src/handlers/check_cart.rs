//! `CheckCart`: what each line of a cart is worth, and what the cart still lacks.

use dashwright_api::v1;
use dashwright_engine::View;
use dashwright_planner::check_cart;

use super::asked::Asked;
use crate::from_proto::{FieldFaults, cart_lines, order, radio, read_at, vehicle_question};
use crate::{Refusal, Service, to_proto};

impl Service {
    pub(crate) async fn checked_cart(
        &self,
        mut request: v1::CheckCartRequest,
    ) -> Result<v1::CheckCartResponse, Refusal> {
        let mut faults = FieldFaults::default();
        let at = read_at(request.read_at.take(), &mut faults);
        let view = self.view(at).await?;
        check(&view, request, faults)
    }
}

/// Checks a cart against a view; which revision that is was decided before.
pub(crate) fn check(
    view: &View,
    request: v1::CheckCartRequest,
    mut faults: FieldFaults,
) -> Result<v1::CheckCartResponse, Refusal> {
    let v1::CheckCartRequest { read_at: _, vehicle, radio_id, order: wanted, lines } = request;
    let snapshot = view.snapshot();
    let question = vehicle_question(vehicle, &mut faults);
    let request = order(wanted, &mut faults).of(snapshot, &mut faults);
    let named = (!radio_id.is_empty()).then(|| radio(snapshot, "radio_id", &radio_id, &mut faults)).flatten();
    let read = cart_lines(snapshot, &lines, &mut faults);
    faults.or(())?;
    let asked = Asked::of(view, &question)?;

    let checked = check_cart(snapshot, &asked.candidates, named, &request, &read);
    let answer = to_proto::cart(snapshot, &lines, &read, &checked);
    Ok(v1::CheckCartResponse {
        revision: Some(to_proto::dataset_revision(view)),
        candidates: asked.candidate_messages(),
        remaining_lines: asked.remaining_lines(),
        matches: asked.matches(),
        vin_concerns: asked.vin_concerns(),
        question: answer.question.clone().or_else(|| asked.next_question()),
        ..answer
    })
}
