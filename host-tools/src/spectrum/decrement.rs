//! The logarithmic decrement of one oscillation, read off its crests: the textbook's way, beside the fit.
//!
//! Level and the other oscillations are taken away first. Crests and troughs are read where the fit says that they
//! are, through a parabola of the three nearest samples: the highest sample near by would be the noisiest one. The
//! n-th reading of every record is averaged before the logarithm is taken, and a line is laid through the logarithms,
//! weighted by their certainty. Its slope a half period is half the decrement.

use super::mode::damping_of_decrement;
use super::refine::{Fit, Records};

/// Readings are used while they stand out of their noise by this factor: the logarithm of a noisy number is biased by
/// half its relative variance, 2 % here.
const ABOVE_NOISE: f64 = 5.0;
/// Half periods at least: three crests and troughs make a line that can be wrong.
const FEWEST: usize = 3;
/// And at most.
const MOST: usize = 60;

/// What the crests say.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Crests {
    /// Logarithmic decrement: logarithm of the ratio of two crests one period apart.
    pub(super) decrement: f64,
    /// Its standard error from the readings' noise.
    pub(super) error: f64,
    /// Mean size of each crest and trough in turn.
    pub(super) sizes: Vec<f64>,
}

impl Crests {
    /// Damping ratio.
    pub(super) fn damping(&self) -> f64 {
        damping_of_decrement(self.decrement)
    }
}

/// Reads crests and troughs of an oscillation of a fit; none where too few stand out of the noise.
pub(super) fn crests(fit: &Fit, records: &Records, oscillation: usize) -> Option<Crests> {
    let pole = fit.poles.get(oscillation)?;
    let half_period = std::f64::consts::PI / pole.turn;
    let length = records.length() as f64;
    let readings = (((length - 2.0) / half_period).floor() as usize).min(MOST);
    let mut sums = vec![0.0; readings];
    for record in 0..records.count() {
        let [cosine, sine] = fit.part(record, oscillation);
        // e^(−σt)(a cos ωt + b sin ωt) is flat where tan ωt = (bω − aσ)/(aω + bσ).
        let (up, along) = (sine * pole.turn - cosine * pole.decay, cosine * pole.turn + sine * pole.decay);
        let first = (up.atan2(along) / pole.turn).rem_euclid(half_period);
        let alone = fit.alone(records, record, oscillation);
        for (n, sum) in sums.iter_mut().enumerate() {
            let at = first + n as f64 * half_period;
            let expected = cosine * (pole.turn * at).cos() + sine * (pole.turn * at).sin();
            *sum += between(alone.as_slice(), at) * expected.signum();
        }
    }
    let count = records.count() as f64;
    // The parabola weighs three samples: its noise is at most that of one.
    let noise = fit.deviation(records) / count.sqrt();
    let sizes: Vec<f64> =
        sums.iter().map(|sum| sum / count).take_while(|size| *size > ABOVE_NOISE * noise).collect();
    if sizes.len() < FEWEST {
        return None;
    }
    let mut sums = [0.0; 5];
    for (n, size) in sizes.iter().enumerate() {
        let (x, y, weight) = (n as f64, size.ln(), size * size);
        for (sum, term) in sums.iter_mut().zip([1.0, x, y, x * x, x * y]) {
            *sum += weight * term;
        }
    }
    let [w, x, y, xx, xy] = sums;
    let spread = w * xx - x * x;
    let slope = (w * xy - x * y) / spread;
    let error = noise * f64::sqrt(w / spread);
    Some(Crests { decrement: -2.0 * slope, error: 2.0 * error, sizes })
}

/// Value between samples, by the parabola through the three nearest.
fn between(values: &[f64], at: f64) -> f64 {
    let middle = (at.round().max(1.0) as usize).min(values.len().saturating_sub(2));
    let [a, b, c] =
        [middle.wrapping_sub(1), middle, middle + 1].map(|n| values.get(n).copied().unwrap_or(0.0));
    let u = at - middle as f64;
    b + 0.5 * u * (c - a) + 0.5 * u * u * (a - 2.0 * b + c)
}
