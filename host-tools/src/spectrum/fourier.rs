//! Amplitude over frequency of free decays, and where it peaks.
//!
//! A decay is strongest where it starts, so the window falls only: w(n) = cos²(πn/2N), the right half of a Hann window,
//! which meets the record's end smoothly. The record is zero-padded to at least eight times its length, and a
//! peak is placed by the parabola through the logarithms of the three highest lines (padding leaves it hardly anything
//! to do). Records are averaged by power. Amplitudes are scaled so that an undamped oscillation shows its own.

use rustfft::FftPlanner;
use rustfft::num_complex::Complex;

/// Zero-padding: length of the transform over that of the record, at least.
const PADDING: usize = 8;
/// Longest transform; records of more than an eighth of it are padded less.
const LONGEST: usize = 1 << 20;

/// Amplitudes of records, averaged.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Lines {
    /// Distance of two lines, Hz.
    pub(super) step_hz: f64,
    /// Amplitude of each line from 0 Hz to half the sample rate.
    pub(super) amplitude: Vec<f64>,
}

/// The lines of records, each with its level already taken away; none where there is nothing to transform.
pub(super) fn lines<'a>(records: impl IntoIterator<Item = &'a [f64]>, sample_hz: f64) -> Option<Lines> {
    let records: Vec<&[f64]> = records.into_iter().collect();
    let longest = records.iter().map(|record| record.len()).max().filter(|length| *length > 1)?;
    let size = (PADDING * longest).next_power_of_two().min(LONGEST.max(longest.next_power_of_two()));
    let transform = FftPlanner::<f64>::new().plan_fft_forward(size);
    let mut power = vec![0.0; size / 2 + 1];
    for record in &records {
        let mut values = vec![Complex::new(0.0, 0.0); size];
        let mut weights = 0.0;
        let quarter = std::f64::consts::FRAC_PI_2 / record.len() as f64;
        for (n, (value, x)) in values.iter_mut().zip(*record).enumerate() {
            let weight = (quarter * n as f64).cos().powi(2);
            weights += weight;
            value.re = weight * x;
        }
        transform.process(&mut values);
        for (sum, value) in power.iter_mut().zip(&values) {
            *sum += value.norm_sqr() * (2.0 / weights).powi(2);
        }
    }
    let amplitude = power.into_iter().map(|sum| f64::sqrt(sum / records.len() as f64)).collect();
    Some(Lines { step_hz: sample_hz / size as f64, amplitude })
}

impl Lines {
    /// Frequencies of the crests, Hz, the highest crest first; those below `share` of the highest are left out.
    pub(super) fn peaks(&self, from_hz: f64, share: f64) -> Vec<f64> {
        let first = (from_hz / self.step_hz).ceil() as usize;
        let mut crests: Vec<(f64, f64)> = self
            .amplitude
            .windows(3)
            .enumerate()
            .filter(|(n, three)| {
                n + 1 >= first && three[1] > three[0] && three[1] >= three[2] && three[0] > 0.0
            })
            .map(|(n, three)| {
                let [a, b, c] = [three[0].ln(), three[1].ln(), three[2].max(f64::MIN_POSITIVE).ln()];
                let bend = a - 2.0 * b + c;
                let off = if bend < 0.0 { 0.5 * (a - c) / bend } else { 0.0 };
                ((n as f64 + 1.0 + off) * self.step_hz, three[1])
            })
            .collect();
        crests.sort_by(|a, b| b.1.total_cmp(&a.1));
        let highest = crests.first().map_or(0.0, |crest| crest.1);
        crests.retain(|crest| crest.1 >= share * highest);
        crests.into_iter().map(|crest| crest.0).collect()
    }

    /// The crest nearest to a frequency and within `reach_hz` of it, Hz.
    pub(super) fn near(&self, hz: f64, reach_hz: f64) -> Option<f64> {
        let crests = self.peaks((hz - reach_hz).max(0.0), 0.0);
        // The highest there, not the nearest: noise has a crest everywhere.
        crests.into_iter().find(|crest| (crest - hz).abs() <= reach_hz)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    #[test]
    fn a_transform_is_numpys() {
        // NumPy's transform of [1, 2, 3, 4] zero-padded to 8 (computed with NumPy 2.4.6).
        let mut values = [1.0, 2.0, 3.0, 4.0, 0.0, 0.0, 0.0, 0.0].map(|re| Complex::new(re, 0.0));
        FftPlanner::<f64>::new().plan_fft_forward(8).process(&mut values);
        let wanted = [
            (10.0, 0.0),
            (-0.414_213_562, -7.242_640_687),
            (-2.0, 2.0),
            (2.414_213_562, -1.242_640_687),
            (-2.0, 0.0),
        ];
        for (found, (re, im)) in values.iter().zip(wanted) {
            assert!((found - Complex::new(re, im)).norm() < 1e-8, "{found}");
        }
    }

    #[test]
    fn an_undamped_oscillation_shows_its_amplitude_at_its_frequency() {
        let rate = 5000.0;
        for hz in [40.0, 93.7, 640.0] {
            let record: Vec<f64> =
                (0..1500).map(|n| 7.0 * (TAU * hz * f64::from(n) / rate + 0.4).cos()).collect();
            let lines = lines([record.as_slice()], rate).unwrap();
            let found = lines.peaks(5.0, 0.5);
            // The falling window leans on the start: the lines of negative frequency reach over a little.
            assert!((found[0] / hz - 1.0).abs() < 2e-3, "{found:?}");
            let highest = lines.amplitude.iter().copied().fold(0.0, f64::max);
            assert!((highest / 7.0 - 1.0).abs() < 0.02, "{highest}");
        }
    }
}
