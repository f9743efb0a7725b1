//! The strokes before this one: whether a change was there already, and whether it grows.

use std::collections::VecDeque;

/// Strokes looked back on.
const LOOKED_BACK: usize = 40;
/// Fewest strokes from which a course can be told.
const FEWEST: usize = 3;
/// Strokes from which growth can be told, and how many deviations of chance it must be beyond (Mann–Kendall).
const FEWEST_TO_GROW: usize = 8;
const SURE: f64 = 3.0;

/// How a change came.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Course {
    Unknown,
    Sudden,
    Growing,
    Steady,
}

impl Course {
    pub(super) fn word(self) -> &'static str {
        match self {
            Self::Unknown => "unknown",
            Self::Sudden => "sudden",
            Self::Growing => "growing",
            Self::Steady => "steady",
        }
    }
}

/// What the strokes before tell of a change.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Before {
    pub(super) alike: usize,
    pub(super) of: usize,
    pub(super) course: Course,
}

/// Signatures of the last strokes of this coil.
#[derive(Debug, Clone, Default)]
pub(super) struct History {
    coil: Option<u64>,
    strokes: VecDeque<Vec<f32>>,
}

impl History {
    /// Another coil: what came before says nothing of it.
    pub(super) fn coil(&mut self, coil: u64) {
        if self.coil != Some(coil) {
            self.coil = Some(coil);
            self.strokes.clear();
        }
    }

    pub(super) fn add(&mut self, signature: &[f32]) {
        if self.strokes.len() >= LOOKED_BACK {
            self.strokes.pop_front();
        }
        self.strokes.push_back(signature.to_vec());
    }

    /// How strong the change from `expected` by `change` was in each of them, 1 being as strong, oldest first.
    fn amplitudes(&self, expected: &[f64], change: &[f64], weights: &[f64]) -> Vec<f64> {
        let size: f64 = change.iter().zip(weights).map(|(c, w)| c * c * w).sum();
        let one = |stroke: &Vec<f32>| {
            let along: f64 = stroke
                .iter()
                .zip(expected)
                .zip(change)
                .zip(weights)
                .map(|(((x, e), c), w)| (f64::from(*x) - e) * c * w)
                .sum();
            if size > 0.0 { along / size } else { 0.0 }
        };
        self.strokes.iter().map(one).collect()
    }

    /// What they tell of a change; all in signature bins, `weights` 1/variance.
    pub(super) fn of(&self, expected: &[f64], change: &[f64], weights: &[f64]) -> Before {
        let amplitudes = self.amplitudes(expected, change, weights);
        let alike = amplitudes.iter().filter(|a| **a >= 0.5).count();
        let of = amplitudes.len();
        let last = amplitudes.get(of.saturating_sub(FEWEST)..).unwrap_or(&[]);
        let near = last.iter().sum::<f64>() / last.len().max(1) as f64;
        let course = if of < FEWEST {
            Course::Unknown
        } else if grows(&amplitudes) && near > 0.25 {
            Course::Growing
        } else if near < 0.34 {
            Course::Sudden
        } else {
            Course::Steady
        };
        Before { alike, of, course }
    }
}

/// Whether values rise beyond chance: Mann–Kendall's S over its deviation √(n(n−1)(2n+5)/18).
fn grows(values: &[f64]) -> bool {
    let n = values.len() as f64;
    if values.len() < FEWEST_TO_GROW {
        return false;
    }
    let mut sum = 0.0;
    for (i, a) in values.iter().enumerate() {
        sum += values
            .iter()
            .skip(i + 1)
            .map(|b| {
                if b > a {
                    1.0
                } else if b < a {
                    -1.0
                } else {
                    0.0
                }
            })
            .sum::<f64>();
    }
    sum / (n * (n - 1.0) * (2.0 * n + 5.0) / 18.0).sqrt() > SURE
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Strokes of two bins whose first holds these shares of a change of 8, beside a wobble of one.
    fn history(shares: &[f64]) -> Before {
        let mut history = History::default();
        history.coil(1);
        for (n, share) in shares.iter().enumerate() {
            let wobble = if n % 2 == 0 { 0.5 } else { -0.5 };
            history.add(&[(100.0 + 8.0 * share + wobble) as f32, 50.0]);
        }
        history.of(&[100.0, 50.0], &[8.0, 0.0], &[1.0, 1.0])
    }

    #[test]
    fn a_change_that_was_not_there_is_sudden_and_one_that_was_is_steady() {
        assert_eq!(history(&[0.0; 10]), Before { alike: 0, of: 10, course: Course::Sudden });
        assert_eq!(history(&[1.0; 10]), Before { alike: 10, of: 10, course: Course::Steady });
        assert_eq!(history(&[0.0, 0.0]).course, Course::Unknown);
    }

    #[test]
    fn a_change_that_climbs_stroke_by_stroke_is_growing() {
        let shares: Vec<f64> = (0..30).map(|n| f64::from(n) / 30.0).collect();
        assert_eq!(history(&shares).course, Course::Growing);
        let falling: Vec<f64> = shares.iter().rev().copied().collect();
        assert_ne!(history(&falling).course, Course::Growing);
    }

    #[test]
    fn another_coil_forgets() {
        let mut history = History::default();
        history.coil(1);
        history.add(&[1.0]);
        history.coil(1);
        assert_eq!(history.strokes.len(), 1);
        history.coil(2);
        assert!(history.strokes.is_empty());
    }
}
