//! Steps in a series that may also drift: where, how high, how surely.
//!
//! Steps are added one by one, each where a common slope and all steps so far leave the clearest one, as long as it is
//! clearer than chance allows over all places it could have been at; one that later steps explain is dropped again.

use nalgebra::{DMatrix, DVector};
use statrs::distribution::{ContinuousCDF as _, StudentsT};

use super::series::Series;

/// Fewest blocks between two steps.
pub const APART: usize = 3;
/// Most steps looked for.
const MOST: usize = 12;

/// A step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// Index of the first block after it.
    pub at: usize,
    /// How high.
    pub size: f64,
    /// Standard error of that.
    pub error: f64,
}

/// Steps of a series, in order, each with a chance below `error` where there is none. None for a series that is too short.
#[must_use]
pub fn steps(series: &Series, error: f64) -> Vec<Step> {
    let mut places: Vec<usize> = Vec::new();
    while places.len() < MOST {
        let candidates: Vec<usize> = (APART..(series.y.len() + 1).saturating_sub(APART))
            .filter(|n| places.iter().all(|place| n.abs_diff(*place) >= APART))
            .collect();
        let clearest = candidates
            .iter()
            .filter_map(|n| {
                let with: Vec<usize> = places.iter().copied().chain([*n]).collect();
                fitted(series, &with).and_then(|(steps, freedom)| Some((clear(steps.last()?), *n, freedom)))
            })
            .max_by(|a, b| a.0.total_cmp(&b.0));
        let Some((clear, place, freedom)) = clearest else { break };
        let chance = StudentsT::new(0.0, 1.0, freedom).map_or(1.0, |t| 2.0 * t.cdf(-clear));
        if chance * candidates.len() as f64 >= error {
            break;
        }
        places.push(place);
    }
    loop {
        let Some((steps, freedom)) = fitted(series, &places) else { return Vec::new() };
        let weakest = steps.iter().enumerate().min_by(|a, b| clear(a.1).total_cmp(&clear(b.1)));
        let Some((n, step)) = weakest else { return Vec::new() };
        let chance = StudentsT::new(0.0, 1.0, freedom).map_or(1.0, |t| 2.0 * t.cdf(-clear(step)));
        if chance * series.y.len() as f64 <= error {
            let mut steps = steps;
            steps.sort_by_key(|step| step.at);
            return steps;
        }
        places.remove(n);
    }
}

fn clear(step: &Step) -> f64 {
    if step.error > 0.0 { step.size.abs() / step.error } else { 0.0 }
}

/// Steps at these places by least squares with one slope, and the degrees of freedom left.
fn fitted(series: &Series, places: &[usize]) -> Option<(Vec<Step>, f64)> {
    let (count, width) = (series.y.len(), places.len() + 2);
    let freedom = count.checked_sub(width + series.stock.len()).filter(|left| *left > 0)? as f64;
    let span = (series.x.last()? - series.x.first()?).max(1.0);
    let first = *series.x.first()?;
    let matrix = DMatrix::from_fn(count, width, |row, column| match column {
        0 => 1.0,
        1 => (series.x.get(row).copied().unwrap_or(0.0) - first) / span,
        n => f64::from(u8::from(places.get(n - 2).is_some_and(|place| row >= *place))),
    });
    let y = DVector::from_column_slice(&series.y);
    let inverse = matrix.tr_mul(&matrix).try_inverse()?;
    let solved = &inverse * matrix.tr_mul(&y);
    let left = (&y - &matrix * &solved).norm_squared() / freedom;
    let step = |(n, at): (usize, &usize)| {
        Some(Step { at: *at, size: *solved.get(n + 2)?, error: (left * inverse.get((n + 2, n + 2))?).sqrt() })
    };
    Some((places.iter().enumerate().map(step).collect::<Option<_>>()?, freedom))
}

#[cfg(test)]
mod tests {
    use super::super::testing::Chance;
    use super::*;

    fn series(y: Vec<f64>) -> Series {
        let x = (0..y.len()).map(|n| 100.0 * n as f64).collect();
        Series { x, strokes: vec![[0, 0]; y.len()], y, stock: Vec::new() }
    }

    #[test]
    fn a_regrind_in_a_drift_is_one_step_at_its_place() {
        let mut chance = Chance::new(1);
        let y = (0..40)
            .map(|n| 0.3 * f64::from(if n < 25 { n } else { n - 25 }) + 0.5 * chance.normal())
            .collect();
        let found = steps(&series(y), 1e-4);
        assert_eq!(found.len(), 1, "{found:?}");
        // The line would have gone on to 7.5 there.
        let step = found.first().copied().unwrap_or(Step { at: 0, size: 0.0, error: 0.0 });
        assert!(step.at == 25 && (step.size + 7.5).abs() < 4.0 * step.error, "{found:?}");
    }

    #[test]
    fn two_steps_are_found_and_a_drift_alone_is_none() {
        let mut chance = Chance::new(2);
        let y = (0..60)
            .map(|n| f64::from(u8::from((20..40).contains(&n))) * 5.0 + 0.5 * chance.normal())
            .collect();
        assert_eq!(steps(&series(y), 1e-4).iter().map(|step| step.at).collect::<Vec<_>>(), [20, 40]);
        let drift = (0..60).map(|n| 0.2 * f64::from(n) + chance.normal()).collect();
        assert!(steps(&series(drift), 1e-4).is_empty());
        assert!(steps(&series(vec![1.0; 5]), 1e-4).is_empty());
    }

    #[test]
    fn scatter_alone_has_steps_no_more_often_than_designed() {
        let mut chance = Chance::new(3);
        let found = (0..400)
            .filter(|_| !steps(&series((0..30).map(|_| chance.normal()).collect()), 0.01).is_empty())
            .count();
        // At most 1 % of 400 and three standard deviations.
        assert!(found <= 10, "{found}");
    }
}
