//! Banks of switches, drawn the way round that the print on the module is read.

use dashwright_model::record::setting::{OnDirection, SwitchPosition};
use dashwright_planner::SettingState;

use super::{LegendRow, Picture, cut};
use crate::job::Job;
use crate::svg::{Anchor, Area, Drawing, Pen};

/// From one switch to the next, in millimetres on paper.
const PITCH_MM: f64 = 10.0;
/// Along the way of a slider and across it.
const SLOT_MM: (f64, f64) = (15.0, 6.5);

/// The banks of every module that is set.
pub(super) fn banks(job: &Job<'_>) -> Vec<Picture> {
    let parts = job.work.iter().flat_map(|work| &work.settings);
    let states = parts.flat_map(|own| own.settings.iter().map(move |setting| (own.part, &setting.state)));
    let banks = states.filter_map(|(index, state)| {
        let SettingState::SwitchBank { name, on_is, switches } = state else { return None };
        let part = job.part(index)?;
        let switches = switches.iter().map(|(number, position, _)| (*number, *position)).collect();
        let subject = format!("{} {name}", part.id);
        Some((subject, Bank { title: format!("{}: {name}", part.number), on_is: *on_is, switches }))
    });
    banks.enumerate().map(|(number, (subject, bank))| bank.picture(number + 1, subject)).collect()
}

struct Bank {
    title: String,
    on_is: OnDirection,
    switches: Vec<(u8, SwitchPosition)>,
}

impl Bank {
    fn picture(&self, number: usize, subject: String) -> Picture {
        let mut drawing = Drawing::default();
        let count = self.switches.len().max(1) as f64;
        let (along, _) = SLOT_MM;
        let upright = matches!(self.on_is, OnDirection::Up | OnDirection::Down);
        let view = if upright {
            Area { left: 0.0, top: 0.0, width: count * PITCH_MM + 18.0, height: along + 20.0 }
        } else {
            Area { left: 0.0, top: 0.0, width: along + 40.0, height: count * PITCH_MM + 10.0 }
        };
        self.body(&mut drawing, count);
        for (place, (number, position)) in self.switches.iter().enumerate() {
            self.switch(&mut drawing, place as f64, *number, *position);
        }
        let way = self.way();
        let said: Vec<String> = self
            .switches
            .iter()
            .map(|(number, position)| format!("{number} {}", position_text(*position)))
            .collect();
        let title = format!("Switches of {}", cut(&self.title, 100));
        let description = format!("{title}, with the print upright; on is {way}: {}.", said.join(", "));
        let id = format!("bank-{number}");
        let svg = drawing.finish(&id, (&title, &description), &view, (view.width, view.height));
        let legend = self.switches.iter().map(|(number, position)| LegendRow {
            mark: number.to_string(),
            name: position_text(*position).to_owned(),
            detail: if self.at_start(*position) { self.start_word() } else { self.end_word() }.to_owned(),
        });
        let notes = vec![format!(
            "Hold the module so that its print is upright: on is {way}. The black piece is the slider."
        )];
        Picture { subject, title, description, legend: legend.collect(), notes, svg }
    }

    /// The housing, and an arrow to the side where on is.
    fn body(&self, drawing: &mut Drawing, count: f64) {
        let (along, _) = SLOT_MM;
        let pen = Pen::line(0.5);
        let long = count * PITCH_MM;
        match self.on_is {
            OnDirection::Up | OnDirection::Down => {
                drawing.rounded(&Area { left: 1.0, top: 1.0, width: long, height: along + 11.0 }, 1.0, pen);
                let (tail, head) = if self.on_is == OnDirection::Up { (along, 3.0) } else { (3.0, along) };
                let x = long + 6.0;
                arrow(drawing, (x, tail), (x, head));
                drawing.text((x + 2.5, along / 2.0 + 3.0), 4.0, Anchor::Start, true, "ON");
            }
            OnDirection::Left | OnDirection::Right => {
                drawing.rounded(&Area { left: 1.0, top: 8.0, width: along + 30.0, height: long }, 1.0, pen);
                let (left, right) = (10.0, 10.0 + along);
                let (tail, head) =
                    if self.on_is == OnDirection::Left { (right, left) } else { (left, right) };
                arrow(drawing, (tail, 5.0), (head, 5.0));
                drawing.text((right + 3.0, 6.4), 4.0, Anchor::Start, true, "ON");
            }
        }
    }

    fn switch(&self, drawing: &mut Drawing, place: f64, number: u8, position: SwitchPosition) {
        let (along, across) = SLOT_MM;
        let middle = (place + 0.5) * PITCH_MM;
        let knob = along / 2.0 - 1.4;
        let start = self.at_start(position);
        let (slot, slider, label, word) = match self.on_is {
            OnDirection::Up | OnDirection::Down => {
                let left = 1.0 + middle - across / 2.0;
                let slot = Area { left, top: 2.5, width: across, height: along };
                let top = if start { 3.3 } else { 2.5 + along - knob - 0.8 };
                let slider = Area { left: left + 0.8, top, width: across - 1.6, height: knob };
                (slot, slider, (1.0 + middle, along + 6.3), (1.0 + middle, along + 10.4))
            }
            OnDirection::Left | OnDirection::Right => {
                let top = 8.0 + middle - across / 2.0;
                let slot = Area { left: 10.0, top, width: along, height: across };
                let left = if start { 10.8 } else { 10.0 + along - knob - 0.8 };
                let slider = Area { left, top: top + 0.8, width: knob, height: across - 1.6 };
                (slot, slider, (6.0, 8.0 + middle + 1.5), (along + 20.0, 8.0 + middle + 1.3))
            }
        };
        drawing.rect(&slot, Pen::line(0.35));
        drawing.rect(&slider, Pen::line(0.2).filled("#000"));
        drawing.text(label, 4.2, Anchor::Middle, true, &number.to_string());
        let is_on = position == SwitchPosition::On;
        drawing.text(word, 3.4, Anchor::Middle, is_on, position_text(position));
    }

    /// Whether the slider stands at the upper or the left end.
    fn at_start(&self, position: SwitchPosition) -> bool {
        let on_at_start = matches!(self.on_is, OnDirection::Up | OnDirection::Left);
        (position == SwitchPosition::On) == on_at_start
    }

    const fn way(&self) -> &'static str {
        match self.on_is {
            OnDirection::Up => "up",
            OnDirection::Down => "down",
            OnDirection::Left => "left",
            OnDirection::Right => "right",
        }
    }

    const fn start_word(&self) -> &'static str {
        if matches!(self.on_is, OnDirection::Up | OnDirection::Down) { "slider up" } else { "slider left" }
    }

    const fn end_word(&self) -> &'static str {
        if matches!(self.on_is, OnDirection::Up | OnDirection::Down) { "slider down" } else { "slider right" }
    }
}

const fn position_text(position: SwitchPosition) -> &'static str {
    match position {
        SwitchPosition::On => "ON",
        SwitchPosition::Off => "off",
    }
}

/// An arrow along one axis.
fn arrow(drawing: &mut Drawing, from: (f64, f64), to: (f64, f64)) {
    let pen = Pen::line(0.6);
    drawing.line(from, to, pen);
    let length = (to.0 - from.0).hypot(to.1 - from.1).max(0.1);
    let (x, y) = ((to.0 - from.0) / length, (to.1 - from.1) / length);
    for side in [-1.4, 1.4] {
        drawing.line(to, (to.0 - x * 2.6 - y * side, to.1 - y * 2.6 + x * side), pen);
    }
}
