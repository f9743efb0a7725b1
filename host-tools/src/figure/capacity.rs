//! Total load against slide height, under the load the press allows at that height.
//!
//! The height falls to zero at the right, so that the picture reads in the order of the
//! downstroke, as a signature over crank angle does.

use super::canvas::{Canvas, Letter, Place, Point, Stroke, render};
use super::header::Header;
use super::panel::{Counts, Panel, Range};
use super::{Cell, Figure, FigureError, LoadUnit, Size, Table, check, labels, text, theme, thin, ticks};

/// The point of a stroke nearest to (or furthest over) the allowed load.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Closest {
    /// Slide height above the bottom, mm.
    pub height_mm: f64,
    /// Load, kN.
    pub load_kn: f64,
    /// Allowed load at that height, kN.
    pub allowed_kn: f64,
}

impl Closest {
    /// Load over allowed load; over 1 is too much.
    #[must_use]
    pub fn ratio(&self) -> f64 {
        self.load_kn / self.allowed_kn
    }

    /// Allowed load less load, kN; negative is too much.
    #[must_use]
    pub fn margin_kn(&self) -> f64 {
        self.allowed_kn - self.load_kn
    }
}

/// Load against slide height with the capacity curve.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Capacity {
    /// What is shown.
    pub title: String,
    /// Press, die, day.
    pub subtitle: String,
    /// Unit printed.
    pub unit: LoadUnit,
    /// Slide height above the bottom of the stroke, mm, in the order of the downstroke.
    pub height_mm: Vec<f64>,
    /// Total load at those heights, kN.
    pub load_kn: Vec<f64>,
    /// What that load is, for the label at its end: `this stroke`, `planned load`.
    pub curve: String,
    /// Slide height in mm, rising, and the load allowed there in kN; straight lines between.
    pub allowed: Vec<(f64, f64)>,
}

/// Straight lines between `points` (x rising), level beyond the ends.
pub(super) fn interpolate(points: &[(f64, f64)], x: f64) -> Option<f64> {
    let (first, last) = points.first().zip(points.last())?;
    if x <= first.0 {
        return Some(first.1);
    }
    if x >= last.0 {
        return Some(last.1);
    }
    points.windows(2).find_map(|pair| {
        let [a, b] = pair else { return None };
        let inside = x >= a.0 && x <= b.0 && b.0 > a.0;
        inside.then(|| a.1 + (b.1 - a.1) * (x - a.0) / (b.0 - a.0))
    })
}

/// Checks of an allowed-load curve: heights rise, loads are positive.
pub(super) fn check_allowed(allowed: &[(f64, f64)]) -> Result<(), FigureError> {
    check::some("allowed", allowed.len(), 2)?;
    check::sane("allowed", allowed.iter().flat_map(|p| [p.0, p.1]))?;
    let what = || "allowed".to_owned();
    if !allowed.is_sorted_by(|a, b| a.0 < b.0) {
        return Err(FigureError::Value { what: what(), why: "heights must rise" });
    }
    if allowed.iter().any(|p| p.1 <= 0.0) {
        return Err(FigureError::Value { what: what(), why: "allowed loads must be over zero" });
    }
    Ok(())
}

/// The greatest height worth showing: where the load is over 2 % of its peak, and a quarter more.
pub(super) fn highest(height_mm: &[f64], load_kn: &[f64], allowed: &[(f64, f64)]) -> f64 {
    let peak = load_kn.iter().fold(0.0_f64, |m, v| m.max(v.abs()));
    let loaded = height_mm
        .iter()
        .zip(load_kn)
        .filter(|(_, load)| load.abs() > 0.02 * peak)
        .map(|(h, _)| *h)
        .fold(0.0, f64::max);
    // Twice the height to which the full load is allowed shows the curve's bend.
    let full = allowed.iter().map(|p| p.1).fold(0.0, f64::max);
    let bend = allowed.iter().filter(|p| p.1 >= 0.999 * full).map(|p| p.0).fold(0.0, f64::max);
    let most = height_mm.iter().chain(allowed.iter().map(|p| &p.0)).copied().fold(0.0, f64::max);
    let high = (1.25 * loaded).max(2.0 * bend).min(most);
    if high > 0.0 { high } else { 1.0 }
}

impl Capacity {
    /// The load allowed at `height_mm`, kN.
    #[must_use]
    pub fn allowed_at(&self, height_mm: f64) -> Option<f64> {
        interpolate(&self.allowed, height_mm)
    }

    /// The point where load over allowed load is greatest.
    #[must_use]
    pub fn closest(&self) -> Option<Closest> {
        self.height_mm
            .iter()
            .zip(&self.load_kn)
            .filter_map(|(&height_mm, &load_kn)| {
                let allowed_kn = self.allowed_at(height_mm)?;
                Some(Closest { height_mm, load_kn, allowed_kn })
            })
            .max_by(|a, b| a.ratio().total_cmp(&b.ratio()))
    }

    fn check(&self) -> Result<(), FigureError> {
        check::some("height_mm", self.height_mm.len(), 2)?;
        check::length("load_kn", self.load_kn.len(), self.height_mm.len(), "height_mm")?;
        check::sane("height_mm", self.height_mm.iter().copied())?;
        check::sane("load_kn", self.load_kn.iter().copied())?;
        check_allowed(&self.allowed)
    }

    fn paint(&self, canvas: &mut Canvas<'_>) {
        let header = Header { title: &self.title, verdict: None, reasons: &[], subtitle: &self.subtitle };
        let below = header.draw(canvas);
        let high = highest(&self.height_mm, &self.load_kn, &self.allowed);
        let shown: Vec<Point> = self
            .height_mm
            .iter()
            .copied()
            .zip(self.unit.all_of_kn(&self.load_kn))
            .filter(|p| p.0 <= high && p.0 >= 0.0)
            .collect();
        let allowed = self.allowed_points(high);
        let loads = shown.iter().chain(&allowed).map(|p| p.1);
        let panel = Panel {
            left: 72.0,
            top: below + 28.0,
            right: canvas.width - 150.0,
            bottom: canvas.height - 58.0,
            x: Range { from: high, to: 0.0 },
            y: Range::with_zero(loads, 0.08),
        };
        panel.grid(canvas, Counts::Numbers);
        panel.y_title(canvas, &format!("Load, {}", self.unit.symbol()));
        panel.x_axis(canvas, Counts::Numbers, "Slide height above bottom of stroke, mm");

        paint_allowed(canvas, &panel, &allowed);
        let (xs, ys): (Vec<f64>, Vec<f64>) = shown.iter().copied().unzip();
        let curve = thin(&xs, &ys, panel.columns());
        self.paint_over(canvas, &panel, &curve);
        panel.curve(canvas, &curve, Stroke::new(theme::INK, theme::STRONG));
        self.paint_labels(canvas, &panel, &allowed, &curve);
        let lines = [panel.all_at(&allowed), panel.all_at(&curve)];
        self.paint_closest(canvas, &panel, &lines.each_ref().map(Vec::as_slice));
    }

    /// The allowed curve from zero to `high`, in the printed unit.
    fn allowed_points(&self, high: f64) -> Vec<Point> {
        let ends = [0.0, high].map(|h| (h, self.allowed_at(h).unwrap_or(0.0)));
        let mut points: Vec<Point> =
            self.allowed.iter().copied().filter(|p| p.0 > 0.0 && p.0 < high).collect();
        points.extend(ends);
        points.sort_by(|a, b| a.0.total_cmp(&b.0));
        points.into_iter().map(|(h, v)| (h, self.unit.of_kn(v))).collect()
    }

    /// Marks where the load is over the curve: the area between, and a thick line.
    fn paint_over(&self, canvas: &mut Canvas<'_>, panel: &Panel, curve: &[Point]) {
        let limit = |h: f64| self.allowed_at(h).map_or(f64::INFINITY, |v| self.unit.of_kn(v));
        for run in curve.chunk_by(|a, b| (a.1 > limit(a.0)) == (b.1 > limit(b.0))) {
            if run.first().is_none_or(|p| p.1 <= limit(p.0)) {
                continue;
            }
            let under: Vec<Point> = run.iter().map(|p| (p.0, limit(p.0))).collect();
            panel.band(canvas, &under, run, theme::LAMP_RED, 0.3);
            panel.curve(canvas, run, Stroke::new(theme::LAMP_RED, 6.0).faint(0.8));
        }
    }

    fn paint_labels(&self, canvas: &mut Canvas<'_>, panel: &Panel, allowed: &[Point], curve: &[Point]) {
        let x = panel.right + 10.0;
        let wanted: Vec<f64> =
            [allowed.first(), curve.last()].into_iter().flatten().map(|p| panel.at(*p).1).collect();
        let places = labels::spread(&wanted, 20.0, panel.top - 10.0, panel.bottom + 10.0);
        let own = text::fit(&self.curve, theme::LABEL_PX, true, 110.0);
        let names = ["allowed load", own.as_str()];
        for ((name, y), bold) in names.iter().zip(places).zip([false, true]) {
            let colour = if bold { theme::INK } else { theme::LIMIT };
            let letter = Letter { bold, ..Letter::new(theme::LABEL_PX, colour) };
            canvas.text(name, (x, y + letter.drop()), letter);
        }
    }

    fn paint_closest(&self, canvas: &mut Canvas<'_>, panel: &Panel, curves: &[&[Point]]) {
        let Some(closest) = self.closest().filter(|c| panel.x.has(c.height_mm)) else { return };
        let load = panel.at((closest.height_mm, self.unit.of_kn(closest.load_kn)));
        let limit = panel.at((closest.height_mm, self.unit.of_kn(closest.allowed_kn)));
        let over = closest.ratio() > 1.0;
        let colour = if over { theme::LAMP_RED } else { theme::column(0, 2) };
        canvas.line(load, limit, Stroke::new(colour, theme::THIN));
        canvas.ring(load, 5.0, Stroke::new(colour, theme::STRONG));
        let percent = ticks::readable(100.0 * closest.ratio());
        let size = self.unit.print(closest.margin_kn().abs());
        let lines = [
            format!("{percent} % of the allowed load at {} mm", ticks::grouped(closest.height_mm, 2)),
            if over { format!("{size} over the curve") } else { format!("margin {size}") },
        ];
        let letter = Letter::new(theme::LABEL_PX, theme::readable(colour)).bold();
        let wide = lines.iter().map(|l| letter.width(l)).fold(0.0, f64::max);
        let place = |left: f64, middle: f64| Place {
            left,
            top: middle - 20.0,
            right: left + wide,
            bottom: middle + 20.0,
        };
        let middle = (load.1 + limit.1) / 2.0;
        let mut candidates: Vec<Place> = (0..6)
            .map(|i| 16.0 + 50.0 * f64::from(i))
            .flat_map(|dx| [load.0 + dx, load.0 - dx - wide])
            .flat_map(|x| (-8..=8).map(move |j| (x, 28.0 * f64::from(j))))
            .map(|(x, dy)| place(x, middle + dy))
            .filter(|p| p.left > panel.left && p.right < panel.right)
            .filter(|p| p.top > panel.top && p.bottom < panel.bottom)
            .collect();
        let far = |p: &Place| {
            let dx = (p.left - load.0).max(load.0 - p.right);
            dx.hypot((p.top + p.bottom) / 2.0 - middle)
        };
        candidates.sort_by(|a, b| far(a).total_cmp(&far(b)));
        let Some(best) = candidates.get(labels::calmest(&candidates, curves)) else { return };
        if far(best) > 40.0 {
            let near_x = if best.left > load.0 { best.left - 4.0 } else { best.right + 4.0 };
            let end = (near_x, (best.top + best.bottom) / 2.0);
            canvas.line(load, end, Stroke::new(colour, theme::HAIR));
        }
        for (line, dy) in lines.iter().zip([16.0, 34.0]) {
            canvas.text(&text::clean(line), (best.left, best.top + dy), letter);
        }
    }
}

/// The allowed-load curve with a pale ground above it.
pub(super) fn paint_allowed(canvas: &mut Canvas<'_>, panel: &Panel, allowed: &[Point]) {
    let ceiling: Vec<Point> = allowed.iter().map(|p| (p.0, panel.y.to)).collect();
    panel.band(canvas, allowed, &ceiling, theme::LIMIT, 0.09);
    panel.curve(canvas, allowed, Stroke::new(theme::LIMIT, theme::STRONG));
}

impl Figure for Capacity {
    fn draw(&self, size: Size) -> Result<String, FigureError> {
        self.check()?;
        render(size, &self.title, |canvas| self.paint(canvas))
    }

    fn table(&self) -> Table {
        let unit = self.unit.suffix();
        let names = ["height_mm".to_owned(), format!("load_{unit}"), format!("allowed_{unit}")];
        let mut out = Table::new(names);
        for (&h, &load) in self.height_mm.iter().zip(&self.load_kn) {
            let allowed = self.allowed_at(h).map(|v| self.unit.of_kn(v));
            out.rows.push(vec![h.into(), self.unit.of_kn(load).into(), Cell::from(allowed)]);
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn falling() -> Capacity {
        Capacity {
            height_mm: vec![12.0, 8.0, 4.0, 0.0],
            curve: "this stroke".into(),
            load_kn: vec![0.0, 900.0, 1500.0, -200.0],
            allowed: vec![(0.0, 2000.0), (6.0, 2000.0), (10.0, 1000.0)],
            ..Capacity::default()
        }
    }

    #[test]
    fn the_closest_point_is_by_ratio_not_by_load() {
        // Allowed at 8 mm is 1500 by hand: 900/1500 = 0.6; at 4 mm 1500/2000 = 0.75.
        let mut figure = falling();
        assert_eq!(figure.closest().map(|c| (c.height_mm, c.margin_kn())), Some((4.0, 500.0)));
        // At 8 mm 1350/1500 = 0.9 though the load is lower than at 4 mm.
        figure.load_kn[1] = 1350.0;
        assert!(figure.closest().is_some_and(|c| { c.height_mm == 8.0 && (c.ratio() - 0.9).abs() < 1e-12 }));
    }

    #[test]
    fn the_allowed_load_is_level_beyond_the_ends_of_the_curve() {
        let figure = falling();
        assert_eq!(figure.allowed_at(-1.0), Some(2000.0));
        assert_eq!(figure.allowed_at(8.0), Some(1500.0));
        assert_eq!(figure.allowed_at(50.0), Some(1000.0));
    }

    #[test]
    fn a_curve_that_does_not_rise_in_height_is_refused() {
        let mut figure = falling();
        figure.allowed.swap(0, 2);
        assert!(matches!(figure.draw(Size::NORMAL), Err(FigureError::Value { .. })));
    }
}
