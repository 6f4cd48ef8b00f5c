//! Fuses: the ratings of ISO 8820-3, blade fuses, and their colours (from memory).

use dashwright_quantity::Amperes;

use crate::result::EXACTNESS;

/// A shape of fuse.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FuseType {
    /// Type C, medium: blades of 5 mm.
    C,
    /// Type E, high current: blades of 8 mm.
    E,
}

impl FuseType {
    /// Its letter in the standard.
    #[must_use]
    pub const fn letter(self) -> &'static str {
        match self {
            Self::C => "C",
            Self::E => "E",
        }
    }
}

/// A fuse.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Fuse {
    /// Its shape.
    pub kind: FuseType,
    /// What it carries for good.
    pub rating: Amperes,
    /// The colour of its body.
    pub colour: &'static str,
}

/// Ratings and colours: of type C up to 40 A, of type E beyond.
const FUSES: [(FuseType, f64, &str); 18] = [
    (FuseType::C, 1.0, "black"),
    (FuseType::C, 2.0, "grey"),
    (FuseType::C, 3.0, "violet"),
    (FuseType::C, 4.0, "pink"),
    (FuseType::C, 5.0, "light brown"),
    (FuseType::C, 7.5, "brown"),
    (FuseType::C, 10.0, "red"),
    (FuseType::C, 15.0, "blue"),
    (FuseType::C, 20.0, "yellow"),
    (FuseType::C, 25.0, "white"),
    (FuseType::C, 30.0, "green"),
    (FuseType::C, 35.0, "blue-green"),
    (FuseType::C, 40.0, "orange"),
    (FuseType::E, 50.0, "red"),
    (FuseType::E, 60.0, "blue"),
    (FuseType::E, 70.0, "brown"),
    (FuseType::E, 80.0, "white"),
    (FuseType::E, 100.0, "violet"),
];

/// The smallest fuse that carries a current for good; nothing where none does.
#[must_use]
pub fn fuse_for(current: Amperes) -> Option<Fuse> {
    // Products of decimal fractions are not exact in binary, and 8 A × 1.25 takes a fuse of 10 A.
    let enough = |(_, rating, _): &&(FuseType, f64, &str)| current.get() <= rating * (1.0 + EXACTNESS);
    let (kind, rating, colour) = FUSES.iter().find(enough)?;
    Some(Fuse { kind: *kind, rating: Amperes::new(*rating).ok()?, colour })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_smallest_that_carries_it_is_taken() {
        let check = |current: f64, rating: f64, colour: &str| {
            let fuse = fuse_for(Amperes::new(current).unwrap()).unwrap();
            assert_eq!((fuse.rating.get(), fuse.colour), (rating, colour), "{current} A");
        };
        check(0.2, 1.0, "black");
        check(10.0, 10.0, "red");
        check(8.0 * 1.25, 10.0, "red");
        check(10.001, 15.0, "blue");
        // 6.72 × 1.25 is 8.4 in decimal; 0.1 + 0.2 is more than 0.3 in binary, and no larger fuse for it.
        check((0.1 + 0.2) * 25.0, 7.5, "brown");
        check(40.0, 40.0, "orange");
        check(40.1, 50.0, "red");
        assert!(fuse_for(Amperes::new(100.1).unwrap()).is_none());
    }

    #[test]
    fn ratings_go_up() {
        assert!(FUSES.is_sorted_by(|(_, one, _), (_, other, _)| one < other));
    }
}
