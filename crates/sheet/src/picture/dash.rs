//! The dash from the front, to scale: the opening, what is around it, and where the radio and its screen come to lie.

use dashwright_checks::screen::{Front, Recommended};
use dashwright_model::record::dash::{Clearance, Surrounding};
use dashwright_model::record::part::Frame;
use dashwright_quantity::{Fraction, Offset};

use super::label::Marks;
use super::{LegendRow, Picture, size};
use crate::job::{Job, ScreenAt};
use crate::svg::{Anchor, Area, Drawing, Pen, num};
use crate::words::spoken;

/// The widest that it is on paper.
const MOST_WIDTH_MM: f64 = 176.0;
/// The tallest that it is on paper: its legend stays on the same page.
const MOST_HEIGHT_MM: f64 = 96.0;
/// White round it, as a share of the longer side.
const MARGIN: f64 = 0.03;

/// A body with its mark.
struct Body {
    mark: &'static str,
    name: String,
    detail: String,
    area: Area,
    /// The pen, its width and dashes in millimetres on paper.
    pen: Pen,
    fill: &'static str,
    /// Where along its edge the mark is tried first.
    at: f64,
}

/// The dash from the front; nothing where no length of it is recorded.
pub(super) fn front(job: &Job<'_>) -> Option<Picture> {
    let bodies = bodies(job);
    let things = job.dash.surroundings.iter().map(area_of);
    let all = bodies.iter().map(|body| body.area).chain(things).reduce(|one, other| one.with(&other))?;
    let view = all.grown(all.width.max(all.height) * MARGIN);
    // One printed millimetre, in millimetres of the dash.
    let unit = (view.width / MOST_WIDTH_MM).max(view.height / MOST_HEIGHT_MM);
    let bar = scale_bar_length(view.width);
    let view = Area { height: view.height + 9.0 * unit, ..view };
    let mut drawing = Drawing::default();
    // Greys first, then every line over them: where two bodies contend, both edges are seen.
    for body in bodies.iter().filter(|body| body.fill != "none") {
        drawing.rect(&body.area, Pen { fill: body.fill, stroke: "none", width: 0.0, dashes: None });
    }
    surroundings(&mut drawing, job, unit);
    for body in &bodies {
        drawing.rect(&body.area, on_paper(body.pen, unit));
    }
    if let Some(screen) = &job.screen {
        covered(&mut drawing, job, screen, unit);
    }
    marks(&mut drawing, job, &bodies, view, unit);
    scale_bar(&mut drawing, &view, bar, unit);
    let legend = legend(job, &bodies);
    let title = format!("Dash from the front: {}", job.dash.title);
    let description = description(&title, &legend);
    let paper = (view.width / unit, view.height / unit);
    let svg = drawing.finish("dash", (&title, &description), &view, paper);
    Some(Picture {
        subject: job.dash.id.to_string(),
        title,
        description,
        legend,
        notes: notes(job, unit),
        svg,
    })
}

fn on_paper(pen: Pen, unit: f64) -> Pen {
    Pen { width: pen.width * unit, dashes: pen.dashes.map(|(dash, gap)| (dash * unit, gap * unit)), ..pen }
}

/// The bodies that are recorded, the outermost first.
fn bodies(job: &Job<'_>) -> Vec<Body> {
    let opening = &job.dash.opening;
    let frame = job.kit().and_then(|kit| kit.kit.as_ref()).and_then(|kit| kit.frame);
    let pocket = job.kit().and_then(|kit| kit.kit.as_ref()).and_then(|kit| kit.pocket);
    let centre = frame.map_or((0.0, 0.0), |frame| (frame.x.get(), frame.y.get()));
    let chassis = &job.radio.chassis;
    let mut bodies = Vec::new();
    let mut add = |mark, name: String, (size, centre), pen, at| {
        let Some((width, height)) = size else { return };
        let area = centred(centre, (width, height));
        let detail = format!("{} × {} mm", num(width), num(height));
        let fill = if mark == "E" { "#d9d9d9" } else { "none" };
        bodies.push(Body { mark, name, detail, area, pen, fill, at });
    };
    let origin = (0.0, 0.0);
    let cavity = opening.cavity.map(|cavity| (cavity.width.get(), cavity.height.get()));
    let behind = "space behind the panel, drawn centred: its place is not recorded".to_owned();
    add("B", behind, (cavity, origin), Pen::line(0.3).dashed(0.5, 1.2), 0.1);
    let open = size(opening.width, opening.height);
    add("A", "opening".to_owned(), (open, origin), Pen::line(0.9), 0.2);
    let of = |frame: Frame| (Some((frame.width.get(), frame.height.get())), (frame.x.get(), frame.y.get()));
    let kit = job.kit().map(|kit| kit.number.to_string()).unwrap_or_default();
    if let Some(frame) = frame {
        add("C", format!("frame of {kit}"), of(frame), Pen::line(0.45).dashed(3.0, 1.0), 0.35);
    }
    if let Some(pocket) = pocket {
        add("D", format!("pocket of {kit}"), of(pocket), Pen::line(0.35).dashed(1.5, 1.0), 0.5);
    }
    let body = size(chassis.width, chassis.height);
    add("E", "body of the radio".to_owned(), (body, centre), Pen::line(0.45), 0.65);
    let face = job.radio.face.map(|face| (face.width.get(), face.height.get()));
    add("F", "face of the radio".to_owned(), (face, centre), Pen::line(0.3), 0.8);
    bodies.extend(job.screen.as_ref().map(screen_body));
    // Where the body of the radio lies no pocket can be: that one stays in the box.
    let radio = bodies.iter().find(|body| body.mark == "E").map(|body| body.area);
    bodies.retain(|body| body.mark != "D" || radio.is_none_or(|radio| radio.common(&body.area).is_none()));
    bodies
}

fn screen_body(screen: &ScreenAt<'_>) -> Body {
    let Recommended { height, stand_off, tilt, front, .. } = screen.best;
    let area = front_area(front);
    let detail = format!(
        "{} × {} mm seen from the front, {height} over its zero, its back {stand_off} before the dash, tilted {tilt}",
        num(area.width),
        num(area.height)
    );
    let covers = if screen.best.covered.is_empty() { "covers nothing" } else { "covers what is hatched" };
    let name = format!("screen at its recommended position: {covers}");
    Body { mark: "G", name, detail, area, pen: Pen::line(0.8).dashed(4.0, 1.4), fill: "none", at: 0.05 }
}

/// The surroundings as they stand on the dash face; what a kit replaces has a dashed edge.
fn surroundings(drawing: &mut Drawing, job: &Job<'_>, unit: f64) {
    for thing in &job.dash.surroundings {
        let pen = match thing.clearance {
            Clearance::NeverCover => Pen::line(0.7),
            Clearance::KeepReachable => Pen::line(0.45),
            Clearance::MayShade { .. } => Pen::line(0.25),
        };
        let pen = if thing.on_replaced_panel { pen.dashed(1.0, 0.8) } else { pen };
        drawing.rounded(&area_of(thing), 2.0 * unit, on_paper(pen, unit));
    }
}

/// What the screen covers, hatched.
fn covered(drawing: &mut Drawing, job: &Job<'_>, screen: &ScreenAt<'_>, unit: f64) {
    let outline = front_area(&screen.best.front);
    for (index, _) in screen.covered() {
        let thing = job.dash.surroundings.get(index);
        if let Some(common) = thing.and_then(|thing| area_of(thing).common(&outline)) {
            drawing.hatch(&common, 1.6 * unit, on_paper(Pen::line(0.3), unit));
        }
    }
}

fn marks(drawing: &mut Drawing, job: &Job<'_>, bodies: &[Body], view: Area, unit: f64) {
    let mut marks = Marks::new(2.5 * unit, view);
    for (number, thing) in job.dash.surroundings.iter().enumerate() {
        let places = marks.in_middle(&area_of(thing));
        marks.draw(drawing, &(number + 1).to_string(), &places);
    }
    for body in bodies {
        marks.draw(drawing, body.mark, &Marks::on_edge(&body.area, body.at));
    }
}

/// The longest of the usual lengths that is at most a third of the width.
fn scale_bar_length(width: f64) -> f64 {
    const LENGTHS_MM: [f64; 6] = [500.0, 200.0, 100.0, 50.0, 20.0, 10.0];
    LENGTHS_MM.into_iter().find(|length| *length <= width / 3.0).unwrap_or(10.0)
}

/// A bar in the lower left corner, and how much of the dash it is.
pub(super) fn scale_bar(drawing: &mut Drawing, view: &Area, length: f64, unit: f64) {
    let (left, y) = (view.left + 3.0 * unit, view.bottom() - 3.0 * unit);
    let pen = Pen::line(0.5 * unit);
    drawing.line((left, y), (left + length, y), pen);
    for x in [left, left + length / 2.0, left + length] {
        drawing.line((x, y - 1.5 * unit), (x, y + 1.5 * unit), pen);
    }
    let text = format!("{} mm", num(length));
    drawing.text((left + length + 2.0 * unit, y + 1.1 * unit), 3.2 * unit, Anchor::Start, true, &text);
}

fn legend(job: &Job<'_>, bodies: &[Body]) -> Vec<LegendRow> {
    let things = job.dash.surroundings.iter().enumerate().map(|(number, thing)| LegendRow {
        mark: (number + 1).to_string(),
        name: format!("{} ({})", thing.name, spoken(thing.kind.name())),
        detail: heed(thing, covered_share(job.screen.as_ref(), number)),
    });
    let mut bodies: Vec<&Body> = bodies.iter().collect();
    bodies.sort_by_key(|body| body.mark);
    let bodies = bodies.into_iter().map(|body| LegendRow {
        mark: body.mark.to_owned(),
        name: body.name.clone(),
        detail: body.detail.clone(),
    });
    bodies.chain(things).collect()
}

fn covered_share(screen: Option<&ScreenAt<'_>>, number: usize) -> Option<Fraction> {
    screen?.covered().find(|(index, _)| *index == number).map(|(_, share)| share)
}

/// What is to be heeded of something beside the opening.
fn heed(thing: &Surrounding, covered: Option<Fraction>) -> String {
    let mut texts = vec![match thing.clearance {
        Clearance::NeverCover => "never cover".to_owned(),
        Clearance::KeepReachable => "keep reachable".to_owned(),
        Clearance::MayShade { up_to } => format!("may be shaded up to {} %", num(up_to.get() * 100.0)),
    }];
    if thing.proud.get() > 0.0 {
        texts.push(format!("stands out {}", thing.proud));
    }
    if thing.on_replaced_panel {
        texts.push("sits in the panel that the kit replaces".to_owned());
    }
    texts.extend(covered.map(|share| format!("COVERED {} % (hatched)", num(share.get() * 100.0))));
    texts.join("; ")
}

fn notes(job: &Job<'_>, unit: f64) -> Vec<String> {
    let mut notes = vec![format!("To scale, about 1 : {}, seen from the front.", num(unit))];
    if size(job.dash.opening.width, job.dash.opening.height).is_none() {
        notes.push("The size of the opening is not recorded.".to_owned());
    }
    if size(job.radio.chassis.width, job.radio.chassis.height).is_none() {
        notes.push("The size of the radio's body is not recorded.".to_owned());
    }
    if job.dash.surroundings.is_empty() {
        notes.push("What is around the opening is not recorded.".to_owned());
    }
    if let (Some(screen), None) = (&job.radio.floating_screen, job.screen) {
        let why = if job.work.is_some() {
            "no position could be worked out. Hold it up and look before it is fixed."
        } else {
            "there is no plan that says where."
        };
        notes.push(format!(
            "The radio's screen ({} × {}) stands before the dash and is not drawn: {why}",
            num(screen.width.get()),
            screen.height
        ));
    }
    notes
}

fn description(title: &str, legend: &[LegendRow]) -> String {
    let rows = legend.iter().map(|row| format!("{}: {}, {}", row.mark, row.name, row.detail));
    format!("{title}. {}.", rows.collect::<Vec<_>>().join(". "))
}

fn area_of(thing: &Surrounding) -> Area {
    area(thing.left, thing.right, thing.bottom, thing.top)
}

/// From dash-face coordinates, y up, to the plane of a picture, y down.
fn area(left: Offset, right: Offset, bottom: Offset, top: Offset) -> Area {
    Area {
        left: left.get(),
        top: -top.get(),
        width: right.get() - left.get(),
        height: top.get() - bottom.get(),
    }
}

fn front_area(front: &Front) -> Area {
    let Front { left, right, bottom, top } = front;
    area(*left, *right, *bottom, *top)
}

fn centred((x, y): (f64, f64), (width, height): (f64, f64)) -> Area {
    Area { left: x - width / 2.0, top: -y - height / 2.0, width, height }
}
