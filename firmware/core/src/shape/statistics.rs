//! The numbers a residual is judged by.

use super::field::{Field, hat};
use super::model::{STATISTICS, ShapeModel, Statistic, WINDOWS};
use super::residual::Residual;

/// Where a residual stands out most.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Standout {
    /// Column.
    pub column: u8,
    /// First and last bin concerned.
    pub bins: [u16; 2],
}

/// What one stroke measured.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Measures {
    /// Each statistic over its limit; above 1 the stroke left what good strokes do.
    pub over_limit: [f32; STATISTICS],
    /// The window and column that stand out most.
    pub window: Standout,
    /// The bin and column that stand out most.
    pub bin: Standout,
}

/// Statistics of a residual field: energy, greatest, matched, windows.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct FieldStatistics {
    pub energy: f32,
    pub greatest: f32,
    pub matched: f32,
    pub windows: f32,
    pub window: Standout,
    pub bin: Standout,
}

/// Bins that one part of a [`Tally`] takes in, and one part of a slope.
pub(super) const PIECE: usize = 8;

/// The statistics of a residual field while they are being made, a part a frame.
#[derive(Debug, Clone)]
pub(super) struct Tally<const N: usize> {
    step: usize,
    /// `[column][window]`: responses; scaled once all bins are in.
    responses: [[f32; WINDOWS]; N],
    /// What there is so far; whole when the last part is done.
    pub made: FieldStatistics,
}

impl<const N: usize> Default for Tally<N> {
    fn default() -> Self {
        Self { step: 0, responses: [[0.0; WINDOWS]; N], made: FieldStatistics::default() }
    }
}

impl<const N: usize> Tally<N> {
    /// Calls of [`Self::advance`] that a field of so many bins takes.
    pub(super) const fn parts(bins: usize) -> usize {
        bins.div_ceil(PIECE) + 1 + N
    }

    /// One part of the work on a residual in σ units. True when all is done; the next call then starts afresh.
    pub(super) fn advance<const BINS: usize>(
        &mut self,
        model: &ShapeModel<N, BINS>,
        q: &Field<N, BINS>,
    ) -> bool {
        let step = self.step;
        self.step += 1;
        let pieces = BINS.div_ceil(PIECE);
        if step == 0 {
            *self = Self { step: 1, ..Self::default() };
        }
        if step < pieces {
            self.take_in(model, q, step * PIECE);
        } else if step == pieces {
            self.compare(model);
        } else if let Some(rows) = model.whitener.get(step - pieces - 1) {
            for row in rows {
                let mut sum = 0.0;
                for (row, scaled) in row.iter().zip(&self.responses) {
                    for (weight, scaled) in row.iter().zip(scaled) {
                        sum += weight * scaled;
                    }
                }
                self.made.windows += sum * sum;
            }
        }
        let done = self.step >= Self::parts(BINS);
        if done {
            self.step = 0;
        }
        done
    }

    /// The bins from the n-th on.
    fn take_in<const BINS: usize>(&mut self, model: &ShapeModel<N, BINS>, q: &Field<N, BINS>, from: usize) {
        let used = model.layout.used();
        let FieldStatistics { mut energy, mut greatest, mut bin, .. } = self.made;
        let rows = q.iter().zip(&model.reference).zip(&model.per_sigma).enumerate();
        for (n, ((q, reference), per_sigma)) in rows.take(used).skip(from).take(PIECE) {
            // A bin lies under two neighbouring hats at most.
            let first = if used > 1 { (n * (WINDOWS - 1) / (used - 1)).min(WINDOWS - 2) } else { 0 };
            let weights = [hat(first, WINDOWS, n, used), hat(first + 1, WINDOWS, n, used)];
            let columns = q.iter().zip(reference).zip(per_sigma).zip(&mut self.responses).enumerate();
            for (column, (((q, reference), per_sigma), responses)) in columns {
                let square = q * q;
                energy += square;
                if square > greatest {
                    greatest = square;
                    bin = Standout { column: column as u8, bins: [n as u16; 2] };
                }
                let matched = q * reference * per_sigma;
                if let Some([one, two]) = responses.get_mut(first..first + 2) {
                    *one += weights[0] * matched;
                    *two += weights[1] * matched;
                }
            }
        }
        self.made = FieldStatistics { energy, greatest, bin, ..self.made };
    }

    /// The responses against their scatter.
    fn compare<const BINS: usize>(&mut self, model: &ShapeModel<N, BINS>) {
        let used = model.layout.used();
        let (mut matched, mut window_greatest, mut window) = (0.0_f32, -1.0_f32, (0, 0));
        let mut stations = [0.0_f32; WINDOWS];
        let columns = self.responses.iter_mut().zip(&model.per_window).zip(&model.per_gain).enumerate();
        for (column, ((responses, per_window), per_gain)) in columns {
            let mut sum = 0.0;
            let windows = responses.iter_mut().zip(per_window).zip(&mut stations).enumerate();
            for (n, ((response, per_window), station)) in windows {
                *station += *response;
                sum += *response;
                *response *= per_window;
                let square = *response * *response;
                if square > window_greatest {
                    window_greatest = square;
                    window = (column, n);
                }
            }
            let gain = sum * per_gain;
            matched = matched.max(gain * gain);
        }
        for (station, per_station) in stations.iter().zip(&model.per_station) {
            let scaled = station * per_station;
            matched = matched.max(scaled * scaled);
        }
        self.made.matched = matched.max(window_greatest);
        if window_greatest >= 0.0 {
            self.made.window = Standout { column: window.0 as u8, bins: window_bins(window.1, used) };
        }
    }
}

/// Bins in which a window's hat is above a half.
fn window_bins(window: usize, used: usize) -> [u16; 2] {
    let share = |along: f32| (along / (WINDOWS - 1) as f32).clamp(0.0, 1.0) * used.saturating_sub(1) as f32;
    let middle = window as f32;
    [share(middle - 0.5) as u16, share(middle + 0.5) as u16]
}

/// Sum of squares.
pub(super) fn energy(values: &[f32]) -> f32 {
    values.iter().map(|value| value * value).sum()
}

/// All statistics of a stroke against a baseline worth `strokes` strokes, in the order of [`Statistic`].
pub(super) fn all<const N: usize, const BINS: usize>(
    residual: &Residual<N, BINS>,
    q: &FieldStatistics,
    inflation: f32,
) -> [f32; STATISTICS] {
    let mut values = [0.0; STATISTICS];
    for (value, statistic) in values.iter_mut().zip(Statistic::ALL) {
        *value = match statistic {
            Statistic::Allowed => energy(&residual.allowed),
            Statistic::Residual => q.energy,
            Statistic::Greatest => q.greatest,
            Statistic::Matched => q.matched,
            Statistic::Windows => q.windows,
            Statistic::Scores => energy(&residual.own_scores),
            Statistic::AllScores => energy(&residual.scores),
        } / inflation;
    }
    values
}
