//! `sheet`: a plan on paper.

use std::path::{Path, PathBuf};

use dashwright_api::v1;

use super::connection::Connection;
use super::file::{Existing, Pending, Readers};
use super::json::{Layout, json};
use crate::args::{Picture, Sheet};
use crate::failure::{Failure, KeepingFailure};
use crate::{out, wiring};

/// Why a sheet that was asked for is not written.
#[derive(Debug, thiserror::Error)]
pub(crate) enum SheetFailure {
    /// There is a file of the name.
    #[error("`{}` is there already, and is not replaced", path.display())]
    Exists {
        /// The file.
        path: PathBuf,
    },
    /// The plan has no such picture.
    #[error("the plan has no such picture")]
    NoPicture,
    /// One file holds one picture.
    #[error("the plan has several such pictures: {}", subjects.join(", "))]
    ManyPictures {
        /// What they are of.
        subjects: Vec<String>,
    },
}

impl SheetFailure {
    /// What to do next.
    pub(crate) const fn next(&self) -> &'static str {
        match self {
            Self::Exists { .. } => "name another file, or say --force to replace this one",
            Self::NoPicture => "leave out --subject, or ask for another kind: dash, side, switches, plug",
            Self::ManyPictures { .. } => "say which one with --subject, or take all of them with --json",
        }
    }
}

/// Asks for a sheet or a picture, and writes it to a file or to standard output.
pub(crate) fn sheet(arguments: Sheet) -> Result<(), Failure> {
    let (to, existing) =
        (arguments.out.clone(), if arguments.force { Existing::Replace } else { Existing::Keep });
    // A file that may not be written is told before anything is asked for.
    let begin = |path: &Path| Pending::begin(path, existing, Readers::Everybody).map_err(refused);
    let file = to.as_deref().map(begin).transpose()?;
    let text = wiring::block_on(async {
        let connection = Connection::open(&arguments.source.client).await?;
        match arguments.picture {
            Some(kind) => picture(&connection, arguments, kind).await,
            None => page(&connection, arguments).await,
        }
    })?;
    let Some(mut file) = file else { return out::write(text.as_bytes()) };
    file.write(text.as_bytes())?;
    file.finish().map_err(refused)?;
    out::aside(&written(to.as_deref(), text.len()));
    Ok(())
}

async fn page(connection: &Connection, arguments: Sheet) -> Result<String, Failure> {
    let Sheet { radio, out: _, force: _, paper, picture: _, subject: _, vehicle, order, source } = arguments;
    let request = v1::RenderBenchSheetRequest {
        read_at: source.read_at.message(),
        vehicle: Some(vehicle.question()),
        radio_id: radio,
        order: Some(order.message()),
        paper: paper.message().into(),
    };
    let answer = connection.answer(connection.sheets().render_bench_sheet(request).await)?;
    if source.client.json { json("RenderBenchSheetResponse", &answer, Layout::Wide) } else { Ok(answer.html) }
}

async fn picture(connection: &Connection, arguments: Sheet, kind: Picture) -> Result<String, Failure> {
    let Sheet { radio, out: _, force: _, paper: _, picture: _, subject, vehicle, order, source } = arguments;
    let request = v1::RenderPictureRequest {
        read_at: source.read_at.message(),
        vehicle: Some(vehicle.question()),
        radio_id: radio,
        order: Some(order.message()),
        picture: kind.message().into(),
        subject,
    };
    let answer = connection.answer(connection.sheets().render_picture(request).await)?;
    if source.client.json {
        return json("RenderPictureResponse", &answer, Layout::Wide);
    }
    only(answer.pictures)
}

/// The one picture: a file has room for no other.
fn only(mut pictures: Vec<v1::Picture>) -> Result<String, Failure> {
    match (pictures.pop(), pictures.len()) {
        (Some(picture), 0) => Ok(picture.svg),
        (None, _) => Err(SheetFailure::NoPicture.into()),
        (Some(last), _) => {
            let subjects = pictures.into_iter().chain([last]).map(|picture| picture.subject);
            Err(SheetFailure::ManyPictures { subjects: subjects.collect() }.into())
        }
    }
}

/// A file that is there already can be replaced here, when that is said.
fn refused(failure: KeepingFailure) -> Failure {
    match failure {
        KeepingFailure::Exists { path } => SheetFailure::Exists { path }.into(),
        other => other.into(),
    }
}

fn written(to: Option<&Path>, bytes: usize) -> String {
    to.map(|path| format!("{bytes} bytes written to `{}`\n", path.display())).unwrap_or_default()
}
