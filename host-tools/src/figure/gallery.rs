//! Strokes beside a good one, a small panel each, under what every stroke of the run did.

use super::canvas::{Canvas, Letter, Point, Stroke, render};
use super::header::Header;
use super::labels::{EndLabel, paint_ends};
use super::panel::{Counts, Panel, Range};
use super::{Cell, Figure, FigureError, LoadUnit, Size, Table, check, series, text, theme, thin};

/// A load over crank angle.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Curve {
    /// Crank angle, degrees from the top.
    pub angle_deg: Vec<f64>,
    /// Load, kN, one an angle.
    pub load_kn: Vec<f64>,
}

/// One stroke beside a good one.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Beside {
    /// What it is, in a few words.
    pub title: String,
    /// Its total.
    pub total: Curve,
    /// The good stroke's total.
    pub good: Curve,
    /// The column that differs most.
    pub column: Option<ColumnBeside>,
}

/// A column of a stroke beside that of a good one.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ColumnBeside {
    /// LF, RF, LR, RR, L or R.
    pub name: String,
    /// Its number, from 0, and how many there are: they decide its colour.
    pub number: (usize, usize),
    /// The column.
    pub load: Curve,
    /// The good stroke's.
    pub good: Curve,
}

/// Peaks over strokes, and strokes beside a good one.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Gallery {
    /// What is shown.
    pub title: String,
    /// Press, seed, where it comes from.
    pub subtitle: String,
    /// Unit printed.
    pub unit: LoadUnit,
    /// Stroke numbers, not falling.
    pub stroke: Vec<u64>,
    /// Peak of the total, kN, one a stroke.
    pub peak_kn: Vec<f64>,
    /// Reverse load, kN, a positive magnitude, one a stroke.
    pub reverse_kn: Vec<f64>,
    /// Whether a stroke is marked, one a stroke.
    pub marked: Vec<bool>,
    /// The panels.
    pub panels: Vec<Beside>,
}

const ACROSS: usize = 4;
const WIDTH: u32 = 1400;
/// Height of the peaks' panel with all around it, and of a row of panels, px.
const OVER: f64 = 300.0;
const ROW: f64 = 200.0;
const LEFT: f64 = 72.0;
const RIGHT: f64 = 120.0;
/// Loads beyond this many good peaks are cut off: a broken gauge reads its rail.
const HIGHEST: f64 = 2.4;
const LOWEST: f64 = -0.7;

impl Gallery {
    /// The size this many panels need.
    #[must_use]
    pub fn size(&self) -> Size {
        let rows = self.panels.len().div_ceil(ACROSS) as f64;
        Size::new(WIDTH, ((OVER + ROW * rows + 40.0) as u32).clamp(Size::LEAST.height, Size::MOST))
    }

    fn check(&self) -> Result<(), FigureError> {
        check::strokes(&self.stroke)?;
        let (count, of) = (self.stroke.len(), "stroke");
        check::row("peak_kn", &self.peak_kn, count, of)?;
        check::row("reverse_kn", &self.reverse_kn, count, of)?;
        check::length("marked", self.marked.len(), count, of)?;
        for panel in &self.panels {
            let column = panel.column.iter().flat_map(|c| [&c.load, &c.good]);
            for curve in [&panel.total, &panel.good].into_iter().chain(column) {
                check::sane("angle_deg", curve.angle_deg.iter().copied())?;
                check::row(&panel.title, &curve.load_kn, curve.angle_deg.len(), "angle")?;
            }
        }
        Ok(())
    }

    fn paint(&self, canvas: &mut Canvas<'_>) {
        let header = Header { title: &self.title, verdict: None, reasons: &[], subtitle: &self.subtitle };
        let below = header.draw(canvas);
        self.paint_peaks(canvas, below);
        let angles = || self.panels.iter().flat_map(|p| &p.total.angle_deg).copied();
        let x = Range::of(angles(), 0.0);
        let wide = (canvas.width - 2.0 * theme::MARGIN) / ACROSS as f64;
        // A picture of another size than asked for shares out what it has.
        let rows = self.panels.len().div_ceil(ACROSS).max(1) as f64;
        let high = (canvas.height - OVER - 40.0) / rows;
        for (n, beside) in self.panels.iter().enumerate() {
            let (column, row) = ((n % ACROSS) as f64, (n / ACROSS) as f64);
            let panel = Panel {
                left: theme::MARGIN + column * wide + 48.0,
                top: OVER + row * high + 26.0,
                right: theme::MARGIN + (column + 1.0) * wide - 6.0,
                bottom: OVER + (row + 1.0) * high - 24.0,
                x,
                y: self.range(beside),
            };
            self.paint_panel(canvas, &panel, beside);
        }
        let key = format!(
            "Load, {}, over crank angle, degrees. Black: total; colour: the column that differs most; grey: a good stroke.",
            self.unit.symbol()
        );
        let small = Letter::new(theme::AXIS_PX, theme::SOFT_INK);
        let key = text::fit(&key, small.px, false, canvas.width - 2.0 * theme::MARGIN);
        canvas.text(&key, (theme::MARGIN, canvas.height - 18.0), small);
    }

    fn paint_peaks(&self, canvas: &mut Canvas<'_>, below: f64) {
        let xs: Vec<f64> = self.stroke.iter().map(|&s| s as f64).collect();
        let (peaks, reverse) = (self.unit.all_of_kn(&self.peak_kn), self.unit.all_of_kn(&self.reverse_kn));
        let panel = Panel {
            left: LEFT,
            top: below + 26.0,
            right: canvas.width - RIGHT,
            bottom: OVER - 62.0,
            x: Range::of(xs.iter().copied(), 0.01),
            y: Range::with_zero(peaks.iter().chain(&reverse).copied(), 0.08),
        };
        panel.grid(canvas, Counts::Strokes);
        panel.y_title(canvas, &format!("Peak and reverse load, {}", self.unit.symbol()));
        let mut ends = Vec::new();
        for (name, ys, colour) in [("peak", &peaks, theme::INK), ("reverse", &reverse, theme::SKY)] {
            series::paint(canvas, &panel, &xs, ys, colour);
            ends.push(EndLabel::new(name, panel.py(series::end_level(ys)), colour).bold());
        }
        let marked = xs.iter().zip(&peaks).zip(&self.marked).filter(|(_, marked)| **marked);
        let points: Vec<Point> = marked.map(|((x, y), _)| (*x, *y)).collect();
        for at in panel.all_at(&points) {
            canvas.dot(at, 3.0, theme::OFFENCE, 0.8);
        }
        if !points.is_empty() {
            ends.push(EndLabel::new("dots: faulty", panel.top, theme::OFFENCE).remark());
        }
        paint_ends(canvas, &panel, &ends);
        panel.x_axis(canvas, Counts::Strokes, "Stroke");
    }

    /// A panel's range: its own, so that one double blank does not flatten all others. A broken gauge is cut off.
    fn range(&self, panel: &Beside) -> Range {
        let loads =
            |curve: &Curve| curve.load_kn.iter().copied().map(|v| self.unit.of_kn(v)).collect::<Vec<_>>();
        let good = loads(&panel.good).into_iter().fold(0.0, f64::max);
        let all = [loads(&panel.total), loads(&panel.good)].into_iter().flatten();
        Range::with_zero(
            all.map(|v| if good > 0.0 { v.clamp(LOWEST * good, HIGHEST * good) } else { v }),
            0.06,
        )
    }

    fn paint_panel(&self, canvas: &mut Canvas<'_>, panel: &Panel, beside: &Beside) {
        panel.grid(canvas, Counts::Degrees);
        let mut draw = |curve: &Curve, stroke: Stroke| {
            let load = self.unit.all_of_kn(&curve.load_kn);
            panel.curve(canvas, &thin(&curve.angle_deg, &load, panel.columns()), stroke);
        };
        draw(&beside.good, Stroke::new(theme::MEAN, theme::STRONG).faint(0.6));
        if let Some(column) = &beside.column {
            let colour = theme::column(column.number.0, column.number.1);
            draw(&column.good, Stroke::new(theme::MEAN, theme::THIN).faint(0.7));
            draw(&column.load, Stroke::new(colour, theme::THIN));
        }
        draw(&beside.total, Stroke::new(theme::INK, theme::THIN));
        let bold = Letter::new(theme::AXIS_PX, theme::INK).bold();
        let title = text::fit(&beside.title, bold.px, true, panel.width());
        canvas.text(&title, (panel.left, panel.top - 8.0), bold);
        if let Some(column) = &beside.column {
            let colour = theme::readable(theme::column(column.number.0, column.number.1));
            let letter = Letter::new(theme::TICK_PX, colour).bold().right();
            canvas.text_if_free(&column.name, &[(panel.right - 4.0, panel.top + 14.0)], letter);
        }
        panel.x_axis(canvas, Counts::Degrees, "");
    }
}

impl Figure for Gallery {
    fn draw(&self, size: Size) -> Result<String, FigureError> {
        self.check()?;
        render(size, &self.title, |canvas| self.paint(canvas))
    }

    fn table(&self) -> Table {
        let unit = self.unit.suffix();
        let header =
            ["stroke".to_owned(), format!("peak_{unit}"), format!("reverse_{unit}"), "marked".to_owned()];
        let mut out = Table::new(header);
        let rows = self.stroke.iter().zip(&self.peak_kn).zip(&self.reverse_kn).zip(&self.marked);
        out.rows.extend(rows.map(|(((stroke, peak), reverse), marked)| {
            let load = |kn: &f64| Cell::Number(self.unit.of_kn(*kn));
            vec![
                Cell::Number(*stroke as f64),
                load(peak),
                load(reverse),
                Cell::Number(f64::from(u8::from(*marked))),
            ]
        }));
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn curve(scale: f64) -> Curve {
        let angle_deg: Vec<f64> = (110..=250).map(f64::from).collect();
        let load_kn = angle_deg.iter().map(|a| scale * (a - 110.0) * (250.0 - a)).collect();
        Curve { angle_deg, load_kn }
    }

    fn gallery() -> Gallery {
        let panel = |n: i32| Beside {
            title: format!("fault {n}"),
            total: curve(f64::from(n)),
            good: curve(1.0),
            column: Some(ColumnBeside {
                name: "LF".into(),
                number: (0, 4),
                load: curve(0.5),
                good: curve(0.25),
            }),
        };
        Gallery {
            title: "Run".into(),
            subtitle: "invented".into(),
            stroke: (1..=30).collect(),
            peak_kn: vec![100.0; 30],
            reverse_kn: vec![5.0; 30],
            marked: (1..=30).map(|n| n % 7 == 0).collect(),
            panels: (1..=9).map(panel).collect(),
            ..Gallery::default()
        }
    }

    #[test]
    fn every_panel_has_its_title_and_a_range_of_its_own() {
        let gallery = gallery();
        let svg = gallery.draw(gallery.size()).unwrap();
        for n in 1..=9 {
            assert!(svg.contains(&format!("fault {n}")), "{n}");
        }
        let good = 70.0 * 70.0;
        let top = |n: usize| gallery.range(&gallery.panels[n]).to / good;
        // Twice the good peak is shown whole; nine times are cut at 2.4.
        assert!((top(1) - 2.0 * 1.06).abs() < 1e-9, "{}", top(1));
        assert!((top(8) - HIGHEST * 1.06).abs() < 1e-9, "{}", top(8));
    }

    #[test]
    fn a_run_of_one_stroke_and_no_panel_is_drawn() {
        let gallery = Gallery {
            stroke: vec![1],
            peak_kn: vec![0.0],
            reverse_kn: vec![0.0],
            marked: vec![false],
            ..Gallery::default()
        };
        assert!(gallery.draw(gallery.size()).is_ok());
    }

    #[test]
    fn curves_of_unequal_length_are_refused() {
        let mut gallery = gallery();
        if let Some(panel) = gallery.panels.first_mut() {
            panel.good.load_kn.pop();
        }
        assert!(gallery.draw(gallery.size()).is_err());
    }
}
