//! Cutting polygons at the edges of a plot area (Sutherland and Hodgman, 1974).

use super::canvas::{Place, Point};

/// One edge of the area: which coordinate, its value, and whether the inside is above it.
#[derive(Clone, Copy)]
struct Edge {
    level: bool,
    at: f64,
    above: bool,
}

impl Edge {
    fn of(self, p: Point) -> f64 {
        let v = if self.level { p.1 } else { p.0 };
        if self.above { v - self.at } else { self.at - v }
    }

    fn crossing(self, a: Point, b: Point) -> Point {
        let (da, db) = (self.of(a), self.of(b));
        let t = da / (da - db);
        let (x, y) = (a.0 + (b.0 - a.0) * t, a.1 + (b.1 - a.1) * t);
        // Exactly on the edge, so that whoever draws the outline can tell.
        if self.level { (x, self.at) } else { (self.at, y) }
    }
}

/// The part of the polygon `corners` inside `area`, px; empty where there is none.
pub(super) fn polygon(corners: &[Point], area: &Place) -> Vec<Point> {
    let edges = [
        Edge { level: false, at: area.left, above: true },
        Edge { level: false, at: area.right, above: false },
        Edge { level: true, at: area.top, above: true },
        Edge { level: true, at: area.bottom, above: false },
    ];
    edges.into_iter().fold(corners.to_vec(), |polygon, edge| {
        let mut out = Vec::with_capacity(polygon.len() + 4);
        let before = polygon.last().into_iter().chain(&polygon);
        for (&a, &b) in before.zip(&polygon) {
            let (inside_a, inside_b) = (edge.of(a) >= 0.0, edge.of(b) >= 0.0);
            if inside_a != inside_b {
                out.push(edge.crossing(a, b));
            }
            if inside_b {
                out.push(b);
            }
        }
        out
    })
}

/// Whether the line from `a` to `b` runs along an edge of `area`: made by cutting, not data.
pub(super) fn on_edge(a: Point, b: Point, area: &Place) -> bool {
    let both = |va: f64, vb: f64, at: f64| (va - at).abs() < 1e-9 && (vb - at).abs() < 1e-9;
    both(a.0, b.0, area.left)
        || both(a.0, b.0, area.right)
        || both(a.1, b.1, area.top)
        || both(a.1, b.1, area.bottom)
}

#[cfg(test)]
mod tests {
    use super::*;

    const UNIT: Place = Place { left: 0.0, top: 0.0, right: 10.0, bottom: 10.0 };

    /// Shoelace formula.
    fn size(p: &[Point]) -> f64 {
        let next = p.iter().cycle().skip(1);
        0.5 * p.iter().zip(next).map(|(a, b)| a.0 * b.1 - b.0 * a.1).sum::<f64>().abs()
    }

    #[test]
    fn a_triangle_over_a_corner_leaves_its_part_inside() {
        // Right angle at (-5, -5), legs of 20: inside are x, y ≥ 0 with x + y ≤ 10: half of 100.
        let cut = polygon(&[(-5.0, -5.0), (15.0, -5.0), (-5.0, 15.0)], &UNIT);
        assert!((size(&cut) - 50.0).abs() < 1e-9, "{cut:?}");
    }

    #[test]
    fn polygons_inside_outside_and_around_are_kept_lost_and_cut() {
        let square = |a: f64, b: f64| [(a, a), (b, a), (b, b), (a, b)];
        assert_eq!(polygon(&square(2.0, 4.0), &UNIT), square(2.0, 4.0));
        assert!(polygon(&square(20.0, 30.0), &UNIT).is_empty());
        assert!((size(&polygon(&square(-50.0, 50.0), &UNIT)) - 100.0).abs() < 1e-9);
        assert!(polygon(&[], &UNIT).is_empty());
    }
}
