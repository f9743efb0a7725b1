//! Fewer points for the same picture: per pixel column, the extremes survive.

/// The values that fall into one pixel column.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bin {
    /// Middle of the bin on the x axis.
    pub x: f64,
    /// Smallest value.
    pub min: f64,
    /// Median value.
    pub median: f64,
    /// Greatest value.
    pub max: f64,
    /// How many values.
    pub count: usize,
}

fn index_of(x: f64, low: f64, high: f64, columns: usize) -> Option<usize> {
    let share = (x - low) / (high - low);
    if !(0.0..=1.0).contains(&share) {
        return None;
    }
    Some(((share * columns as f64) as usize).min(columns.saturating_sub(1)))
}

/// Values of `ys` at `xs` gathered into `columns` equal bins between `low` and `high`; empty bins
/// are left out, values outside too.
#[must_use]
pub fn bins(xs: &[f64], ys: &[f64], low: f64, high: f64, columns: usize) -> Vec<Bin> {
    if columns == 0 || high <= low {
        return Vec::new();
    }
    let mut gathered: Vec<Vec<f64>> = vec![Vec::new(); columns];
    for (&x, &y) in xs.iter().zip(ys) {
        if let Some(bin) = index_of(x, low, high, columns).and_then(|i| gathered.get_mut(i)) {
            bin.push(y);
        }
    }
    let width = (high - low) / columns as f64;
    gathered
        .iter_mut()
        .enumerate()
        .filter_map(|(i, values)| {
            values.sort_by(f64::total_cmp);
            Some(Bin {
                x: low + (i as f64 + 0.5) * width,
                min: *values.first()?,
                median: *values.get(values.len() / 2)?,
                max: *values.last()?,
                count: values.len(),
            })
        })
        .collect()
}

/// The polyline through `xs`, `ys` with at most four points for each run of points in one of
/// `columns` pixel columns: its first, least, greatest and last, in the order they came.
#[must_use]
pub fn thin(xs: &[f64], ys: &[f64], columns: usize) -> Vec<(f64, f64)> {
    let points: Vec<(f64, f64)> = xs.iter().copied().zip(ys.iter().copied()).collect();
    if points.len() <= 2 * columns.max(1) {
        return points;
    }
    let low = xs.iter().copied().fold(f64::INFINITY, f64::min);
    let high = xs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    points
        .chunk_by(|a, b| index_of(a.0, low, high, columns) == index_of(b.0, low, high, columns))
        .flat_map(|run| {
            let by_value = |a: &&(usize, (f64, f64)), b: &&(usize, (f64, f64))| a.1.1.total_cmp(&b.1.1);
            let numbered: Vec<(usize, (f64, f64))> = run.iter().copied().enumerate().collect();
            let mut kept: Vec<(usize, (f64, f64))> = [
                numbered.first(),
                numbered.iter().min_by(by_value),
                numbered.iter().max_by(by_value),
                numbered.last(),
            ]
            .into_iter()
            .flatten()
            .copied()
            .collect();
            kept.sort_by_key(|k| k.0);
            kept.dedup_by_key(|k| k.0);
            kept.into_iter().map(|k| k.1).collect::<Vec<_>>()
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn saw(n: usize) -> (Vec<f64>, Vec<f64>) {
        let xs: Vec<f64> = (0..n).map(|i| i as f64).collect();
        // A multiplicative walk modulo a prime: every value differs, no two runs alike.
        let ys = (0..n as u64).map(|i| ((i * 48_271 + 11) % 65_537) as f64).collect();
        (xs, ys)
    }

    #[test]
    fn thinning_keeps_the_extremes_of_every_pixel_column() {
        let (xs, ys) = saw(30_000);
        let columns = 731;
        let kept = thin(&xs, &ys, columns);
        assert!(kept.len() <= 4 * columns);
        let high = xs[xs.len() - 1];
        for c in 0..columns {
            let of = |x: f64| index_of(x, 0.0, high, columns) == Some(c);
            let all: Vec<f64> = xs.iter().zip(&ys).filter(|p| of(*p.0)).map(|p| *p.1).collect();
            let few: Vec<f64> = kept.iter().filter(|p| of(p.0)).map(|p| p.1).collect();
            let extreme = |v: &[f64]| {
                (
                    v.iter().copied().fold(f64::INFINITY, f64::min),
                    v.iter().copied().fold(f64::NEG_INFINITY, f64::max),
                )
            };
            assert_eq!(extreme(&all), extreme(&few), "column {c}");
        }
        assert!(kept.is_sorted_by(|a, b| a.0 <= b.0));
    }

    #[test]
    fn one_spike_in_thirty_thousand_strokes_survives() {
        let xs: Vec<f64> = (0..30_000).map(f64::from).collect();
        let mut ys = vec![100.0; 30_000];
        ys[17_312] = 260.0;
        assert!(thin(&xs, &ys, 900).contains(&(17_312.0, 260.0)));
        let most = bins(&xs, &ys, 0.0, 29_999.0, 900).iter().map(|b| b.max).fold(0.0, f64::max);
        assert_eq!(most, 260.0);
    }

    #[test]
    fn bins_count_every_value_once() {
        let (xs, ys) = saw(10_007);
        let b = bins(&xs, &ys, 0.0, 10_006.0, 333);
        assert_eq!(b.iter().map(|b| b.count).sum::<usize>(), 10_007);
        assert!(b.iter().all(|b| b.min <= b.median && b.median <= b.max));
    }

    #[test]
    fn few_points_are_left_as_they_are() {
        let xs = [3.0, 2.0, 5.0];
        let ys = [1.0, -1.0, 0.5];
        assert_eq!(thin(&xs, &ys, 100), [(3.0, 1.0), (2.0, -1.0), (5.0, 0.5)]);
        assert!(bins(&xs, &ys, 1.0, 1.0, 10).is_empty());
    }
}
