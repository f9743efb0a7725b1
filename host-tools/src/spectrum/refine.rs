//! Least squares of damped oscillations on a slowly bending level: rates shared by all records, amplitudes of their own.
//!
//! For given rates the amplitudes are a linear problem, so only the rates are searched (variable projection; Golub and
//! Pereyra 1973, with Kaufman's shorter derivative, from memory), damped as Levenberg and Marquardt do. For white noise
//! this is the most likely answer. A level, its slope and its bend are fitted along with each record, so that a zero
//! that is off and the slide's inertia, which turns with the crank, do not lean on the damping.

use nalgebra::{DMatrix, DVector};

use super::subspace::Pole;

/// Terms of the level: constant, slope, bend.
pub(super) const LEVEL: usize = 3;
/// Steps of the search at most; a good start needs five to ten.
const STEPS: usize = 60;
/// The search ends where a step changes no rate by more than this, relative to its size.
const SETTLED: f64 = 1e-9;

/// Records of equal length, one a column.
#[derive(Debug, Clone)]
pub(super) struct Records {
    values: DMatrix<f64>,
    energy: f64,
}

impl Records {
    /// These records, cut to the shortest.
    pub(super) fn new(records: &[&[f64]]) -> Self {
        let length = records.iter().map(|record| record.len()).min().unwrap_or(0);
        let values = DMatrix::from_fn(length, records.len(), |row, column| records[column][row]);
        let energy = values.norm_squared();
        Self { values, energy }
    }

    /// Samples in each.
    pub(super) fn length(&self) -> usize {
        self.values.nrows()
    }

    /// How many.
    pub(super) fn count(&self) -> usize {
        self.values.ncols()
    }

    /// Amplitudes of given rates, as [`Fit::parts`]; none where they cannot be told apart.
    pub(super) fn parts(&self, poles: &[Pole]) -> Option<DMatrix<f64>> {
        if self.length() < 2 * poles.len() + LEVEL {
            return None;
        }
        let (q, r) = basis(poles, self.length()).qr().unpack();
        r.solve_upper_triangular(&(q.transpose() * &self.values))
    }

    /// The records without their level, slope and bend.
    pub(super) fn level_free(&self) -> DMatrix<f64> {
        if self.length() < LEVEL {
            return DMatrix::zeros(0, 0);
        }
        let q = basis(&[], self.length()).qr().q();
        &self.values - &q * (q.transpose() * &self.values)
    }

    /// Sum of squares that the level alone leaves.
    pub(super) fn without_level(&self) -> f64 {
        self.level_free().norm_squared()
    }
}

/// Oscillations fitted to records.
#[derive(Debug, Clone)]
pub(super) struct Fit {
    /// Rates of each oscillation.
    pub(super) poles: Vec<Pole>,
    /// `[2·oscillation + (0 cosine, 1 sine)]` and then the level's terms, one column a record.
    pub(super) parts: DMatrix<f64>,
    /// Sum of squares left.
    pub(super) left: f64,
    /// Standard errors of turn and decay a sample, for white noise.
    pub(super) errors: Vec<[f64; 2]>,
}

impl Fit {
    /// Standard deviation of what is left.
    pub(super) fn deviation(&self, records: &Records) -> f64 {
        let unknowns = self.parts.len() + 2 * self.poles.len();
        let values = records.length() * records.count();
        f64::sqrt(self.left / values.saturating_sub(unknowns).max(1) as f64)
    }

    /// What the fit leaves of each record, one a column.
    pub(super) fn rest(&self, records: &Records) -> DMatrix<f64> {
        &records.values - basis(&self.poles, records.length()) * &self.parts
    }

    /// One record with its level and all oscillations but one taken away.
    pub(super) fn alone(&self, records: &Records, record: usize, oscillation: usize) -> DVector<f64> {
        let mut parts = self.parts.column(record).into_owned();
        parts.rows_mut(2 * oscillation, 2).fill(0.0);
        records.values.column(record) - basis(&self.poles, records.length()) * parts
    }

    /// One record without its level, and the sum of its oscillations' envelopes.
    pub(super) fn ringing(&self, records: &Records, record: usize) -> [Vec<f64>; 2] {
        let mut level = self.parts.column(record).into_owned();
        level.rows_mut(0, 2 * self.poles.len()).fill(0.0);
        let ringing = records.values.column(record) - basis(&self.poles, records.length()) * level;
        let size = |n: usize| {
            let own = self.poles.iter().enumerate().map(|(k, pole)| {
                let [cosine, sine] = self.part(record, k);
                cosine.hypot(sine) * (-pole.decay * n as f64).exp()
            });
            own.sum()
        };
        [ringing.iter().copied().collect(), (0..records.length()).map(size).collect()]
    }

    /// Cosine and sine part of an oscillation at the start of a record.
    pub(super) fn part(&self, record: usize, oscillation: usize) -> [f64; 2] {
        [self.parts[(2 * oscillation, record)], self.parts[(2 * oscillation + 1, record)]]
    }

    /// Root mean square over the records of an oscillation's amplitude at their start.
    pub(super) fn amplitude(&self, oscillation: usize) -> f64 {
        let rows = self.parts.rows(2 * oscillation, 2);
        f64::sqrt(rows.norm_squared() / self.parts.ncols().max(1) as f64)
    }

    /// The greatest amplitude of all oscillations.
    pub(super) fn strongest(&self) -> f64 {
        (0..self.poles.len()).map(|k| self.amplitude(k)).fold(0.0, f64::max)
    }
}

/// What each term gives at each sample.
fn basis(poles: &[Pole], length: usize) -> DMatrix<f64> {
    let scale = 1.0 / (length.max(2) - 1) as f64;
    let mut basis = DMatrix::zeros(length, 2 * poles.len() + LEVEL);
    for n in 0..length {
        let t = n as f64;
        for (k, pole) in poles.iter().enumerate() {
            let size = (-pole.decay * t).exp();
            let (sine, cosine) = (pole.turn * t).sin_cos();
            basis[(n, 2 * k)] = size * cosine;
            basis[(n, 2 * k + 1)] = size * sine;
        }
        let u = 2.0 * t * scale - 1.0;
        for (term, value) in [1.0, u, u * u].into_iter().enumerate() {
            basis[(n, 2 * poles.len() + term)] = value;
        }
    }
    basis
}

/// Everything that one set of rates gives.
struct Trial {
    parts: DMatrix<f64>,
    left: f64,
    /// Approximate second derivative by the rates (turn, decay of each in turn), and downhill.
    curvature: DMatrix<f64>,
    downhill: DVector<f64>,
}

fn trial(records: &Records, poles: &[Pole]) -> Option<Trial> {
    let length = records.length();
    let basis = basis(poles, length);
    let (q, r) = basis.clone().qr().unpack();
    let inside = q.transpose() * &records.values;
    let parts = r.solve_upper_triangular(&inside)?;
    let left = (records.energy - inside.norm_squared()).max(0.0);
    // How the basis moves with each rate: only the two terms of its own oscillation do.
    let mut moves = DMatrix::zeros(length, 4 * poles.len());
    for n in 0..length {
        let t = n as f64;
        for k in 0..poles.len() {
            let (cosine, sine) = (basis[(n, 2 * k)], basis[(n, 2 * k + 1)]);
            for (column, value) in [-t * sine, t * cosine, -t * cosine, -t * sine].into_iter().enumerate() {
                moves[(n, 4 * k + column)] = value;
            }
        }
    }
    let outside = &moves - &q * (q.transpose() * &moves);
    let products = outside.transpose() * &outside;
    let along = outside.transpose() * &records.values;
    let squares = &parts * parts.transpose();
    let rates = 2 * poles.len();
    // Rate i belongs to oscillation i/2 and moves its terms by columns 2i and 2i + 1 of `moves`.
    let curvature = DMatrix::from_fn(rates, rates, |i, j| {
        let mut sum = 0.0;
        for a in 0..2 {
            for b in 0..2 {
                sum += products[(2 * i + a, 2 * j + b)] * squares[(i / 2 * 2 + a, j / 2 * 2 + b)];
            }
        }
        sum
    });
    let downhill = DVector::from_fn(rates, |i, _| {
        (0..2).map(|a| along.row(2 * i + a).dot(&parts.row(i / 2 * 2 + a))).sum()
    });
    Some(Trial { parts, left, curvature, downhill })
}

/// The best rates near `start`; none where they do not settle, leave what can be a decay, or the records are too short.
pub(super) fn refine(records: &Records, start: &[Pole]) -> Option<Fit> {
    let unknowns = 2 * start.len() + LEVEL;
    if records.length() < unknowns + 2 || records.count() == 0 || start.is_empty() {
        return None;
    }
    let mut poles = start.to_vec();
    let mut now = trial(records, &poles)?;
    let mut caution = 1e-3;
    let mut settled = false;
    for _ in 0..STEPS {
        let mut damped = now.curvature.clone();
        for i in 0..damped.nrows() {
            damped[(i, i)] *= 1.0 + caution;
        }
        let step = damped.cholesky()?.solve(&now.downhill);
        let next: Vec<Pole> = poles
            .iter()
            .enumerate()
            .map(|(k, pole)| Pole { turn: pole.turn + step[2 * k], decay: pole.decay + step[2 * k + 1] })
            .collect();
        let sane = next.iter().all(|pole| {
            (0.0..std::f64::consts::PI).contains(&pole.turn)
                && pole.decay.is_finite()
                && pole.decay.abs() < 2.0
        });
        let small = poles.iter().enumerate().all(|(k, pole)| {
            step[2 * k].abs().max(step[2 * k + 1].abs()) < SETTLED * pole.turn.hypot(pole.decay)
        });
        let tried = if sane { trial(records, &next) } else { None };
        match tried.filter(|tried| tried.left <= now.left || small) {
            Some(better) => {
                (poles, now) = (next, better);
                caution = (caution * 0.2).max(1e-12);
                if small {
                    settled = true;
                    break;
                }
            }
            None => {
                caution = caution.max(1e-6) * 8.0;
                if caution > 1e9 {
                    // No step goes further down: as good as settled.
                    settled = true;
                    break;
                }
            }
        }
    }
    if !settled {
        return None;
    }
    let mut fit = Fit { poles, parts: now.parts, left: now.left, errors: Vec::new() };
    let noise = fit.deviation(records);
    let spread = now.curvature.try_inverse()?;
    let error = |i: usize| noise * spread[(i, i)].max(0.0).sqrt();
    fit.errors = (0..start.len()).map(|k| [error(2 * k), error(2 * k + 1)]).collect();
    Some(fit)
}
