//! Pictures of a plan.

use dashwright_api::v1;
use dashwright_sheet::{LegendRow, Picture};

/// A picture as a document of its own.
pub(crate) fn picture(picture: &Picture) -> v1::Picture {
    v1::Picture {
        subject: picture.subject.clone(),
        title: picture.title.clone(),
        svg: picture.document(),
        legend: picture.legend.iter().map(mark).collect(),
        notes: picture.notes.clone(),
    }
}

fn mark(row: &LegendRow) -> v1::PictureMark {
    let LegendRow { mark, name, detail } = row;
    v1::PictureMark { mark: mark.clone(), name: name.clone(), detail: detail.clone() }
}
