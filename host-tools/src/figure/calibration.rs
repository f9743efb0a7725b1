//! A gauge against a reference load cell: readings and line above, what the line misses below.

use super::canvas::{Canvas, Letter, Point, Stroke, render};
use super::header::Header;
use super::labels::{EndLabel, paint_ends};
use super::panel::{Counts, Panel, Range};
use super::{Cell, Figure, FigureError, LoadUnit, Size, Table, check, theme, ticks};

/// One reading.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct CalibrationPoint {
    /// Load by the reference, kN.
    pub reference_kn: f64,
    /// The gauge's reading, counts.
    pub counts: f64,
    /// Load by the fitted line less load by the reference, kN.
    pub residual_kn: f64,
    /// Taken while the load fell.
    pub falling: bool,
}

/// Readings of one gauge, the fitted line and its residuals.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Calibration {
    /// What is shown.
    pub title: String,
    /// Press, gauge, day.
    pub subtitle: String,
    /// Unit printed.
    pub unit: LoadUnit,
    /// The readings, in the order taken.
    pub points: Vec<CalibrationPoint>,
    /// Counts at no load, by the fit.
    pub zero_counts: f64,
    /// Gain by the fit, counts a kN.
    pub counts_per_kn: f64,
    /// Load in kN, rising, and the expanded uncertainty there in ± kN; empty for none.
    pub uncertainty: Vec<(f64, f64)>,
    /// Allowed error, per cent of the reading.
    pub limit_percent: Option<f64>,
}

impl Calibration {
    fn check(&self) -> Result<(), FigureError> {
        check::some("points", self.points.len(), 1)?;
        let numbers = self.points.iter().flat_map(|p| [p.reference_kn, p.counts, p.residual_kn]);
        check::sane("points", numbers)?;
        check::sane("uncertainty", self.uncertainty.iter().flat_map(|p| [p.0, p.1]))?;
        check::sane("line", [self.zero_counts, self.counts_per_kn])?;
        check::sane("limit_percent", self.limit_percent)
    }

    fn paint(&self, canvas: &mut Canvas<'_>) {
        let header = Header { title: &self.title, verdict: None, reasons: &[], subtitle: &self.subtitle };
        let top = header.draw(canvas) + 28.0;
        let bottom = canvas.height - 58.0;
        let loads = self.points.iter().map(|p| self.unit.of_kn(p.reference_kn));
        let x = Range::of(loads.chain([0.0]), 0.03);
        let split = top + (bottom - top) * 0.45;
        let upper = Panel {
            left: 92.0,
            top,
            right: canvas.width - 170.0,
            bottom: split - 26.0,
            x,
            y: Range::of(self.points.iter().map(|p| p.counts).chain([self.zero_counts]), 0.08),
        };
        let lower = Panel { top: split + 20.0, bottom, y: self.residual_range(), ..upper };
        upper.grid(canvas, Counts::Numbers);
        upper.y_title(canvas, "Reading, counts");
        lower.grid(canvas, Counts::Numbers);
        lower.y_title(canvas, &format!("Line less reference, {}", self.unit.symbol()));
        let title = format!("Reference load, {}", self.unit.symbol());
        lower.x_axis(canvas, Counts::Numbers, &title);

        let end = |v: f64| {
            let kn = v * self.kn_a_unit();
            (v, self.zero_counts + self.counts_per_kn * kn)
        };
        let line = [end(x.from), end(x.to)];
        upper.curve(canvas, &line, Stroke::new(theme::MEAN, theme::THIN));
        let gain = self.counts_per_kn * self.kn_a_unit();
        let fitted = format!("{} counts a {}", ticks::readable(gain), self.unit.symbol());
        let label_y = upper.at(line[1]).1;
        let ends = [
            EndLabel::new("fitted line", label_y, theme::MEAN).bold(),
            EndLabel::new(fitted, label_y + 1.0, theme::MEAN),
        ];
        paint_ends(canvas, &upper, &ends);
        self.paint_allowances(canvas, &lower);
        for p in &self.points {
            let load = self.unit.of_kn(p.reference_kn);
            paint_point(canvas, upper.at((load, p.counts)), p.falling);
            paint_point(canvas, lower.at((load, self.unit.of_kn(p.residual_kn))), p.falling);
        }
        self.paint_key(canvas, lower.top - 10.0);
    }

    fn kn_a_unit(&self) -> f64 {
        1.0 / self.unit.of_kn(1.0)
    }

    /// Both ways alike, holding the residuals and the uncertainty, and the limit where it does
    /// not press them flat.
    fn residual_range(&self) -> Range {
        let of = |kn: f64| self.unit.of_kn(kn).abs();
        let residual = self.points.iter().map(|p| of(p.residual_kn)).fold(0.0, f64::max);
        let band = self.uncertainty.iter().map(|p| of(p.1)).fold(0.0, f64::max);
        let greatest = self.points.iter().map(|p| of(p.reference_kn)).fold(0.0, f64::max);
        let limit = self.limit_percent.map_or(0.0, |l| l / 100.0 * greatest);
        let seen = residual.max(band);
        let half = 1.15 * seen.max(limit.min(4.0 * seen));
        let half = if half > 0.0 { half } else { 0.5 };
        Range { from: -half, to: half }
    }

    fn paint_allowances(&self, canvas: &mut Canvas<'_>, panel: &Panel) {
        let row = |sign: f64| -> Vec<Point> {
            let at = |p: &(f64, f64)| (self.unit.of_kn(p.0), sign * self.unit.of_kn(p.1));
            self.uncertainty.iter().map(at).filter(|p| panel.x.has(p.0)).collect()
        };
        let (low, high) = (row(-1.0), row(1.0));
        panel.band(canvas, &low, &high, theme::column(0, 4), 0.18);
        let mut ends = Vec::new();
        if let Some(p) = high.last() {
            let y = panel.at(*p).1;
            ends.push(EndLabel::new("expanded uncertainty", y, theme::column(0, 4)));
        }
        if let Some(percent) = self.limit_percent {
            let far = if panel.x.to.abs() > panel.x.from.abs() { panel.x.to } else { panel.x.from };
            // The straight line from no load, cut where it leaves the panel.
            let level = percent / 100.0 * far.abs();
            let part = (panel.y.to / level).min(1.0);
            let stroke = Stroke::new(theme::LIMIT, theme::THIN);
            for sign in [-1.0, 1.0] {
                let (from, to) = ((0.0, 0.0), (far * part, sign * level * part));
                canvas.dashed(panel.at(from), panel.at(to), stroke);
            }
            let words = format!("± {} % of the load", ticks::short(percent));
            ends.push(EndLabel::new(words, panel.py(level * part), theme::LIMIT));
        }
        paint_ends(canvas, panel, &ends);
    }

    fn paint_key(&self, canvas: &mut Canvas<'_>, baseline: f64) {
        let letter = Letter::new(theme::TICK_PX, theme::SOFT_INK).right();
        let mut x = canvas.width - theme::MARGIN;
        for (words, falling) in [("load falling", true), ("load rising", false)] {
            canvas.text(words, (x, baseline), letter);
            x -= letter.width(words) + 12.0;
            paint_point(canvas, (x, baseline - letter.drop()), falling);
            x -= 24.0;
        }
    }
}

fn paint_point(canvas: &mut Canvas<'_>, at: Point, falling: bool) {
    if falling {
        canvas.ring(at, 3.6, Stroke::new(theme::INK, 1.3));
    } else {
        canvas.dot(at, 3.8, theme::INK, 0.85);
    }
}

impl Figure for Calibration {
    fn draw(&self, size: Size) -> Result<String, FigureError> {
        self.check()?;
        render(size, &self.title, |canvas| self.paint(canvas))
    }

    fn table(&self) -> Table {
        let unit = self.unit.suffix();
        let names = [format!("reference_{unit}"), "counts".into(), format!("residual_{unit}")];
        let mut out = Table::new(names);
        out.header.push("direction".to_owned());
        for p in &self.points {
            out.rows.push(vec![
                self.unit.of_kn(p.reference_kn).into(),
                p.counts.into(),
                self.unit.of_kn(p.residual_kn).into(),
                Cell::from(if p.falling { "falling" } else { "rising" }),
            ]);
        }
        out
    }
}
