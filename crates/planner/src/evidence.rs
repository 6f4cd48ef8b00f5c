//! The weakest evidence that an answer rests on.

use dashwright_model::Grade;
use dashwright_model::record::{RecordKey, RecordKind};
use dashwright_quantity::TermId;

use crate::answer::{Importance, MountFitment, NeedFitment, PartOffer, Verdict, WeakestEvidence};
use crate::fitment::CaseView;

/// The weakest grade of the dash, the factory audio, and the best part for each need that must be met.
pub(crate) fn weakest(
    view: &CaseView<'_>,
    mounts: &[MountFitment],
    needs: &[NeedFitment],
) -> Option<WeakestEvidence> {
    let own = [
        (view.dash.evidence.grade, RecordKind::Dash, view.dash.id.as_term()),
        (view.audio.evidence.grade, RecordKind::FactoryAudio, view.audio.id.as_term()),
    ];
    let own = own.into_iter().map(|(grade, kind, id)| weak(grade, kind, id));
    let mount = mounts.iter().filter(|mount| mount.verdict == Verdict::FitsWithParts);
    // One mount is enough, so the best-known one counts.
    let mount = mount.filter_map(|mount| best(view, &mount.parts)).min_by_key(|weak| weak.grade);
    let musts = needs.iter().filter(|need| need.importance == Importance::Must);
    let musts = musts.filter_map(|need| best(view, &need.parts));
    own.chain(mount).chain(musts).reduce(weaker)
}

/// The weaker of two; the first where they are equal.
pub(crate) fn weaker(one: WeakestEvidence, other: WeakestEvidence) -> WeakestEvidence {
    if other.grade > one.grade { other } else { one }
}

fn best(view: &CaseView<'_>, offers: &[PartOffer]) -> Option<WeakestEvidence> {
    let graded = offers.iter().filter_map(|offer| {
        let part = view.part(offer.part)?;
        let statement = part.covers.get(usize::from(offer.cover)).and_then(|cover| cover.evidence.as_ref());
        Some(weak(statement.unwrap_or(&part.evidence).grade, RecordKind::Part, part.id.as_term()))
    });
    graded.min_by_key(|weak| weak.grade)
}

pub(crate) fn weak(grade: Grade, kind: RecordKind, id: TermId) -> WeakestEvidence {
    WeakestEvidence { grade, record: RecordKey { kind, id } }
}
