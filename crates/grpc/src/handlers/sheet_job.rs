//! The one plan that a sheet or a picture is of.

use dashwright_api::v1;
use dashwright_engine::View;
use dashwright_model::question::VehicleQuestion;
use dashwright_planner::{CasePlan, Plans, Request, WeakestEvidence, plan};
use dashwright_sheet::{Paper, Revision, SheetInput};
use dashwright_snapshot::{Candidate, RecordIx};

use super::asked::Asked;
use crate::fingerprint::digest;
use crate::from_proto::{FieldFaults, Order, order, radio, vehicle_question};
use crate::shared::Answers;
use crate::{Refusal, to_proto};

/// What both calls ask for, its fields well formed.
pub(super) struct SheetQuestion {
    vehicle: VehicleQuestion,
    radio_id: String,
    order: Order,
}

/// The one plan, with what a sheet says beside it.
pub(super) struct SheetJob {
    pub(super) revision: v1::DatasetRevision,
    pub(super) fingerprint: String,
    candidates: Vec<Candidate>,
    radio: RecordIx,
    plan: CasePlan,
    weakest: Option<WeakestEvidence>,
}

impl SheetQuestion {
    pub(super) fn of(
        vehicle: Option<v1::VehicleQuestion>,
        radio_id: String,
        wanted: Option<v1::Order>,
        faults: &mut FieldFaults,
    ) -> Self {
        Self { vehicle: vehicle_question(vehicle, faults), radio_id, order: order(wanted, faults) }
    }

    /// The one plan that the question leaves.
    pub(super) fn job(self, answers: &Answers, mut faults: FieldFaults) -> Result<SheetJob, Refusal> {
        let snapshot = answers.view.snapshot();
        let index = radio(snapshot, "radio_id", &self.radio_id, &mut faults);
        let request = self.order.of(snapshot, &mut faults);
        let index = faults.with(index)?;
        let asked = Asked::of(&answers.view, &self.vehicle)?;
        SheetJob::of(answers, asked, index, &request)
    }
}

impl SheetJob {
    fn of(answers: &Answers, asked: Asked<'_>, radio: RecordIx, request: &Request) -> Result<Self, Refusal> {
        let snapshot = answers.view.snapshot();
        let plans = plan(snapshot, &asked.candidates, radio, request);
        let gist = digest(snapshot, radio, &plans);
        let fingerprint = answers.fingerprint(&asked.candidates, &gist);
        let weakest = asked.weakest(plans.weakest.clone());
        Ok(Self {
            revision: to_proto::dataset_revision(&answers.view),
            fingerprint,
            weakest,
            radio,
            plan: only_plan(plans, &asked)?,
            candidates: asked.candidates,
        })
    }

    /// What a sheet is made from.
    pub(super) fn input<'a>(&'a self, view: &'a View, paper: Paper) -> SheetInput<'a> {
        let Self { revision, fingerprint, candidates, radio, plan, weakest } = self;
        SheetInput {
            snapshot: view.snapshot(),
            candidates,
            radio: *radio,
            plan,
            weakest: weakest.as_ref(),
            revision: Revision {
                number: revision.number,
                token: &revision.token,
                content_hash: &revision.content_hash,
            },
            fingerprint,
            paper,
        }
    }
}

/// The plan, where the question leaves a single one: a sheet that says "or" is not worked from.
fn only_plan(plans: Plans, asked: &Asked<'_>) -> Result<CasePlan, Refusal> {
    let Plans { verdict: _, verdict_reasons: _, mut groups, question, weakest: _ } = plans;
    let count = groups.len();
    groups.pop().filter(|_| count == 1).map(|only| only.plan).ok_or_else(|| Refusal::SheetNotSettled {
        plans: count,
        open: question.map(|question| question.attribute).or(asked.next_attribute()),
    })
}
