//! Lead colours as they are drawn: near enough to know them by, never without their letters beside them.

use dashwright_quantity::{Colour, Hue, LeadColour, Shade};

use crate::svg::num;

/// A colour as red, green and blue, 0 to 255 each.
pub(crate) type Rgb = (u8, u8, u8);

/// How a hue is drawn (common practice, no source: IEC 60757 gives letters and no colour coordinates).
const fn rgb_of(hue: Hue) -> Rgb {
    match hue {
        Hue::Black => (26, 26, 26),
        Hue::Brown => (122, 74, 33),
        Hue::Red => (200, 16, 46),
        Hue::Orange => (238, 119, 0),
        Hue::Yellow => (247, 212, 23),
        Hue::Green => (30, 138, 60),
        Hue::Blue => (31, 95, 191),
        Hue::Violet => (123, 63, 160),
        Hue::Grey => (138, 141, 143),
        Hue::White => (255, 255, 255),
        Hue::Pink => (242, 155, 183),
        Hue::Turquoise => (43, 181, 176),
    }
}

/// A colour with its shade: light is mixed half with white, dark half with black.
fn rgb(colour: Colour) -> Rgb {
    let (red, green, blue) = rgb_of(colour.hue);
    let mixed = |part: u8, with: u16| u8::try_from((u16::from(part) + with) / 2).unwrap_or(u8::MAX);
    match colour.shade {
        Shade::Plain => (red, green, blue),
        Shade::Light => (mixed(red, 255), mixed(green, 255), mixed(blue, 255)),
        Shade::Dark => (mixed(red, 0), mixed(green, 0), mixed(blue, 0)),
    }
}

/// A colour as a style sheet writes it.
pub(crate) fn hex(colour: Colour) -> String {
    let (red, green, blue) = rgb(colour);
    format!("#{red:02x}{green:02x}{blue:02x}")
}

/// A length of lead: the base, and the stripe along it. The outline is black, so that white shows on white.
pub(crate) fn lead_shapes(colour: LeadColour, (x, y): (f64, f64), (width, height): (f64, f64)) -> String {
    let rect = |top: f64, tall: f64, fill: &str| {
        format!(
            "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" fill=\"{fill}\"",
            num(x),
            num(top),
            num(width),
            num(tall)
        )
    };
    let stripe = colour.stripe.map(|stripe| {
        let edge = num(height / 24.0);
        format!(
            "{} stroke=\"#000\" stroke-width=\"{edge}\"/>",
            rect(y + height / 3.0, height / 3.0, &hex(stripe))
        )
    });
    format!(
        "{}/>{}{} stroke=\"#000\" stroke-width=\"{}\"/>",
        rect(y, height, &hex(colour.base)),
        stripe.unwrap_or_default(),
        rect(y, height, "none"),
        num(height / 12.0)
    )
}

/// A swatch for a table cell. The letters and the name stand beside it, so that a reader of the page is told nothing twice.
pub(crate) fn swatch(colour: LeadColour) -> String {
    format!(
        "<svg class=\"swatch\" aria-hidden=\"true\" width=\"9mm\" height=\"4mm\" viewBox=\"0 0 36 16\">{}</svg>",
        lead_shapes(colour, (0.7, 0.7), (34.6, 14.6))
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_colour_is_drawn_apart_from_every_other() {
        let texts = ["", "+", "-"]
            .iter()
            .flat_map(|shade| Hue::ALL.iter().map(move |(_, code, _)| format!("{code}{shade}")));
        let mut drawn: Vec<String> = texts
            .filter(|code| code != "WH+")
            .map(|code| hex(code.parse::<LeadColour>().unwrap().base))
            .collect();
        let count = drawn.len();
        drawn.sort();
        drawn.dedup();
        assert_eq!(drawn.len(), count);
    }

    #[test]
    fn a_stripe_is_drawn_in_its_own_colour() {
        let drawn = swatch("BU/WH".parse().unwrap());
        assert!(drawn.contains("#1f5fbf") && drawn.contains("#ffffff"), "{drawn}");
        assert!(!swatch("BU".parse().unwrap()).contains("#ffffff"));
    }
}
