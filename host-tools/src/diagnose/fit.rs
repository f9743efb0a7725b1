//! How much of a change a pattern explains, beside what good strokes do anyway.
//!
//! The change is a measured vector with independent noise and with the scatter of good strokes, which is known by
//! its directions and their deviations (generalised least squares; the scatter enters as amplitudes that cost their
//! square in deviations). A pattern is a few vectors with free amplitudes, some of one sign only. What it explains
//! is the share of the weighted sum of squares that it takes away: 0 nothing, 1 all.

use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

/// Which amplitudes a vector of a pattern may have.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Sign {
    /// Any.
    Free,
    /// Above zero only.
    Up,
    /// Below zero only.
    Down,
}

/// One vector of a pattern.
#[derive(Debug, Clone)]
pub(super) struct Part {
    pub(super) values: Vec<f64>,
    pub(super) sign: Sign,
}

/// What a pattern explains.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Fit {
    /// Share of the change explained, 0 to 1.
    pub(super) explained: f64,
    /// Amplitude of each part, 0 for those left out.
    pub(super) amplitudes: Vec<f64>,
    /// Share of the change that would be lost without each part.
    pub(super) losses: Vec<f64>,
}

/// A change, weighted, with the scatter of good strokes.
#[derive(Debug, Clone)]
pub(super) struct Change {
    values: Vec<f64>,
    weights: Vec<f64>,
    scatter: Vec<Vec<f64>>,
    inner: Option<Cholesky<f64, Dyn>>,
    /// Most likely amplitude of each direction of scatter.
    scattered: Vec<f64>,
    /// The change without scatter, weighted: its product with a vector is how much of that is in it.
    weighed: Vec<f64>,
    /// Weighted sum of squares of the change, scatter taken out.
    pub(super) size: f64,
    /// The change less its most likely scatter.
    pub(super) own: Vec<f64>,
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

impl Change {
    /// A change with weights (1/variance) and directions of scatter, each of deviation one.
    pub(super) fn new(values: Vec<f64>, weights: Vec<f64>, scatter: Vec<Vec<f64>>) -> Self {
        let heavy = |row: &[f64]| row.iter().zip(&weights).map(|(v, w)| v * w).collect::<Vec<f64>>();
        let rows: Vec<Vec<f64>> = scatter.iter().map(|row| heavy(row)).collect();
        let count = scatter.len();
        let cell = |i: usize, j: usize| match (rows.get(i), scatter.get(j)) {
            (Some(a), Some(b)) => dot(a, b) + if i == j { 1.0 } else { 0.0 },
            _ => 0.0,
        };
        let inner = Cholesky::new(DMatrix::from_fn(count, count, cell));
        let along = DVector::from_iterator(count, rows.iter().map(|row| dot(row, &values)));
        let amplitudes = inner.as_ref().map_or_else(|| DVector::zeros(count), |inner| inner.solve(&along));
        let mut own = values.clone();
        for (row, amplitude) in scatter.iter().zip(amplitudes.iter()) {
            for (own, value) in own.iter_mut().zip(row) {
                *own -= amplitude * value;
            }
        }
        let weighed = heavy(&own);
        let size = dot(&values, &weighed).max(0.0);
        let scattered = amplitudes.iter().copied().collect();
        Self { values, weights, scatter, inner, scattered, weighed, size, own }
    }

    /// Share of the weighted change that lies in the values `of` picks.
    pub(super) fn share(&self, of: impl Fn(usize) -> bool) -> f64 {
        let (mut within, mut all) = (0.0, 0.0);
        for (n, (own, weighed)) in self.own.iter().zip(&self.weighed).enumerate() {
            let square = own * weighed;
            all += square;
            within += if of(n) { square } else { 0.0 };
        }
        if all > 0.0 { within / all } else { 0.0 }
    }

    /// Share of the change that is explained if the values `of` picks may be anything.
    pub(super) fn alone(&self, of: impl Fn(usize) -> bool) -> f64 {
        let weights = self.weights.iter().enumerate().map(|(n, w)| if of(n) { 0.0 } else { *w }).collect();
        let rest = Self::new(self.values.clone(), weights, self.scatter.clone());
        if self.size > 0.0 { (1.0 - rest.size / self.size).clamp(0.0, 1.0) } else { 0.0 }
    }

    /// Share of the change explained by values that stand to one another as `shares` in every row of as many, each
    /// row with a free amplitude; and those amplitudes.
    pub(super) fn along(&self, shares: &[f64]) -> (f64, Vec<f64>) {
        let count = shares.len().max(1);
        // Amplitude of each row of some values: their weighted product with the shares over that of the shares.
        let courses = |values: &[f64]| -> Vec<f64> {
            let rows = values.chunks(count).zip(self.weights.chunks(count));
            rows.map(|(row, weights)| {
                let heavy: f64 = shares.iter().zip(weights).map(|(s, w)| s * s * w).sum();
                let along: f64 = row.iter().zip(shares).zip(weights).map(|((v, s), w)| v * s * w).sum();
                if heavy > 0.0 { along / heavy } else { 0.0 }
            })
            .collect()
        };
        let left = |values: &[f64]| -> Vec<f64> {
            let course = courses(values);
            values
                .iter()
                .enumerate()
                .map(|(n, value)| {
                    let share = shares.get(n % count).copied().unwrap_or(0.0);
                    value - course.get(n / count).copied().unwrap_or(0.0) * share
                })
                .collect()
        };
        let scatter = self.scatter.iter().map(|row| left(row)).collect();
        let rest = Self::new(left(&self.values), self.weights.clone(), scatter);
        let mut unscattered = self.values.clone();
        for (row, amplitude) in self.scatter.iter().zip(&rest.scattered) {
            for (value, scatter) in unscattered.iter_mut().zip(row) {
                *value -= amplitude * scatter;
            }
        }
        let explained = if self.size > 0.0 { (1.0 - rest.size / self.size).clamp(0.0, 1.0) } else { 0.0 };
        (explained, courses(&unscattered))
    }

    /// What a pattern explains.
    pub(super) fn explain(&self, parts: &[Part]) -> Fit {
        let count = parts.len();
        let mut along = vec![0.0; count];
        let mut heavy: Vec<Vec<f64>> = Vec::with_capacity(count);
        let mut on_scatter: Vec<DVector<f64>> = Vec::with_capacity(count);
        for (part, along) in parts.iter().zip(&mut along) {
            let row: Vec<f64> = part.values.iter().zip(&self.weights).map(|(v, w)| v * w).collect();
            on_scatter.push(DVector::from_iterator(
                self.scatter.len(),
                self.scatter.iter().map(|scatter| dot(scatter, &row)),
            ));
            *along = dot(&part.values, &self.weighed);
            heavy.push(row);
        }
        let solved: Vec<DVector<f64>> = on_scatter
            .iter()
            .map(|on| self.inner.as_ref().map_or_else(|| on * 0.0, |inner| inner.solve(on)))
            .collect();
        let gram = DMatrix::from_fn(count, count, |i, j| {
            match (heavy.get(i), parts.get(j), on_scatter.get(i), solved.get(j)) {
                (Some(a), Some(b), Some(on), Some(solved)) => dot(a, &b.values) - on.dot(solved),
                _ => 0.0,
            }
        });
        let wanted: Vec<Sign> = parts.iter().map(|part| part.sign).collect();
        let (amplitudes, gained) = solve(&gram, &along, &wanted, &vec![true; count]);
        let per_size = if self.size > 0.0 { 1.0 / self.size } else { 0.0 };
        let losses = (0..count).map(|out| {
            if amplitudes.get(out).is_none_or(|amplitude| *amplitude == 0.0) {
                return 0.0;
            }
            let may: Vec<bool> = (0..count).map(|n| n != out).collect();
            (gained - solve(&gram, &along, &wanted, &may).1).max(0.0) * per_size
        });
        let losses = losses.collect();
        Fit { explained: (gained * per_size).clamp(0.0, 1.0), amplitudes, losses }
    }
}

/// Amplitudes of the parts that `may` take part, those that come out with the wrong sign left out worst first, and
/// the sum of squares they take away.
fn solve(gram: &DMatrix<f64>, along: &[f64], signs: &[Sign], may: &[bool]) -> (Vec<f64>, f64) {
    let mut used: Vec<usize> = (0..along.len()).filter(|n| may.get(*n).copied().unwrap_or(false)).collect();
    let at = |i: usize, j: usize| gram.get((i, j)).copied().unwrap_or(0.0);
    used.retain(|n| at(*n, *n) > 0.0);
    while !used.is_empty() {
        let size = used.len();
        let cell = |i: usize, j: usize| match (used.get(i), used.get(j)) {
            // A hair of ridge: parts that cannot be told apart share.
            (Some(a), Some(b)) => at(*a, *b) * if i == j { 1.0 + 1e-6 } else { 1.0 },
            _ => 0.0,
        };
        let right = DVector::from_iterator(size, used.iter().filter_map(|n| along.get(*n).copied()));
        let Some(inner) = Cholesky::new(DMatrix::from_fn(size, size, cell)) else { break };
        let found = inner.solve(&right);
        let wrong = used.iter().zip(found.iter()).map(|(n, amplitude)| {
            let off = match signs.get(*n) {
                Some(Sign::Up) => -amplitude,
                Some(Sign::Down) => *amplitude,
                _ => 0.0,
            };
            off * at(*n, *n).sqrt()
        });
        let worst = wrong.enumerate().filter(|(_, off)| *off > 0.0).max_by(|a, b| a.1.total_cmp(&b.1));
        if let Some((out, _)) = worst {
            used.remove(out);
            continue;
        }
        let mut amplitudes = vec![0.0; along.len()];
        for (n, amplitude) in used.iter().zip(found.iter()) {
            if let Some(into) = amplitudes.get_mut(*n) {
                *into = *amplitude;
            }
        }
        return (amplitudes, found.dot(&right).max(0.0));
    }
    (vec![0.0; along.len()], 0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn part(values: &[f64], sign: Sign) -> Part {
        Part { values: values.to_vec(), sign }
    }

    #[test]
    fn a_pattern_explains_the_share_of_the_squares_that_lies_along_it() {
        // 3² of 3² + 4² by hand.
        let change = Change::new(vec![3.0, 4.0], vec![1.0, 1.0], Vec::new());
        let fit = change.explain(&[part(&[2.0, 0.0], Sign::Free)]);
        assert!((fit.explained - 9.0 / 25.0).abs() < 1e-5, "{fit:?}");
        assert!((fit.amplitudes[0] - 1.5).abs() < 1e-5, "{fit:?}");
        let both = change.explain(&[part(&[2.0, 0.0], Sign::Free), part(&[0.0, 1.0], Sign::Free)]);
        assert!(
            (both.explained - 1.0).abs() < 1e-5 && (both.losses[1] - 16.0 / 25.0).abs() < 1e-5,
            "{both:?}"
        );
    }

    #[test]
    fn a_part_of_the_wrong_sign_explains_nothing() {
        let change = Change::new(vec![3.0, 4.0], vec![1.0, 1.0], Vec::new());
        for (sign, explained) in [(Sign::Up, 0.0), (Sign::Down, 9.0 / 25.0)] {
            let fit = change.explain(&[part(&[-1.0, 0.0], sign)]);
            assert!((fit.explained - explained).abs() < 1e-5, "{sign:?}: {fit:?}");
        }
    }

    #[test]
    fn what_scatter_does_anyway_weighs_little() {
        // Scatter of deviation 10 along the first value leaves 1/101 of its square (computed by hand: 1/(1 + 10²)).
        let change = Change::new(vec![3.0, 4.0], vec![1.0, 1.0], vec![vec![10.0, 0.0]]);
        assert!((change.size - (16.0 + 9.0 / 101.0)).abs() < 1e-9, "{}", change.size);
        let fit = change.explain(&[part(&[1.0, 0.0], Sign::Free)]);
        assert!((fit.explained - 9.0 / 101.0 / change.size).abs() < 1e-5, "{fit:?}");
        assert!((fit.amplitudes[0] - 3.0).abs() < 1e-4, "a free amplitude still finds the value: {fit:?}");
    }

    #[test]
    fn one_row_alone_and_one_set_of_shares_explain_all_that_lies_there() {
        // Rows of two. All of it in the second column: nothing is left beside it, whatever scatter does to both.
        let scatter = vec![vec![1.0, 1.0, 2.0, 2.0]];
        let gauge = Change::new(vec![0.0, 5.0, 0.0, -3.0], vec![1.0; 4], scatter.clone());
        assert!((gauge.alone(|n| n % 2 == 1) - 1.0).abs() < 1e-12);
        assert!(gauge.alone(|n| n % 2 == 0) < 0.5);
        // Shares of 3 : 1, amplitudes 2 and -1 by hand.
        let force = Change::new(vec![1.5, 0.5, -0.75, -0.25], vec![1.0; 4], Vec::new());
        let (explained, course) = force.along(&[0.75, 0.25]);
        assert!((explained - 1.0).abs() < 1e-12 && (course[0] - 2.0).abs() < 1e-12, "{explained} {course:?}");
        assert!((course[1] + 1.0).abs() < 1e-12, "{course:?}");
        // Along 1 : 3 lies (1.5·0.25 + 0.5·0.75)²/0.625 of 2.5 in the first row, as much of the second: 0.36.
        assert!((force.along(&[0.25, 0.75]).0 - 0.36).abs() < 1e-12);
    }

    #[test]
    fn no_change_and_no_parts_are_explained_by_nothing() {
        let none = Change::new(vec![0.0; 3], vec![1.0; 3], Vec::new());
        assert_eq!(none.explain(&[part(&[1.0, 1.0, 1.0], Sign::Free)]).explained, 0.0);
        assert_eq!(Change::new(vec![1.0], vec![1.0], Vec::new()).explain(&[]).explained, 0.0);
        assert_eq!(none.share(|_| true), 0.0);
    }
}
