//! Vehicle lines in words.

use dashwright_model::record::vehicle::Trims;
use dashwright_snapshot::Line;

/// What tells a line from others of its model and years.
#[must_use]
pub fn distinction(line: &Line) -> String {
    let facts = &line.facts;
    let trims = (*line.trims != Trims::All).then(|| line.trims.to_string());
    let side = facts.drive_side.map(|side| format!("{}-hand drive", side.name().to_lowercase()));
    let texts = [
        trims,
        facts.body.as_ref().map(ToString::to_string),
        facts.drivetrain.as_ref().map(ToString::to_string),
        side,
        facts.market.as_ref().map(|market| format!("market {market}")),
        facts.build.as_ref().map(ToString::to_string),
    ];
    texts.into_iter().flatten().collect::<Vec<_>>().join(", ")
}
