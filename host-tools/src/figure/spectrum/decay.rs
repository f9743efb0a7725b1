//! The right and the lower part of a frame's picture: vibrations over time, and what moved over the strokes.

use plotters::style::RGBColor;

use super::super::canvas::{Canvas, Stroke};
use super::super::labels::{EndLabel, paint_ends};
use super::super::panel::{Counts, Panel, Range};
use super::super::{FigureError, LoadUnit, check, theme, thin};
use super::{MOVED, RIGHT};

/// A free vibration over time.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Decay {
    /// Time, ms, rising.
    pub time_ms: Vec<f64>,
    /// Load about its level, kN.
    pub load_kn: Vec<f64>,
    /// Fitted envelope, kN, drawn on both sides; may be empty.
    pub envelope_kn: Vec<f64>,
}

/// A quantity of each column over the strokes.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Moved {
    /// What and in which unit: `Frequency, % off the first`.
    pub title: String,
    /// `[column]`: stroke counted from the first recording's first, value, and how far its interval reaches to
    /// either side; columns without values are empty.
    pub points: Vec<Vec<[f64; 3]>>,
}

impl Decay {
    pub(super) fn check(&self, name: &str) -> Result<(), FigureError> {
        check::some(&format!("time of {name}"), self.time_ms.len(), 2)?;
        check::sane(&format!("time of {name}"), self.time_ms.iter().copied())?;
        check::row(&format!("decay of {name}"), &self.load_kn, self.time_ms.len(), "time")?;
        if self.envelope_kn.is_empty() {
            return Ok(());
        }
        check::row(&format!("envelope of {name}"), &self.envelope_kn, self.time_ms.len(), "time")
    }

    /// Paints it in the place of `place`, over a range of its own; `axis` says whether time is printed under it.
    pub(super) fn paint(
        &self,
        canvas: &mut Canvas<'_>,
        place: &Panel,
        unit: LoadUnit,
        colour: RGBColor,
        axis: bool,
    ) {
        let sizes = self.load_kn.iter().chain(&self.envelope_kn);
        let most = sizes.fold(0.0_f64, |most, kn| most.max(unit.of_kn(kn.abs())));
        let x = Range::of(self.time_ms.iter().copied(), 0.0);
        let panel = Panel { x, y: Range::with_zero([-most, most], 0.05), ..*place };
        panel.grid(canvas, Counts::Numbers);
        if axis {
            panel.x_axis(canvas, Counts::Numbers, "Time, ms");
        }
        let load = unit.all_of_kn(&self.load_kn);
        panel.curve(canvas, &thin(&self.time_ms, &load, panel.columns()), Stroke::new(colour, 1.2));
        let envelope = unit.all_of_kn(&self.envelope_kn);
        for side in [1.0, -1.0] {
            let side: Vec<(f64, f64)> =
                self.time_ms.iter().zip(&envelope).map(|(time, size)| (*time, side * size)).collect();
            panel.curve(canvas, &side, Stroke::new(theme::INK, 1.0).faint(0.7));
        }
    }
}

impl Moved {
    pub(super) fn check(&self) -> Result<(), FigureError> {
        let all = self.points.iter().flatten();
        check::sane(&self.title, all.flatten().copied())
    }
}

/// What moved, side by side in the lowest row of the picture.
pub(super) fn paint_moved(
    canvas: &mut Canvas<'_>,
    moved: &[Moved],
    names: &[&str],
    colour: impl Fn(usize) -> RGBColor,
) {
    let count = moved.len().max(1) as f64;
    let wide = (canvas.width - RIGHT - theme::MARGIN) / count;
    for (n, quantity) in moved.iter().enumerate() {
        let points = || quantity.points.iter().flatten();
        let left = theme::MARGIN + n as f64 * wide;
        let panel = Panel {
            left: left + 54.0,
            top: canvas.height - MOVED + 34.0,
            right: left + wide - 4.0,
            bottom: canvas.height - 58.0,
            x: Range::of(points().map(|point| point[0]), 0.06),
            y: Range::of(points().flat_map(|[_, y, reach]| [y - reach, y + reach]).chain([0.0]), 0.06),
        };
        panel.grid(canvas, Counts::Numbers);
        let letter = super::Letter::new(theme::AXIS_PX, theme::INK);
        let title = super::text::fit(&quantity.title, letter.px, false, wide - 20.0);
        canvas.text(&title, (left, panel.top - 10.0), letter);
        panel.x_axis(canvas, Counts::Strokes, "Stroke, counted on");
        let mut ends = Vec::new();
        for (column, points) in quantity.points.iter().enumerate() {
            // Intervals side by side, not one over the other.
            let aside = 3.0 * (column as f64 - 0.5 * (quantity.points.len() as f64 - 1.0));
            let at = |[x, y, _]: &[f64; 3]| (panel.px(*x) + aside, panel.py(*y));
            let line: Vec<(f64, f64)> = points.iter().map(at).collect();
            canvas.path(&line, Stroke::new(colour(column), theme::THIN));
            for point in points {
                let (x, y) = at(point);
                let [low, high] = [point[1] - point[2], point[1] + point[2]].map(|y| panel.py(y));
                canvas.line((x, low), (x, high), Stroke::new(colour(column), theme::HAIR).faint(0.7));
                canvas.dot((x, y), 3.0, colour(column), 1.0);
            }
            if let (Some(name), Some(last)) = (names.get(column), points.last()) {
                ends.push(EndLabel::new(*name, panel.py(last[1]), colour(column)));
            }
        }
        // All panels share the columns: the last one names them.
        if n + 1 == moved.len() {
            paint_ends(canvas, &panel, &ends);
        }
    }
}
