//! A small writer of SVG: a handful of shapes, every text escaped, numbers written alike everywhere.
//!
//! Nothing in a picture refers to anything: no style sheet, no pattern, no link. It looks the same inside a page, alone,
//! and on a printer without colours.

use std::fmt::Write as _;

use crate::escape::escaped;

/// A rectangle, y downwards.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Area {
    pub(crate) left: f64,
    pub(crate) top: f64,
    pub(crate) width: f64,
    pub(crate) height: f64,
}

impl Area {
    pub(crate) const fn right(&self) -> f64 {
        self.left + self.width
    }

    pub(crate) const fn bottom(&self) -> f64 {
        self.top + self.height
    }

    pub(crate) const fn centre(&self) -> (f64, f64) {
        (self.left + self.width / 2.0, self.top + self.height / 2.0)
    }

    /// The least area that holds both.
    pub(crate) fn with(&self, other: &Self) -> Self {
        let (left, top) = (self.left.min(other.left), self.top.min(other.top));
        let (right, bottom) = (self.right().max(other.right()), self.bottom().max(other.bottom()));
        Self { left, top, width: right - left, height: bottom - top }
    }

    /// What both have, if anything.
    pub(crate) fn common(&self, other: &Self) -> Option<Self> {
        let (left, top) = (self.left.max(other.left), self.top.max(other.top));
        let (right, bottom) = (self.right().min(other.right()), self.bottom().min(other.bottom()));
        (right > left && bottom > top).then_some(Self {
            left,
            top,
            width: right - left,
            height: bottom - top,
        })
    }

    /// The same with so much more on each side.
    pub(crate) const fn grown(&self, by: f64) -> Self {
        Self {
            left: self.left - by,
            top: self.top - by,
            width: self.width + 2.0 * by,
            height: self.height + 2.0 * by,
        }
    }
}

/// How a shape is drawn: presentation attributes, in words of this crate only.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Pen {
    pub(crate) fill: &'static str,
    pub(crate) stroke: &'static str,
    /// In units of the picture.
    pub(crate) width: f64,
    /// Dash and gap, in units of the picture; a full line without it.
    pub(crate) dashes: Option<(f64, f64)>,
}

impl Pen {
    /// A black line round nothing.
    pub(crate) const fn line(width: f64) -> Self {
        Self { fill: "none", stroke: "#000", width, dashes: None }
    }

    pub(crate) const fn filled(self, fill: &'static str) -> Self {
        Self { fill, ..self }
    }

    pub(crate) const fn dashed(self, dash: f64, gap: f64) -> Self {
        Self { dashes: Some((dash, gap)), ..self }
    }

    fn attributes(&self) -> String {
        let Self { fill, stroke, width, dashes } = self;
        let dashes = dashes
            .map(|(dash, gap)| format!(" stroke-dasharray=\"{} {}\"", num(dash), num(gap)))
            .unwrap_or_default();
        format!("fill=\"{fill}\" stroke=\"{stroke}\" stroke-width=\"{}\"{dashes}", num(*width))
    }
}

/// Where a text stands on its point.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Anchor {
    Start,
    Middle,
    End,
}

/// The body of a picture.
#[derive(Clone, Debug, Default)]
pub(crate) struct Drawing(String);

impl Drawing {
    pub(crate) fn rect(&mut self, area: &Area, pen: Pen) {
        self.rounded(area, 0.0, pen);
    }

    pub(crate) fn rounded(&mut self, area: &Area, radius: f64, pen: Pen) {
        let Area { left, top, width, height } = area;
        let (x, y, w, h) = (num(*left), num(*top), num(*width), num(*height));
        let round = if radius > 0.0 { format!(" rx=\"{}\"", num(radius)) } else { String::new() };
        let pen = pen.attributes();
        let _ = writeln!(self.0, "<rect x=\"{x}\" y=\"{y}\" width=\"{w}\" height=\"{h}\"{round} {pen}/>");
    }

    pub(crate) fn line(&mut self, from: (f64, f64), to: (f64, f64), pen: Pen) {
        let (x1, y1, x2, y2) = (num(from.0), num(from.1), num(to.0), num(to.1));
        let pen = pen.attributes();
        let _ = writeln!(self.0, "<line x1=\"{x1}\" y1=\"{y1}\" x2=\"{x2}\" y2=\"{y2}\" {pen}/>");
    }

    pub(crate) fn circle(&mut self, (x, y): (f64, f64), radius: f64, pen: Pen) {
        let (x, y, r, pen) = (num(x), num(y), num(radius), pen.attributes());
        let _ = writeln!(self.0, "<circle cx=\"{x}\" cy=\"{y}\" r=\"{r}\" {pen}/>");
    }

    pub(crate) fn text(&mut self, at: (f64, f64), size: f64, anchor: Anchor, bold: bool, text: &str) {
        let anchor = match anchor {
            Anchor::Start => "start",
            Anchor::Middle => "middle",
            Anchor::End => "end",
        };
        let weight = if bold { " font-weight=\"700\"" } else { "" };
        let (x, y, size) = (num(at.0), num(at.1), num(size));
        let _ = writeln!(
            self.0,
            "<text x=\"{x}\" y=\"{y}\" font-size=\"{size}\" text-anchor=\"{anchor}\"{weight}>{}</text>",
            escaped(text)
        );
    }

    /// Shapes that were written elsewhere in this crate.
    pub(crate) fn shapes(&mut self, shapes: &str) {
        let _ = writeln!(self.0, "{shapes}");
    }

    /// Lines at 45 degrees inside an area, so far apart: told from any grey.
    pub(crate) fn hatch(&mut self, area: &Area, apart: f64, pen: Pen) {
        /// More would be a grey, and a large picture.
        const MOST_LINES: u32 = 400;
        let across = area.width + area.height;
        let apart = apart.max(across / f64::from(MOST_LINES));
        let mut along = apart;
        while along < across {
            let from = (area.left + (along - area.height).max(0.0), area.top + along.min(area.height));
            let to = (area.left + along.min(area.width), area.top + (along - area.width).max(0.0));
            self.line(from, to, pen);
            along += apart;
        }
    }

    /// A whole picture: its id within a page, what it shows, what part of the plane, and how large it is on paper.
    pub(crate) fn finish(self, id: &str, said: (&str, &str), view: &Area, paper_mm: (f64, f64)) -> Svg {
        let (title, description) = (escaped(said.0), escaped(said.1));
        let id = escaped(id);
        let Area { left, top, width, height } = view;
        let view = format!("{} {} {} {}", num(*left), num(*top), num(*width), num(*height));
        let attributes = format!(
            "width=\"{}mm\" height=\"{}mm\" viewBox=\"{view}\" role=\"img\" aria-labelledby=\"{id}-title {id}-desc\" \
             font-family=\"'Liberation Sans', Arial, Helvetica, sans-serif\" fill=\"#000\"",
            num(paper_mm.0),
            num(paper_mm.1)
        );
        let inside = format!(
            "<title id=\"{id}-title\">{title}</title>\n<desc id=\"{id}-desc\">{description}</desc>\n{}",
            self.0
        );
        Svg { attributes, inside }
    }
}

/// A finished picture.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Svg {
    attributes: String,
    inside: String,
}

impl Svg {
    /// As part of a page.
    pub(crate) fn inline(&self) -> String {
        let Self { attributes, inside } = self;
        format!("<svg {attributes}>\n{inside}</svg>")
    }

    /// As a document of its own, on white.
    pub(crate) fn alone(&self) -> String {
        let Self { attributes, inside } = self;
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" style=\"background:#fff\" {attributes}>\n{inside}</svg>\n"
        )
    }
}

/// A number with at most two decimals, always written alike.
pub(crate) fn num(value: f64) -> String {
    let text = format!("{value:.2}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_written_alike() {
        for (value, text) in
            [(0.0, "0"), (-0.001, "0"), (182.0, "182"), (52.5, "52.5"), (1.0 / 3.0, "0.33"), (-7.0, "-7")]
        {
            assert_eq!(num(value), text);
        }
    }

    /// By hand: a square of 10 with lines 5 apart has them at 5, 10 and 15 along its edge.
    #[test]
    fn a_hatch_stays_inside_its_area() {
        let mut drawing = Drawing::default();
        drawing.hatch(&Area { left: 0.0, top: 0.0, width: 10.0, height: 10.0 }, 5.0, Pen::line(0.1));
        let lines: Vec<&str> = drawing.0.lines().map(|line| line.split(" fill").next().unwrap()).collect();
        assert_eq!(
            lines,
            [
                "<line x1=\"0\" y1=\"5\" x2=\"5\" y2=\"0\"",
                "<line x1=\"0\" y1=\"10\" x2=\"10\" y2=\"0\"",
                "<line x1=\"5\" y1=\"10\" x2=\"10\" y2=\"5\"",
            ]
        );
    }

    #[test]
    fn texts_are_escaped_wherever_they_stand() {
        let mut drawing = Drawing::default();
        drawing.text((0.0, 0.0), 3.0, Anchor::Start, true, "<b>\"&");
        let view = Area { left: 0.0, top: 0.0, width: 1.0, height: 1.0 };
        let page = drawing.finish("a\"b", ("<t>", "]]>"), &view, (1.0, 1.0)).alone();
        assert!(!page.contains("<b>") && !page.contains("<t>") && !page.contains("]]>"), "{page}");
        assert!(page.contains("&#60;b&#62;&#34;&#38;"), "{page}");
    }
}
