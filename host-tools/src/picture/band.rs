//! The band of good strokes around the baseline a stroke was judged by.

use crate::card::die::ShapeCard;
use crate::figure::Envelope;

/// Half the band's width in standard deviations of good strokes.
pub const BAND_DEVIATIONS: f64 = 3.0;

/// A baseline with the scatter of good strokes about it.
#[derive(Debug, Clone, PartialEq)]
pub struct LearntBand {
    /// Start of the first bin, and the end of the last with as much again.
    start: f64,
    end: f64,
    /// Middles of the bins.
    middles: Vec<f64>,
    /// `[column]`, then the total: mean and standard deviation in each bin, kN.
    curves: Vec<Vec<(f64, f64)>>,
}

impl LearntBand {
    /// Of a baseline (bin after bin, columns side by side) in bins with these edges, with a card's scatter.
    #[must_use]
    pub fn new(baseline: &[f32], edges: &[f64], shape: &ShapeCard) -> Self {
        let middles: Vec<f64> = edges.windows(2).map(|pair| pair.iter().sum::<f64>() / 2.0).collect();
        let columns = baseline.len() / middles.len().max(1);
        let at = |values: &[f64], bin: usize, column: usize| {
            values.get(bin * columns + column).copied().unwrap_or(0.0)
        };
        // A factor's row is in σ units and its score has a standard deviation of its own.
        let by_factor = |k: usize, bin: usize, column: usize| {
            let row = shape.factors.get(k).map_or(0.0, |row| at(row, bin, column));
            row * at(&shape.sigma, bin, column) * shape.spread.get(k).copied().unwrap_or(0.0)
        };
        let factors = shape.factors.len();
        let one = |column: usize| {
            let bins = (0..middles.len()).map(|bin| {
                let mean = baseline.get(bin * columns + column).map_or(0.0, |mean| f64::from(*mean));
                let own = at(&shape.sigma, bin, column).powi(2);
                let common: f64 = (0..factors).map(|k| by_factor(k, bin, column).powi(2)).sum();
                (mean, (own + common).sqrt())
            });
            bins.collect::<Vec<_>>()
        };
        let mut curves: Vec<Vec<(f64, f64)>> = (0..columns).map(one).collect();
        let total = (0..middles.len()).map(|bin| {
            let mean: f32 = baseline.iter().skip(bin * columns).take(columns).sum();
            let own: f64 = (0..columns).map(|column| at(&shape.sigma, bin, column).powi(2)).sum();
            let common: f64 =
                (0..factors).map(|k| (0..columns).map(|c| by_factor(k, bin, c)).sum::<f64>().powi(2)).sum();
            (f64::from(mean), (own + common).sqrt())
        });
        curves.push(total.collect());
        let start = edges.first().copied().unwrap_or(f64::NEG_INFINITY);
        let end = match edges {
            [.., before, last] => 2.0 * last - before,
            _ => f64::INFINITY,
        };
        Self { start, end, middles, curves }
    }

    /// The band of a column, or of the total, at these positions: no load outside the bins, but level for
    /// a bin after them, as a recording that ends under load is learnt to just before its end.
    #[must_use]
    pub fn envelope(&self, column: Option<usize>, positions: &[f64]) -> Option<Envelope> {
        let curve = self.curves.get(column.unwrap_or(self.curves.len().checked_sub(1)?))?;
        let mut envelope = Envelope::default();
        for position in positions {
            let (mean, deviation) = self.at(curve, *position)?;
            envelope.low_kn.push(mean - BAND_DEVIATIONS * deviation);
            envelope.mean_kn.push(mean);
            envelope.high_kn.push(mean + BAND_DEVIATIONS * deviation);
        }
        Some(envelope)
    }

    fn at(&self, curve: &[(f64, f64)], position: f64) -> Option<(f64, f64)> {
        if position < self.start || position > self.end {
            return Some((0.0, 0.0));
        }
        let after = self.middles.partition_point(|middle| *middle < position);
        let (Some(before), Some(to)) = (after.checked_sub(1), self.middles.get(after)) else {
            return if after == 0 { curve.first() } else { curve.last() }.copied();
        };
        let (a, b, from) = (curve.get(before)?, curve.get(after)?, self.middles.get(before)?);
        let share = (position - from) / (to - from);
        Some((a.0 + share * (b.0 - a.0), a.1 + share * (b.1 - a.1)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn independent_columns_add_variances_and_common_factors_add_deviations() {
        // One bin, two columns, σ 3 and 4; one factor of score deviation 2 along (0.6, 0.8) in σ units.
        let shape = ShapeCard {
            edges: vec![0.0, 1.0],
            sigma: vec![3.0, 4.0],
            spread: vec![2.0],
            factors: vec![vec![0.6, 0.8]],
            ..ShapeCard::blank()
        };
        let band = LearntBand::new(&[10.0, 20.0], &[0.0, 1.0], &shape);
        let close = |found: f64, wanted: f64| assert!((found - wanted).abs() < 1e-9, "{found} {wanted}");
        close(band.curves[0][0].1, (9.0 + 3.6_f64.powi(2)).sqrt());
        close(band.curves[1][0].1, (16.0 + 6.4_f64.powi(2)).sqrt());
        close(band.curves[2][0].1, (25.0 + 10.0_f64.powi(2)).sqrt());
        let envelope = band.envelope(None, &[-5.0, 0.5, 1.9, 9.0]).unwrap();
        assert_eq!(envelope.mean_kn, [0.0, 30.0, 30.0, 0.0]);
    }
}
