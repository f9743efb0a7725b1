//! A plot area with two linear axes: where numbers go, the grid, and the numbers on the axes.

use super::canvas::{Canvas, Letter, Place, Point, Stroke};
use super::ticks::{Ticks, degree_ticks, ticks, whole_ticks};
use super::{clip, text, theme};

/// A range of numbers an axis spans, never empty. It may run downwards (`from` > `to`).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Range {
    pub(super) from: f64,
    pub(super) to: f64,
}

impl Range {
    /// The span of `values`, widened by `pad` of itself at both ends; equal or missing values get
    /// a span of a tenth of their size.
    pub(super) fn of(values: impl IntoIterator<Item = f64>, pad: f64) -> Self {
        let (low, high) =
            values.into_iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
        if low > high {
            return Self { from: 0.0, to: 1.0 };
        }
        let span = high - low;
        // Values that differ by rounding only are drawn as equal.
        if span <= 1e-12 * low.abs().max(high.abs()) {
            let half = if low == 0.0 { 0.5 } else { 0.05 * low.abs() };
            return Self { from: low - half, to: high + half };
        }
        Self { from: low - pad * span, to: high + pad * span }
    }

    /// Like [`Range::of`], with zero inside, and on the edge where all values have one sign.
    pub(super) fn with_zero(values: impl IntoIterator<Item = f64>, pad: f64) -> Self {
        let (low, high) = values.into_iter().fold((0.0_f64, 0.0_f64), |(l, h), v| (l.min(v), h.max(v)));
        let span = high - low;
        if span <= 0.0 {
            return Self { from: 0.0, to: 1.0 };
        }
        Self {
            from: if low < 0.0 { low - pad * span } else { 0.0 },
            to: if high > 0.0 { high + pad * span } else { 0.0 },
        }
    }

    fn low(self) -> f64 {
        self.from.min(self.to)
    }

    fn high(self) -> f64 {
        self.from.max(self.to)
    }

    pub(super) fn has(self, v: f64) -> bool {
        v >= self.low() && v <= self.high()
    }
}

/// What an axis counts, which decides its ticks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Counts {
    Numbers,
    Degrees,
    Strokes,
}

/// A plot area in px with its two ranges.
#[derive(Debug, Clone, Copy)]
pub(super) struct Panel {
    pub(super) left: f64,
    pub(super) top: f64,
    pub(super) right: f64,
    pub(super) bottom: f64,
    pub(super) x: Range,
    pub(super) y: Range,
}

impl Panel {
    pub(super) fn width(&self) -> f64 {
        self.right - self.left
    }

    pub(super) fn height(&self) -> f64 {
        self.bottom - self.top
    }

    /// Pixel columns to thin data to: two a pixel.
    pub(super) fn columns(&self) -> usize {
        (self.width().max(1.0)) as usize
    }

    pub(super) fn place(&self) -> Place {
        Place { left: self.left, top: self.top, right: self.right, bottom: self.bottom }
    }

    pub(super) fn px(&self, x: f64) -> f64 {
        self.left + (x - self.x.from) / (self.x.to - self.x.from) * self.width()
    }

    pub(super) fn py(&self, y: f64) -> f64 {
        self.bottom - (y - self.y.from) / (self.y.to - self.y.from) * self.height()
    }

    pub(super) fn at(&self, (x, y): Point) -> Point {
        (self.px(x), self.py(y))
    }

    pub(super) fn all_at(&self, points: &[Point]) -> Vec<Point> {
        points.iter().map(|&p| self.at(p)).collect()
    }

    fn x_ticks(&self, counts: Counts) -> Ticks {
        let (low, high) = (self.x.low(), self.x.high());
        let make = |most| match counts {
            Counts::Numbers => ticks(low, high, most),
            Counts::Degrees => degree_ticks(low, high, most),
            Counts::Strokes => whole_ticks(low, high, most),
        };
        let mut most = ((self.width() / 75.0) as usize).clamp(2, 12);
        // Long numbers need more room than 75 px: fewer of them.
        loop {
            let t = make(most);
            let widest =
                t.values.iter().map(|&v| text::width(&t.print(v), theme::TICK_PX, false)).fold(0.0, f64::max);
            let apart = t.step / (high - low) * self.width();
            if most <= 1 || apart >= widest + 10.0 {
                return t;
            }
            most -= 1;
        }
    }

    fn y_ticks(&self) -> Ticks {
        ticks(self.y.low(), self.y.high(), ((self.height() / 34.0) as usize).clamp(2, 9))
    }

    /// Grid lines at the ticks of both axes, and the numbers at the left.
    pub(super) fn grid(&self, canvas: &mut Canvas<'_>, counts: Counts) {
        canvas.note_area(self.place(), (self.x.from, self.x.to), (self.y.from, self.y.to));
        let hair = Stroke::new(theme::GRID, theme::HAIR);
        for v in self.x_ticks(counts).values {
            canvas.line((self.px(v), self.top), (self.px(v), self.bottom), hair);
        }
        let y_ticks = self.y_ticks();
        let letter = Letter::new(theme::TICK_PX, theme::SOFT_INK).right();
        for &v in &y_ticks.values {
            let y = self.py(v);
            canvas.line((self.left, y), (self.right, y), hair);
            let baseline = y + letter.drop();
            canvas.text_if_free(&y_ticks.print(v), &[(self.left - 8.0, baseline)], letter);
        }
        if self.y.has(0.0) && self.y.low() < 0.0 {
            let y = self.py(0.0);
            canvas.line((self.left, y), (self.right, y), Stroke::new(theme::AXIS, theme::HAIR));
        }
        canvas.line(
            (self.left, self.bottom),
            (self.right, self.bottom),
            Stroke::new(theme::AXIS, theme::HAIR),
        );
    }

    /// Numbers under the panel and the axis title under them; returns the y below, px.
    pub(super) fn x_axis(&self, canvas: &mut Canvas<'_>, counts: Counts, title: &str) -> f64 {
        let letter = Letter::new(theme::TICK_PX, theme::SOFT_INK).middle();
        let axis = Stroke::new(theme::AXIS, theme::HAIR);
        let ticks = self.x_ticks(counts);
        let baseline = self.bottom + 19.0;
        for &v in &ticks.values {
            let x = self.px(v);
            canvas.line((x, self.bottom), (x, self.bottom + 4.0), axis);
            canvas.text_if_free(&ticks.print(v), &[(x, baseline)], letter);
        }
        let letter = Letter::new(theme::AXIS_PX, theme::INK).middle();
        let title = text::fit(title, letter.px, false, self.width());
        let below = baseline + 22.0;
        canvas.text(&title, ((self.left + self.right) / 2.0, below), letter);
        below + 6.0
    }

    /// The title of the upright axis, written level above the panel at its left edge.
    pub(super) fn y_title(&self, canvas: &mut Canvas<'_>, title: &str) {
        let letter = Letter::new(theme::AXIS_PX, theme::INK);
        let title = text::fit(title, letter.px, false, self.right - theme::MARGIN);
        canvas.text(&title, (theme::MARGIN, self.top - 10.0), letter);
    }

    /// A dashed level line across the panel, where `level` is inside it.
    pub(super) fn limit(&self, canvas: &mut Canvas<'_>, level: f64) {
        if self.y.has(level) {
            let y = self.py(level);
            let stroke = Stroke::new(theme::LIMIT, theme::THIN);
            canvas.dashed((self.left, y), (self.right, y), stroke);
        }
    }

    /// A curve through `points`, cut at the panel's edges.
    pub(super) fn curve(&self, canvas: &mut Canvas<'_>, points: &[Point], stroke: Stroke) {
        for run in clip::polyline(&self.all_at(points), &self.place()) {
            canvas.path(&run, stroke);
        }
    }

    /// The band between two rows of values, as a pale area cut at the panel's edges.
    pub(super) fn band(
        &self,
        canvas: &mut Canvas<'_>,
        low: &[Point],
        high: &[Point],
        colour: plotters::style::RGBColor,
        alpha: f64,
    ) {
        if low.is_empty() || high.is_empty() {
            return;
        }
        let at = |p: &Point| (self.px(p.0), self.py(p.1));
        let outline: Vec<Point> = high.iter().map(at).chain(low.iter().rev().map(at)).collect();
        canvas.polygon(&clip::polygon(&outline, &self.place()), colour, alpha);
    }

    /// Slanted lines over part of the panel between two x values: an offending place.
    pub(super) fn hatch(&self, canvas: &mut Canvas<'_>, from: f64, to: f64) {
        let (a, b) = (self.px(from), self.px(to));
        let (left, right) = (a.min(b).max(self.left), a.max(b).min(self.right));
        if right <= left {
            return;
        }
        canvas.rect((left, self.top), (right, self.bottom), theme::OFFENCE, 0.13);
        let stroke = Stroke::new(theme::OFFENCE, 0.7).faint(0.55);
        let high = self.height();
        // Lines x + y = constant, 8 px apart, cut at the edges of the span.
        let mut c = 8.0;
        while c < right - left + high {
            let start = (left + (c - high).max(0.0), self.top + c.min(high));
            let end = (left + c.min(right - left), self.top + (c - (right - left)).max(0.0));
            canvas.line(start, end, stroke);
            c += 8.0;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_range_of_equal_values_is_not_empty() {
        for v in [0.0, 5.0, -3e-9, 1e12] {
            for r in [Range::of([v, v], 0.05), Range::with_zero([v, v], 0.05)] {
                assert!(r.to > r.from && r.has(v), "{v}: {r:?}");
            }
        }
        assert!(Range::of([], 0.1).to > Range::of([], 0.1).from);
    }

    #[test]
    fn a_falling_axis_maps_its_start_to_the_left() {
        let p = Panel {
            left: 10.0,
            top: 0.0,
            right: 110.0,
            bottom: 50.0,
            x: Range { from: 20.0, to: 0.0 },
            y: Range { from: 0.0, to: 5.0 },
        };
        assert_eq!(p.px(20.0), 10.0);
        assert_eq!(p.px(0.0), 110.0);
        assert_eq!(p.at((10.0, 5.0)), (60.0, 0.0));
    }
}
