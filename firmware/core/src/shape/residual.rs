//! A signature's residual against a baseline, taken apart row by row: factors, tangents, allowed directions.

use super::field::{Field, add_scaled, dot};
use super::model::{ALLOWED, FACTORS, ShapeModel, TANGENTS};
use super::statistics::{FieldStatistics, Tally};

/// Tangents and allowed directions are not orthogonal to one another: taking them out in turn leaves a part that
/// shrinks with every round.
pub const ROUNDS: usize = 3;

/// Parts in which the baseline is subtracted, so many of the bins each.
const SUBTRACTING: usize = 4;

/// The residual being taken apart.
#[derive(Debug, Clone)]
pub(super) struct Residual<const N: usize, const BINS: usize> {
    step: usize,
    /// Residual without factors and tangents, in σ.
    pub q: Field<N, BINS>,
    /// The same without the allowed part.
    pub p: Field<N, BINS>,
    /// Factor scores over their spread.
    pub scores: [f32; FACTORS],
    /// The same without the allowed part.
    pub own_scores: [f32; FACTORS],
    /// Amplitudes along the allowed directions.
    pub allowed: [f32; ALLOWED],
    /// Size of the whole residual, squared.
    pub size: f32,
    /// Score or amplitude of the row in hand.
    amplitude: f32,
    tally: Tally<N>,
    /// Statistics of `q` and of `p`.
    pub of_q: FieldStatistics,
    /// See `of_q`.
    pub of_p: FieldStatistics,
}

impl<const N: usize, const BINS: usize> Default for Residual<N, BINS> {
    fn default() -> Self {
        Self {
            step: 0,
            q: const { [[0.0; N]; BINS] },
            p: const { [[0.0; N]; BINS] },
            scores: [0.0; FACTORS],
            own_scores: [0.0; FACTORS],
            allowed: [0.0; ALLOWED],
            size: 0.0,
            amplitude: 0.0,
            tally: Tally::default(),
            of_q: FieldStatistics::default(),
            of_p: FieldStatistics::default(),
        }
    }
}

impl<const N: usize, const BINS: usize> Residual<N, BINS> {
    /// Calls of [`Self::advance`] that one residual takes.
    pub(super) const PARTS: usize = Self::ROWS + 2 * Tally::<N>::parts(BINS);
    /// Those of them that subtract the baseline and take rows out.
    const ROWS: usize =
        SUBTRACTING + 2 + 2 * (FACTORS + TANGENTS + ALLOWED) + ROUNDS * 2 * (TANGENTS + ALLOWED);

    /// Starts afresh.
    pub(super) fn begin(&mut self) {
        self.step = 0;
        self.tally = Tally::default();
    }

    /// One part of the work on `x` against `baseline`. True when all is done; the next call then starts afresh.
    pub(super) fn advance(
        &mut self,
        model: &ShapeModel<N, BINS>,
        x: &Field<N, BINS>,
        baseline: &Field<N, BINS>,
        tangents: &[Field<N, BINS>; TANGENTS],
    ) -> bool {
        const FROM_FACTORS: usize = SUBTRACTING + 1;
        const FROM_TANGENTS: usize = FROM_FACTORS + 2 * FACTORS;
        const FROM_COPY: usize = FROM_TANGENTS + 2 * TANGENTS;
        const FROM_ALLOWED: usize = FROM_COPY + 1;
        const ROUND: usize = 2 * (TANGENTS + ALLOWED);
        const FROM_ROUNDS: usize = FROM_ALLOWED + 2 * ALLOWED;
        let step = self.step;
        self.step += 1;
        if step < SUBTRACTING {
            let piece = BINS.div_ceil(SUBTRACTING);
            let rows = self.q.iter_mut().zip(x).zip(baseline).zip(&model.per_sigma);
            for (((q, x), b), per_sigma) in rows.skip(step * piece).take(piece) {
                for (((q, x), b), per_sigma) in q.iter_mut().zip(x).zip(b).zip(per_sigma) {
                    *q = (x - b) * per_sigma;
                }
            }
        } else if step < FROM_FACTORS {
            self.size = dot(&self.q, &self.q);
        } else if step < FROM_TANGENTS {
            let (row, second) = ((step - FROM_FACTORS) / 2, (step - FROM_FACTORS) % 2 == 1);
            let (Some(factor), Some(per_spread)) = (model.factors.get(row), model.per_spread.get(row)) else {
                return false;
            };
            // Rows are orthonormal: taking each out at once leaves the other scores as they are.
            if second {
                add_scaled(&mut self.q, factor, -self.amplitude);
            } else {
                self.amplitude = dot(factor, &self.q);
                if let Some(score) = self.scores.get_mut(row) {
                    *score = self.amplitude * per_spread;
                }
            }
        } else if step < FROM_COPY {
            let (row, second) = ((step - FROM_TANGENTS) / 2, (step - FROM_TANGENTS) % 2 == 1);
            let Some(tangent) = tangents.get(row) else { return false };
            if second {
                add_scaled(&mut self.q, tangent, -self.amplitude);
            } else {
                self.amplitude = dot(tangent, &self.q);
            }
        } else if step == FROM_COPY {
            self.p = self.q;
            self.own_scores = self.scores;
        } else if step >= Self::ROWS {
            if step < Self::ROWS + Tally::<N>::parts(BINS) {
                if self.tally.advance(model, &self.q) {
                    self.of_q = self.tally.made;
                }
            } else if self.tally.advance(model, &self.p) {
                self.of_p = self.tally.made;
            }
        } else if step >= FROM_ROUNDS && (step - FROM_ROUNDS) % ROUND < 2 * TANGENTS {
            let within = (step - FROM_ROUNDS) % ROUND;
            let Some(tangent) = tangents.get(within / 2) else { return false };
            if within % 2 == 1 {
                add_scaled(&mut self.p, tangent, -self.amplitude);
            } else {
                self.amplitude = dot(tangent, &self.p);
            }
        } else {
            let first = step < FROM_ROUNDS;
            let within =
                if first { step - FROM_ALLOWED } else { (step - FROM_ROUNDS) % ROUND - 2 * TANGENTS };
            let (row, second) = (within / 2, within % 2 == 1);
            let Some(direction) = model.allowed.get(row) else { return false };
            if second {
                add_scaled(&mut self.p, &direction.field, -self.amplitude);
                for (own, part) in self.own_scores.iter_mut().zip(&direction.scores) {
                    *own -= self.amplitude * part;
                }
            } else {
                let on_scores: f32 =
                    self.own_scores.iter().zip(&direction.scores).map(|(s, part)| s * part).sum();
                self.amplitude = on_scores + dot(&direction.field, &self.p);
                if let Some(amplitude) = self.allowed.get_mut(row).filter(|_| first) {
                    *amplitude = self.amplitude;
                }
            }
        }
        let done = self.step >= Self::PARTS;
        if done {
            self.step = 0;
        }
        done
    }
}
