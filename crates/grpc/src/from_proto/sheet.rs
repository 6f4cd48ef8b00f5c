//! What of a sheet is asked for.

use dashwright_api::v1;
use dashwright_sheet::{Paper, PictureKind};

use super::{FieldFaults, FieldProblem};

/// The paper; A4 where none is named.
pub(crate) fn paper(number: i32, faults: &mut FieldFaults) -> Paper {
    match v1::Paper::try_from(number) {
        Ok(v1::Paper::Unspecified | v1::Paper::A4) => Paper::A4,
        Ok(v1::Paper::Letter) => Paper::Letter,
        Err(_) => faults.take("paper", Err(FieldProblem::UnknownTerm { found: number })).unwrap_or_default(),
    }
}

/// What a picture is to show.
pub(crate) fn picture_kind(number: i32, faults: &mut FieldFaults) -> Option<PictureKind> {
    let read = match v1::PictureKind::try_from(number) {
        Ok(v1::PictureKind::Unspecified) => Err(FieldProblem::Missing),
        Ok(v1::PictureKind::Dash) => Ok(PictureKind::Dash),
        Ok(v1::PictureKind::Side) => Ok(PictureKind::Side),
        Ok(v1::PictureKind::Switches) => Ok(PictureKind::Switches),
        Ok(v1::PictureKind::Plug) => Ok(PictureKind::Plug),
        Err(_) => Err(FieldProblem::UnknownTerm { found: number }),
    };
    faults.take("picture", read)
}
