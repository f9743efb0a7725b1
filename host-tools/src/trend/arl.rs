//! Average run lengths of control charts, from their integral equations, and limits designed from them.
//!
//! Run length: values charted until the first signal, from a start at zero. Values are independent, normal, of standard
//! deviation 1; `shift` is their mean. Sources of the equations: Crowder, Technometrics 29 (1987) 401–407, for the EWMA;
//! Page's equation as solved by Goel and Wu, Technometrics 13 (1971) 221–230, for the CUSUM (both from memory; the results
//! agree with values computed elsewhere and with simulation, see the tests).

use nalgebra::{DMatrix, DVector};
use statrs::distribution::{Continuous as _, ContinuousCDF as _, Normal};

/// Nodes of the quadrature: 60 give at least six digits for every chart that [`Ewma`] and [`Cusum`] accept.
const NODES: usize = 60;

/// An exponentially weighted moving average, two-sided.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ewma {
    /// Weight of the newest value, 0.05 to 1.
    pub weight: f64,
    /// Limit in standard deviations of the average in its steady state.
    pub limit: f64,
}

/// A cumulative sum, one on each side.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cusum {
    /// What each value is relieved of.
    pub slack: f64,
    /// Limit of each sum.
    pub limit: f64,
}

impl Ewma {
    /// The limit at which a false signal comes once in `run_length` values (more than 2) in the long run.
    #[must_use]
    pub fn designed(weight: f64, run_length: f64) -> Self {
        let limit = solve(0.5, 12.0, |limit| Self { weight, limit }.run_length(0.0) - run_length);
        Self { weight, limit }
    }

    /// The limit on the average itself.
    #[must_use]
    pub fn bound(&self) -> f64 {
        self.limit * (self.weight / (2.0 - self.weight)).sqrt()
    }

    /// Average run length.
    #[must_use]
    pub fn run_length(&self, shift: f64) -> f64 {
        let (bound, weight) = (self.bound(), self.weight);
        let (nodes, weights) = gauss_legendre(-bound, bound);
        let normal = Normal::standard();
        let step = |from: f64, to: f64| normal.pdf((to - (1.0 - weight) * from) / weight - shift) / weight;
        let solved = renewal(&nodes, &weights, step);
        1.0 + nodes
            .iter()
            .zip(&weights)
            .zip(solved.iter())
            .map(|((y, w), l)| w * l * step(0.0, *y))
            .sum::<f64>()
    }
}

impl Cusum {
    /// The limit at which a false signal on either side comes once in `run_length` values in the long run.
    #[must_use]
    pub fn designed(slack: f64, run_length: f64) -> Self {
        let limit = solve(0.2, 40.0, |limit| Self { slack, limit }.run_length(0.0) - run_length);
        Self { slack, limit }
    }

    /// Average run length of both sides together.
    #[must_use]
    pub fn run_length(&self, shift: f64) -> f64 {
        1.0 / (1.0 / self.one_sided(shift) + 1.0 / self.one_sided(-shift))
    }

    /// Average run length of the upper side alone.
    #[must_use]
    pub fn one_sided(&self, shift: f64) -> f64 {
        let (nodes, weights) = gauss_legendre(0.0, self.limit);
        let normal = Normal::standard();
        // A sum at `from` comes to lie at `to`, or at the floor.
        let step = |from: f64, to: f64| normal.pdf(to - from + self.slack - shift);
        let floor = |from: f64| normal.cdf(self.slack - shift - from);
        // The floor is one more state.
        let n = nodes.len() + 1;
        let place = |i: usize| nodes.get(i).copied().unwrap_or(0.0);
        let matrix = DMatrix::from_fn(n, n, |row, column| {
            let moved = weights
                .get(column)
                .map_or_else(|| floor(place(row)), |w| w * step(place(row), place(column)));
            f64::from(u8::from(row == column)) - moved
        });
        let solved = matrix.lu().solve(&DVector::from_element(n, 1.0));
        solved.and_then(|solved| solved.as_slice().last().copied()).unwrap_or(f64::INFINITY)
    }
}

/// Run lengths from each node: L = 1 + K L.
fn renewal(nodes: &[f64], weights: &[f64], step: impl Fn(f64, f64) -> f64) -> DVector<f64> {
    let n = nodes.len();
    let place = |i: usize| nodes.get(i).copied().unwrap_or(0.0);
    let weight = |i: usize| weights.get(i).copied().unwrap_or(0.0);
    let matrix = DMatrix::from_fn(n, n, |row, column| {
        f64::from(u8::from(row == column)) - weight(column) * step(place(row), place(column))
    });
    let ones = DVector::from_element(n, 1.0);
    matrix.lu().solve(&ones).unwrap_or_else(|| DVector::from_element(n, f64::INFINITY))
}

/// Where a rising function crosses zero between two places, to 1e-9.
fn solve(mut low: f64, mut high: f64, rising: impl Fn(f64) -> f64) -> f64 {
    while high - low > 1e-9 {
        let middle = 0.5 * (low + high);
        // Beyond what the arithmetic can resolve the run length is no number, or negative: too far out.
        let value = rising(middle);
        if value < 0.0 && value.is_finite() { low = middle } else { high = middle }
    }
    0.5 * (low + high)
}

/// Nodes and weights of Gauss and Legendre's quadrature on an interval: roots by Newton's method.
fn gauss_legendre(from: f64, to: f64) -> (Vec<f64>, Vec<f64>) {
    let n = NODES as f64;
    let (half, middle) = (0.5 * (to - from), 0.5 * (to + from));
    let (mut nodes, mut weights) = (Vec::with_capacity(NODES), Vec::with_capacity(NODES));
    for i in 0..NODES {
        let mut x = (std::f64::consts::PI * (i as f64 + 0.75) / (n + 0.5)).cos();
        let mut slope = 1.0;
        // Quadratic convergence from a good start; a few rounds are always enough.
        for _ in 0..8 {
            let (mut before, mut value) = (1.0, x);
            for k in 2..=NODES {
                let k = k as f64;
                (before, value) = (value, ((2.0 * k - 1.0) * x * value - (k - 1.0) * before) / k);
            }
            slope = n * (x * value - before) / (x * x - 1.0);
            x -= value / slope;
        }
        nodes.push(middle + half * x);
        weights.push(half * 2.0 / ((1.0 - x * x) * slope * slope));
    }
    (nodes, weights)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use rand::SeedableRng as _;
    use rand_chacha::ChaCha8Rng;

    #[test]
    fn the_quadrature_integrates_polynomials_and_a_bell() {
        let (nodes, weights) = gauss_legendre(-1.0, 3.0);
        let integral =
            |f: &dyn Fn(f64) -> f64| nodes.iter().zip(&weights).map(|(x, w)| w * f(*x)).sum::<f64>();
        assert!((integral(&|x| x.powi(5)) - (729.0 - 1.0) / 6.0).abs() < 1e-9);
        let normal = Normal::standard();
        assert!((integral(&|x| normal.pdf(x)) - (normal.cdf(3.0) - normal.cdf(-1.0))).abs() < 1e-10);
    }

    #[test]
    fn ewma_run_lengths_are_those_computed_elsewhere() {
        // source: computed with SciPy 1.17.1 by Crowder's equation, 200 nodes; design pairs of Lucas and Saccucci.
        let rows = [
            (0.40, 3.054, [499.951, 223.728, 71.201, 14.263, 3.522]),
            (0.25, 2.998, [499.836, 170.296, 48.294, 11.136, 3.614]),
            (0.10, 2.814, [499.580, 106.322, 31.297, 10.331, 4.362]),
            (0.05, 2.615, [499.933, 84.006, 28.764, 11.383, 5.225]),
        ];
        for (weight, limit, expected) in rows {
            for (shift, expected) in [0.0, 0.25, 0.5, 1.0, 2.0].into_iter().zip(expected) {
                let found = Ewma { weight, limit }.run_length(shift);
                // The table's last digit.
                assert!((found - expected).abs() < 6e-4, "λ {weight}, {shift} σ: {found} against {expected}");
            }
        }
        // source: printed in Crowder 1987 for L = 3 (from memory), computed as above.
        assert!((Ewma { weight: 0.5, limit: 3.0 }.run_length(0.0) - 397.46).abs() < 6e-3);
    }

    #[test]
    fn cusum_run_lengths_are_those_computed_elsewhere() {
        // source: computed with SciPy 1.17.1, integral equation, 200 nodes.
        for (limit, shift, expected) in [
            (4.0, 0.0, 167.684),
            (4.0, 1.0, 8.383),
            (5.0, 0.0, 465.444),
            (5.0, 0.25, 139.494),
            (5.0, 0.5, 37.996),
            (5.0, 1.0, 10.376),
            (5.0, 2.0, 4.009),
        ] {
            let found = Cusum { slack: 0.5, limit }.run_length(shift);
            assert!((found - expected).abs() < 6e-4, "h {limit}, {shift} σ: {found} against {expected}");
        }
        assert!((Cusum { slack: 0.5, limit: 5.0 }.one_sided(0.0) - 930.887).abs() < 6e-4);
    }

    #[test]
    fn designed_limits_are_those_computed_elsewhere_and_hold_far_out() {
        // source: as above; Hawkins's h for 370 at k = 0.5 is 4.7738.
        assert!((Ewma::designed(0.10, 500.0).limit - 2.814_31).abs() < 1e-5);
        assert!((Ewma::designed(0.25, 370.398).limit - 2.898_02).abs() < 1e-5);
        assert!((Cusum::designed(0.5, 370.0).limit - 4.7738).abs() < 1e-4);
        assert!((Cusum::designed(0.25, 370.0).limit - 8.0083).abs() < 1e-4);
        assert!((Cusum::designed(0.5, 10_000.0).limit - 8.0530).abs() < 1e-4);
        for asked in [1e4, 1e6, 1e8] {
            let (ewma, cusum) = (Ewma::designed(0.1, asked), Cusum::designed(0.5, asked));
            assert!((ewma.run_length(0.0) / asked - 1.0).abs() < 1e-4, "{ewma:?}");
            assert!((cusum.run_length(0.0) / asked - 1.0).abs() < 1e-4, "{cusum:?}");
        }
    }

    #[test]
    fn run_lengths_are_those_of_simulated_charts() {
        let seed = 20_261_125;
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let (ewma, cusum) = (Ewma { weight: 0.1, limit: 2.814 }, Cusum { slack: 0.5, limit: 5.0 });
        let runs = 4000;
        for shift in [0.5, 1.0] {
            let mut lengths = [[0.0_f64; 2]; 2];
            for _ in 0..runs {
                let mut one = [0.0_f64; 2];
                let (mut average, mut sums, mut done, mut n) = (0.0_f64, [0.0_f64; 2], [false; 2], 0.0);
                while done != [true; 2] {
                    n += 1.0;
                    let x = shift + normal(&mut random);
                    average += 0.1 * (x - average);
                    sums = [(sums[0] + x - 0.5).max(0.0), (sums[1] - x - 0.5).max(0.0)];
                    if !done[0] && average.abs() > ewma.bound() {
                        (done[0], one[0]) = (true, n);
                    }
                    if !done[1] && (sums[0] > 5.0 || sums[1] > 5.0) {
                        (done[1], one[1]) = (true, n);
                    }
                }
                for (sum, one) in lengths.iter_mut().zip(one) {
                    *sum = [sum[0] + one, sum[1] + one * one];
                }
            }
            for (sum, expected) in lengths.into_iter().zip([ewma.run_length(shift), cusum.run_length(shift)])
            {
                let mean = sum[0] / f64::from(runs);
                let error = ((sum[1] / f64::from(runs) - mean * mean) / f64::from(runs)).sqrt();
                assert!((mean - expected).abs() < 4.0 * error, "seed {seed}: {mean} ± {error}, {expected}");
            }
        }
    }

    fn normal(random: &mut ChaCha8Rng) -> f64 {
        use rand::RngExt as _;
        // Box and Muller.
        let (u, v): (f64, f64) = (random.random_range(1e-300..1.0), random.random_range(0.0..1.0));
        (-2.0 * u.ln()).sqrt() * (std::f64::consts::TAU * v).cos()
    }
}
