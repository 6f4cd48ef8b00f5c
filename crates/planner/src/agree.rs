//! Agreeing: what several answers have in common, and what each has beside it.

use crate::answer::{FeatureFitment, MountFitment, NeedFitment};
use crate::checks::PlannedCheck;
use crate::plan::{Alternative, PartSettings, PlannedFeature, PlannedNeed, PlannedPart};
use crate::reason::Reason;
use crate::steps::Step;
use crate::wiring::{ColourTrap, Fetch, Join, Loose, Mismatch, Socketed};

/// One statement of an answer. Two are the same when they say the same; the records that they rest on may differ.
pub(crate) trait Statement: Clone {
    /// Whether they say the same.
    fn same(&self, other: &Self) -> bool;

    /// Takes over what the same statement of another answer rests on.
    fn absorb(&mut self, _other: &Self) {}
}

/// The statements of the first answer that every other has too, with what all of them rest on.
pub(crate) fn agreed<A, T: Statement>(first: &A, others: &[&A], list: impl Fn(&A) -> &[T]) -> Vec<T> {
    let twins = |own: &T| -> Option<Vec<&T>> {
        others.iter().map(|other| list(other).iter().find(|their| their.same(own))).collect()
    };
    let agreed = list(first).iter().filter_map(|own| {
        let mut agreed = own.clone();
        for twin in twins(own)? {
            agreed.absorb(twin);
        }
        Some(agreed)
    });
    agreed.collect()
}

/// The statements that are not among the settled ones.
pub(crate) fn open<T: Statement>(own: &[T], settled: &[T]) -> Vec<T> {
    own.iter().filter(|own| !settled.iter().any(|settled| settled.same(own))).cloned().collect()
}

/// Whether two lists say the same, in the same order.
pub(crate) fn same_list<T: Statement>(one: &[T], other: &[T]) -> bool {
    one.len() == other.len() && one.iter().zip(other).all(|(one, other)| one.same(other))
}

/// Adds the reasons that are not there yet.
pub(crate) fn add_new(reasons: &mut Vec<Reason>, more: &[Reason]) {
    for reason in more {
        if !reasons.contains(reason) {
            reasons.push(reason.clone());
        }
    }
}

/// Statements with reasons: the same by some of their fields, whatever the reasons.
macro_rules! reasoned {
    ($($name:ident by $($field:ident),+;)+) => {$(
        impl Statement for $name {
            fn same(&self, other: &Self) -> bool {
                $(self.$field == other.$field)&&+
            }

            fn absorb(&mut self, other: &Self) {
                add_new(&mut self.reasons, &other.reasons);
            }
        }
    )+};
}

reasoned! {
    MountFitment by chassis, verdict, parts;
    NeedFitment by need, importance, met, parts;
    FeatureFitment by feature, carrier, outcome, kept_by;
    PlannedNeed by need, importance, met, by, adds;
    PlannedFeature by feature, carrier, outcome, by, limits, would_keep;
}

/// Statements that are the same only when they are equal.
macro_rules! equal {
    ($($name:ident),+) => {$(
        impl Statement for $name {
            fn same(&self, other: &Self) -> bool {
                self == other
            }
        }
    )+};
}

equal!(Alternative, ColourTrap, Fetch, Loose, Mismatch, PartSettings, PlannedCheck, Socketed, Step);

impl Statement for Join {
    fn same(&self, other: &Self) -> bool {
        self.same_join(other)
    }
}

/// A part is the same wherever it is; what it serves in one answer and not in another is not agreed.
impl Statement for PlannedPart {
    fn same(&self, other: &Self) -> bool {
        (self.part, self.in_hand) == (other.part, other.in_hand)
    }

    fn absorb(&mut self, other: &Self) {
        self.serves.retain(|(need, _)| other.serves.iter().any(|(their, _)| their == need));
        self.required_by.retain(|part| other.required_by.contains(part));
        self.variants.retain(|part| other.variants.contains(part));
    }
}
