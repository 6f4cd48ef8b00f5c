//! Conductors of copper: cross-section, resistance, and the current that they carry for good.

use std::f64::consts::PI;

use dashwright_quantity::{Amperes, Celsius, Gauge};

/// Resistivity of annealed copper at 20 °C in Ω·mm²/m: IEC 60028.
pub const RESISTIVITY: f64 = 1.0 / 58.0;
/// Its temperature coefficient at 20 °C for each kelvin: IEC 60028.
pub const TEMPERATURE_COEFFICIENT: f64 = 0.003_93;
/// The temperature that both are stated for.
const STATED_AT: f64 = 20.0;

/// Sizes that are chosen from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Series {
    /// American wire gauge (ASTM B258), every second number as the trade stocks them.
    Awg,
    /// Square millimetres, the steps of ISO 6722-1 (from memory).
    SquareMillimetres,
}

/// Gauge numbers from the thinnest that is laid as a feed.
const AWG: [u8; 12] = [20, 18, 16, 14, 12, 10, 8, 6, 4, 2, 1, 0];
/// Thousandths of a square millimetre, from the thinnest that is laid as a feed.
const MICRO_AREAS: [u32; 19] = [
    500, 750, 1_000, 1_250, 1_500, 2_000, 2_500, 3_000, 4_000, 5_000, 6_000, 8_000, 10_000, 12_000, 16_000,
    20_000, 25_000, 35_000, 50_000,
];

impl Series {
    /// The sizes, from the thinnest.
    #[must_use]
    pub fn sizes(self) -> Vec<Gauge> {
        match self {
            Self::Awg => AWG.iter().map(|number| Gauge::Awg(*number)).collect(),
            Self::SquareMillimetres => MICRO_AREAS.iter().map(|area| Gauge::MicroArea(*area)).collect(),
        }
    }
}

/// The cross-section in mm²; of a gauge number by ASTM B258: d = 0.127 mm × 92^((36 − n) / 39).
#[must_use]
pub fn area(gauge: Gauge) -> f64 {
    match gauge {
        Gauge::Awg(number) => {
            let diameter = 0.127 * 92_f64.powf((36.0 - f64::from(number)) / 39.0);
            PI / 4.0 * diameter * diameter
        }
        Gauge::MicroArea(thousandths) => f64::from(thousandths) / 1_000.0,
    }
}

/// Resistance of a conductor in Ω/m at a temperature.
#[must_use]
pub fn resistance_per_metre(gauge: Gauge, temperature: Celsius) -> f64 {
    let warmer = temperature.get() - STATED_AT;
    RESISTIVITY * (1.0 + TEMPERATURE_COEFFICIENT * warmer) / area(gauge)
}

/// Amperes that flexible single cores laid in free air carry for good at an ambient of [`TABLE_AMBIENT`], with insulation for
/// [`TABLE_INSULATION`], by mm²: DIN VDE 0298-4, the table for flexible cables (from memory).
const CURRENTS: [(f64, f64); 12] = [
    (0.75, 15.0),
    (1.0, 19.0),
    (1.5, 24.0),
    (2.5, 32.0),
    (4.0, 42.0),
    (6.0, 54.0),
    (10.0, 73.0),
    (16.0, 98.0),
    (25.0, 129.0),
    (35.0, 158.0),
    (50.0, 198.0),
    (70.0, 245.0),
];
/// °C of the air around the cables of the table.
pub const TABLE_AMBIENT: f64 = 30.0;
/// °C that the insulation of the table takes for good.
pub const TABLE_INSULATION: f64 = 70.0;

/// The current that a conductor carries for good in air of a temperature, with insulation for another; nothing where the air
/// is as hot as the insulation may be.
///
/// Between the sizes of the table, and beyond them, by a power of the cross-section through the two nearest; to other temperatures by
/// the root of what the conductor may be hotter than the air, as heat goes with the square of the current (DIN VDE 0298-4).
#[must_use]
pub fn current_limit(gauge: Gauge, ambient: Celsius, insulation: Celsius) -> Amperes {
    let hotter = insulation.get() - ambient.get();
    if hotter <= 0.0 {
        return Amperes::ZERO;
    }
    let at_table = current_at_table(area(gauge));
    let warmed = at_table * (hotter / (TABLE_INSULATION - TABLE_AMBIENT)).sqrt();
    Amperes::new(warmed).unwrap_or(Amperes::ZERO)
}

fn current_at_table(area: f64) -> f64 {
    let pairs = || CURRENTS.iter().zip(CURRENTS.iter().skip(1));
    let around = pairs().find(|(_, (larger, _))| area <= *larger).or_else(|| pairs().next_back());
    let Some(((one, current_of_one), (other, current_of_other))) = around else { return 0.0 };
    let power = (current_of_other / current_of_one).ln() / (other / one).ln();
    current_of_one * (area / one).powf(power)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn celsius(degrees: f64) -> Celsius {
        Celsius::new(degrees).unwrap()
    }

    fn near(found: f64, expected: f64, share: f64, what: &str) {
        assert!((found - expected).abs() <= expected * share, "{what}: {found} is not {expected}");
    }

    /// ASTM B258, nominal diameters in mils and areas in circular mils as its table rounds them, and the resistances of annealed
    /// copper at 20 °C in Ω/km of NBS Handbook 100, table 5; all from memory.
    #[test]
    fn gauges_are_those_of_the_handbooks() {
        for (number, mils, circular_mils, ohms) in [
            (10, 101.9, 10_380.0, 3.277),
            (12, 80.81, 6_530.0, 5.211),
            (14, 64.08, 4_110.0, 8.285),
            (16, 50.82, 2_580.0, 13.17),
            (18, 40.30, 1_620.0, 20.95),
            (20, 31.96, 1_020.0, 33.31),
        ] {
            let gauge = Gauge::Awg(number);
            let diameter = (area(gauge) * 4.0 / PI).sqrt() / 0.0254;
            near(diameter, mils, 2e-4, "mils");
            near(diameter * diameter, circular_mils, 5e-3, "circular mils");
            near(resistance_per_metre(gauge, celsius(20.0)) * 1e3, ohms, 5e-4, "Ω/km");
        }
        // The two ends that define the series: 0000 is not written here; 36 is 5 mils.
        near((area(Gauge::Awg(36)) * 4.0 / PI).sqrt(), 0.127, 1e-12, "36 AWG");
    }

    /// ASTM B258: the numbers in between, nominal diameters in mils; from memory.
    #[test]
    fn odd_gauges_are_those_of_the_handbooks() {
        for (number, mils) in [(11, 90.74), (13, 71.96), (15, 57.07), (17, 45.26), (19, 35.89)] {
            near((area(Gauge::Awg(number)) * 4.0 / PI).sqrt() / 0.0254, mils, 1e-4, "mils");
        }
    }

    /// NEC (NFPA 70), chapter 9, table 8: solid uncoated copper, Ω/km at 75 °C; from memory.
    #[test]
    fn warm_conductors_are_those_of_the_code() {
        for (number, ohms) in [(18, 25.5), (16, 16.0), (14, 10.1), (12, 6.34), (10, 3.984), (8, 2.506)] {
            near(resistance_per_metre(Gauge::Awg(number), celsius(75.0)) * 1e3, ohms, 5e-3, "Ω/km");
        }
    }

    /// IEC 60228, class 5, plain copper at 20 °C: the most that a flexible conductor may have, in Ω/km; from memory. The geometry is
    /// below it by what strands and lay add, and by no more than a seventh.
    #[test]
    fn metric_conductors_are_within_what_the_standard_allows() {
        for (thousandths, most) in [
            (500, 39.0),
            (750, 26.0),
            (1_000, 19.5),
            (1_500, 13.3),
            (2_500, 7.98),
            (4_000, 4.95),
            (6_000, 3.30),
            (10_000, 1.91),
            (16_000, 1.21),
            (25_000, 0.780),
        ] {
            let ohms = resistance_per_metre(Gauge::MicroArea(thousandths), celsius(20.0)) * 1e3;
            assert!(ohms <= most && ohms >= most * 6.0 / 7.0, "{thousandths}: {ohms} Ω/km of {most}");
        }
    }

    #[test]
    fn a_thicker_conductor_carries_more_and_a_hotter_one_less() {
        for series in [Series::Awg, Series::SquareMillimetres] {
            let limits: Vec<_> =
                series.sizes().iter().map(|it| current_limit(*it, celsius(30.0), celsius(70.0))).collect();
            assert!(limits.is_sorted_by(|one, other| one < other), "{limits:?}");
        }
        let limit = |ambient| current_limit(Gauge::MicroArea(1_500), celsius(ambient), celsius(70.0)).get();
        near(limit(30.0), 24.0, 1e-12, "the table");
        // DIN VDE 0298-4, table of factors for 70 °C insulation: 1.22 at 10 °C, 0.87 at 40 °C, 0.71 at 50 °C; from memory.
        near(limit(10.0), 24.0 * 1.22, 5e-3, "10 °C");
        near(limit(40.0), 24.0 * 0.87, 5e-3, "40 °C");
        near(limit(50.0), 24.0 * 0.71, 5e-3, "50 °C");
        near(limit(70.0) + 1.0, 1.0, 1e-12, "as hot as the insulation may be");
    }
}
