//! The radio from the side, to scale: how deep it goes, what its plugs need, what there is, and what is left.

use dashwright_quantity::Millimetres;

use super::{LegendRow, Picture};
use crate::job::Job;
use crate::svg::{Anchor, Area, Drawing, Pen, num};

/// The widest that it is on paper, without the column of words.
const MOST_WIDTH_MM: f64 = 112.0;
/// The tallest that the bodies are on paper.
const MOST_HEIGHT_MM: f64 = 62.0;
/// The column of words beside the dimensions, on paper.
const WORDS_MM: f64 = 62.0;
/// From one dimension to the next, on paper.
const ROW_MM: f64 = 6.0;

/// The lengths that the picture is made of; the dash face is at 0, positive into the dash.
struct Lengths {
    forward: f64,
    body: Option<f64>,
    plugs: Option<f64>,
    there: Option<f64>,
    /// Height of body and opening, or what stands for them.
    body_height: f64,
    opening_height: f64,
    screen: Option<Screen>,
}

struct Screen {
    back: f64,
    thickness: f64,
    height: f64,
    /// Height of its centre over the opening's.
    centre: f64,
}

/// A dimension: from, to, and what it is.
struct Dimension {
    mark: &'static str,
    from: f64,
    to: f64,
    name: &'static str,
    short: bool,
}

/// The radio from the side; nothing where neither its depth nor the opening's is recorded.
pub(super) fn side(job: &Job<'_>) -> Option<Picture> {
    let lengths = lengths(job);
    if lengths.body.is_none() && lengths.there.is_none() {
        return None;
    }
    let dimensions = dimensions(&lengths);
    let (left, right) = ends(&lengths);
    let tall = lengths.opening_height.max(lengths.body_height) * 1.5;
    let tall = lengths.screen.as_ref().map_or(tall, |screen| tall.max(screen.height * 1.1));
    let unit = ((right - left) / MOST_WIDTH_MM).max(tall / MOST_HEIGHT_MM);
    let rows = dimensions.len() as f64 * ROW_MM * unit;
    let view = Area {
        left: left - 14.0 * unit,
        top: -tall / 2.0 - 10.0 * unit,
        width: right - left + (18.0 + WORDS_MM) * unit,
        height: tall + rows + 24.0 * unit,
    };
    let mut drawing = Drawing::default();
    let pieces = Pieces { unit, tall };
    pieces.dash(&mut drawing, &lengths);
    pieces.radio(&mut drawing, &lengths);
    pieces.dimensions(&mut drawing, &dimensions, right);
    super::dash::scale_bar(&mut drawing, &view, 50.0, unit);
    let legend = legend(&dimensions);
    let title = format!("Depth from the side: {} in {}", job.radio_name(), job.dash.title);
    let rows = legend.iter().map(|row| format!("{}: {}", row.name, row.detail));
    let description = format!("{title}. {}.", rows.collect::<Vec<_>>().join(". "));
    let paper = (view.width / unit, view.height / unit);
    let svg = drawing.finish("side", (&title, &description), &view, paper);
    let notes = notes(job, &lengths, unit);
    Some(Picture { subject: job.radio.id.to_string(), title, description, legend, notes, svg })
}

fn lengths(job: &Job<'_>) -> Lengths {
    /// The height that stands for one that is not recorded; the note says so.
    const USUAL_HEIGHT_MM: f64 = 50.0;
    let chassis = &job.radio.chassis;
    let get = |length: Option<Millimetres>| length.map(Millimetres::get);
    let kit = job.kit().and_then(|kit| kit.kit.as_ref());
    let frame = kit.and_then(|kit| kit.frame);
    let opening = get(job.dash.opening.height);
    let body_height = get(chassis.height).or(opening).unwrap_or(USUAL_HEIGHT_MM);
    Lengths {
        forward: get(kit.and_then(|kit| kit.set_forward)).unwrap_or(0.0),
        body: get(chassis.depth),
        plugs: get(chassis.rear_clearance),
        there: get(job.dash.opening.depth),
        body_height,
        opening_height: opening.unwrap_or(body_height),
        screen: job.radio.floating_screen.as_ref().map(|screen| {
            let placed = job.screen.map(|screen| screen.best);
            let frame_centre = frame.map_or(0.0, |frame| frame.y.get());
            Screen {
                back: placed.map_or(screen.stand_off.least, |at| at.stand_off).get(),
                thickness: screen.thickness.get(),
                height: screen.height.get(),
                centre: placed
                    .map_or(frame_centre, |at| f64::midpoint(at.front.bottom.get(), at.front.top.get())),
            }
        }),
    }
}

/// The leftmost and the rightmost length.
fn ends(lengths: &Lengths) -> (f64, f64) {
    let front = lengths.screen.as_ref().map_or(0.0, |screen| screen.back + screen.thickness);
    let left = -front.max(lengths.forward).max(10.0);
    let needed = lengths.body.unwrap_or(0.0) + lengths.plugs.unwrap_or(0.0) - lengths.forward;
    (left, needed.max(lengths.there.unwrap_or(0.0)) + 12.0)
}

fn dimensions(lengths: &Lengths) -> Vec<Dimension> {
    let Lengths { forward, body, plugs, there, .. } = lengths;
    let mut rows = Vec::new();
    let mut add = |mark, from, to, name, short| rows.push(Dimension { mark, from, to, name, short });
    if let Some(there) = there {
        add("a", 0.0, *there, "depth behind the dash face", false);
    }
    if *forward > 0.0 {
        add("b", -forward, 0.0, "set forward by the kit", false);
    }
    if let Some(body) = body {
        add("c", -forward, body - forward, "body of the radio", false);
        if let Some(plugs) = plugs {
            let end = body + plugs - forward;
            add("d", body - forward, end, "room for its plugs", false);
            if let Some(there) = there {
                let short = end > *there;
                let name = if short { "TOO SHORT BY" } else { "to spare" };
                add("e", end.min(*there), end.max(*there), name, short);
            }
        }
    }
    rows
}

/// What draws the picture; `unit` is one printed millimetre.
struct Pieces {
    unit: f64,
    tall: f64,
}

impl Pieces {
    fn pen(&self, width: f64) -> Pen {
        Pen::line(width * self.unit)
    }

    /// The dash face with its opening, and the wall behind it.
    fn dash(&self, drawing: &mut Drawing, lengths: &Lengths) {
        let (half, edge) = (self.tall / 2.0, lengths.opening_height / 2.0);
        let thick = 1.6 * self.unit;
        for (top, bottom) in [(-half, -edge), (edge, half)] {
            let face = Area { left: 0.0, top, width: thick, height: bottom - top };
            drawing.rect(&face, self.pen(0.3).filled("#000"));
        }
        let size = 3.2 * self.unit;
        drawing.text((0.0, -half - 2.0 * self.unit), size, Anchor::Middle, false, "dash face");
        let Some(there) = lengths.there else { return };
        let wall = Area { left: there, top: -half, width: 4.0 * self.unit, height: self.tall };
        drawing.hatch(&wall, 1.4 * self.unit, self.pen(0.25));
        drawing.line((there, -half), (there, half), self.pen(0.6));
        drawing.text((there, -half - 2.0 * self.unit), size, Anchor::Middle, false, "end of the room");
    }

    /// Body, plugs, kit and screen.
    fn radio(&self, drawing: &mut Drawing, lengths: &Lengths) {
        let (half, start) = (lengths.body_height / 2.0, -lengths.forward);
        if lengths.forward > 0.0 {
            let edge = lengths.opening_height / 2.0;
            let frame = Area { left: start, top: -edge, width: lengths.forward, height: 2.0 * edge };
            drawing.rect(&frame, self.pen(0.3).dashed(1.0 * self.unit, 0.8 * self.unit));
        }
        if let Some(body) = lengths.body {
            let area = Area { left: start, top: -half, width: body, height: 2.0 * half };
            drawing.rect(&area, self.pen(0.6).filled("#d9d9d9"));
            let size = (half * 0.5).min(4.0 * self.unit);
            let middle = (start + body / 2.0, size * 0.36);
            drawing.text(middle, size, Anchor::Middle, true, "radio");
            if let Some(plugs) = lengths.plugs {
                let area = Area { left: start + body, top: -half * 0.8, width: plugs, height: half * 1.6 };
                drawing.rect(&area, self.pen(0.3).filled("#fff"));
                drawing.hatch(&area, 2.4 * self.unit, self.pen(0.2));
            }
        }
        if let Some(Screen { back, thickness, height, centre }) = &lengths.screen {
            let left = -(back + thickness);
            let area = Area { left, top: -centre - height / 2.0, width: *thickness, height: *height };
            drawing.rect(&area, self.pen(0.6).dashed(2.0 * self.unit, 0.9 * self.unit));
            let size = 3.2 * self.unit;
            let above = (left + thickness, -self.tall / 2.0 - 6.0 * self.unit);
            drawing.text(above, size, Anchor::Middle, false, "screen");
        }
    }

    /// Each dimension in a row of its own, its words in a column beside: nothing can cover anything.
    fn dimensions(&self, drawing: &mut Drawing, dimensions: &[Dimension], right: f64) {
        for (row, dimension) in dimensions.iter().enumerate() {
            let y = self.tall / 2.0 + (5.0 + row as f64 * ROW_MM) * self.unit;
            let pen = self.pen(if dimension.short { 1.1 } else { 0.45 });
            drawing.line((dimension.from, y), (dimension.to, y), pen);
            for x in [dimension.from, dimension.to] {
                drawing.line((x, y - 1.6 * self.unit), (x, y + 1.6 * self.unit), self.pen(0.45));
            }
            let length = num(dimension.to - dimension.from);
            let text = format!("{}  {length} mm {}", dimension.mark, dimension.name);
            let at = (right + 6.0 * self.unit, y + 1.1 * self.unit);
            drawing.text(at, 3.4 * self.unit, Anchor::Start, dimension.short, &text);
        }
    }
}

fn legend(dimensions: &[Dimension]) -> Vec<LegendRow> {
    let row = |dimension: &Dimension| LegendRow {
        mark: dimension.mark.to_owned(),
        name: dimension.name.to_owned(),
        detail: format!("{} mm", num(dimension.to - dimension.from)),
    };
    dimensions.iter().map(row).collect()
}

fn notes(job: &Job<'_>, lengths: &Lengths, unit: f64) -> Vec<String> {
    let mut notes = vec![format!(
        "To scale, about 1 : {}, seen from the driver's side; the driver sits left.",
        num(unit)
    )];
    let missing: Vec<&str> = [
        (lengths.body.is_none(), "the depth of the radio's body"),
        (lengths.plugs.is_none(), "the room that its plugs need"),
        (lengths.there.is_none(), "the depth behind the dash face"),
        (job.radio.chassis.height.is_none(), "the height of the radio's body"),
        (job.dash.opening.height.is_none(), "the height of the opening"),
    ]
    .into_iter()
    .filter_map(|(missing, what)| missing.then_some(what))
    .collect();
    if !missing.is_empty() {
        notes.push(format!("Not recorded: {}. Measure before the dash is opened.", missing.join(", ")));
    }
    if lengths.screen.is_some() && job.screen.is_none() {
        notes.push("The screen is drawn as near to the dash as it goes.".to_owned());
    }
    notes
}
