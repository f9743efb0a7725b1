//! A recording row by row: the tails of strokes spread evenly over it, and of every stroke its zeros and shares.
//!
//! Loads are taken as recorded, before the monitor's low-pass. Memory is bounded: of a long recording every second,
//! fourth, eighth ... stroke's tail is kept.

use super::tail::Tail;
use crate::recording::Row;

/// Tails kept of a recording at most: their scatter tells the uncertainty, more tell hardly more.
const MOST_TAILS: usize = 240;
/// Readings of one stroke that are looked at; a whole turn at 10 kHz and 10 strokes a minute has 60,000.
const MOST_READINGS: usize = 1 << 20;
/// Readings of one tail kept.
const LONGEST_TAIL: usize = 1 << 16;
/// Share of a stroke's readings, at its start, that tell its zeros, and how many at least.
const HEAD_SHARE: usize = 50;
const HEAD_LEAST: usize = 8;
/// Share of its peak at which a stroke has met the stock.
const LOADED: f64 = 0.03;
/// Readings kept from before that, to tell the noise by.
const LONGEST_HEAD: usize = 512;
/// Its peak must be this share of the rating for a stroke to be one.
const LEAST_PEAK: f64 = 0.002;

/// Zeros and shares of one stroke.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Resting {
    /// Stroke number.
    pub(super) stroke: u64,
    /// `[column]`: load at the start of the recorded part, kN.
    pub(super) zero_kn: [f64; 4],
    /// `[column]`: share of the total at its peak.
    pub(super) share: [f64; 4],
}

/// How a recording tells time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Clock {
    /// By a column of seconds.
    Time,
    /// By crank angle and strokes a minute, as the press turned before it met the die.
    Speed,
    /// Not at all.
    None,
}

/// Gathers the strokes of one recording.
#[derive(Debug)]
pub(super) struct Gatherer {
    columns: usize,
    rated_kn: f64,
    clock: Clock,
    by_angle: bool,
    rows: Vec<Row>,
    /// Every so many strokes a tail is kept.
    every: u64,
    seen: u64,
    /// With the sample rate that each shows, Hz.
    pub(super) tails: Vec<(Tail, f64)>,
    pub(super) resting: Vec<Resting>,
    /// Strokes whose readings are not evenly spaced in time.
    pub(super) uneven: u64,
}

impl Gatherer {
    pub(super) fn new(columns: usize, rated_kn: f64, clock: Clock, by_angle: bool) -> Self {
        Self {
            columns,
            rated_kn,
            clock,
            by_angle,
            rows: Vec::new(),
            every: 1,
            seen: 0,
            tails: Vec::new(),
            resting: Vec::new(),
            uneven: 0,
        }
    }

    /// Takes in a row, loads in kN.
    pub(super) fn row(&mut self, row: &Row) {
        if self.rows.last().is_some_and(|last| last.stroke != row.stroke) {
            self.end_stroke();
        }
        if self.rows.len() < MOST_READINGS {
            self.rows.push(*row);
        }
    }

    /// The recording has ended.
    pub(super) fn close(&mut self) {
        self.end_stroke();
        self.rows = Vec::new();
    }

    fn total(&self, row: &Row) -> f64 {
        row.loads.iter().take(self.columns).sum()
    }

    fn end_stroke(&mut self) {
        let totals: Vec<f64> = self.rows.iter().map(|row| self.total(row)).collect();
        let peak = totals.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1)).map(|(n, _)| n);
        if let (Some(peak), Some(first)) = (peak, self.rows.first())
            && totals[peak] > LEAST_PEAK * self.rated_kn
        {
            let head = (self.rows.len() / HEAD_SHARE).max(HEAD_LEAST).min(self.rows.len());
            let mut resting = Resting { stroke: first.stroke, zero_kn: [0.0; 4], share: [0.0; 4] };
            for column in 0..self.columns {
                let values: Vec<f64> = self.rows[..head].iter().map(|row| row.loads[column]).collect();
                resting.zero_kn[column] = super::median(&values);
                resting.share[column] = self.rows[peak].loads[column] / totals[peak];
            }
            self.resting.push(resting);
            if self.seen.is_multiple_of(self.every) && self.clock != Clock::None {
                match self.tail(&totals, peak) {
                    Some(tail) => self.tails.push(tail),
                    None => self.uneven += 1,
                }
            }
            self.seen += 1;
            if self.tails.len() > MOST_TAILS {
                let mut n = 0;
                self.tails.retain(|_| {
                    n += 1;
                    n % 2 == 1
                });
                self.every *= 2;
            }
        }
        self.rows.clear();
    }

    /// The tail and its sample rate; none where readings are not evenly spaced.
    fn tail(&self, totals: &[f64], peak: usize) -> Option<(Tail, f64)> {
        let end = self.rows.len().min(peak + LONGEST_TAIL);
        let rows = &self.rows[peak..end];
        let hz = match self.clock {
            Clock::Time => even(rows)?,
            Clock::Speed => turning(&self.rows[..=peak])?,
            Clock::None => return None,
        };
        let half = totals[peak..end].iter().rposition(|total| *total > 0.5 * totals[peak]).unwrap_or(0);
        let mut furthest = f32::NEG_INFINITY;
        let place = rows
            .iter()
            .enumerate()
            .map(|(n, row)| {
                let place = if self.by_angle { row.angle_deg } else { (n as f64 - half as f64) / hz };
                furthest = furthest.max(place as f32);
                furthest
            })
            .collect();
        let loads = (0..self.columns)
            .map(|column| rows.iter().map(|row| row.loads[column] as f32).collect())
            .collect();
        // Half of the way to the first reading that is loaded: what is before it is noise and inertia alone.
        let loaded = totals.iter().position(|total| *total > LOADED * totals[peak]).unwrap_or(0);
        let quiet = &self.rows[..(loaded / 2).min(LONGEST_HEAD)];
        let head = (0..self.columns)
            .map(|column| quiet.iter().map(|row| row.loads[column] as f32).collect())
            .collect();
        Some((Tail { stroke: rows.first()?.stroke, place, loads, head }, hz))
    }
}

/// Sample rate of rows whose times step evenly, within half a step at each; none for others.
fn even(rows: &[Row]) -> Option<f64> {
    let (first, last) = (rows.first()?, rows.last()?);
    let steps = rows.len() as f64 - 1.0;
    let hz = steps / (last.time_s - first.time_s);
    let on_time = |(n, row): (usize, &Row)| ((row.time_s - first.time_s) * hz - n as f64).abs() < 0.5;
    (steps >= 1.0 && hz.is_finite() && hz > 0.0 && rows.iter().enumerate().all(on_time)).then_some(hz)
}

/// Sample rate from the first quarter of a stroke's way to its peak, where the press has no work to slow it down.
fn turning(rows: &[Row]) -> Option<f64> {
    let first = rows.first()?;
    let last = rows.get(rows.len() / 4)?;
    let steps = (rows.len() / 4) as f64;
    let degrees = last.angle_deg - first.angle_deg;
    let hz = steps * 6.0 * first.speed_spm / degrees;
    (steps >= 8.0 && degrees > 1.0 && hz.is_finite() && hz > 0.0).then_some(hz)
}
