//! A plan with the records that a sheet looks at, found once.

use dashwright_checks::screen::{Covered, Finding, Recommended};
use dashwright_model::record::{Dash, FactoryAudio, Part, Radio};
use dashwright_planner::{Chosen, PlannedScreen, ScreenNeighbour, Work};
use dashwright_quantity::{Fraction, PartId};
use dashwright_snapshot::{RecordIx, Snapshot};

use crate::input::SheetInput;

/// A plan with its records.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Job<'a> {
    pub(crate) input: &'a SheetInput<'a>,
    pub(crate) snapshot: &'a Snapshot,
    pub(crate) dash: &'a Dash,
    pub(crate) radio: &'a Radio,
    /// What the first candidate has; those with the same plan may have another record that says the same.
    pub(crate) audio: Option<&'a FactoryAudio>,
    pub(crate) chosen: Option<&'a Chosen>,
    pub(crate) work: Option<&'a Work>,
    /// Where the floating screen is to stand.
    pub(crate) screen: Option<ScreenAt<'a>>,
}

/// The recommended position of a floating screen.
#[derive(Clone, Copy, Debug)]
pub(crate) struct ScreenAt<'a> {
    pub(crate) best: &'a Recommended,
    neighbours: &'a [ScreenNeighbour],
}

impl ScreenAt<'_> {
    fn of(work: &Work) -> Option<ScreenAt<'_>> {
        let PlannedScreen { report, neighbours, .. } = work.checks.screen.as_ref()?;
        let Finding::Free(best) = &report.finding else { return None };
        Some(ScreenAt { best, neighbours })
    }

    /// What it covers: the places in the dash's list of surroundings, and which share of each.
    pub(crate) fn covered(&self) -> impl Iterator<Item = (usize, Fraction)> {
        let place = |own: &Covered| Some((self.neighbours.get(own.obstacle)?.surrounding, own.share));
        self.best.covered.iter().filter_map(place)
    }
}

impl<'a> Job<'a> {
    /// Nothing where the plan is not of the snapshot.
    pub(crate) fn of(input: &'a SheetInput<'a>) -> Option<Self> {
        let snapshot = input.snapshot;
        let chosen = input.plan.chosen.as_ref();
        let work = chosen.and_then(|chosen| chosen.work.as_ref());
        Some(Self {
            input,
            snapshot,
            dash: snapshot.dashes().get(input.plan.dash)?,
            radio: snapshot.radios().get(input.radio)?,
            audio: audio(input),
            chosen,
            work,
            screen: work.and_then(ScreenAt::of),
        })
    }

    pub(crate) fn part(&self, index: RecordIx) -> Option<&'a Part> {
        self.snapshot.parts().get(index)
    }

    /// The number of a part, which is what stands on its box.
    pub(crate) fn number(&self, id: &PartId) -> String {
        let part = self.snapshot.parts().find(id.as_str());
        part.map_or_else(|| id.to_string(), |(_, part)| part.number.to_string())
    }

    /// Brand and model of the radio.
    pub(crate) fn radio_name(&self) -> String {
        format!("{} {}", self.snapshot.term_name(self.radio.brand.as_str()), self.radio.model)
    }

    /// The chosen part that changes the opening, if one does.
    pub(crate) fn kit(&self) -> Option<&'a Part> {
        let mount = self.work.map(|work| work.mount.by.as_slice()).unwrap_or_default();
        mount.iter().filter_map(|index| self.part(*index)).find(|part| part.kit.is_some())
    }
}

fn audio<'a>(input: &SheetInput<'a>) -> Option<&'a FactoryAudio> {
    let snapshot = input.snapshot;
    let candidate = input.candidates.first()?;
    let options = snapshot.options_of(snapshot.line(candidate.line)?);
    let case = options.get(usize::from(*candidate.options.first()?))?.case;
    snapshot.audios().get(snapshot.case(case)?.audio)
}
