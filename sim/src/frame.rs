//! The press frame: a heavy slide on elastic, damped columns.
//!
//! The slide hangs in the crown and the die pushes it away from the bed, so every column stretches:
//! δ = q + a·x/X + b·y/Y, with q the opening at the centre, a and b the further opening at the right and at the
//! front columns (mm), X and Y the columns' distances from the centre. Three degrees of freedom (opening, roll,
//! pitch) on springs k and dampers c, the guides (gibs) adding stiffness against tilting only:
//!
//! M [q a b]'' + C [q a b]' + K [q a b] = Σ P [1, x/X, y/Y] − [m h'', 0, 0]
//!
//! P are the die's loads, h'' the slide's acceleration given by the crank. Because the column springs differ
//! (a loose tie rod), K is full and the modes couple. Rigid slide and rigid bed plate: plate bending and higher
//! frame modes are left out, as is the rod's own rocking. Damping is proportional to column stiffness.
//! Integrated by the exact transition for piecewise-linear forces (module `transition`); loads that depend on the
//! opening itself are found by prediction and correction in the simulator.
//!
//! Units: mm, kN, s; masses in kN·s²/mm (= 10⁶ kg); kN·mm is a joule.

#[cfg(test)]
mod tests;
mod transition;

use crate::scenario::FrameData;
use bolster_core::press::PressSpec;
use transition::{FORCES, STATES, Transition};

/// What to do to the frame besides its data: the effects of faults. Neutral by default.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FrameChange {
    /// Factor on each column's stiffness (a loose tie rod is below 1).
    pub column_factor: [f64; 4],
    /// Factor on the guides' stiffness against tilt (worn gibs are below 1).
    pub gib_factor: f64,
}

impl Default for FrameChange {
    fn default() -> Self {
        Self { column_factor: [1.0; 4], gib_factor: 1.0 }
    }
}

/// Opening, roll, pitch (mm) and their rates (mm/s).
pub type FrameState = [f64; STATES];
/// Generalised force on opening, roll and pitch, kN.
pub type FrameForce = [f64; FORCES];

/// The frame, ready to step.
#[derive(Debug, Clone)]
pub struct Frame {
    step: Transition,
    /// Each column's stiffness, kN/mm.
    stiffness: [f64; 4],
    /// Each column's damping, kN·s/mm.
    damping: [f64; 4],
    /// Guides' stiffness and damping against roll and pitch, as seen at the columns.
    gib: [(f64, f64); 2],
    /// Each column's share of roll and pitch: −1, 0 or +1.
    side: [[f64; 2]; 4],
    /// Distance of the columns from the centre, mm, never zero.
    lever: [f64; 2],
    /// Slide mass, kN·s²/mm; 0 where the crank's acceleration is to be left out.
    driven_mass: f64,
    mass: [f64; 3],
    columns: usize,
    total_stiffness: f64,
    /// K and C, kN/mm and kN·s/mm.
    stiffness_matrix: [[f64; 3]; 3],
    damping_matrix: [[f64; 3]; 3],
}

impl Frame {
    /// Builds the frame of `press` from its data, changed by `change`, for steps of `step_s` seconds.
    #[must_use]
    pub fn new(press: &PressSpec, data: &FrameData, change: &FrameChange, step_s: f64) -> Self {
        let columns = press.columns.count();
        let mass = data.slide_mass_kg * 1e-6;
        let whole = press.rated_kn / data.stretch_at_rated_mm;
        let omega = f64::sqrt(whole / mass);
        let mut stiffness = [0.0; 4];
        let mut damping = [0.0; 4];
        let mut side = [[0.0; 2]; 4];
        for i in 0..columns {
            let own = data.column_stiffness.get(i).copied().unwrap_or(1.0);
            let healthy = whole / columns as f64 * own;
            stiffness[i] = healthy * change.column_factor[i];
            // A joint that works loose loses stiffness, not friction.
            damping[i] = healthy * 2.0 * data.damping / omega;
            let sides = press.columns;
            side[i] = [side_of(sides.side_x(), i), side_of(sides.side_y(), i)];
        }
        let lever = [press.bolster_mm[0] / 2.0, press.bolster_mm[1] / 2.0];
        let extent = data.slide_mm.unwrap_or(press.bolster_mm);
        // Thin plate about its middle, m·L²/12, brought to the columns' lever.
        let tilt_mass = |axis: usize| mass * extent[axis] * extent[axis] / 12.0 / (lever[axis] * lever[axis]);
        // A press without columns to either side is held upright by its guides alone.
        let held = |axis: usize| {
            let by_columns = side.iter().zip(stiffness).map(|(s, k)| s[axis] * s[axis] * k).sum::<f64>();
            let reference = if by_columns > 0.0 { by_columns * data.gib_share } else { 0.5 * whole };
            let k = reference * change.gib_factor;
            (k, k * 2.0 * data.damping / omega)
        };
        let gib = [held(0), held(1)];
        let mut frame = Self {
            step: Transition { state: [[0.0; 6]; 6], before: [[0.0; 3]; 6], after: [[0.0; 3]; 6] },
            stiffness,
            damping,
            gib,
            side,
            lever,
            driven_mass: if data.inertia { mass } else { 0.0 },
            mass: [mass, tilt_mass(0), tilt_mass(1)],
            columns,
            total_stiffness: stiffness.iter().sum(),
            stiffness_matrix: [[0.0; 3]; 3],
            damping_matrix: [[0.0; 3]; 3],
        };
        frame.stiffness_matrix = frame.matrix(&frame.stiffness, |g| g.0);
        frame.damping_matrix = frame.matrix(&frame.damping, |g| g.1);
        frame.step = frame.transition(step_s);
        frame
    }

    fn transition(&self, step_s: f64) -> Transition {
        let (k, c) = (&self.stiffness_matrix, &self.damping_matrix);
        let mut a = [[0.0; STATES]; STATES];
        let mut b = [[0.0; FORCES]; STATES];
        for i in 0..3 {
            a[i][3 + i] = 1.0;
            b[3 + i][i] = 1.0 / self.mass[i];
            for j in 0..3 {
                a[3 + i][j] = -k[i][j] / self.mass[i];
                a[3 + i][3 + j] = -c[i][j] / self.mass[i];
            }
        }
        Transition::new(&a, &b, step_s)
    }

    /// Σ over columns of value · shape shapeᵀ, guides added on the tilts.
    fn matrix(&self, values: &[f64; 4], gib: impl Fn(&(f64, f64)) -> f64) -> [[f64; 3]; 3] {
        let mut out = [[0.0; 3]; 3];
        for (value, side) in values.iter().zip(&self.side) {
            let shape = [1.0, side[0], side[1]];
            for i in 0..3 {
                for j in 0..3 {
                    out[i][j] += value * shape[i] * shape[j];
                }
            }
        }
        out[1][1] += gib(&self.gib[0]);
        out[2][2] += gib(&self.gib[1]);
        out
    }

    /// Where a load at this place of the bolster plate acts: its share of opening, roll and pitch.
    #[must_use]
    #[inline]
    pub fn shape(&self, x_mm: f64, y_mm: f64) -> FrameForce {
        [1.0, x_mm / self.lever[0], y_mm / self.lever[1]]
    }

    /// The force the crank's acceleration (mm/s²) puts on the frame.
    #[must_use]
    #[inline]
    pub fn inertia(&self, acceleration: f64) -> f64 {
        -self.driven_mass * acceleration
    }

    /// At rest under a steady central force (kN).
    #[must_use]
    pub fn at_rest(&self, force: f64) -> FrameState {
        [force / self.total_stiffness, 0.0, 0.0, 0.0, 0.0, 0.0]
    }

    /// The part of the next state that does not depend on the force at its end.
    #[must_use]
    #[inline]
    pub fn known(&self, state: &FrameState, force: &FrameForce) -> FrameState {
        self.step.known(state, force)
    }

    /// The next state, given [`Frame::known`] and the force at the step's end.
    #[must_use]
    #[inline]
    pub fn complete(&self, known: &FrameState, force: &FrameForce) -> FrameState {
        self.step.complete(known, force)
    }

    /// What the gauges of each column feel: the elastic load, kN.
    #[must_use]
    #[inline]
    pub fn column_loads(&self, state: &FrameState) -> [f64; 4] {
        let mut loads = [0.0; 4];
        for (load, (k, side)) in loads.iter_mut().zip(self.stiffness.iter().zip(&self.side)) {
            *load = k * (state[0] + side[0] * state[1] + side[1] * state[2]);
        }
        loads
    }

    /// The whole force between slide and drive, springs and dampers, kN: what the crank works against.
    #[must_use]
    pub fn drive_force(&self, state: &FrameState) -> f64 {
        let mut force = 0.0;
        for ((k, c), side) in self.stiffness.iter().zip(&self.damping).zip(&self.side) {
            force += k * (state[0] + side[0] * state[1] + side[1] * state[2]);
            force += c * (state[3] + side[0] * state[4] + side[1] * state[5]);
        }
        force
    }

    /// Elastic energy stored, J.
    #[must_use]
    pub fn elastic_energy(&self, state: &FrameState) -> f64 {
        0.5 * quadratic(&self.stiffness_matrix, &[state[0], state[1], state[2]])
    }

    /// Power lost in the dampers, J/s.
    #[must_use]
    pub fn damping_power(&self, state: &FrameState) -> f64 {
        quadratic(&self.damping_matrix, &[state[3], state[4], state[5]])
    }

    /// Kinetic energy of a slide that the crank moves at `speed` (mm/s) while the frame stretches, J.
    #[must_use]
    pub fn kinetic_energy(&self, state: &FrameState, speed: f64) -> f64 {
        // Where the crank's acceleration is left out, the slide moves with the frame only.
        let driven = if self.driven_mass > 0.0 { speed } else { 0.0 };
        let rates = [state[3] + driven, state[4], state[5]];
        0.5 * self.mass.iter().zip(rates).map(|(m, v)| m * v * v).sum::<f64>()
    }

    /// Natural frequency of the opening mode with all columns alike, Hz.
    #[must_use]
    pub fn frequency_hz(&self) -> f64 {
        f64::sqrt(self.total_stiffness / self.mass[0]) / core::f64::consts::TAU
    }

    /// Mass (kN·s²/mm), damping (kN·s/mm) and stiffness (kN/mm) on opening, roll and pitch, for whoever wants its modes.
    #[must_use]
    pub fn matrices(&self) -> ([f64; 3], [[f64; 3]; 3], [[f64; 3]; 3]) {
        (self.mass, self.damping_matrix, self.stiffness_matrix)
    }

    /// How many columns carry gauges.
    #[must_use]
    pub fn columns(&self) -> usize {
        self.columns
    }
}

fn side_of(sides: &[f32], column: usize) -> f64 {
    sides.get(column).copied().map_or(0.0, f64::from)
}

fn quadratic(m: &[[f64; 3]; 3], v: &[f64; 3]) -> f64 {
    m.iter().zip(v).map(|(row, vi)| vi * row.iter().zip(v).map(|(a, b)| a * b).sum::<f64>()).sum()
}
