//! A value over strokes: every point where there are few, the spread a pixel column where there
//! are many, so that one odd stroke in thirty thousand is still seen.

use plotters::style::RGBColor;

use super::canvas::{Canvas, Point, Stroke};
use super::panel::Panel;
use super::{bins, theme};

/// Up to this many values each is a dot on a line.
const DOTS: usize = 80;

/// Paints `ys` over `xs` in `panel`.
pub(super) fn paint(canvas: &mut Canvas<'_>, panel: &Panel, xs: &[f64], ys: &[f64], colour: RGBColor) {
    let points: Vec<Point> =
        xs.iter().copied().zip(ys.iter().copied()).filter(|p| panel.x.has(p.0)).collect();
    if points.len() <= panel.columns() {
        panel.curve(canvas, &points, Stroke::new(colour, theme::THIN));
        if points.len() <= DOTS {
            for p in panel.all_at(&points) {
                canvas.dot(p, 2.6, colour, 1.0);
            }
        }
        return;
    }
    let columns = panel.columns() / 2;
    let bins = bins(xs, ys, panel.x.from, panel.x.to, columns);
    let low: Vec<Point> = bins.iter().map(|b| (b.x, b.min)).collect();
    let high: Vec<Point> = bins.iter().map(|b| (b.x, b.max)).collect();
    // A bin of one value has no area: the pale line keeps it visible.
    panel.curve(canvas, &high, Stroke::new(colour, theme::HAIR).faint(0.45));
    panel.curve(canvas, &low, Stroke::new(colour, theme::HAIR).faint(0.45));
    panel.band(canvas, &low, &high, colour, 0.25);
    let middle: Vec<Point> = bins.iter().map(|b| (b.x, b.median)).collect();
    panel.curve(canvas, &middle, Stroke::new(colour, theme::THIN));
}

/// The median of the last twentieth of `ys`: where a label at the curve's end belongs.
pub(super) fn end_level(ys: &[f64]) -> f64 {
    let count = (ys.len() / 20).clamp(1, 400).min(ys.len());
    let mut last: Vec<f64> = ys.iter().rev().take(count).copied().collect();
    last.sort_by(f64::total_cmp);
    last.get(last.len() / 2).copied().unwrap_or(0.0)
}
