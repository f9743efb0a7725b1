//! The bolster plate from above, to scale, the operator at the lower edge.

use super::canvas::{Canvas, Letter, Point, Stroke};
use super::{theme, ticks};

/// The plate on the picture.
#[derive(Debug, Clone, Copy)]
pub(super) struct Plate {
    /// Middle of the plate, px.
    middle: Point,
    /// px a mm.
    scale: f64,
    /// Distance between gauge centres left-right and front-rear, mm.
    span_mm: [f64; 2],
    columns: usize,
}

/// Names and positions, in parts of half the span, of the columns of a press: x to the right,
/// y to the front.
fn places(columns: usize) -> &'static [(&'static str, f64, f64)] {
    match columns {
        4 => &[("LF", -1.0, 1.0), ("RF", 1.0, 1.0), ("LR", -1.0, -1.0), ("RR", 1.0, -1.0)],
        2 => &[("L", -1.0, 0.0), ("R", 1.0, 0.0)],
        _ => &[],
    }
}

/// The plate reaches this much beyond the gauges, in parts of their distance.
const BEYOND: f64 = 0.08;

impl Plate {
    /// The largest plate in the rectangle between two corners, with room for its words.
    pub(super) fn inside(from: Point, to: Point, span_mm: [f64; 2], columns: usize) -> Self {
        let (side, end) = (44.0, 34.0);
        let wide = (to.0 - from.0 - 2.0 * side).max(10.0);
        let high = (to.1 - from.1 - 2.0 * end).max(10.0);
        let grow = 1.0 + 2.0 * BEYOND;
        let scale = (wide / (span_mm[0] * grow)).min(high / (span_mm[1] * grow));
        let middle = ((from.0 + to.0) / 2.0, (from.1 + to.1) / 2.0);
        Self { middle, scale, span_mm, columns }
    }

    /// The point `x` mm right and `y` mm to the front of the middle.
    pub(super) fn at(&self, x: f64, y: f64) -> Point {
        (self.middle.0 + x * self.scale, self.middle.1 + y * self.scale)
    }

    /// The plate's corners, px.
    pub(super) fn corners(&self) -> (Point, Point) {
        let half = |i: usize| self.span_mm.get(i).copied().unwrap_or(0.0) * (0.5 + BEYOND);
        (self.at(-half(0), -half(1)), self.at(half(0), half(1)))
    }

    /// Ground, centre lines, columns with their names, the sides named; px below it.
    pub(super) fn paint(&self, canvas: &mut Canvas<'_>) -> f64 {
        let (from, to) = self.corners();
        canvas.rect(from, to, theme::GRID, 0.45);
        canvas.frame(from, to, Stroke::new(theme::AXIS, theme::THIN));
        let hair = Stroke::new(theme::AXIS, theme::HAIR);
        canvas.broken((self.middle.0, from.1), (self.middle.0, to.1), hair, 9.0, 4.0);
        canvas.broken((from.0, self.middle.1), (to.0, self.middle.1), hair, 9.0, 4.0);
        let places = places(self.columns);
        for (i, (name, x, y)) in places.iter().enumerate() {
            let at = self.at(x * self.span_mm[0] / 2.0, y * self.span_mm[1] / 2.0);
            let colour = theme::column(i, places.len());
            canvas.rect((at.0 - 7.0, at.1 - 7.0), (at.0 + 7.0, at.1 + 7.0), colour, 1.0);
            let letter = Letter::new(theme::LABEL_PX, theme::readable(colour)).bold();
            let baseline = at.1 + letter.drop();
            if *x < 0.0 {
                canvas.text(name, (from.0 - 10.0, baseline), letter.right());
            } else {
                canvas.text(name, (to.0 + 10.0, baseline), letter);
            }
        }
        let letter = Letter::new(theme::AXIS_PX, theme::SOFT_INK).middle();
        canvas.text("rear", (self.middle.0, from.1 - 9.0), letter);
        let front = Letter { colour: theme::INK, ..letter }.bold();
        canvas.text("front (operator)", (self.middle.0, to.1 + 20.0), front);
        let size = if self.columns > 1 {
            let [wide, deep] = self.span_mm.map(|mm| ticks::grouped(mm, 0));
            format!("{wide} × {deep} mm between gauges")
        } else {
            "one gauge: no distance between columns".to_owned()
        };
        let small = Letter::new(theme::TICK_PX, theme::SOFT_INK).middle();
        canvas.text(&size, (self.middle.0, to.1 + 38.0), small);
        to.1 + 46.0
    }
}
