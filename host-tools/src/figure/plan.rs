//! A planned job: what each station adds to the load over slide height, under the allowed load,
//! and where the stations stand on the plate.

use plotters::style::RGBColor;

use super::canvas::{Canvas, Letter, Place, Point, Stroke, render};
use super::capacity::{check_allowed, highest, interpolate, paint_allowed};
use super::header::Header;
use super::labels::{EndLabel, paint_ends};
use super::panel::{Counts, Panel, Range};
use super::plate::Plate;
use super::{Cell, Figure, FigureError, LoadUnit, Size, Table, check, table, text, theme};

/// One station of the die.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct PlanStation {
    /// What it does.
    pub name: String,
    /// Right of the middle of the bolster, mm.
    pub x_mm: f64,
    /// To the front of the middle, mm.
    pub y_mm: f64,
    /// Its load at each slide height, kN, not negative.
    pub load_kn: Vec<f64>,
}

/// Load against slide height, station by station, and the plate.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Plan {
    /// What is shown.
    pub title: String,
    /// Press, job.
    pub subtitle: String,
    /// Unit printed.
    pub unit: LoadUnit,
    /// Slide height above the bottom, mm, in the order of the downstroke.
    pub height_mm: Vec<f64>,
    /// The stations, in the order of the strip.
    pub stations: Vec<PlanStation>,
    /// Lower end of the total's uncertainty, kN, one a height; empty for none.
    pub low_kn: Vec<f64>,
    /// Upper end of the total's uncertainty, kN, one a height; empty for none.
    pub high_kn: Vec<f64>,
    /// Slide height in mm, rising, and the load allowed there in kN.
    pub allowed: Vec<(f64, f64)>,
    /// 2 or 4; other numbers draw no columns.
    pub columns: usize,
    /// Distance between gauge centres left-right and front-rear, mm.
    pub bolster_mm: [f64; 2],
    /// Predicted load centre at the peak, mm.
    pub load_centre_mm: Option<(f64, f64)>,
}

/// Neighbouring stations alternate between these; numbers tell them apart.
const FILLS: [(RGBColor, f64); 3] = [(theme::SKY, 0.75), (theme::SKY, 0.4), (theme::ORANGE, 0.45)];

impl Plan {
    fn check(&self) -> Result<(), FigureError> {
        check::some("height_mm", self.height_mm.len(), 2)?;
        check::sane("height_mm", self.height_mm.iter().copied())?;
        check::some("stations", self.stations.len(), 1)?;
        let (count, of) = (self.height_mm.len(), "height_mm");
        for s in &self.stations {
            let what = format!("load of station {}", s.name);
            check::row(&what, &s.load_kn, count, of)?;
            check::sane(&format!("place of station {}", s.name), [s.x_mm, s.y_mm])?;
            if s.load_kn.iter().any(|&v| v < 0.0) {
                return Err(FigureError::Value { what, why: "loads to stack must not be negative" });
            }
        }
        for (what, row) in [("low_kn", &self.low_kn), ("high_kn", &self.high_kn)] {
            if !row.is_empty() {
                check::row(what, row, count, of)?;
            }
        }
        check::sane("load_centre_mm", self.load_centre_mm.iter().flat_map(|p| [p.0, p.1]))?;
        check::sane("bolster_mm", self.bolster_mm)?;
        if self.bolster_mm.iter().any(|&v| v < 1.0) {
            let what = "bolster_mm".to_owned();
            return Err(FigureError::Value { what, why: "must be at least 1 mm each way" });
        }
        check_allowed(&self.allowed)
    }

    /// Sum of the stations at each height, kN.
    #[must_use]
    pub fn total_kn(&self) -> Vec<f64> {
        let at = |i: usize| self.stations.iter().filter_map(|s| s.load_kn.get(i)).sum();
        (0..self.height_mm.len()).map(at).collect()
    }

    fn peak(station: &PlanStation) -> f64 {
        station.load_kn.iter().copied().fold(0.0, f64::max)
    }

    fn paint(&self, canvas: &mut Canvas<'_>) {
        let header = Header { title: &self.title, verdict: None, reasons: &[], subtitle: &self.subtitle };
        let top = header.draw(canvas) + 28.0;
        let total = self.total_kn();
        let high = highest(&self.height_mm, &total, &self.allowed);
        let shown: Vec<usize> = self
            .height_mm
            .iter()
            .enumerate()
            .filter(|(_, h)| **h >= 0.0 && **h <= high)
            .map(|(i, _)| i)
            .collect();
        let row = |kn: &[f64]| -> Vec<Point> {
            let at = |&i: &usize| Some((*self.height_mm.get(i)?, self.unit.of_kn(*kn.get(i)?)));
            shown.iter().filter_map(at).collect()
        };
        let allowed = self.allowed_points(high);
        let (low, upper) = (row(&self.low_kn), row(&self.high_kn));
        let total = row(&total);
        let values = allowed.iter().chain(&upper).chain(&total).map(|p| p.1);
        let panel = Panel {
            left: 72.0,
            top,
            right: canvas.width * 0.55,
            bottom: canvas.height - 58.0,
            x: Range { from: high, to: 0.0 },
            y: Range::with_zero(values, 0.08),
        };
        panel.grid(canvas, Counts::Numbers);
        panel.y_title(canvas, &format!("Load, {}", self.unit.symbol()));
        panel.x_axis(canvas, Counts::Numbers, "Slide height above bottom of stroke, mm");
        self.paint_stack(canvas, &panel, &shown);
        // Above the total only: over the stack, the fill would change the stations' colours.
        panel.band(canvas, &total, &upper, theme::INK, 0.16);
        let edge = Stroke::new(theme::INK, theme::HAIR).faint(0.7);
        panel.curve(canvas, &upper, edge);
        panel.curve(canvas, &low, edge);
        panel.curve(canvas, &total, Stroke::new(theme::INK, theme::STRONG));
        paint_allowed(canvas, &panel, &allowed);
        let mut ends = Vec::new();
        for (points, name, bold) in [(&allowed, "allowed load", false), (&total, "total", true)] {
            let end = if bold { points.last() } else { points.first() };
            let y = end.map_or(panel.bottom, |p| panel.at(*p).1);
            let colour = if bold { theme::INK } else { theme::LIMIT };
            ends.push(EndLabel { bold, ..EndLabel::new(name, y, colour) });
        }
        if !upper.is_empty() {
            let y = upper.last().map_or(panel.bottom, |p| panel.at(*p).1);
            ends.push(EndLabel::new("uncertainty", y, theme::MEAN));
        }
        paint_ends(canvas, &panel, &ends);
        self.paint_plate(canvas, panel.right + 126.0, top - 24.0);
    }

    fn allowed_points(&self, high: f64) -> Vec<Point> {
        let inner = self.allowed.iter().map(|p| p.0).filter(|&h| h > 0.0 && h < high);
        let heights = std::iter::once(0.0).chain(inner).chain(std::iter::once(high));
        heights.filter_map(|h| Some((h, self.unit.of_kn(interpolate(&self.allowed, h)?)))).collect()
    }

    /// The stations' loads one on another, each with its number where it is thickest.
    fn paint_stack(&self, canvas: &mut Canvas<'_>, panel: &Panel, shown: &[usize]) {
        let mut floor = vec![0.0; shown.len()];
        let mut numbers = Vec::new();
        for (k, station) in self.stations.iter().enumerate() {
            let load = |i: &usize| station.load_kn.get(*i).map_or(0.0, |&v| self.unit.of_kn(v));
            let ceiling: Vec<f64> = shown.iter().zip(&floor).map(|(i, below)| below + load(i)).collect();
            let points = |row: &[f64]| -> Vec<Point> {
                let at = |(i, v): (&usize, &f64)| Some((*self.height_mm.get(*i)?, *v));
                shown.iter().zip(row).filter_map(at).collect()
            };
            let (below, above) = (points(&floor), points(&ceiling));
            let (colour, alpha) = fill(k);
            panel.band(canvas, &below, &above, colour, alpha);
            panel.curve(canvas, &above, Stroke::new(theme::PAPER, theme::HAIR));
            if let Some((a, b)) = thick_place(&below, &above) {
                numbers.push((k + 1, panel.at(*a), panel.at(*b)));
            }
            floor = ceiling;
        }
        let letter = Letter::new(theme::TICK_PX, theme::INK).middle();
        for (number, low, high) in numbers {
            // A number is written only where its band is higher than the digits.
            if low.1 - high.1 >= 11.0 {
                let at = (low.0, (low.1 + high.1) / 2.0 + letter.drop());
                canvas.text_if_free(&number.to_string(), &[at], letter);
            }
        }
    }

    fn paint_plate(&self, canvas: &mut Canvas<'_>, left: f64, top: f64) {
        let right = canvas.width - theme::MARGIN;
        let bottom = top + (canvas.height - top) * 0.46;
        let plate = Plate::inside((left, top), (right, bottom), self.bolster_mm, self.columns);
        let below = plate.paint(canvas);
        let most = self.stations.iter().map(Self::peak).fold(f64::MIN_POSITIVE, f64::max);
        let edge = Stroke::new(theme::INK, theme::HAIR);
        // Many stations get smaller circles, so that they do not hide each other.
        let largest = 13.0 * (8.0 / self.stations.len() as f64).sqrt().min(1.0);
        for (k, s) in self.stations.iter().enumerate() {
            let at = plate.at(s.x_mm, s.y_mm);
            // Area by load.
            let radius = 3.0 + largest * (Self::peak(s) / most).max(0.0).sqrt();
            let (colour, alpha) = fill(k);
            canvas.dot(at, radius, colour, alpha.max(0.6));
            canvas.ring(at, radius, edge);
        }
        let letter = Letter::new(theme::TICK_PX, theme::INK);
        for (k, s) in self.stations.iter().enumerate() {
            let at = plate.at(s.x_mm, s.y_mm);
            let y = at.1 + letter.drop();
            let places = [(at.0, y), (at.0, y - 22.0), (at.0, y + 22.0)];
            canvas.text_if_free(&(k + 1).to_string(), &places, letter.middle());
        }
        if let Some((x, y)) = self.load_centre_mm {
            let at = plate.at(x, y);
            let red = Stroke::new(theme::LAMP_RED, theme::STRONG);
            canvas.line((at.0 - 8.0, at.1), (at.0 + 8.0, at.1), red);
            canvas.line((at.0, at.1 - 8.0), (at.0, at.1 + 8.0), red);
        }
        self.paint_list(canvas, left, right, below + 14.0);
    }

    /// Number, name and peak of each station, as many as there is room for.
    fn paint_list(&self, canvas: &mut Canvas<'_>, left: f64, right: f64, top: f64) {
        let pitch = 18.0;
        let cross = self.load_centre_mm.is_some();
        let bottom = canvas.height - theme::MARGIN;
        let rows = (((bottom - top) / pitch).floor() as usize).saturating_sub(usize::from(cross));
        let count = self.stations.len();
        let listed = if count <= rows { count } else { rows.saturating_sub(1) };
        let letter = Letter::new(theme::TICK_PX, theme::INK);
        let soft = Letter::new(theme::TICK_PX, theme::SOFT_INK);
        let mut y = top + pitch;
        if cross {
            let red = Stroke::new(theme::LAMP_RED, theme::STRONG);
            let m = y - letter.drop();
            canvas.line((left + 2.0, m), (left + 18.0, m), red);
            canvas.line((left + 10.0, m - 8.0), (left + 10.0, m + 8.0), red);
            canvas.text("load centre at the peak", (left + 30.0, y), soft);
            y += pitch;
        }
        for (k, s) in self.stations.iter().take(listed).enumerate() {
            let load = self.unit.print(Self::peak(s));
            let load_wide = letter.width(&load);
            canvas.text(&(k + 1).to_string(), (left + 18.0, y), letter.right());
            let name = text::fit(&s.name, letter.px, false, right - left - 48.0 - load_wide);
            canvas.text(&name, (left + 30.0, y), letter);
            canvas.text(&load, (right, y), letter.right());
            y += pitch;
        }
        if listed < count {
            canvas.text(&format!("and {} more", count - listed), (left + 30.0, y), soft);
        }
        canvas.reserve(Place { left, top, right, bottom });
    }
}

/// Lower and upper point in the middle of where a band is thick.
fn thick_place<'p>(below: &'p [Point], above: &'p [Point]) -> Option<(&'p Point, &'p Point)> {
    let thick = |p: &(&Point, &Point)| p.1.1 - p.0.1;
    let most = below.iter().zip(above).map(|p| thick(&p)).fold(0.0, f64::max);
    let places: Vec<_> = below.iter().zip(above).filter(|p| thick(p) >= 0.7 * most).collect();
    places.get(places.len() / 2).copied()
}

fn fill(station: usize) -> (RGBColor, f64) {
    FILLS.get(station % FILLS.len()).copied().unwrap_or((theme::SKY, 0.5))
}

impl Figure for Plan {
    fn draw(&self, size: Size) -> Result<String, FigureError> {
        self.check()?;
        render(size, &self.title, |canvas| self.paint(canvas))
    }

    fn table(&self) -> Table {
        let unit = self.unit.suffix();
        let mut out = Table::new(["height_mm".to_owned()]);
        let names = self
            .stations
            .iter()
            .enumerate()
            .map(|(k, s)| format!("{}_{}_{unit}", k + 1, table::key(&s.name)));
        out.header.extend(names);
        out.header.extend(["total", "low", "high", "allowed"].map(|n| format!("{n}_{unit}")));
        let total = self.total_kn();
        let print = |v: Option<f64>| Cell::from(v.map(|v| self.unit.of_kn(v)));
        for (i, &h) in self.height_mm.iter().enumerate() {
            let mut row = vec![Cell::Number(h)];
            row.extend(self.stations.iter().map(|s| print(s.load_kn.get(i).copied())));
            row.extend([&total, &self.low_kn, &self.high_kn].map(|r| print(r.get(i).copied())));
            row.push(print(interpolate(&self.allowed, h)));
            out.rows.push(row);
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_total_is_the_sum_of_the_stations() {
        let station = |load_kn: Vec<f64>| PlanStation { load_kn, ..PlanStation::default() };
        let plan = Plan {
            height_mm: vec![2.0, 1.0, 0.0],
            stations: vec![station(vec![1.0, 2.0, 0.0]), station(vec![0.0, 5.0, 4.0])],
            ..Plan::default()
        };
        assert_eq!(plan.total_kn(), [1.0, 7.0, 4.0]);
    }
}
