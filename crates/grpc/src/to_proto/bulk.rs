//! What a bulk edit came to.

use dashwright_api::v1;
use dashwright_curation::{Remark, Remarked, Touch, Touched};
use dashwright_engine::{BulkEdited, Engine};

use super::draft;
use crate::Refusal;
use crate::limits::BULK_TOLD;

/// What a bulk edit came to; at most [`BULK_TOLD`] records and remarks are told one by one.
pub(crate) fn bulk_edited(engine: &Engine, done: BulkEdited) -> Result<v1::BulkEditDraftResponse, Refusal> {
    let BulkEdited { drafted, touched, remarks } = done;
    let count = |length: usize| u32::try_from(length).unwrap_or(u32::MAX);
    let (touched_total, remarks_total) = (count(touched.len()), count(remarks.len()));
    Ok(v1::BulkEditDraftResponse {
        draft: Some(draft(engine, &drafted.id, &drafted.draft)?),
        repeated: drafted.repeated,
        touched: touched.into_iter().take(BULK_TOLD).map(record_touch).collect(),
        touched_total,
        remarks: remarks.into_iter().take(BULK_TOLD).map(bulk_remark).collect(),
        remarks_total,
    })
}

fn record_touch(it: Touched) -> v1::RecordTouch {
    let Touched { record, touch, paths } = it;
    let kind = match touch {
        Touch::Made => v1::TouchKind::Made,
        Touch::Renamed => v1::TouchKind::Renamed,
        Touch::Named => v1::TouchKind::Named,
        Touch::Follows => v1::TouchKind::Follows,
        Touch::Superseded => v1::TouchKind::Superseded,
        Touch::NamesSuccessor => v1::TouchKind::NamesSuccessor,
        Touch::Shortened => v1::TouchKind::Shortened,
        Touch::Discontinued => v1::TouchKind::Discontinued,
        Touch::Deleted => v1::TouchKind::Deleted,
        Touch::Forgets => v1::TouchKind::Forgets,
        Touch::Accepts => v1::TouchKind::Accepts,
    };
    v1::RecordTouch { record: record.to_string(), kind: kind.into(), fields: paths }
}

fn bulk_remark(it: Remarked) -> v1::BulkRemark {
    let Remarked { record, remark, path } = it;
    let kind = match remark {
        Remark::StillInTheBox => v1::BulkRemarkKind::StillInTheBox,
        Remark::NeedsTheRetired => v1::BulkRemarkKind::NeedsTheRetired,
        Remark::LosesItsSuccessor => v1::BulkRemarkKind::LosesItsSuccessor,
        Remark::HoldsForOneHalf => v1::BulkRemarkKind::HoldsForOneHalf,
        Remark::SharesVinPatterns => v1::BulkRemarkKind::SharesVinPatterns,
    };
    v1::BulkRemark { record: record.to_string(), kind: kind.into(), field: path }
}
