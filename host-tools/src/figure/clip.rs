//! Cutting polygons (Sutherland and Hodgman, 1974) and polylines (Liang and Barsky, 1984) at the
//! edges of a plot area, so that what leaves it keeps its slope to the edge.

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

/// The parts of the polyline `points` inside `area`, px.
pub(super) fn polyline(points: &[Point], area: &Place) -> Vec<Vec<Point>> {
    let mut runs: Vec<Vec<Point>> = Vec::new();
    for pair in points.windows(2) {
        let [a, b] = pair else { continue };
        let Some((from, to)) = segment(*a, *b, area) else { continue };
        match runs.last_mut() {
            Some(run) if run.last() == Some(&from) => run.push(to),
            _ => runs.push(vec![from, to]),
        }
    }
    runs
}

/// The part of the line from `a` to `b` inside `area`.
fn segment(a: Point, b: Point, area: &Place) -> Option<(Point, Point)> {
    let (dx, dy) = (b.0 - a.0, b.1 - a.1);
    let (mut first, mut last) = (0.0_f64, 1.0_f64);
    // Each edge as: step · t ≤ room.
    let edges =
        [(-dx, a.0 - area.left), (dx, area.right - a.0), (-dy, a.1 - area.top), (dy, area.bottom - a.1)];
    for (step, room) in edges {
        if step == 0.0 {
            if room < 0.0 {
                return None;
            }
        } else if step < 0.0 {
            first = first.max(room / step);
        } else {
            last = last.min(room / step);
        }
    }
    let at = |t: f64| (a.0 + t * dx, a.1 + t * dy);
    let from = if first > 0.0 { at(first) } else { a };
    let to = if last < 1.0 { at(last) } else { b };
    (first <= last).then_some((from, to))
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
    fn a_line_that_leaves_the_area_keeps_its_slope_to_the_edge() {
        // Up at slope 2 from the middle of the left edge: leaves at x = 2.5.
        assert_eq!(polyline(&[(0.0, 5.0), (5.0, 15.0)], &UNIT), [[(0.0, 5.0), (2.5, 10.0)]]);
        // Out over the top and in again: two runs.
        let runs = polyline(&[(1.0, 5.0), (3.0, -5.0), (5.0, 5.0)], &UNIT);
        assert_eq!(runs, [[(1.0, 5.0), (2.0, 0.0)], [(4.0, 0.0), (5.0, 5.0)]]);
        let inside = [(1.0, 1.0), (2.0, 9.0), (3.0, 3.0)];
        assert_eq!(polyline(&inside, &UNIT), [inside]);
        assert!(polyline(&[(-1.0, -1.0), (-1.0, 20.0)], &UNIT).is_empty());
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
