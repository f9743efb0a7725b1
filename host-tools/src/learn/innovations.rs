//! The model and its limits, each stroke judged by a model that did not see it.

use std::ops::Range;

use bolster_core::shape::ROUNDS;
use bolster_core::shape::field::hat;
use bolster_core::shape::model::{FACTORS, STATISTICS, WINDOWS};
use nalgebra::{Cholesky, DMatrix, RowDVector};
use statrs::distribution::{ChiSquared, ContinuousCDF as _};

use super::directions::{HeightSlope, allowed, middles, stacked, tangents, without};
use super::factors::Factors;
use super::gather::Gathered;
use super::limits::{GROSS, TAIL_WEIGHTS, limit, robust};
use super::{Strokes, median, segments};

/// A learnt model, in the learning's own arithmetic.
#[derive(Debug, Clone)]
pub(crate) struct Model {
    /// Stretches of one coil each.
    pub segments: Vec<Range<usize>>,
    /// Reference signature, kN.
    pub reference: RowDVector<f64>,
    /// Scatter.
    pub sigma: RowDVector<f64>,
    /// See [`Factors`].
    pub factors: DMatrix<f64>,
    /// See [`Factors`].
    pub lambda: Vec<f64>,
    /// Allowed directions in stacked coordinates.
    pub allowed: DMatrix<f64>,
    /// Tangents of the reference.
    pub tangents: DMatrix<f64>,
    /// `[column · WINDOWS + window]`: scatter of window responses.
    pub window_scatter: Vec<f64>,
    /// `[column]`.
    pub gain_scatter: Vec<f64>,
    /// `[window]`.
    pub station_scatter: Vec<f64>,
    /// Lower triangular; whitens scaled window responses.
    pub whitener: DMatrix<f64>,
    /// Marked, not marked.
    pub limits: [[f64; STATISTICS]; 2],
    /// Medians of the statistics.
    pub medians: [f64; STATISTICS],
    /// See the core's model.
    pub allowed_limit: f64,
    /// See the core's model.
    pub stock_range: f64,
    /// See the core's model.
    pub stock_widening: f64,
    /// Strokes the limits rest on.
    pub innovations: usize,
}

/// Folds of the strokes; each is judged by a model of the others.
const FOLDS: usize = 4;
/// Strokes a segment's baseline starts from.
const START: usize = 3;
/// See the core's judge.
const BASELINE_WEIGHT: f64 = 0.08;
const BASELINE_WORTH: f64 = 24.0;
/// σ of any bin is at least this share of the greatest reference load: what gauges and rounding cannot resolve.
const FLOOR_SHARE: f64 = 2e-4;
/// Stock's range before any step was seen, in standard deviations of stroke scatter, squared.
const RANGE_PRIOR: f64 = 36.0;
/// How much wider new stock may lie outside the allowed directions after 0, 1 and 2 or more steps seen.
const WIDENINGS: [f64; 3] = [3.0, 1.2, 1.0];

/// The model of gathered strokes at a false-stop rate, and the strokes left out as bad.
pub(super) fn model(gathered: &Gathered, height: &HeightSlope, alpha: f64) -> (Model, Vec<usize>) {
    let first = Fit::new(gathered, height, None);
    let far = first.far();
    let fit = if far.is_empty() {
        first
    } else {
        let mut left_out = first.left_out.clone();
        left_out.extend(far);
        left_out.sort_unstable();
        left_out.dedup();
        Fit::new(gathered, height, Some(left_out))
    };
    let left_out = fit.left_out.clone();
    (fit.model(gathered, alpha), left_out)
}

/// Factor on every limit where only one coil was seen: its strokes say nothing of how the next coil's scatter.
/// Measured, not derived: the least that keeps the median press of the measured ones without a false stop.
const ONE_COIL: f64 = 4.0;

/// Everything but the limits.
struct Fit {
    segments: Vec<Range<usize>>,
    reference: RowDVector<f64>,
    steps: Vec<RowDVector<f64>>,
    factors: Factors,
    allowed: DMatrix<f64>,
    left_out: Vec<usize>,
    /// Which stroke each row of `statistics` is.
    judged: Vec<usize>,
    /// One row a judged stroke.
    statistics: Vec<[f64; STATISTICS]>,
    window_scatter: Vec<f64>,
    gain_scatter: Vec<f64>,
    station_scatter: Vec<f64>,
    whitener: DMatrix<f64>,
}

impl Fit {
    fn new(gathered: &Gathered, height: &HeightSlope, left_out: Option<Vec<usize>>) -> Self {
        let strokes = &gathered.strokes;
        let (n, columns) = (strokes.count(), strokes.columns);
        let greatest = strokes.median(0..n).iter().fold(0.0, |m: f64, v| m.max(v.abs()));
        let floor = FLOOR_SHARE * greatest;
        let segments = match &gathered.coils {
            Some(coils) => segments::marked(coils),
            None => segments::found(strokes, floor),
        };
        let mut later = segments::pairs(strokes, &segments, floor);
        let left_out = left_out.unwrap_or_else(|| {
            let paired = |n: usize| later.contains(&n) || later.contains(&(n + 1));
            (0..n).filter(|n| !paired(*n)).collect()
        });
        later.retain(|n| !left_out.contains(n) && !left_out.contains(&(n - 1)));
        let middles = middles(&gathered.edges);
        let factors_of =
            |later: &[usize]| Factors::of(&segments::differences(strokes, later), columns, floor, FACTORS);
        let factors = factors_of(&later);
        let medians: Vec<RowDVector<f64>> =
            segments.iter().map(|segment| strokes.median(segment.clone())).collect();
        let sum = medians.iter().fold(RowDVector::zeros(strokes.size()), |sum, median| sum + median);
        let reference = sum / medians.len().max(1) as f64;
        let steps: Vec<RowDVector<f64>> = medians
            .first()
            .map_or_else(Vec::new, |first| medians.iter().skip(1).map(|step| step - first).collect());
        let of = |factors: &Factors| allowed(&reference, &steps, height, columns, &middles, factors);
        let fold = |stroke: usize| stroke * FOLDS / n.max(1);
        let folds: Vec<(Factors, DMatrix<f64>)> = (0..FOLDS)
            .map(|held| {
                let others: Vec<usize> =
                    later.iter().copied().filter(|stroke| fold(*stroke) != held).collect();
                // Too few strokes elsewhere: better all of them than none.
                let factors = if others.len() < 8 { factors.clone() } else { factors_of(&others) };
                let allowed = of(&factors);
                (factors, allowed)
            })
            .collect();
        let mut fit = Self {
            allowed: of(&factors),
            segments,
            steps,
            factors,
            left_out,
            judged: Vec::new(),
            statistics: Vec::new(),
            window_scatter: Vec::new(),
            gain_scatter: Vec::new(),
            station_scatter: Vec::new(),
            whitener: DMatrix::zeros(0, 0),
            reference,
        };
        let responses = fit.innovate(strokes, &middles, |stroke| folds.get(fold(stroke)));
        fit.windows(columns, middles.len(), &responses);
        fit
    }

    /// Each good stroke against the running baseline of its stretch; gives the window responses, one row a stroke.
    fn innovate<'a>(
        &mut self,
        strokes: &Strokes,
        middles: &[f64],
        fold: impl Fn(usize) -> Option<&'a (Factors, DMatrix<f64>)>,
    ) -> Vec<Vec<f64>> {
        let columns = strokes.columns;
        let weight = self.reference.component_div(&self.factors.sigma);
        let mut responses = Vec::new();
        for segment in self.segments.clone() {
            let start = segment.start..(segment.start + START).min(segment.end);
            let mut baseline = strokes.median(start.clone());
            let mut worth = START as f64;
            for stroke in start.end..segment.end {
                if self.left_out.contains(&stroke) {
                    continue;
                }
                let Some((factors, allowed)) = fold(stroke) else { continue };
                let x = strokes.row(stroke);
                let inflation = 1.0 + 1.0 / worth.min(BASELINE_WORTH);
                let residual = (&x - &baseline).component_div(&factors.sigma) / inflation.sqrt();
                let (scores, left) = factors.split(&residual);
                let timing = tangents(&baseline, columns, middles, factors);
                let left = without(&timing, left);
                let v = stacked(factors, &scores, &left);
                let along = allowed * v.transpose();
                let count = scores.len();
                let mut own = &v - along.transpose() * allowed;
                for _ in 0..ROUNDS {
                    let field = without(&timing, own.columns(count, left.len()).into_owned());
                    own.columns_mut(count, left.len()).copy_from(&field);
                    own = without(allowed, own);
                }
                let energy = |part: &RowDVector<f64>| part.iter().take(count).map(|s| s * s).sum::<f64>();
                let greatest = left.iter().fold(0.0, |m: f64, q| m.max(q * q));
                // Windows are filled in once their scatter is known.
                self.statistics.push([
                    along.norm_squared(),
                    left.norm_squared(),
                    greatest,
                    0.0,
                    0.0,
                    energy(&own),
                    energy(&v),
                ]);
                self.judged.push(stroke);
                responses.push(respond(&left, &weight, columns, middles.len()));
                worth += 1.0;
                baseline += (&x - &baseline) * (1.0 / worth).max(BASELINE_WEIGHT);
            }
        }
        responses
    }

    /// Scatter of the window responses, and the two statistics that rest on them.
    fn windows(&mut self, columns: usize, bins: usize, responses: &[Vec<f64>]) {
        let weight = self.reference.component_div(&self.factors.sigma);
        // What unit white noise alone would give: no response is quieter than three tenths of it.
        let mut noise = vec![0.0; columns * WINDOWS];
        for (n, weight) in weight.iter().enumerate() {
            for window in 0..WINDOWS {
                if let Some(noise) = noise.get_mut(n % columns * WINDOWS + window) {
                    *noise += (weight * f64::from(hat(window, WINDOWS, n / columns, bins))).powi(2);
                }
            }
        }
        let scatter = |values: Vec<f64>, noise: f64| {
            (1.4826 * median(&mut values.into_iter().map(f64::abs).collect::<Vec<_>>()))
                .max(0.3 * noise.sqrt() + 1e-9)
        };
        let cell = |row: &Vec<f64>, n: usize| row.get(n).copied().unwrap_or(0.0);
        let gain =
            |row: &Vec<f64>, column: usize| row.iter().skip(column * WINDOWS).take(WINDOWS).sum::<f64>();
        let station = |row: &Vec<f64>, window: usize| row.iter().skip(window).step_by(WINDOWS).sum::<f64>();
        let of = |value: &dyn Fn(&Vec<f64>) -> f64| responses.iter().map(value).collect::<Vec<_>>();
        self.window_scatter =
            noise.iter().enumerate().map(|(n, noise)| scatter(of(&|row| cell(row, n)), *noise)).collect();
        let gain_noise =
            |column: usize| weight.iter().skip(column).step_by(columns).map(|w| w * w).sum::<f64>();
        self.gain_scatter = (0..columns).map(|c| scatter(of(&|row| gain(row, c)), gain_noise(c))).collect();
        let station_noise = |window: usize| noise.iter().skip(window).step_by(WINDOWS).sum::<f64>();
        self.station_scatter =
            (0..WINDOWS).map(|w| scatter(of(&|row| station(row, w)), station_noise(w))).collect();
        let size = columns * WINDOWS;
        let scaled = DMatrix::from_fn(responses.len(), size, |row, n| {
            responses.get(row).map_or(0.0, |row| cell(row, n))
                / self.window_scatter.get(n).copied().unwrap_or(1.0)
        });
        let clipped = scaled.map(|value| value.clamp(-5.0, 5.0));
        let covariance = clipped.tr_mul(&clipped) / responses.len().max(1) as f64;
        // A fifth of the identity keeps windows that hardly move from ruling the sum.
        let covariance = covariance * 0.8 + DMatrix::identity(size, size) * 0.2;
        let lower =
            Cholesky::new(covariance).map_or_else(|| DMatrix::identity(size, size), |cholesky| cholesky.l());
        self.whitener = lower.clone().try_inverse().unwrap_or_else(|| DMatrix::identity(size, size));
        let whitened = &scaled * self.whitener.transpose();
        for (row, statistics) in self.statistics.iter_mut().enumerate() {
            let Some(response) = responses.get(row) else { continue };
            let square =
                |value: f64, scatter: Option<&f64>| (value / scatter.copied().unwrap_or(1.0)).powi(2);
            let cells = (0..size).map(|n| square(cell(response, n), self.window_scatter.get(n)));
            let gains = (0..columns).map(|c| square(gain(response, c), self.gain_scatter.get(c)));
            let stations = (0..WINDOWS).map(|w| square(station(response, w), self.station_scatter.get(w)));
            statistics[3] = cells.chain(gains).chain(stations).fold(0.0, f64::max);
            statistics[4] = whitened.row(row).norm_squared();
        }
    }

    /// Strokes whose own statistics stand far off the rest: at most one in twenty-five, the worst.
    fn far(&self) -> Vec<usize> {
        let mut off = vec![0.0_f64; self.statistics.len()];
        for statistic in 1..6 {
            let roots: Vec<f64> =
                self.statistics.iter().map(|row| row.get(statistic).copied().unwrap_or(0.0).cbrt()).collect();
            let (middle, spread) = robust(&roots);
            for (off, root) in off.iter_mut().zip(roots) {
                *off = off.max((root - middle) / spread.max(1e-12));
            }
        }
        let mut far: Vec<(f64, usize)> =
            off.into_iter().zip(self.judged.iter().copied()).filter(|(off, _)| *off > GROSS).collect();
        far.sort_by(|a, b| b.0.total_cmp(&a.0));
        far.truncate((self.statistics.len() / 25).max(2));
        far.into_iter().map(|(_, stroke)| stroke).collect()
    }

    fn model(self, gathered: &Gathered, alpha: f64) -> Model {
        let columns = gathered.strokes.columns;
        let each = alpha / STATISTICS as f64;
        let of = |statistic: usize| -> Vec<f64> {
            self.statistics.iter().map(|row| row.get(statistic).copied().unwrap_or(0.0)).collect()
        };
        let thin = if self.steps.is_empty() { ONE_COIL } else { 1.0 };
        let limits = TAIL_WEIGHTS
            .map(|weight| std::array::from_fn(|statistic| thin * limit(&of(statistic), each, weight)));
        let medians = std::array::from_fn(|statistic| median(&mut of(statistic)).max(1e-9));
        let freedom = self.allowed.nrows().max(1) as f64;
        let chi = ChiSquared::new(freedom).map_or(30.0, |chi| chi.inverse_cdf(1.0 - alpha));
        let movement = self.steps.iter().map(|step| {
            let (scores, left) = self.factors.split(&step.component_div(&self.factors.sigma));
            (&self.allowed * stacked(&self.factors, &scores, &left).transpose()).norm_squared() / freedom
        });
        let seen = self.steps.len() as f64;
        let stock_range = 0.5 * (RANGE_PRIOR + seen * 2.0 * movement.fold(0.0, f64::max)) / (1.0 + seen);
        let tangents = tangents(&self.reference, columns, &middles(&gathered.edges), &self.factors);
        Model {
            innovations: self.judged.len(),
            stock_widening: WIDENINGS.get(self.steps.len()).copied().unwrap_or(1.0),
            segments: self.segments,
            reference: self.reference,
            sigma: self.factors.sigma,
            factors: self.factors.rows,
            lambda: self.factors.lambda.iter().copied().collect(),
            allowed: self.allowed,
            tangents,
            window_scatter: self.window_scatter,
            gain_scatter: self.gain_scatter,
            station_scatter: self.station_scatter,
            whitener: self.whitener,
            limits,
            medians,
            allowed_limit: 1.3 * chi,
            stock_range,
        }
    }
}

/// Responses of a residual to the reference under each window: `[column · WINDOWS + window]`.
fn respond(left: &RowDVector<f64>, weight: &RowDVector<f64>, columns: usize, bins: usize) -> Vec<f64> {
    let mut responses = vec![0.0; columns * WINDOWS];
    for (n, (q, weight)) in left.iter().zip(weight.iter()).enumerate() {
        for window in 0..WINDOWS {
            let hat = f64::from(hat(window, WINDOWS, n / columns, bins));
            if let Some(response) = responses.get_mut(n % columns * WINDOWS + window) {
                *response += hat * q * weight;
            }
        }
    }
    responses
}
