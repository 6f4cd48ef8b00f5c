//! The vehicle lines that a question leaves possible, for lists that walk them.

use dashwright_engine::View;
use dashwright_model::question::VehicleQuestion;
use dashwright_planner::{VehicleForRadio, VehiclesForRadio, Verdict};
use dashwright_snapshot::{CaseIx, LineIx, MAX_CANDIDATES, Snapshot};

use crate::Refusal;
use crate::from_proto::{FieldFaults, FieldProblem};

/// A vehicle line, with the audio options that a question leaves possible; every one without a list.
pub(super) struct Reached {
    pub(super) line: LineIx,
    options: Option<Vec<u16>>,
}

/// The lines that a question leaves possible; every one where it says nothing.
pub(super) fn reached(view: &View, question: &VehicleQuestion) -> Result<Vec<Reached>, Refusal> {
    let snapshot = view.snapshot();
    if question.is_empty() {
        let count = u32::try_from(snapshot.lines().len()).unwrap_or(u32::MAX);
        return Ok((0..count).map(|line| Reached { line: LineIx::new(line), options: None }).collect());
    }
    let found = snapshot.identify(question)?;
    if found.total > MAX_CANDIDATES {
        let found = u32::try_from(found.total).unwrap_or(u32::MAX);
        let mut faults = FieldFaults::default();
        faults.take::<()>("vehicle", Err(FieldProblem::ManyLines { found, most: MAX_CANDIDATES }));
        faults.or(())?;
    }
    let reached = found.candidates.into_iter();
    Ok(reached.map(|one| Reached { line: one.line, options: Some(one.options) }).collect())
}

impl Reached {
    /// What becomes of a radio here, with each option that is allowed; only where it fits, if that is asked.
    pub(super) fn fitting(
        &self,
        plans: &mut VehiclesForRadio<'_>,
        only_fitting: bool,
    ) -> Vec<VehicleForRadio> {
        let fits = |verdict| matches!(verdict, Verdict::FitsAsIs | Verdict::FitsWithParts);
        let mut found = plans.of(self.line);
        found.retain(|one| self.allows(one.option) && (!only_fitting || fits(one.verdict)));
        found
    }

    fn allows(&self, option: u16) -> bool {
        self.options.as_ref().is_none_or(|options| options.contains(&option))
    }

    /// The line's options that are allowed, each with its case.
    pub(super) fn cases<'a>(&'a self, snapshot: &'a Snapshot) -> impl Iterator<Item = (u16, CaseIx)> + 'a {
        let options = snapshot.line(self.line).map_or(&[][..], |line| snapshot.options_of(line));
        let numbered = options.iter().zip(0_u16..).map(|(option, number)| (number, option.case));
        numbered.filter(|(number, _)| self.allows(*number))
    }
}
