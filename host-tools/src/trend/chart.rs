//! EWMA and CUSUM charts over a series, and what each makes of it.

use statrs::distribution::{ContinuousCDF as _, Normal, StudentsT};

use super::arl::{Cusum, Ewma};

/// Values before a series' own scatter is trusted for charting.
const LEAST: usize = 4;
/// Scores are capped here: one stray value shall not fill a sum by itself, and no chance beyond is known.
const MOST: f64 = 4.0;

/// Scores of a series that are standard normal as long as nothing changes, whatever its mean and spread: each value
/// against the mean and spread of those before it, its chance by Student turned into a normal score. The first values
/// give none.
///
/// Source: Hawkins, The Statistician 36 (1987) 299–315, self-starting charts (from memory); what was not known beforehand
/// costs no false alarms, and a drift that was there from the start is seen later.
#[must_use]
pub fn scores(values: &[f64]) -> Vec<Option<f64>> {
    let normal = Normal::standard();
    let (mut count, mut mean, mut squares) = (0.0, 0.0, 0.0);
    let mut scores = Vec::with_capacity(values.len());
    for value in values {
        let known = count as usize >= LEAST && squares > 0.0;
        scores.push(known.then(|| {
            let spread = f64::sqrt(squares / (count - 1.0) * (1.0 + 1.0 / count));
            let student = (value - mean) / spread;
            let chance = StudentsT::new(0.0, 1.0, count - 1.0).map_or(0.5, |t| t.cdf(student));
            normal.inverse_cdf(chance.clamp(1e-9, 1.0 - 1e-9)).clamp(-MOST, MOST)
        }));
        count += 1.0;
        let off = value - mean;
        mean += off / count;
        squares += off * (value - mean);
    }
    scores
}

/// What a chart signalled.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Signal {
    /// Index of the value that brought it over the limit.
    pub at: usize,
    /// Index of the first value after the sum last lay at zero: where the change may have begun. The EWMA knows none and
    /// gives `at`.
    pub since: usize,
    /// Upwards.
    pub up: bool,
}

/// A course of a chart.
#[derive(Debug, Clone, PartialEq)]
pub struct Course {
    /// The average, or upper and lower sums, after each value.
    pub values: Vec<[f64; 2]>,
    /// The first signal.
    pub signal: Option<Signal>,
}

impl Ewma {
    /// Charts scores; its limit is that of the steady state.
    #[must_use]
    pub fn chart(&self, scores: impl IntoIterator<Item = f64>) -> Course {
        let (mut average, mut course) = (0.0, Course { values: Vec::new(), signal: None });
        for (at, score) in scores.into_iter().enumerate() {
            average += self.weight * (score - average);
            course.values.push([average; 2]);
            if course.signal.is_none() && f64::abs(average) > self.bound() {
                course.signal = Some(Signal { at, since: at, up: average > 0.0 });
            }
        }
        course
    }
}

impl Cusum {
    /// Charts scores.
    #[must_use]
    pub fn chart(&self, scores: impl IntoIterator<Item = f64>) -> Course {
        let mut course = Course { values: Vec::new(), signal: None };
        let (mut sums, mut since) = ([0.0_f64; 2], [0; 2]);
        for (at, score) in scores.into_iter().enumerate() {
            for ((sum, since), score) in sums.iter_mut().zip(&mut since).zip([score, -score]) {
                *sum = f64::max(*sum + score - self.slack, 0.0);
                if *sum == 0.0 {
                    *since = at + 1;
                }
            }
            course.values.push(sums);
            for ((sum, since), up) in sums.into_iter().zip(since).zip([true, false]) {
                if course.signal.is_none() && sum > self.limit {
                    course.signal = Some(Signal { at, since, up });
                }
            }
        }
        course
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn the_ewma_is_that_of_the_published_example() {
        // source: NIST/SEMATECH e-Handbook 6.3.2.4 (as quoted in a public verification script): λ 0.3, start 50, s 2.0539.
        let data = [
            52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2,
            52.6, 52.4, 53.6, 52.1,
        ];
        let printed = [
            50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05,
            49.38, 49.92, 50.73, 51.23, 51.94, 51.99,
        ];
        let chart = Ewma { weight: 0.3, limit: 3.0 };
        let course = chart.chart(data.iter().map(|x| (x - 50.0) / 2.0539));
        for (found, printed) in course.values.iter().zip(printed) {
            assert!((50.0 + 2.0539 * found[0] - printed).abs() <= 0.005 + 1e-9, "{found:?} {printed}");
        }
        assert_eq!(course.signal, None);
        // Printed limits 52.5884 and 47.4115, the lower one cut short.
        assert!((50.0 + 2.0539 * chart.bound() - 52.5884).abs() < 1e-3);
    }

    #[test]
    fn the_cusum_is_that_of_the_published_examples() {
        // source: NIST/SEMATECH e-Handbook 6.3.2.3 (data and constants from memory, sums computed): target 325.
        let data = [
            324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600,
            324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350,
        ];
        let course = Cusum { slack: 0.3175, limit: 4.1959 }.chart(data.iter().map(|x| x - 325.0));
        assert_eq!(course.signal, Some(Signal { at: 13, since: 12, up: true }));
        for (n, upper) in [(4, 0.0325), (12, 3.0075), (13, 4.94), (19, 19.035)] {
            assert!((course.values[n][0] - upper).abs() < 1e-9, "{n}: {:?}", course.values[n]);
        }
        for (n, lower) in [(1, 0.0075), (3, 0.3325), (7, 0.7150), (10, 0.3125), (12, 0.0)] {
            assert!((course.values[n][1] - lower).abs() < 1e-9, "{n}: {:?}", course.values[n]);
        }
        // source: Montgomery and Runger, chemical concentration, target 99, K 1, H 10 (read on issuhub.com): no signal.
        let data = [
            102.0, 94.8, 98.3, 98.4, 102.0, 98.5, 99.0, 97.7, 100.0, 98.1, 101.3, 98.7, 101.1, 98.4, 97.0,
            96.7, 100.3, 101.4, 97.2, 101.0,
        ];
        let upper = [
            2.0, 0.0, 0.0, 0.0, 2.0, 0.5, 0.0, 0.0, 0.0, 0.0, 1.3, 0.0, 1.1, 0.0, 0.0, 0.0, 0.3, 1.7, 0.0,
            1.0,
        ];
        let lower = [
            0.0, 3.2, 2.9, 2.5, 0.0, 0.0, 0.0, 0.3, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0, 2.3, 0.0, 0.0, 0.8,
            0.0,
        ];
        let course = Cusum { slack: 1.0, limit: 10.0 }.chart(data.iter().map(|x| x - 99.0));
        for ((found, upper), lower) in course.values.iter().zip(upper).zip(lower) {
            assert!((found[0] - upper).abs() < 1e-9 && (found[1] - lower).abs() < 1e-9, "{found:?}");
        }
        assert_eq!(course.signal, None);
    }

    #[test]
    fn both_charts_signal_where_the_textbook_s_data_do() {
        // source: Montgomery, 30 observations, target 10, σ 1 (data read on help.imsl.com); signals computed.
        let data = [
            9.45, 7.99, 9.29, 11.66, 12.16, 10.18, 8.04, 11.46, 9.20, 10.34, 9.03, 11.47, 10.51, 9.40, 10.08,
            9.37, 10.62, 10.31, 8.52, 10.84, 10.90, 9.33, 12.29, 11.50, 10.60, 11.08, 10.38, 11.62, 11.31,
            10.52,
        ];
        let cusum = Cusum { slack: 0.5, limit: 5.0 }.chart(data.iter().map(|x| x - 10.0));
        // The 29th value; the change is dated to after the 22nd.
        assert_eq!(cusum.signal, Some(Signal { at: 28, since: 22, up: true }));
        assert!((cusum.values[28][0] - 5.28).abs() < 1e-9);
        let ewma = Ewma { weight: 0.1, limit: 2.7 }.chart(data.iter().map(|x| x - 10.0));
        assert!((10.0 + ewma.values[28][0] - 10.646_82).abs() < 1e-5);
    }

    #[test]
    fn scores_do_not_depend_on_mean_and_spread_and_begin_after_a_few_values() {
        let values = [3.0, 1.0, 4.0, 1.0, 5.0, 9.0, 2.0, 6.0];
        let plain = scores(&values);
        let moved = scores(&values.map(|x| 100.0 + 7.0 * x));
        assert_eq!(plain.iter().filter(|score| score.is_none()).count(), LEAST);
        for (plain, moved) in plain.into_iter().zip(moved) {
            assert!((plain.unwrap_or(0.0) - moved.unwrap_or(0.0)).abs() < 1e-9);
        }
        // By hand: 5 after 3, 1, 4, 1: mean 2.25, s 1.5, t = 2.75 / (1.5·√1.25) = 1.6398 with 3 degrees: chance 0.90018.
        assert!((scores(&values)[4].unwrap() - 1.2826).abs() < 2e-3, "{:?}", scores(&values)[4]);
        assert!(scores(&[2.0; 9]).iter().all(Option::is_none), "what never moves has no spread");
    }
}
