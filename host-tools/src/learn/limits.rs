//! Limits from the statistics of strokes that a model did not see, and what they can claim.

use bolster_core::shape::model::STATISTICS;
use statrs::distribution::{Beta, ChiSquared, ContinuousCDF as _, StudentsT};

use super::innovations::Model;
use super::median;
use super::rehearsal::Rehearsal;

/// Weight of the fitted tail against the normal one: where coil changes are marked, and where they are not.
pub(super) const TAIL_WEIGHTS: [f64; 2] = [0.5, 0.25];
/// Statistics beyond this many robust deviations (of their cube roots) come from bad strokes.
pub(super) const GROSS: f64 = 6.0;

/// Median and robust deviation of values.
pub(super) fn robust(values: &[f64]) -> (f64, f64) {
    let middle = median(&mut values.to_vec());
    (middle, 1.4826 * median(&mut values.iter().map(|value| (value - middle).abs()).collect::<Vec<_>>()))
}

/// Limit that a stroke's statistic passes with probability `alpha`.
///
/// Cube roots of sums of squares are near normal (Wilson–Hilferty). The limit is a mixture of the normal prediction
/// limit for the next stroke and of an exponential tail fitted above the 85th percentile, never below the largest
/// value seen, and wider for few strokes.
pub(super) fn limit(statistics: &[f64], alpha: f64, tail_weight: f64) -> f64 {
    let n = statistics.len();
    let roots: Vec<f64> = statistics.iter().map(|value| value.max(0.0).cbrt()).collect();
    let (middle, spread) = robust(&roots);
    let mut roots: Vec<f64> =
        roots.into_iter().filter(|root| *root < middle + GROSS * spread.max(1e-12)).collect();
    roots.sort_by(f64::total_cmp);
    let mean = roots.iter().sum::<f64>() / roots.len().max(1) as f64;
    let deviation =
        (roots.iter().map(|root| (root - mean).powi(2)).sum::<f64>() / roots.len().max(1) as f64).sqrt();
    let freedom = n.saturating_sub(1).max(3) as f64;
    let quantile = StudentsT::new(0.0, 1.0, freedom).map_or(6.0, |t| -t.inverse_cdf(alpha));
    let normal = middle + quantile * (1.0 + 1.0 / n as f64).sqrt() * spread.max(deviation);
    // The percentile by linear interpolation between order statistics.
    let at = 0.85 * roots.len().saturating_sub(1) as f64;
    let value = |k: usize| roots.get(k).copied().unwrap_or(middle);
    let start = value(at as usize)
        + at.fract() * (value(at as usize + 1).max(value(at as usize)) - value(at as usize));
    let beyond: Vec<f64> = roots.iter().filter(|root| **root > start).map(|root| root - start).collect();
    let excess = beyond.iter().sum::<f64>() / beyond.len().max(1) as f64;
    let tail = start + excess * (0.15 / alpha).ln();
    let greatest = roots.last().copied().unwrap_or(0.0);
    let root = ((1.0 - tail_weight) * normal + tail_weight * tail).max(greatest);
    root.powi(3) * (1.0 + 10.0 / n as f64)
}

/// What a number of strokes and coils can support.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Evidence {
    /// False-stop rate that can be excluded with 95 % confidence for the coils seen.
    pub supported: f64,
    /// In words.
    pub says: String,
}

/// Coils from which on stock's own directions are known from more than one step.
const COILS_WANTED: usize = 3;

/// Rate that `strokes` exclude with 95 % confidence, none of them being beyond any of the limits.
///
/// Each limit stands at or beyond the greatest of its statistic, so that the limits take at most one stroke each as
/// their boundary: the share beyond them is at most a Beta(s, n − s + 1) variable for s statistics
/// (Wilks 1942; Tukey's statistically equivalent blocks 1947).
fn excluded(strokes: usize) -> f64 {
    let (n, s) = (strokes as f64, STATISTICS as f64);
    if strokes < STATISTICS {
        return 1.0;
    }
    Beta::new(s, n - s + 1.0).map_or(1.0, |share| share.inverse_cdf(0.95))
}

impl Evidence {
    pub(super) fn new(model: &Model, rehearsal: Option<Rehearsal>, asked: f64) -> Self {
        let mut evidence = Self::of(model.innovations, model.segments.len(), asked);
        if let Some(Rehearsal { coils, strokes, stopped: [marked, unmarked] }) = rehearsal {
            evidence.says += &format!(
                "; of {coils} coil(s), each judged as a new one by a model of the others, {marked} of {strokes} good \
                 strokes were stopped with coil changes marked, {unmarked} with none marked"
            );
        }
        evidence
    }

    /// Of so many strokes judged by models that had not seen them, from so many coils.
    pub(super) fn of(strokes: usize, coils: usize, asked: f64) -> Self {
        let supported = excluded(strokes);
        let mut says = format!(
            "{strokes} strokes judged by models that had not seen them, none beyond a limit: with 95 % confidence less \
             than {supported:.1e} false stops a stroke for the coils seen"
        );
        if asked < supported {
            // For small rates the bound is that of a Poisson count: half the χ² quantile, over n.
            let wanted = ChiSquared::new(2.0 * STATISTICS as f64)
                .map_or(f64::INFINITY, |chi| (0.5 * chi.inverse_cdf(0.95) / asked).ceil());
            says += &format!(
                "; the {asked:.0e} asked for is an extrapolation of their tail (to show it, {wanted:.0} good strokes would be needed)"
            );
        }
        says += "; for coils to come no rate is claimed";
        if coils < COILS_WANTED {
            let more = COILS_WANTED - coils;
            says += &format!(
                ", only {coils} coil(s) were seen and what other stock does is not proven: record {more} more coil(s)"
            );
            if coils < 2 {
                says += ", until then the limits are wide and small faults pass";
            }
        }
        Self { supported, says }
    }
}
