//! Signatures on even places, smoothed over the frame's ringing.
//!
//! A force that steps makes the frame ring, opening and tilting at frequencies of their own, so that for a few
//! milliseconds the columns do not share it as its place would have it. Over a time in which the ringing averages
//! out they do: a mass on a spring answers, on average, with the force. So everything here is averaged over a
//! window two periods wide before places are compared.

/// Places at which smoothed signatures are compared.
const PLACES: usize = 320;

/// Even places over the bins of a signature, and the width of the averaging window, in the bins' unit.
#[derive(Debug, Clone)]
pub(super) struct Grid {
    edges: Vec<f64>,
    columns: usize,
    width: f64,
    pub(super) places: Vec<f64>,
}

impl Grid {
    /// Over bins with these edges; `width` is widened to what the places can resolve.
    pub(super) fn new(edges: &[f64], columns: usize, width: f64) -> Self {
        let (from, to) = (edges.first().copied().unwrap_or(0.0), edges.last().copied().unwrap_or(1.0));
        let step = (to - from) / PLACES as f64;
        let places = (0..PLACES).map(|n| from + step * (n as f64 + 0.5)).collect();
        Self { edges: edges.to_vec(), columns, width: width.max(step).min(0.25 * (to - from)), places }
    }

    /// Distance between two places over the window: what one place is worth beside its neighbours.
    pub(super) fn worth(&self) -> f64 {
        let span = self.edges.last().copied().unwrap_or(1.0) - self.edges.first().copied().unwrap_or(0.0);
        span / PLACES as f64 / self.width
    }

    /// How far an average reaches to either side.
    pub(super) fn reach(&self) -> f64 {
        0.5 * self.width
    }

    /// Integral of each column from the first edge to each edge: `[edge][column]`.
    fn integral(&self, bins: &[f64]) -> Vec<f64> {
        let mut sums = vec![0.0; self.columns];
        let mut all = sums.clone();
        for (pair, row) in self.edges.windows(2).zip(bins.chunks(self.columns)) {
            let [a, b] = pair else { continue };
            for (sum, value) in sums.iter_mut().zip(row) {
                *sum += value * (b - a);
            }
            all.extend(&sums);
        }
        all
    }

    /// That integral at any place; level beyond the bins.
    fn integral_at(&self, integral: &[f64], place: f64, column: usize) -> f64 {
        let at = |edge: usize| integral.get(edge * self.columns + column).copied().unwrap_or(0.0);
        let last = self.edges.len().saturating_sub(1);
        let after = self.edges.partition_point(|edge| *edge <= place);
        if after == 0 {
            return 0.0;
        }
        let (Some(a), Some(b)) = (self.edges.get(after - 1), self.edges.get(after)) else { return at(last) };
        at(after - 1) + (place - a) / (b - a) * (at(after) - at(after - 1))
    }

    fn each(&self, bins: &[f64], value: impl Fn(&Self, &[f64], f64, usize) -> f64) -> Vec<f64> {
        let integral = self.integral(bins);
        let mut all = Vec::with_capacity(self.places.len() * self.columns);
        for place in &self.places {
            all.extend((0..self.columns).map(|column| value(self, &integral, *place, column)));
        }
        all
    }

    /// Averages of a signature (bin after bin, columns side by side) about every place, in the same order.
    pub(super) fn smoothed(&self, bins: &[f64]) -> Vec<f64> {
        self.each(bins, |grid, integral, place, column| {
            let half = 0.5 * grid.width;
            (grid.integral_at(integral, place + half, column)
                - grid.integral_at(integral, place - half, column))
                / grid.width
        })
    }

    /// The averages of a signature that comes `by` later on the bins' axis.
    pub(super) fn displaced(&self, bins: &[f64], by: f64) -> Vec<f64> {
        self.each(bins, |grid, integral, place, column| {
            let (half, place) = (0.5 * grid.width, place - by);
            let at = |place: f64| grid.integral_at(integral, place, column);
            (at(place + half) - at(place - half)) / grid.width
        })
    }

    /// Slopes of the averages over the bins' unit.
    pub(super) fn slopes(&self, bins: &[f64]) -> Vec<f64> {
        // The slope of an average over a window is the difference of what enters and leaves it.
        let value = |place: f64, column: usize| {
            let bin = self.edges.partition_point(|edge| *edge <= place);
            let row = bin.checked_sub(1).map(|bin| bin * self.columns + column);
            row.and_then(|n| bins.get(n)).copied().unwrap_or(0.0)
        };
        self.each(bins, |grid, _, place, column| {
            let half = 0.5 * grid.width;
            (value(place + half, column) - value(place - half, column)) / grid.width
        })
    }

    /// Variances of the averages of bins that scatter independently by `sigma`.
    pub(super) fn variances(&self, sigma: &[f64]) -> Vec<f64> {
        let mut all = Vec::with_capacity(self.places.len() * self.columns);
        for place in &self.places {
            let (from, to) = (place - 0.5 * self.width, place + 0.5 * self.width);
            let mut sums = vec![0.0; self.columns];
            for (pair, row) in self.edges.windows(2).zip(sigma.chunks(self.columns)) {
                let [a, b] = pair else { continue };
                let share = (b.min(to) - a.max(from)).max(0.0) / self.width;
                for (sum, sigma) in sums.iter_mut().zip(row) {
                    *sum += (share * sigma).powi(2);
                }
            }
            all.extend(sums);
        }
        all
    }

    /// Averages of curves given by points in the order of their places, straight between them and nothing beyond:
    /// a value for each column at each point.
    pub(super) fn of_points(&self, points: &[(f64, Vec<f64>)]) -> Vec<f64> {
        let mut sums = vec![0.0; self.columns];
        let mut integral = vec![sums.clone()];
        for pair in points.windows(2) {
            let [(a, from), (b, to)] = pair else { continue };
            for (sum, (from, to)) in sums.iter_mut().zip(from.iter().zip(to)) {
                *sum += 0.5 * (from + to) * (b - a);
            }
            integral.push(sums.clone());
        }
        let at = |place: f64, column: usize| {
            let value = |n: usize| integral.get(n).and_then(|row| row.get(column)).copied().unwrap_or(0.0);
            let after = points.partition_point(|point| point.0 <= place);
            let (Some(before), Some(b)) = (after.checked_sub(1), points.get(after)) else {
                return if after == 0 { 0.0 } else { value(after - 1) };
            };
            let Some(a) = points.get(before) else { return 0.0 };
            let load = |point: &(f64, Vec<f64>)| point.1.get(column).copied().unwrap_or(0.0);
            let share = (place - a.0) / (b.0 - a.0);
            let here = load(a) + share * (load(b) - load(a));
            value(before) + 0.5 * (load(a) + here) * (place - a.0)
        };
        let mut all = Vec::with_capacity(self.places.len() * self.columns);
        for place in &self.places {
            let half = 0.5 * self.width;
            all.extend((0..self.columns).map(|c| (at(place + half, c) - at(place - half, c)) / self.width));
        }
        all
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn grid(width: f64) -> Grid {
        let edges: Vec<f64> = (0..=40).map(|n| 100.0 + f64::from(n) + 0.01 * f64::from(n * n)).collect();
        Grid::new(&edges, 2, width)
    }

    #[test]
    fn an_average_keeps_a_level_and_the_slope_of_a_straight_line() {
        let grid = grid(4.0);
        let edges = grid.edges.clone();
        let middles = edges.windows(2).map(|pair| 0.5 * (pair[0] + pair[1]));
        let bins: Vec<f64> = middles.flat_map(|m| [7.0, 3.0 * m]).collect();
        let (smoothed, slopes) = (grid.smoothed(&bins), grid.slopes(&bins));
        for (n, place) in grid.places.iter().enumerate() {
            if *place < 104.0 || *place > 150.0 {
                continue;
            }
            assert!((smoothed[2 * n] - 7.0).abs() < 1e-9);
            // A step function of bins up to 1.8 wide: the average is off by an eighth of a bin's rise at most.
            assert!((smoothed[2 * n + 1] - 3.0 * place).abs() < 3.0 * 1.8 / 2.0, "{place}");
            assert!((slopes[2 * n + 1] - 3.0).abs() < 3.0 * 1.8 / 4.0 * 2.0, "{place}");
        }
    }

    #[test]
    fn what_comes_later_has_the_same_averages_later() {
        let edges: Vec<f64> = (0..=320).map(|n| 0.125 * f64::from(n)).collect();
        let grid = Grid::new(&edges, 1, 1.0);
        let load = |x: f64| (x - 10.0).clamp(0.0, 8.0);
        let at = |by: f64| edges.windows(2).map(|e| load(0.5 * (e[0] + e[1]) - by)).collect::<Vec<f64>>();
        // Places lie an eighth apart: a displacement by whole places needs no interpolation.
        for (a, b) in grid.displaced(&at(0.0), 3.0).iter().zip(grid.smoothed(&at(3.0))).take(280) {
            assert!((a - b).abs() < 1e-9, "{a} {b}");
        }
    }

    #[test]
    fn ringing_with_the_window_s_period_averages_out_and_its_mean_stays() {
        // Fine bins, so that they are no filter of their own.
        let edges: Vec<f64> = (0..=4000).map(|n| 0.01 * f64::from(n)).collect();
        let grid = Grid::new(&edges, 1, 2.0);
        let bins: Vec<f64> = (0..4000)
            .map(|n| 5.0 + (std::f64::consts::TAU * (0.01 * f64::from(n) + 0.005) / 2.0).sin())
            .collect();
        for (place, value) in grid.places.iter().zip(grid.smoothed(&bins)) {
            if (1.5..38.5).contains(place) {
                assert!((value - 5.0).abs() < 1e-3, "{place}: {value}");
            }
        }
    }

    #[test]
    fn points_and_bins_of_the_same_load_have_the_same_averages() {
        let edges: Vec<f64> = (0..=400).map(|n| 0.1 * f64::from(n)).collect();
        let grid = Grid::new(&edges, 2, 3.0);
        let load = |x: f64| [x.min(20.0), (x - 30.0).max(0.0) * 2.0];
        let bins: Vec<f64> = edges.windows(2).flat_map(|e| load(0.5 * (e[0] + e[1]))).collect();
        let points: Vec<(f64, Vec<f64>)> =
            [0.0, 20.0, 30.0, 40.0].iter().map(|x| (*x, load(*x).to_vec())).collect();
        for (a, b) in grid.smoothed(&bins).iter().zip(grid.of_points(&points)) {
            // A window's ends cut bins, which are level: off by slope · bin² / 8 each, over the width, at most.
            assert!((a - b).abs() < 2.0 * 2.0 * 0.1 * 0.1 / 8.0 / 3.0 + 1e-9, "{a} {b}");
        }
    }

    #[test]
    fn the_variance_of_an_average_over_whole_bins_falls_with_their_number() {
        let edges: Vec<f64> = (0..=40).map(f64::from).collect();
        let grid = Grid::new(&edges, 1, 4.0);
        // A window of four bins of deviation 2 holds four or, cut, five of them: 4/4 at most.
        for variance in grid.variances(&[2.0; 40]).iter().skip(40).take(200) {
            assert!((0.85..=1.0 + 1e-9).contains(variance), "{variance}");
        }
    }
}
