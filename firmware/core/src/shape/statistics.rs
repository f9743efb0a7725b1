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
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct FieldStatistics {
    pub energy: f32,
    pub greatest: f32,
    pub matched: f32,
    pub windows: f32,
    pub window: Standout,
    pub bin: Standout,
}

impl FieldStatistics {
    /// Of a residual in σ units.
    pub(super) fn of<const N: usize, const BINS: usize>(
        model: &ShapeModel<N, BINS>,
        q: &Field<N, BINS>,
    ) -> Self {
        let used = model.layout.used();
        let mut responses = [[0.0_f32; WINDOWS]; N];
        let (mut energy, mut greatest, mut bin) = (0.0_f32, 0.0_f32, Standout::default());
        let rows = q.iter().zip(&model.reference).zip(&model.per_sigma).take(used).enumerate();
        for (n, ((q, reference), per_sigma)) in rows {
            // A bin lies under two neighbouring hats at most.
            let first = if used > 1 { n * (WINDOWS - 1) / (used - 1) } else { 0 };
            let weights = [hat(first, WINDOWS, n, used), hat(first + 1, WINDOWS, n, used)];
            let columns = q.iter().zip(reference).zip(per_sigma).zip(&mut responses).enumerate();
            for (column, (((q, reference), per_sigma), responses)) in columns {
                let square = q * q;
                energy += square;
                if square > greatest {
                    greatest = square;
                    bin = Standout { column: column as u8, bins: [n as u16; 2] };
                }
                let matched = q * reference * per_sigma;
                for (response, weight) in responses.iter_mut().skip(first).zip(weights) {
                    *response += weight * matched;
                }
            }
        }
        let (mut matched, mut window_greatest, mut window) = (0.0_f32, -1.0_f32, Standout::default());
        let mut stations = [0.0_f32; WINDOWS];
        let mut scaled = [[0.0_f32; WINDOWS]; N];
        let columns =
            responses.iter().zip(&model.per_window).zip(&model.per_gain).zip(&mut scaled).enumerate();
        for (column, (((responses, per_window), per_gain), scaled)) in columns {
            let mut sum = 0.0;
            let windows = responses.iter().zip(per_window).zip(scaled).zip(&mut stations).enumerate();
            for (n, (((response, per_window), scaled), station)) in windows {
                *scaled = response * per_window;
                *station += response;
                sum += response;
                let square = *scaled * *scaled;
                if square > window_greatest {
                    window_greatest = square;
                    window = Standout { column: column as u8, bins: window_bins(n, used) };
                }
            }
            let gain = sum * per_gain;
            matched = matched.max(gain * gain);
        }
        for (station, per_station) in stations.iter().zip(&model.per_station) {
            let scaled = station * per_station;
            matched = matched.max(scaled * scaled);
        }
        matched = matched.max(window_greatest);
        let mut windows = 0.0;
        for rows in &model.whitener {
            for row in rows {
                let mut sum = 0.0;
                for (row, scaled) in row.iter().zip(&scaled) {
                    for (weight, scaled) in row.iter().zip(scaled) {
                        sum += weight * scaled;
                    }
                }
                windows += sum * sum;
            }
        }
        Self { energy, greatest, matched, windows, window, bin }
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
