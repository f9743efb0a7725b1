//! Stretches of strokes from one coil each: as the recording marks them, or found by their steps.

use std::ops::Range;

use nalgebra::{DMatrix, DVector};
use statrs::distribution::{ChiSquared, ContinuousCDF as _};

use super::factors::Factors;
use super::{Strokes, median};

/// Strokes looked at on either side of a possible change.
const ASIDE: usize = 10;
/// Shortest stretch that counts.
const SHORTEST: usize = 5;

/// Stretches by marked coils.
pub(super) fn marked(coils: &[u64]) -> Vec<Range<usize>> {
    let mut segments = Vec::new();
    let mut start = 0;
    for end in 1..=coils.len() {
        if coils.get(end) != coils.get(start) {
            segments.push(start..end);
            start = end;
        }
    }
    segments
}

/// Differences of neighbouring strokes within stretches, over √2: the later stroke of each pair.
///
/// Pairs that stand far off the rest (by eight robust deviations of their size) hold a bad stroke and are left out.
pub(super) fn pairs(strokes: &Strokes, segments: &[Range<usize>], floor: f64) -> Vec<usize> {
    let later: Vec<usize> = segments.iter().flat_map(|segment| segment.start + 1..segment.end).collect();
    let differences = differences(strokes, &later);
    let scatter: Vec<f64> = differences
        .column_iter()
        .map(|column| (1.4826 * median(&mut column.iter().map(|v| v.abs()).collect::<Vec<_>>())).max(floor))
        .collect();
    let sizes: Vec<f64> = differences
        .row_iter()
        .map(|row| row.iter().zip(&scatter).map(|(d, s)| (d / s).powi(2)).sum::<f64>().sqrt())
        .collect();
    let middle = median(&mut sizes.clone());
    let spread = 1.4826 * median(&mut sizes.iter().map(|size| (size - middle).abs()).collect::<Vec<_>>());
    later.into_iter().zip(sizes).filter(|(_, size)| *size < middle + 8.0 * spread).map(|(n, _)| n).collect()
}

/// Rows x[n] − x[n−1] over √2 for these strokes.
pub(super) fn differences(strokes: &Strokes, later: &[usize]) -> DMatrix<f64> {
    let mut rows = DMatrix::zeros(later.len(), strokes.size());
    for (mut row, n) in rows.row_iter_mut().zip(later) {
        row.copy_from(
            &((strokes.x.row(*n) - strokes.x.row(n.saturating_sub(1))) * std::f64::consts::FRAC_1_SQRT_2),
        );
    }
    rows
}

/// Stretches between steps of the signature, where coils are not marked.
///
/// The factor scores before and after each stroke are compared by their medians; a step beyond twice what chance
/// gives once in ten thousand recordings is a change of coil.
pub(super) fn found(strokes: &Strokes, floor: f64) -> Vec<Range<usize>> {
    let n = strokes.count();
    if n < 2 * ASIDE + 10 {
        return std::iter::once(0..n).collect();
    }
    let whole = 0..n;
    let later = pairs(strokes, std::slice::from_ref(&whole), floor);
    let factors = Factors::of(&differences(strokes, &later), strokes.columns, floor, 8);
    let mean = strokes.x.row_mean();
    let scores: Vec<DVector<f64>> = (0..n)
        .map(|stroke| {
            let residual = (strokes.row(stroke) - &mean).component_div(&factors.sigma);
            let (scores, _) = factors.split(&residual);
            scores.zip_map(&factors.lambda, |score, lambda| score / lambda.sqrt())
        })
        .collect();
    let count = factors.lambda.len();
    let of = |range: Range<usize>, k: usize| {
        let part = scores.get(range).unwrap_or(&[]);
        median(&mut part.iter().filter_map(|s| s.get(k).copied()).collect::<Vec<_>>())
    };
    let step =
        |at: usize| (0..count).map(|k| (of(at..at + ASIDE, k) - of(at - ASIDE..at, k)).powi(2)).sum::<f64>();
    // Medians of ten scatter by √(π/2/10): the sum is chi-squared times 2 · 1.57/10 where nothing changes.
    let mut steps: Vec<f64> = (0..n)
        .map(|at| if (ASIDE..=n - ASIDE).contains(&at) { step(at) * ASIDE as f64 / 2.0 / 1.57 } else { 0.0 })
        .collect();
    let limit = ChiSquared::new(count as f64)
        .map_or(f64::INFINITY, |chi| 2.0 * chi.inverse_cdf(1.0 - 1e-4 / n as f64));
    let mut cuts = vec![0, n];
    for _ in 0..n {
        let Some((at, _)) =
            steps.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1)).filter(|(_, v)| **v >= limit)
        else {
            break;
        };
        let jump = |a: usize| match (scores.get(a), a.checked_sub(1).and_then(|b| scores.get(b))) {
            (Some(here), Some(before)) => (here - before).norm_squared(),
            _ => 0.0,
        };
        let cut = (at.saturating_sub(3).max(1)..(at + 4).min(n)).max_by(|a, b| jump(*a).total_cmp(&jump(*b)));
        cuts.push(cut.unwrap_or(at));
        for near in steps.iter_mut().take(at + ASIDE + 1).skip(at.saturating_sub(ASIDE)) {
            *near = 0.0;
        }
    }
    cuts.sort_unstable();
    cuts.dedup();
    let between = |pair: &[usize]| match pair {
        [a, b] if b - a >= SHORTEST => Some(*a..*b),
        _ => None,
    };
    cuts.windows(2).filter_map(between).collect()
}
