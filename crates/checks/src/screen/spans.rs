//! Interval arithmetic over heights: open intervals that are forbidden, closed ones that are left.

use crate::result::EXACTNESS;
use crate::surroundings::Span;

/// What is left of a closed interval when open ones are taken out. Where two of those only touch, the point between them is left.
pub(super) fn free(travel: Span, forbidden: impl Iterator<Item = Span>) -> Vec<Span> {
    let mut forbidden: Vec<_> = forbidden.filter(|it| it.length() > EXACTNESS).collect();
    forbidden.sort_by(|one, other| one.from.total_cmp(&other.from));
    let mut free = Vec::new();
    // The least height that is not yet known to be forbidden.
    let mut height = travel.from;
    for it in forbidden {
        if it.from >= travel.to - EXACTNESS {
            break;
        }
        if it.from >= height - EXACTNESS {
            free.push(Span { from: height, to: it.from.max(height) });
        }
        height = height.max(it.to);
    }
    if height <= travel.to + EXACTNESS {
        free.push(Span { from: height.min(travel.to), to: travel.to });
    }
    free
}

/// Whether a height lies in one of some closed intervals.
pub(super) fn contain(spans: &[Span], height: f64) -> bool {
    spans.iter().any(|span| span.from - EXACTNESS <= height && height <= span.to + EXACTNESS)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_left_is_closed() {
        let check = |travel: (f64, f64), forbidden: &[(f64, f64)], left: &[(f64, f64)]| {
            let span = |(from, to): &(f64, f64)| Span { from: *from, to: *to };
            let found = free(span(&travel), forbidden.iter().map(span));
            assert_eq!(found, left.iter().map(span).collect::<Vec<_>>(), "{travel:?} {forbidden:?}");
        };
        let travel = (-10.0, 10.0);
        check(travel, &[], &[travel]);
        check(travel, &[(-2.0, 3.0)], &[(-10.0, -2.0), (3.0, 10.0)]);
        check(travel, &[(1.0, 3.0), (-2.0, 2.0)], &[(-10.0, -2.0), (3.0, 10.0)]);
        // One inside another.
        check(travel, &[(-2.0, 5.0), (0.0, 1.0)], &[(-10.0, -2.0), (5.0, 10.0)]);
        // Ends stay where an open interval only meets them.
        check(travel, &[(-10.0, 10.0)], &[(-10.0, -10.0), (10.0, 10.0)]);
        check(travel, &[(-11.0, 11.0)], &[]);
        check(travel, &[(-11.0, 0.0), (0.0, 11.0)], &[(0.0, 0.0)]);
        check(travel, &[(-11.0, 0.1), (0.0, 11.0)], &[]);
        check(travel, &[(-30.0, -20.0), (20.0, 30.0), (-20.0, -10.0), (10.0, 20.0)], &[travel]);
        check(travel, &[(4.0, 4.0)], &[travel]);
        check((3.0, 3.0), &[(2.0, 4.0)], &[]);
        check((3.0, 3.0), &[(3.0, 4.0), (2.0, 3.0)], &[(3.0, 3.0)]);
    }
}
