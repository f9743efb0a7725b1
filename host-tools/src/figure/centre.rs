//! Where the load of each stroke acted on the bolster plate, seen from above.

use std::collections::BTreeMap;

use super::canvas::{Canvas, Letter, Place, Point, Stroke, render};
use super::header::Header;
use super::panel::{Counts, Panel, Range};
use super::plate::Plate;
use super::{Figure, FigureError, Size, Table, Verdict, check, clip, text, theme, ticks};

/// The load centre of one stroke.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct CentrePoint {
    /// Right of the middle, mm.
    pub x_mm: f64,
    /// To the front of the middle, mm.
    pub y_mm: f64,
    /// The stroke's verdict.
    pub verdict: Verdict,
}

/// Load centres on the bolster plate.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct LoadCentre {
    /// What is shown.
    pub title: String,
    /// Press, die, day.
    pub subtitle: String,
    /// 2 or 4; other numbers draw no columns.
    pub columns: usize,
    /// Distance between gauge centres left-right and front-rear, mm.
    pub bolster_mm: [f64; 2],
    /// One point a stroke.
    pub points: Vec<CentrePoint>,
    /// Corners of the region allowed, mm; empty for none.
    pub allowance_mm: Vec<(f64, f64)>,
}

/// From this many passes on, their density is drawn in their place.
const MANY: usize = 600;
/// Side of a density cell, px.
const CELL: f64 = 5.0;

impl LoadCentre {
    fn check(&self) -> Result<(), FigureError> {
        check::some("points", self.points.len(), 1)?;
        check::sane("points", self.points.iter().flat_map(|p| [p.x_mm, p.y_mm]))?;
        check::sane("allowance_mm", self.allowance_mm.iter().flat_map(|p| [p.0, p.1]))?;
        check::sane("bolster_mm", self.bolster_mm)?;
        if self.bolster_mm.iter().any(|&v| v < 1.0) {
            let what = "bolster_mm".to_owned();
            return Err(FigureError::Value { what, why: "must be at least 1 mm each way" });
        }
        Ok(())
    }

    /// Median load centre, mm.
    fn middle(&self) -> (f64, f64) {
        let median = |pick: fn(&CentrePoint) -> f64| {
            let mut values: Vec<f64> = self.points.iter().map(pick).collect();
            values.sort_by(f64::total_cmp);
            values.get(values.len() / 2).copied().unwrap_or(0.0)
        };
        (median(|p| p.x_mm), median(|p| p.y_mm))
    }

    fn paint(&self, canvas: &mut Canvas<'_>) {
        let (x, y) = self.middle();
        let side = |v: f64, more: &str, less: &str| {
            format!("{} mm {}", ticks::grouped(v.abs(), 0), if v < 0.0 { less } else { more })
        };
        let words = format!(
            "Median {}, {} of the middle, {} strokes",
            side(x, "right", "left"),
            side(y, "to the front", "to the rear"),
            ticks::grouped(self.points.len() as f64, 0)
        );
        // What is measured first: where there is no room for all, the press and the recording are told elsewhere as well.
        let subtitle = [words.as_str(), &self.subtitle].join(" · ");
        let subtitle = if self.subtitle.is_empty() { words } else { subtitle };
        let header = Header { title: &self.title, verdict: None, reasons: &[], subtitle: &subtitle };
        let top = header.draw(canvas);
        let split = canvas.width * 0.5;
        let bottom = canvas.height - 84.0;
        let plate =
            Plate::inside((theme::MARGIN, top), (split - 10.0, bottom), self.bolster_mm, self.columns);
        plate.paint(canvas);
        let (from, to) = plate.corners();
        let area = Place { left: from.0, top: from.1, right: to.0, bottom: to.1 };
        self.paint_allowance(canvas, &area, |p| plate.at(p.0, p.1));
        let panel = self.near(split + 70.0, top + 40.0, canvas.width - 24.0, bottom);
        self.paint_near_frame(canvas, &plate, &panel);
        let on_plate = |p: Point| {
            let at = plate.at(p.0, p.1);
            let inside = (from.0..=to.0).contains(&at.0) && (from.1..=to.1).contains(&at.1);
            inside.then_some(at)
        };
        self.paint_points(canvas, &on_plate, 3.5);

        let white = [(panel.left, panel.top), (panel.right, panel.bottom)];
        canvas.rect(white[0], white[1], theme::PAPER, 1.0);
        panel.grid(canvas, Counts::Numbers);
        canvas.frame(white[0], white[1], Stroke::new(theme::AXIS, theme::THIN));
        self.paint_allowance(canvas, &panel.place(), |p| (panel.px(p.0), panel.py(p.1)));
        let inside = |p: Point| (panel.x.has(p.0) && panel.y.has(p.1)).then(|| panel.at(p));
        self.paint_points(canvas, &inside, 6.0);
        let title = Letter::new(theme::AXIS_PX, theme::INK);
        let y_title = text::fit(
            "Front–rear, mm from the middle (front downwards)",
            title.px,
            false,
            panel.width() + 50.0,
        );
        canvas.text(&y_title, (panel.left - 50.0, panel.top - 12.0), title);
        panel.x_axis(canvas, Counts::Numbers, "Left–right, mm from the middle (right positive)");
        self.paint_key(canvas, canvas.height - 20.0);
    }

    /// The part of the plate with the points, one scale both ways.
    fn near(&self, left: f64, top: f64, right: f64, bottom: f64) -> Panel {
        let points: Vec<Point> = self.points.iter().map(|p| (p.x_mm, p.y_mm)).collect();
        let span = |points: &[Point]| {
            let of = |pick: fn(&Point) -> f64| Range::of(points.iter().map(pick), 0.12);
            (of(|p| p.0), of(|p| p.1))
        };
        let (mut x, mut y) = span(&points);
        // The region allowed belongs in the view unless the points would shrink to a speck.
        let all: Vec<Point> = points.iter().chain(&self.allowance_mm).copied().collect();
        let (wide_x, wide_y) = span(&all);
        let long = |r: Range| r.to - r.from;
        if long(wide_x).max(long(wide_y)) <= 4.0 * long(x).max(long(y)) {
            (x, y) = (wide_x, wide_y);
        }
        // A hundredth of the plate is as near as it is worth going.
        let least = self.bolster_mm[0].max(self.bolster_mm[1]) / 100.0;
        let per_px =
            [(x.to - x.from) / (right - left), (y.to - y.from) / (bottom - top), least / (right - left)]
                .into_iter()
                .fold(0.0, f64::max);
        let around = |r: Range, px: f64| {
            let middle = (r.from + r.to) / 2.0;
            (middle - per_px * px / 2.0, middle + per_px * px / 2.0)
        };
        let (x0, x1) = around(x, right - left);
        let (y0, y1) = around(y, bottom - top);
        // The front is at the lower edge: the axis falls.
        Panel { left, top, right, bottom, x: Range { from: x0, to: x1 }, y: Range { from: y1, to: y0 } }
    }

    /// The frame of the near view on the plate, joined to it.
    fn paint_near_frame(&self, canvas: &mut Canvas<'_>, plate: &Plate, panel: &Panel) {
        let (a, b) = plate.corners();
        let cut = |p: Point| (p.0.clamp(a.0, b.0), p.1.clamp(a.1, b.1));
        let from = cut(plate.at(panel.x.from, panel.y.to));
        let to = cut(plate.at(panel.x.to, panel.y.from));
        let hair = Stroke::new(theme::AXIS, theme::HAIR);
        canvas.frame(from, to, hair);
        // A bracket that leaves room for the numbers of the near view.
        let x = panel.left - 58.0;
        canvas.path(&[(to.0, from.1), (x, panel.top), (x, panel.bottom), to], hair);
    }

    fn paint_allowance(&self, canvas: &mut Canvas<'_>, area: &Place, at: impl Fn(Point) -> Point) {
        let corners: Vec<Point> = self.allowance_mm.iter().copied().map(at).collect();
        let cut = clip::polygon(&corners, area);
        canvas.polygon(&cut, theme::LAMP_GREEN, 0.1);
        let next = cut.iter().cycle().skip(1);
        for (&a, &b) in cut.iter().zip(next) {
            if !clip::on_edge(a, b, area) {
                canvas.line(a, b, Stroke::new(theme::LAMP_GREEN, theme::THIN));
            }
        }
    }

    fn paint_points(&self, canvas: &mut Canvas<'_>, at: &impl Fn(Point) -> Option<Point>, radius: f64) {
        let of = |verdict: Verdict| {
            self.points
                .iter()
                .filter(move |p| p.verdict == verdict)
                .filter_map(|p| at((p.x_mm, p.y_mm)))
                .collect::<Vec<Point>>()
        };
        let passes = of(Verdict::Pass);
        if passes.len() < MANY {
            for p in &passes {
                canvas.dot(*p, radius * 0.5, theme::INK, 0.45);
            }
        } else {
            let cells = cells(&passes, CELL);
            let most = cells.values().copied().max().unwrap_or(1) as f64;
            for ((i, j), count) in cells {
                let corner = (i as f64 * CELL, j as f64 * CELL);
                // By the logarithm, so that a lone stroke shows beside ten thousand.
                let dark = 0.18 + 0.72 * (count as f64).ln_1p() / most.ln_1p();
                canvas.rect(corner, (corner.0 + CELL, corner.1 + CELL), theme::INK, dark);
            }
        }
        for verdict in [Verdict::Note, Verdict::Hold, Verdict::Trip] {
            // One mark a cell of its own size: a heap of marks says no more than one.
            let mut seen = BTreeMap::new();
            for p in of(verdict) {
                seen.entry(cell(p, radius)).or_insert(p);
            }
            for p in seen.into_values() {
                canvas.mark(p, radius, verdict);
            }
        }
    }

    fn paint_key(&self, canvas: &mut Canvas<'_>, y: f64) {
        let letter = Letter::new(theme::AXIS_PX, theme::SOFT_INK);
        let mut x = theme::MARGIN + 6.0;
        let many = self.points.iter().filter(|p| p.verdict == Verdict::Pass).count() >= MANY;
        canvas.dot((x, y), 2.5, theme::INK, 0.6);
        let pass = if many { "pass (darker: more strokes)" } else { "pass" };
        canvas.text(pass, (x + 11.0, y + letter.drop()), letter);
        x += 11.0 + letter.width(pass) + 22.0;
        for verdict in [Verdict::Note, Verdict::Hold, Verdict::Trip] {
            let count = self.points.iter().filter(|p| p.verdict == verdict).count();
            let words = format!("{} {}", ticks::grouped(count as f64, 0), verdict.word());
            canvas.mark((x, y), 6.0, verdict);
            canvas.text(&words, (x + 12.0, y + letter.drop()), letter);
            x += 12.0 + letter.width(&words) + 24.0;
        }
        if !self.allowance_mm.is_empty() {
            let green = Stroke::new(theme::LAMP_GREEN, theme::THIN);
            canvas.rect((x - 6.0, y - 6.0), (x + 10.0, y + 6.0), theme::LAMP_GREEN, 0.1);
            canvas.frame((x - 6.0, y - 6.0), (x + 10.0, y + 6.0), green);
            canvas.text("allowed", (x + 17.0, y + letter.drop()), letter);
        }
    }
}

fn cell(p: Point, side: f64) -> (i64, i64) {
    ((p.0 / side).floor() as i64, (p.1 / side).floor() as i64)
}

fn cells(points: &[Point], side: f64) -> BTreeMap<(i64, i64), u64> {
    let mut out = BTreeMap::new();
    for &p in points {
        *out.entry(cell(p, side)).or_insert(0) += 1;
    }
    out
}

impl Figure for LoadCentre {
    fn draw(&self, size: Size) -> Result<String, FigureError> {
        self.check()?;
        render(size, &self.title, |canvas| self.paint(canvas))
    }

    fn table(&self) -> Table {
        let mut out = Table::new(["x_mm", "y_mm", "verdict"].map(str::to_owned));
        let row = |p: &CentrePoint| vec![p.x_mm.into(), p.y_mm.into(), p.verdict.word().into()];
        out.rows = self.points.iter().map(row).collect();
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_stroke_is_counted_in_one_cell() {
        let points: Vec<Point> = (0..1000).map(|i| (f64::from(i % 37), f64::from(i % 11))).collect();
        assert_eq!(cells(&points, CELL).values().sum::<u64>(), 1000);
    }

    #[test]
    fn the_near_view_has_one_scale_and_holds_every_point() {
        let point = |x_mm, y_mm| CentrePoint { x_mm, y_mm, verdict: Verdict::Pass };
        let figure = LoadCentre {
            bolster_mm: [1800.0, 900.0],
            points: vec![point(-40.0, 3.0), point(80.0, -9.0)],
            ..LoadCentre::default()
        };
        let panel = figure.near(100.0, 0.0, 500.0, 300.0);
        let per_px = (panel.x.to - panel.x.from) / 400.0;
        assert!((per_px - (panel.y.from - panel.y.to) / 300.0).abs() < 1e-12);
        assert!(figure.points.iter().all(|p| panel.x.has(p.x_mm) && panel.y.has(p.y_mm)));
        // Front is down.
        assert!(panel.py(3.0) > panel.py(-9.0));
    }
}
