//! Rank statistics of a trend: Mann and Kendall's test, Theil and Sen's slope, Hodges and Lehmann's centre.
//!
//! The test's distribution without a trend does not depend on how the values scatter, only on their being independent
//! and alike; who feeds it dependent values must widen its variance ([`Kendall::p_value`] takes the factor).

use statrs::distribution::{ContinuousCDF as _, Normal};

/// Longest series whose distribution is computed exactly; beyond it the normal one is as good.
const EXACT: usize = 100;

/// Mann and Kendall's statistic of a series in its order.
#[derive(Debug, Clone, PartialEq)]
pub struct Kendall {
    /// Pairs that rise less pairs that fall.
    pub s: i64,
    /// Variance of `s` without a trend, ties taken into account.
    pub variance: f64,
    count: usize,
    ties: bool,
}

impl Kendall {
    /// Of values in their order, all finite.
    #[must_use]
    pub fn of(values: &[f64]) -> Self {
        let mut s = 0;
        for (n, later) in values.iter().enumerate() {
            for earlier in values.iter().take(n) {
                s += match later.total_cmp(earlier) {
                    std::cmp::Ordering::Greater => 1,
                    std::cmp::Ordering::Equal => 0,
                    std::cmp::Ordering::Less => -1,
                };
            }
        }
        let term = |n: f64| n * (n - 1.0) * (2.0 * n + 5.0);
        let mut sorted = values.to_vec();
        sorted.sort_by(f64::total_cmp);
        let tied: f64 = sorted.chunk_by(|a, b| a == b).map(|tie| term(tie.len() as f64)).sum();
        let variance = (term(values.len() as f64) - tied) / 18.0;
        Self { s, variance, count: values.len(), ties: tied > 0.0 }
    }

    /// The normal score, corrected for the steps of `s`.
    #[must_use]
    pub fn z(&self) -> f64 {
        self.z_inflated(1.0)
    }

    fn z_inflated(&self, factor: f64) -> f64 {
        let spread = (self.variance * factor).sqrt();
        if self.s == 0 || spread <= 0.0 {
            return 0.0;
        }
        (self.s - self.s.signum()) as f64 / spread
    }

    /// Two-sided chance of as large an `s` without a trend, where the variance of `s` is `factor` (at least 1) times that
    /// of independent values. Exact for up to a hundred independent values without ties.
    #[must_use]
    pub fn p_value(&self, factor: f64) -> f64 {
        if factor <= 1.0 && !self.ties && self.count <= EXACT {
            return exact(self.count, self.s.unsigned_abs());
        }
        let normal = Normal::standard();
        (2.0 * normal.cdf(-self.z_inflated(factor.max(1.0)).abs())).min(1.0)
    }
}

/// Chance that |S| of `count` values in random order is at least `s`: S counts inversions, whose distribution over
/// permutations is a product of uniform ones (Kendall 1938).
fn exact(count: usize, s: u64) -> f64 {
    let pairs = count * count.saturating_sub(1) / 2;
    let mut chances = vec![1.0];
    for n in 2..=count {
        // Inversions that the n-th value adds: 0 to n − 1, alike. A running sum over a window of n.
        let mut next = Vec::with_capacity(chances.len() + n - 1);
        let mut sum = 0.0;
        for k in 0..chances.len() + n - 1 {
            sum += chances.get(k).copied().unwrap_or(0.0);
            if k >= n {
                sum -= chances.get(k - n).copied().unwrap_or(0.0);
            }
            next.push(f64::max(sum, 0.0) / n as f64);
        }
        chances = next;
    }
    // |pairs − 2 inversions| ≥ s on either side, which are alike.
    let most = (pairs as u64).saturating_sub(s) / 2;
    let tail: f64 = chances.iter().take(most as usize + 1).sum();
    if s == 0 { 1.0 } else { (2.0 * tail).min(1.0) }
}

/// A slope with its interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Slope {
    /// Median of all pairs' slopes.
    pub slope: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// Theil and Sen's slope of `y` over `x`, with Sen's interval at this two-sided error, its variance `factor` times that
/// of independent values. None for fewer than two different places.
///
/// Source of the interval: Sen, J. Amer. Statist. Assoc. 63 (1968) 1379–1389; ranks rounded as SciPy's `theilslopes` does.
#[must_use]
pub fn theil_sen(x: &[f64], y: &[f64], error: f64, factor: f64) -> Option<Slope> {
    let mut slopes = Vec::with_capacity(x.len() * x.len() / 2);
    for (n, (x2, y2)) in x.iter().zip(y).enumerate() {
        for (x1, y1) in x.iter().zip(y).take(n) {
            if x2 > x1 {
                slopes.push((y2 - y1) / (x2 - x1));
            }
        }
    }
    slopes.sort_by(f64::total_cmp);
    let count = slopes.len();
    let spread = (Kendall::of(y).variance * factor).sqrt();
    let z = Normal::standard().inverse_cdf(1.0 - 0.5 * error);
    let rank = |place: f64| (place.round_ties_even().max(0.0) as usize).min(count.saturating_sub(1));
    let high = rank((count as f64 + z * spread) / 2.0);
    let low = rank((count as f64 - z * spread) / 2.0 - 1.0);
    Some(Slope { slope: median_sorted(&slopes)?, low: *slopes.get(low)?, high: *slopes.get(high)? })
}

/// Hodges and Lehmann's centre: the median of all pairs' means, each value with itself included. None for no values.
#[must_use]
pub fn centre(values: &[f64]) -> Option<f64> {
    let mut means = Vec::with_capacity(values.len() * (values.len() + 1) / 2);
    for (n, a) in values.iter().enumerate() {
        means.extend(values.iter().take(n + 1).map(|b| 0.5 * (a + b)));
    }
    means.sort_by(f64::total_cmp);
    median_sorted(&means)
}

/// Median of values in any order; none for none.
#[must_use]
pub fn median(values: &[f64]) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    median_sorted(&sorted)
}

fn median_sorted(sorted: &[f64]) -> Option<f64> {
    let half = sorted.len() / 2;
    let above = *sorted.get(half)?;
    if sorted.len() % 2 == 1 {
        return Some(above);
    }
    Some(0.5 * (above + sorted.get(half.checked_sub(1)?)?))
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    /// Computed with SciPy 1.17.1 and by hand; see each value.
    const RISING: [f64; 10] = [10.1, 10.3, 10.2, 10.6, 10.5, 10.9, 10.8, 11.2, 11.1, 11.5];

    #[test]
    fn mann_and_kendall_s_test_gives_the_computed_values() {
        let found = Kendall::of(&RISING);
        assert_eq!((found.s, found.variance), (37, 125.0));
        assert!((found.z() - 3.219_938).abs() < 1e-6, "{}", found.z());
        // source: scipy.stats.kendalltau, exact, 0.000357694 (S = 37 of 45: 4 inversions).
        assert!((found.p_value(1.0) - 0.000_357_694).abs() < 1e-9, "{}", found.p_value(1.0));
        // source: the normal one, 0.00128218, as a factor just above one asks for it.
        assert!((found.p_value(1.0 + 1e-12) - 0.001_282_18).abs() < 1e-8);
    }

    #[test]
    fn theil_and_sen_s_slope_and_interval_are_scipy_s() {
        // source: scipy.stats.theilslopes 1.17.1: 0.15, 0.114286 to 0.166667.
        let x: Vec<f64> = (0..10).map(f64::from).collect();
        let found = theil_sen(&x, &RISING, 0.05, 1.0).unwrap();
        assert!((found.slope - 0.15).abs() < 1e-12);
        assert!((found.low - 0.114_286).abs() < 1e-6 && (found.high - 0.166_667).abs() < 1e-6, "{found:?}");
    }

    #[test]
    fn the_exact_distribution_is_that_of_counted_permutations() {
        // By hand, 3 values: of 6 orders one has S = 3, two 1, two −1, one −3.
        assert!((exact(3, 3) - 2.0 / 6.0).abs() < 1e-12 && (exact(3, 1) - 1.0).abs() < 1e-12);
        // 4 values: S = 6 in 1 of 24 orders, S = 4 in 3.
        assert!((exact(4, 6) - 2.0 / 24.0).abs() < 1e-12 && (exact(4, 4) - 8.0 / 24.0).abs() < 1e-12);
        // source: whole numbers in Python, 100 values, S = 1500 and S = 500 of 4950.
        assert!((exact(100, 1500) / 5.727_798_774_892_236e-6 - 1.0).abs() < 1e-6, "{}", exact(100, 1500));
        assert!((exact(100, 500) - 0.137_538_501_689_6).abs() < 1e-9);
    }

    #[test]
    fn ties_lower_the_variance_and_one_stray_value_does_not_move_the_slope() {
        // By hand: 5 values with a tie of 2: (5·4·15 − 2·1·9) / 18.
        assert!((Kendall::of(&[1.0, 2.0, 2.0, 3.0, 4.0]).variance - 282.0 / 18.0).abs() < 1e-12);
        let x: Vec<f64> = (0..11).map(f64::from).collect();
        let mut y: Vec<f64> = x.iter().map(|x| 2.0 * x).collect();
        y[5] = 1000.0;
        assert!((theil_sen(&x, &y, 0.05, 1.0).unwrap().slope - 2.0).abs() < 1e-12);
        // By hand: the eighth of fifteen means.
        assert_eq!(centre(&[1.0, 2.0, 3.0, 4.0, 1000.0]), Some(3.0));
        assert_eq!((median(&[]), centre(&[])), (None, None));
    }
}
