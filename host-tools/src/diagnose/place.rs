//! Where a change shows: in the stroke, on the bolster plate, at which station or column.

use bolster_core::crank::CrankSlider;
use bolster_core::press::{Columns, PressSpec};
use bolster_core::verdict::Reason;

use super::cause::{FREE_COURSE, Seen};
use super::diagnosis::{Centre, ChangeSeen, Extent, Place, tidy};
use super::grid::Grid;
use super::history::Before;
use super::press_wide::Wide;
use crate::session::{FindingOutcome, Outcome};

/// Places named at most.
pub(super) const MOST: usize = 8;
/// A change shows where it is beyond this share of its greatest.
const SHOWS: f64 = 1.0 / 3.0;

/// Expected loads and their change, averaged over the ringing.
pub(super) struct Smooth<'a> {
    grid: &'a Grid,
    columns: usize,
    expected: Vec<f64>,
    change: Vec<f64>,
}

impl<'a> Smooth<'a> {
    pub(super) fn new(grid: &'a Grid, expected: &[f64], change: &[f64], columns: usize) -> Self {
        Self { grid, columns, expected: grid.smoothed(expected), change: grid.smoothed(change) }
    }

    fn totals(&self, values: &[f64]) -> Vec<f64> {
        values.chunks(self.columns).map(|row| row.iter().sum()).collect()
    }

    /// Where the total is greatest.
    fn peak(&self) -> usize {
        let totals = self.totals(&self.expected);
        totals.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1)).map_or(0, |(n, _)| n)
    }

    /// Greatest total over the greatest expected.
    pub(super) fn peak_ratio(&self) -> f64 {
        let expected = self.totals(&self.expected);
        let greatest = expected.iter().copied().fold(0.0, f64::max);
        let stroke = expected.iter().zip(self.totals(&self.change)).map(|(e, c)| e + c).fold(0.0, f64::max);
        if greatest > 0.0 { stroke / greatest } else { 1.0 }
    }

    /// What is left of the columns' changes in their sum, 0 to 1.
    pub(super) fn net(&self) -> f64 {
        let net: f64 = self.totals(&self.change).iter().map(|v| v.abs()).sum();
        let all: f64 = self.change.iter().map(|v| v.abs()).sum();
        if all > 0.0 { net / all } else { 0.0 }
    }

    /// How much the columns change in each place, whatever the sign.
    fn strength(&self) -> Vec<f64> {
        self.change.chunks(self.columns).map(|row| row.iter().map(|v| v.abs()).sum()).collect()
    }

    pub(super) fn extent(&self, crank: Option<&CrankSlider>, by_angle: bool) -> Option<Extent> {
        let strength = self.strength();
        let (greatest, most) = strength.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1))?;
        if *most <= 0.0 {
            return None;
        }
        let shows = |value: &f64| *value >= SHOWS * most;
        let (first, last) = (strength.iter().position(shows)?, strength.iter().rposition(shows)?);
        let at = |n: usize| self.grid.places.get(n).copied();
        let degrees = |n: usize| at(n).filter(|_| by_angle).map(|degrees| tidy(degrees, 1));
        let height = |n: usize| Some(tidy(crank?.height_mm(degrees(n)?.to_radians()), 2));
        let way = degrees(first).zip(degrees(last)).map(|(from, to)| {
            if to <= 180.0 {
                "down"
            } else if from >= 180.0 {
                "up"
            } else {
                "both"
            }
        });
        Some(Extent {
            from_deg: degrees(first),
            to_deg: degrees(last),
            greatest_deg: degrees(greatest),
            from_height_mm: height(first),
            to_height_mm: height(last),
            greatest_height_mm: height(greatest),
            from_ms: at(first).filter(|_| !by_angle).map(|ms| tidy(ms, 1)),
            to_ms: at(last).filter(|_| !by_angle).map(|ms| tidy(ms, 1)),
            way,
        })
    }

    pub(super) fn change(&self, names: &'static [&'static str], before: &Before) -> ChangeSeen {
        let totals = self.totals(&self.change);
        let greatest = totals.iter().copied().fold(0.0, |a: f64, b| if b.abs() > a.abs() { b } else { a });
        let most = totals.iter().copied().fold(0.0, f64::max);
        let least = -totals.iter().copied().fold(0.0, f64::min);
        let sign = if most > 3.0 * least {
            "more"
        } else if least > 3.0 * most {
            "less"
        } else {
            "both"
        };
        let peak = self.totals(&self.expected).into_iter().fold(0.0, f64::max);
        let squares = (0..self.columns)
            .map(|column| self.change.iter().skip(column).step_by(self.columns).map(|v| v * v).sum::<f64>());
        let column = squares.enumerate().max_by(|a, b| a.1.total_cmp(&b.1)).map_or(0, |(n, _)| n);
        ChangeSeen {
            sign,
            greatest_kn: tidy(greatest, 2),
            greatest_percent: if peak > 0.0 { tidy(100.0 * greatest / peak, 2) } else { 0.0 },
            column: names.get(column).copied().unwrap_or_default(),
            strokes_alike: before.alike,
            strokes_looked_at: before.of,
            course: before.course.word(),
        }
    }

    /// Load centres. That of the change is the place of one force that fits the moments of the change best: the
    /// slope of its moment over its total.
    pub(super) fn centre(&self, spec: &PressSpec, variances: &[f64]) -> Option<Centre> {
        if spec.columns == Columns::Total {
            return None;
        }
        let arms: [Vec<f64>; 2] = [
            spec.columns.side_x().iter().map(|side| f64::from(*side) * spec.bolster_mm[0] / 2.0).collect(),
            spec.columns.side_y().iter().map(|side| f64::from(*side) * spec.bolster_mm[1] / 2.0).collect(),
        ];
        let known = [true, spec.columns == Columns::Corners];
        let moment = |row: &[f64], arms: &[f64]| row.iter().zip(arms).map(|(f, x)| f * x).sum::<f64>();
        let peak = self.peak();
        let at_peak = |values: &[f64]| -> Vec<f64> {
            values.iter().skip(peak * self.columns).take(self.columns).copied().collect()
        };
        let (expected, change) = (at_peak(&self.expected), at_peak(&self.change));
        let stroke: Vec<f64> = expected.iter().zip(&change).map(|(e, c)| e + c).collect();
        let of = |row: &[f64], arms: &[f64]| {
            let total: f64 = row.iter().sum();
            (total > 0.02 * spec.rated_kn).then(|| moment(row, arms) / total)
        };
        let mut centre = Centre {
            of_change_mm: [None; 2],
            of_change_within_mm: [None; 2],
            expected_mm: [None; 2],
            shift_mm: [None; 2],
        };
        for (axis, (arms, known)) in arms.iter().zip(known).enumerate() {
            if !known {
                continue;
            }
            let (mut along, mut square, mut noise) = (0.0, 0.0, 0.0);
            for (row, variances) in self.change.chunks(self.columns).zip(variances.chunks(self.columns)) {
                let total: f64 = row.iter().sum();
                along += total * moment(row, arms);
                square += total * total;
                noise += total * total * variances.iter().zip(arms).map(|(v, x)| v * x * x).sum::<f64>();
            }
            let set = |into: &mut [Option<f64>; 2], value: Option<f64>| {
                if let Some(into) = into.get_mut(axis) {
                    *into = value.filter(|value| value.is_finite()).map(|value| tidy(value, 1));
                }
            };
            if square > 0.0 {
                let at = along / square;
                // A centre beyond the columns is no place: the columns change against one another.
                let reach = arms.iter().copied().fold(0.0, f64::max);
                let within = (noise / self.grid.worth().max(1e-9)).sqrt() / square;
                set(&mut centre.of_change_mm, (at.abs() <= 1.2 * reach).then_some(at));
                set(&mut centre.of_change_within_mm, (at.abs() <= 1.2 * reach).then_some(within));
            }
            let (before, after) = (of(&expected, arms), of(&stroke, arms));
            set(&mut centre.expected_mm, before);
            set(&mut centre.shift_mm, before.zip(after).map(|(before, after)| after - before));
        }
        Some(centre)
    }
}

/// Nearest corner or side of a place.
pub(super) fn corner(columns: Columns, bolster_mm: [f64; 2], [x, y]: [f64; 2]) -> Option<&'static str> {
    let sides = columns.side_x().iter().zip(columns.side_y()).zip(columns.names());
    let away = |(sx, sy): (&f32, &f32)| {
        let dx = x - f64::from(*sx) * bolster_mm[0] / 2.0;
        let dy = y - f64::from(*sy) * bolster_mm[1] / 2.0;
        dx * dx + dy * dy
    };
    if columns == Columns::Total {
        return None;
    }
    sides.min_by(|a, b| away(a.0).total_cmp(&away(b.0))).map(|(_, name)| *name)
}

/// Every place, unordered.
pub(super) fn ranked(spec: &PressSpec, seen: &Seen<'_>) -> Vec<Place> {
    let place = |kind, name: String, explains: f64| Place {
        kind,
        name,
        station: None,
        at_mm: None,
        corner: None,
        explains,
        as_likely_as_first: false,
    };
    let mut all = Vec::new();
    for (station, fit) in seen.stations.iter().zip(seen.station_fits) {
        all.push(Place {
            station: Some(station.number),
            at_mm: Some([station.x_mm, station.y_mm]),
            corner: corner(spec.columns, spec.bolster_mm, [station.x_mm, station.y_mm]),
            ..place("station", station.name.clone(), fit.explained)
        });
    }
    // With one gauge there is no telling where.
    if let Some(spot) = seen.spot.filter(|_| seen.names.len() > 1) {
        all.push(Place {
            at_mm: Some(spot.at_mm),
            corner: spot.corner,
            ..place(
                "near",
                spot.corner.unwrap_or("middle").to_owned(),
                (spot.explained - FREE_COURSE).max(0.0),
            )
        });
    }
    let of = |pick: &dyn Fn(Wide) -> bool| {
        let fits = seen.patterns.iter().zip(seen.pattern_fits).filter(|(pattern, _)| pick(pattern.what));
        fits.map(|(_, fit)| fit.explained).fold(0.0, f64::max)
    };
    // With one gauge, what is no station is the gauge or the press it stands for.
    let single = seen.names.len() == 1;
    for (column, name) in seen.names.iter().enumerate() {
        let own = of(&|what| match what {
            Wide::GaugeGain(n) | Wide::GaugeZero(n) | Wide::SoftColumn(n) => n == column,
            _ => single,
        });
        // What is in one column alone is that column's, whatever it looks like.
        let share = seen.alone.get(column).copied().unwrap_or(0.0);
        let alone = if !single { ((share - 0.7) / 0.3).clamp(0.0, 1.0) } else { 0.0 };
        let corner = (!single).then_some(*name);
        all.push(Place { corner, ..place("column", (*name).to_owned(), own.max(alone)) });
    }
    if !seen.patterns.is_empty() && !single {
        let press = of(&|what| {
            use Wide::{AtBottom, GaugeGain, GaugeZero, SoftColumn};
            !matches!(what, GaugeGain(_) | GaugeZero(_) | SoftColumn(_) | AtBottom)
        });
        all.push(place("press", "press".to_owned(), press));
    }
    all
}

/// Whether the monitor found a gauge faulty.
pub(super) fn is_of_gauge(finding: &FindingOutcome) -> bool {
    Reason::ALL.iter().any(|reason| reason.is_of_gauge() && reason.code() == finding.reason)
}

/// A gauge that the monitor found faulty is where the change is: what it reads is no load.
pub(super) fn gauges_told(outcome: &Outcome, all: &mut [Place]) {
    for finding in outcome.findings.iter().filter(|finding| is_of_gauge(finding)) {
        let found = all
            .iter_mut()
            .find(|place| place.kind == "column" && Some(place.name.as_str()) == finding.column);
        if let Some(place) = found {
            // Above every share there can be.
            place.explains = 1.0;
        }
    }
}
