//! One quantity over blocks of strokes that scatter independently, what stock does to it taken out.
//!
//! What differs from coil to coil is the greatest part of any quantity's scatter, and all strokes of a coil share it: they
//! count as one value. Where coils are marked a block is a coil. Where they are not, blocks are batches of equal length,
//! lengthened until neighbours no longer resemble one another (batch means, Law and Carson, Operations Research 27
//! (1979) 1011–1025, from memory).
//!
//! A slope within coils is not used: thickness and strength drift along a coil by more than an edge dulls in it.

use nalgebra::{DMatrix, DVector};

use super::cells::{Cell, History, joined};
use super::rank::{centre, median, theil_sen};

/// Fewest blocks a trend is looked for in.
pub const LEAST: usize = 8;
/// Most blocks; more coils than that are taken together, neighbours.
const MOST: usize = 250;
/// Numbers of batches tried where coils are not marked.
const BATCHES: [usize; 8] = [64, 48, 36, 28, 22, 17, 13, 10];
/// Resemblance of neighbouring batches at which they are long enough.
const ALIKE: f64 = 0.2;
/// A coil that was cut short of this share of the usual one is left out.
const SHORT: f64 = 0.25;

/// A quantity over blocks.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Series {
    /// Middle of each block, strokes.
    pub x: Vec<f64>,
    /// First and last stroke of each block.
    pub strokes: Vec<[u64; 2]>,
    /// The quantity, what stock does to it taken out.
    pub y: Vec<f64>,
    /// What a unit of each covariate did to the quantity.
    pub stock: Vec<f64>,
}

impl Series {
    /// Of quantity `n` of a history. `covariates` are quantities that show the stock and not wear, with a usual value of
    /// each: the series is what the quantity would be at these.
    #[must_use]
    pub fn of(history: &History, n: usize, covariates: &[(usize, f64)]) -> Self {
        if history.marked {
            let coils = history.cells.chunk_by(|a, b| a.coil == b.coil).filter_map(joined).collect();
            return Self::adjusted(&grouped(&long_enough(coils), MOST), n, covariates);
        }
        let mut series = Self::default();
        for count in BATCHES {
            let longer = Self::adjusted(&grouped(&history.cells, count), n, covariates);
            if longer.y.len() < LEAST && !series.y.is_empty() {
                break;
            }
            series = longer;
            if alike(&detrended(&series.x, &series.y)) <= ALIKE {
                break;
            }
        }
        series
    }

    fn adjusted(blocks: &[Cell], n: usize, covariates: &[(usize, f64)]) -> Self {
        let value = |block: &Cell, n: usize| block.values.get(n).copied().unwrap_or(f64::NAN);
        let whole: Vec<&Cell> = blocks
            .iter()
            .filter(|block| {
                value(block, n).is_finite() && covariates.iter().all(|(k, _)| value(block, *k).is_finite())
            })
            .collect();
        let mut y: Vec<f64> = whole.iter().map(|block| value(block, n)).collect();
        // A covariate costs a degree of freedom: none where blocks are few.
        let covariates = if whole.len() >= LEAST + 2 * covariates.len() { covariates } else { &[] };
        let z: Vec<Vec<f64>> = covariates
            .iter()
            .map(|(k, usual)| whole.iter().map(|block| value(block, *k) - usual).collect())
            .collect();
        let stock = stock(&y, &z);
        for (factor, z) in stock.iter().zip(&z) {
            for (y, z) in y.iter_mut().zip(z) {
                *y -= factor * z;
            }
        }
        Self {
            x: whole.iter().map(|block| block.middle()).collect(),
            strokes: whole.iter().map(|block| block.strokes).collect(),
            y,
            stock,
        }
    }

    /// The blocks of a range.
    #[must_use]
    pub fn part(&self, range: std::ops::Range<usize>) -> Self {
        Self {
            x: self.x.get(range.clone()).unwrap_or(&[]).to_vec(),
            strokes: self.strokes.get(range.clone()).unwrap_or(&[]).to_vec(),
            y: self.y.get(range).unwrap_or(&[]).to_vec(),
            stock: self.stock.clone(),
        }
    }
}

/// What stock does, from how neighbouring blocks differ: a wear too slow to show between neighbours is a constant there.
fn stock(y: &[f64], z: &[Vec<f64>]) -> Vec<f64> {
    let step = |values: &[f64]| values.windows(2).map(|pair| pair[1] - pair[0]).collect::<Vec<f64>>();
    let rise = step(y);
    if z.is_empty() || rise.is_empty() {
        return Vec::new();
    }
    let columns: Vec<Vec<f64>> = z.iter().map(|z| step(z)).chain([vec![1.0; rise.len()]]).collect();
    let matrix = DMatrix::from_fn(rise.len(), columns.len(), |row, column| {
        columns.get(column).and_then(|column| column.get(row)).copied().unwrap_or(0.0)
    });
    // Covariates that never move do nothing.
    let solved = matrix.svd(true, true).solve(&DVector::from_vec(rise), 1e-9);
    solved.map_or_else(|_| vec![0.0; z.len()], |solved| solved.iter().take(z.len()).copied().collect())
}

fn long_enough(mut coils: Vec<Cell>) -> Vec<Cell> {
    let usual = median(&coils.iter().map(|coil| coil.count as f64).collect::<Vec<_>>()).unwrap_or(0.0);
    coils.retain(|coil| coil.count as f64 >= SHORT * usual);
    coils
}

/// At most so many blocks, of as many neighbours each as it takes.
fn grouped(cells: &[Cell], most: usize) -> Vec<Cell> {
    let each = cells.len().div_ceil(most).max(1);
    // What is left over at the end is too short.
    cells.chunks(each).filter(|chunk| chunk.len() == each).filter_map(joined).collect()
}

/// What a robust line leaves.
pub(super) fn detrended(x: &[f64], y: &[f64]) -> Vec<f64> {
    let slope = theil_sen(x, y, 0.5, 1.0).map_or(0.0, |slope| slope.slope);
    let left: Vec<f64> = x.iter().zip(y).map(|(x, y)| y - slope * x).collect();
    let middle = centre(&left).unwrap_or(0.0);
    left.into_iter().map(|left| left - middle).collect()
}

/// Lag-one autocorrelation of what a fitted line left, its bias (about −2/n for independent values) taken off.
pub(super) fn alike(left: &[f64]) -> f64 {
    let squares: f64 = left.iter().map(|r| r * r).sum();
    let products: f64 = left.windows(2).map(|pair| pair[0] * pair[1]).sum();
    if squares > 0.0 { products / squares + 2.0 / left.len() as f64 } else { 0.0 }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::super::cells::{Cells, Observation};
    use super::super::testing::Chance;
    use super::*;

    fn history(strokes: u64, coil: impl Fn(u64) -> u64, mut values: impl FnMut(u64) -> Vec<f64>) -> History {
        let mut cells = Cells::new(values(1).len());
        for stroke in 1..=strokes {
            let values = values(stroke);
            cells.take(Observation { stroke, coil: coil(stroke), stopped: false, values: &values });
        }
        cells.finish()
    }

    #[test]
    fn a_block_is_a_coil_and_a_short_last_one_is_left_out() {
        let found = Series::of(&history(1020, |s| (s - 1) / 100, |s| vec![((s - 1) / 100) as f64]), 0, &[]);
        assert_eq!(found.y, (0..10).map(f64::from).collect::<Vec<_>>());
        assert_eq!((found.strokes[3], found.x[3]), ([301, 400], 350.5));
    }

    #[test]
    fn what_stock_does_is_taken_out_and_slow_wear_is_left() {
        let mut chance = Chance::new(5);
        let coils: Vec<f64> = (0..40).map(|_| chance.normal()).collect();
        let made = history(
            4000,
            |s| (s - 1) / 100,
            |s| {
                let z = coils[(s as usize - 1) / 100];
                vec![3.0 * z + 0.01 * (s - 1) as f64 / 100.0, z]
            },
        );
        let found = Series::of(&made, 0, &[(1, 0.0)]);
        assert!((found.stock[0] - 3.0).abs() < 1e-3, "{:?}", found.stock);
        assert!((found.y[39] - found.y[0] - 0.39).abs() < 0.02, "{:?}", found.y);
    }

    #[test]
    fn batches_of_unmarked_coils_become_long_enough_to_be_unlike() {
        let mut chance = Chance::new(6);
        let levels: Vec<f64> = (0..200).map(|_| chance.normal()).collect();
        let made = history(40_000, |_| 0, |s| vec![levels[(s as usize - 1) / 200]]);
        assert!(!made.marked);
        let found = Series::of(&made, 0, &[]);
        // 200 coils: 64 batches of three coils each are already unlike.
        assert!(found.y.len() >= LEAST && alike(&detrended(&found.x, &found.y)) <= 0.45, "{}", found.y.len());
        let slow = history(40_000, |_| 0, |s| vec![levels[(s as usize - 1) / 4000]]);
        let slow = Series::of(&slow, 0, &[]);
        assert!(slow.y.len() <= 13, "ten long coils are not more than ten values: {}", slow.y.len());
    }
}
