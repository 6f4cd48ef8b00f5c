//! Marks in a picture: a number or a letter in a circle, each where no other is.

use crate::svg::{Anchor, Area, Drawing, Pen};

/// The marks of one picture.
#[derive(Debug)]
pub(super) struct Marks {
    radius: f64,
    placed: Vec<(f64, f64)>,
    within: Area,
}

impl Marks {
    /// Marks of a radius that stay within the picture.
    pub(super) fn new(radius: f64, within: Area) -> Self {
        Self { radius, placed: Vec::new(), within }
    }

    /// Draws a mark for an area at the first of several places where no other mark is.
    pub(super) fn draw(&mut self, drawing: &mut Drawing, mark: &str, places: &[(f64, f64)]) {
        let free = |place: &&(f64, f64)| self.inside(**place) && self.is_free(**place);
        let Some(at) = places.iter().find(free).or(places.first()).copied() else { return };
        self.placed.push(at);
        drawing.circle(at, self.radius, Pen::line(self.radius / 8.0).filled("#fff"));
        let size = self.radius * if mark.chars().count() > 1 { 1.15 } else { 1.4 };
        drawing.text((at.0, at.1 + size * 0.36), size, Anchor::Middle, true, mark);
    }

    /// Places for something that is looked for in its middle.
    pub(super) fn in_middle(&self, area: &Area) -> Vec<(f64, f64)> {
        let mut places = vec![area.centre()];
        places.extend(self.around(area));
        places
    }

    /// Places for an outline: on its edges, so that the mark says which line is meant.
    pub(super) fn on_edge(area: &Area, start: f64) -> Vec<(f64, f64)> {
        let shares = [start, start + 0.13, start + 0.26, start + 0.39, start + 0.52, start + 0.65];
        let shares: Vec<f64> = shares.into_iter().map(|share| share % 1.0).collect();
        let across = |share: &f64| area.left + area.width * share.clamp(0.06, 0.94);
        let along = |share: &f64| area.top + area.height * share.clamp(0.12, 0.88);
        let tops = shares.iter().map(|share| (across(share), area.top));
        let bottoms = shares.iter().map(|share| (across(share), area.bottom()));
        let sides = shares.iter().flat_map(|share| [(area.left, along(share)), (area.right(), along(share))]);
        tops.chain(bottoms).chain(sides).collect()
    }

    /// In the corners, along the middle lines, then outside.
    fn around(&self, area: &Area) -> Vec<(f64, f64)> {
        let (x, y) = area.centre();
        let near = self.radius * 1.4;
        let (left, right) = (area.left + near, area.right() - near);
        let mut places = vec![(left, y), (right, y)];
        places.extend([0.25, 0.75, 0.15, 0.85].map(|share| (area.left + area.width * share, y)));
        places.extend([(area.left - near, y), (area.right() + near, y)]);
        places.extend([(x, area.top - near), (x, area.bottom() + near)]);
        places
    }

    fn is_free(&self, (x, y): (f64, f64)) -> bool {
        let apart = self.radius * 2.15;
        self.placed.iter().all(|(left, top)| (left - x).hypot(top - y) >= apart)
    }

    fn inside(&self, (x, y): (f64, f64)) -> bool {
        let Area { left, top, .. } = self.within;
        let radius = self.radius;
        x - radius >= left
            && x + radius <= self.within.right()
            && y - radius >= top
            && y + radius <= self.within.bottom()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn marks_of_things_in_one_place_lie_apart() {
        let within = Area { left: -100.0, top: -100.0, width: 200.0, height: 200.0 };
        let mut marks = Marks::new(5.0, within);
        let mut drawing = Drawing::default();
        let area = Area { left: -40.0, top: -10.0, width: 80.0, height: 20.0 };
        for mark in ["1", "2", "3", "4", "5"] {
            let places = marks.in_middle(&area);
            marks.draw(&mut drawing, mark, &places);
        }
        for (index, one) in marks.placed.iter().enumerate() {
            for other in &marks.placed[index + 1..] {
                assert!((one.0 - other.0).hypot(one.1 - other.1) >= 10.0, "{one:?} {other:?}");
            }
        }
        assert_eq!(marks.placed.len(), 5);
    }
}
