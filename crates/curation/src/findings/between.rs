//! What records say of each other: the clashes that keep a dataset from compiling, as findings.

use dashwright_model::dataset::{Clash, ClashKind};

use super::{Finding, FindingKind};

impl From<Clash> for Finding {
    fn from(clash: Clash) -> Self {
        let text = clash.to_string();
        let Clash { record, path, kind } = clash;
        let (kind, other) = match kind {
            ClashKind::SameKey => (FindingKind::SameKey, None),
            ClashKind::Dangling { target } => (FindingKind::Dangling, Some(target)),
            ClashKind::WrongTerm { target, wanted: _, found: _ } => (FindingKind::WrongTerm, Some(target)),
            ClashKind::Overlap { other } => (FindingKind::Overlap, Some(other)),
            ClashKind::SupersessionLoop => (FindingKind::SupersessionLoop, None),
            ClashKind::LeadFromForeignPlug { family } => (FindingKind::ForeignLead, Some(family)),
        };
        Self { record, path, kind, other, text }
    }
}
