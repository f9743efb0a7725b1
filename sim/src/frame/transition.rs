//! One step of a linear system under a force that changes linearly over the step, exactly.
//!
//! For x' = A x + B w with w linear between samples, the step is x₁ = Φ x₀ + Γ₀ w₀ + Γ₁ w₁. All three matrices
//! are blocks of one matrix exponential (Van Loan 1978, first-order hold). The only errors are rounding and
//! whatever the true force does between samples; there is no stability limit on the step.

/// States: opening, roll, pitch and their rates.
pub(super) const STATES: usize = 6;
/// Forces: one to each of the three degrees of freedom.
pub(super) const FORCES: usize = 3;
const ALL: usize = STATES + 2 * FORCES;

type Square = [[f64; ALL]; ALL];

/// The matrices of one step.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Transition {
    /// Φ: state to state.
    pub(super) state: [[f64; STATES]; STATES],
    /// Γ₀: force at the step's start to state.
    pub(super) before: [[f64; FORCES]; STATES],
    /// Γ₁: force at the step's end to state.
    pub(super) after: [[f64; FORCES]; STATES],
}

impl Transition {
    /// For x' = `a` x + `b` w over `step_s`.
    pub(super) fn new(a: &[[f64; STATES]; STATES], b: &[[f64; FORCES]; STATES], step_s: f64) -> Self {
        let mut m: Square = [[0.0; ALL]; ALL];
        for i in 0..STATES {
            for j in 0..STATES {
                m[i][j] = a[i][j] * step_s;
            }
            for j in 0..FORCES {
                m[i][STATES + j] = b[i][j] * step_s;
            }
        }
        // The force's rise over the step is itself a state, so that the force ramps from w₀ to w₁.
        for j in 0..FORCES {
            m[STATES + j][STATES + FORCES + j] = 1.0;
        }
        let e = exponential(&m);
        let mut step = Self {
            state: [[0.0; STATES]; STATES],
            before: [[0.0; FORCES]; STATES],
            after: [[0.0; FORCES]; STATES],
        };
        for (i, row) in e.iter().take(STATES).enumerate() {
            let (state, (level, ramp)) = (&row[..STATES], row[STATES..].split_at(FORCES));
            step.state[i].copy_from_slice(state);
            step.after[i].copy_from_slice(ramp);
            for (before, (level, ramp)) in step.before[i].iter_mut().zip(level.iter().zip(ramp)) {
                *before = level - ramp;
            }
        }
        step
    }

    /// The part of the next state that is already known: Φ x₀ + Γ₀ w₀.
    #[inline]
    pub(super) fn known(&self, x: &[f64; STATES], w: &[f64; FORCES]) -> [f64; STATES] {
        let mut next = [0.0; STATES];
        for ((out, row), gain) in next.iter_mut().zip(&self.state).zip(&self.before) {
            let mut sum = 0.0;
            for (a, b) in row.iter().zip(x) {
                sum += a * b;
            }
            for (a, b) in gain.iter().zip(w) {
                sum += a * b;
            }
            *out = sum;
        }
        next
    }

    /// Adds Γ₁ w₁ to the known part.
    #[inline]
    pub(super) fn complete(&self, known: &[f64; STATES], w: &[f64; FORCES]) -> [f64; STATES] {
        let mut next = *known;
        for (out, gain) in next.iter_mut().zip(&self.after) {
            for (a, b) in gain.iter().zip(w) {
                *out += a * b;
            }
        }
        next
    }
}

/// e^m by scaling and squaring of the Taylor series: after scaling the norm is at most ¼ and
/// eighteen terms leave less than ¼¹⁹/19! = 3·10⁻²⁹.
fn exponential(m: &Square) -> Square {
    let norm = m.iter().map(|row| row.iter().map(|v| v.abs()).sum::<f64>()).fold(0.0, f64::max);
    let mut halvings = 0;
    let mut scale = 1.0;
    while norm * scale > 0.25 && halvings < 60 {
        scale *= 0.5;
        halvings += 1;
    }
    let mut sum = identity();
    let mut term = identity();
    for k in 1..=18 {
        term = multiply(&term, m);
        for row in &mut term {
            for v in row {
                *v *= scale / f64::from(k);
            }
        }
        for (row, add) in sum.iter_mut().zip(&term) {
            for (v, a) in row.iter_mut().zip(add) {
                *v += a;
            }
        }
    }
    for _ in 0..halvings {
        sum = multiply(&sum, &sum);
    }
    sum
}

fn identity() -> Square {
    let mut one = [[0.0; ALL]; ALL];
    for (i, row) in one.iter_mut().enumerate() {
        row[i] = 1.0;
    }
    one
}

fn multiply(a: &Square, b: &Square) -> Square {
    let mut out = [[0.0; ALL]; ALL];
    for (row, a_row) in out.iter_mut().zip(a) {
        for (left, b_row) in a_row.iter().zip(b) {
            for (v, right) in row.iter_mut().zip(b_row) {
                *v += left * right;
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_undamped_oscillator_answers_a_ramp_exactly() {
        // x'' = w − ω²x, w = t: x = (t − sin ωt/ω)/ω²; one big step of 0.7 s at ω = 9.
        let omega = 9.0;
        let mut a = [[0.0; STATES]; STATES];
        a[0][3] = 1.0;
        a[3][0] = -omega * omega;
        let mut b = [[0.0; FORCES]; STATES];
        b[3][0] = 1.0;
        let step = Transition::new(&a, &b, 0.7);
        let x = step.complete(&step.known(&[0.0; STATES], &[0.0; FORCES]), &[0.7, 0.0, 0.0]);
        let exact = (0.7 - f64::sin(omega * 0.7) / omega) / (omega * omega);
        assert!((x[0] - exact).abs() < 1e-13, "{} against {exact}", x[0]);
    }
}
