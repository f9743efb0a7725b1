//! The signature of each stroke against what the die's good strokes do.
//!
//! A stroke is compared with a running baseline of its coil's good strokes. Stroke scatter, timing and what stock
//! may change are separated from everything else, and seven statistics with a common false-stop rate decide (see
//! [`model`]). A stroke that lies only along the allowed directions is a change of stock, not a fault: it is noted,
//! and two that agree move the baseline. A stroke that was held never moves it; only a long run of held strokes
//! that agree with one another does, and the drift from the reference is then told with every stroke.
//!
//! The work is cut into parts of one row each, so that no frame pays for a whole stroke.

pub mod field;
pub mod model;
mod residual;
mod statistics;

use crate::signature::{Layout, Signature};
use crate::stroke::Position;
use crate::verdict::{Finding, Findings, Reason, Verdict};

use field::{Field, add_scaled, dot, hat, scale};
pub use model::ShapeModel;
use model::{FACTORS, STATISTICS, Statistic, TANGENTS};
pub use residual::ROUNDS;
use residual::Residual;
pub use statistics::{Measures, Standout};

/// Whether the judging of a stroke is complete.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Progress {
    /// More calls are needed.
    Working,
    /// Nothing is left to do.
    Done,
}

/// Weight of a new good stroke in the baseline, once there are many.
const BASELINE_WEIGHT: f32 = 0.08;
/// Strokes that such a baseline is worth: 2/weight − 1.
const BASELINE_WORTH: f32 = 24.0;
/// A coil that scatters more may widen the limits at this pace, up to this factor.
const SCATTER_PACE: f32 = 0.05;
/// See [`SCATTER_PACE`].
const SCATTER_MOST: f32 = 3.0;
/// Strokes of a marked new coil that are judged by wide limits.
const YOUNG: u32 = 2;
/// Agreeing strokes that move the baseline: along allowed directions only, near the allowed range, anywhere.
/// Each of the last two kinds was held and let go on by a person; a fault that they let go on is then told with
/// every stroke as drift from the reference.
const AGREE: [u32; 3] = [2, 4, 5];
/// Strokes in a row that may disagree with a candidate before it is given up.
const MISSES: u32 = 2;

/// How far from a baseline a stroke may lie and still be a change of stock.
#[derive(Debug, Clone, Copy)]
struct StockRule {
    /// Range along the allowed directions, as a multiple of their limit.
    range: f32,
    /// Factor on the other limits.
    widening: f32,
    /// Share of the allowed movement that may show outside (the directions are straight, stock need not be).
    curvature: f32,
}

/// Against what a stroke is measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Against {
    Baseline,
    Reference,
    Candidate,
    /// The moved baseline itself against the reference.
    Drift,
}

/// What the next part of the work is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Stage {
    Idle,
    Measure(Against),
    Conclude(Against),
    Tangent { row: usize, step: usize },
}

/// Judges signatures against a model.
#[derive(Debug, Clone)]
pub struct ShapeJudge<const N: usize, const BINS: usize> {
    layout: Option<Layout<BINS>>,
    model: Option<ShapeModel<N, BINS>>,
    state: State<N, BINS>,
}

/// What changes from stroke to stroke. Apart from the model, so that the model need not move when the state does.
#[derive(Debug, Clone)]
struct State<const N: usize, const BINS: usize> {
    /// Changes of coil will be told.
    marked: bool,
    signatures: [Signature<N, BINS>; 2],
    active: usize,
    /// The next stroke to begin, and the one under way, is the first of a new coil.
    coil_coming: bool,
    coil_begun: bool,

    stage: Stage,
    residual: Residual<N, BINS>,
    baseline: Field<N, BINS>,
    tangents: [Field<N, BINS>; TANGENTS],
    candidate: Field<N, BINS>,
    /// Good strokes behind the baseline, and behind the candidate (0: there is none).
    strokes: u32,
    agreeing: u32,
    misses: u32,
    /// All of the candidate's strokes lay along allowed directions; near the allowed range.
    candidate_allowed: bool,
    candidate_near: bool,
    scatter: [f32; STATISTICS],
    /// Stock changed as seen against the baseline; filled in before the reference is asked.
    own_stock: bool,
    /// The baseline lies further from the reference than stock explains, or was moved by a run of held strokes.
    far: bool,
    frozen: bool,
    drift: f32,
    tangent_length: f32,
    tangent_amplitude: f32,
    last: Measures,
}

impl<const N: usize, const BINS: usize> Default for State<N, BINS> {
    fn default() -> Self {
        Self {
            marked: false,
            signatures: Default::default(),
            active: 0,
            coil_coming: false,
            coil_begun: false,
            stage: Stage::Idle,
            residual: Residual::default(),
            baseline: [[0.0; N]; BINS],
            tangents: [[[0.0; N]; BINS]; TANGENTS],
            candidate: [[0.0; N]; BINS],
            strokes: 0,
            agreeing: 0,
            misses: 0,
            candidate_allowed: false,
            candidate_near: false,
            scatter: [1.0; STATISTICS],
            own_stock: false,
            far: false,
            frozen: false,
            drift: 0.0,
            tangent_length: 0.0,
            tangent_amplitude: 0.0,
            last: Measures::default(),
        }
    }
}

impl<const N: usize, const BINS: usize> State<N, BINS> {
    /// The signature of the stroke that ended last.
    fn ended(&self) -> &Signature<N, BINS> {
        let [first, second] = &self.signatures;
        if self.active == 0 { second } else { first }
    }

    fn active(&mut self) -> &mut Signature<N, BINS> {
        let [first, second] = &mut self.signatures;
        if self.active == 0 { first } else { second }
    }

    /// What was known of the coil says nothing of the next one.
    fn forget_coil(&mut self) {
        self.strokes = 0;
        self.agreeing = 0;
        self.scatter = [1.0; STATISTICS];
        self.far = false;
        self.frozen = false;
    }
}

impl<const N: usize, const BINS: usize> Default for ShapeJudge<N, BINS> {
    fn default() -> Self {
        Self { layout: None, model: None, state: State::default() }
    }
}

impl<const N: usize, const BINS: usize> ShapeJudge<N, BINS> {
    /// Calls of [`Self::advance`] that a stroke's judging takes at most: three comparisons and a drift check, the
    /// tangents of a moved baseline, and the conclusions between them.
    pub const PARTS: usize = 4 * (Residual::<N, BINS>::PARTS + 1) + TANGENTS * TANGENT_STEPS + 4;

    /// Sets or removes the model; `marked` says whether changes of coil will be told by [`Self::new_coil`].
    pub fn set(&mut self, model: Option<ShapeModel<N, BINS>>, marked: bool) {
        self.layout = model.as_ref().map(|model| model.layout);
        self.state = State { marked, ..State::default() };
        if let Some(model) = &model {
            self.state.baseline = model.reference;
            self.state.tangents = model.tangents;
        }
        self.model = model;
    }

    /// Gathers signatures in these bins without judging them, for learning.
    pub fn gather(&mut self, layout: Layout<BINS>) {
        *self = Self { layout: Some(layout), ..Self::default() };
    }

    /// A stroke begins.
    pub fn begin_stroke(&mut self) {
        self.state.active().restart();
        self.state.coil_begun |= core::mem::take(&mut self.state.coil_coming);
    }

    /// One frame of the stroke.
    #[inline]
    pub fn step(&mut self, position: Position, loads: &[f32; N]) {
        if let Some(layout) = &self.layout {
            self.state.active().step(layout, position, loads);
        }
    }

    /// The stroke is over and will be judged; the next one may begin.
    pub fn end_stroke(&mut self) {
        let state = &mut self.state;
        if let Some(layout) = &self.layout {
            state.active().finish(layout);
        }
        state.active = 1 - state.active;
        if core::mem::take(&mut state.coil_begun) && state.marked {
            state.forget_coil();
        }
        let against = if state.strokes > 0 { Against::Baseline } else { Against::Reference };
        state.stage = if self.model.is_some() { Stage::Measure(against) } else { Stage::Idle };
        state.residual.begin();
        state.last = Measures::default();
    }

    /// The stroke was given up: it is not judged.
    pub fn give_up(&mut self) {
        self.state.active = 1 - self.state.active;
        self.state.stage = Stage::Idle;
    }

    /// The stock changes with the next stroke that begins; the one that ended last is still of the old coil.
    /// Where changes are not told (see [`Self::set`]) it is the signature that shows them, and this does nothing.
    pub fn new_coil(&mut self) {
        self.state.coil_coming = true;
    }

    /// A bounded part of the judging of the stroke that ended last.
    pub fn advance(&mut self, findings: &mut Findings) -> Progress {
        let Some(model) = &self.model else { return Progress::Done };
        self.state.stage = self.state.part(model, findings);
        if self.state.stage == Stage::Idle { Progress::Done } else { Progress::Working }
    }

    /// The signature of the stroke that ended last.
    #[must_use]
    pub fn ended(&self) -> &Signature<N, BINS> {
        self.state.ended()
    }

    /// How bins lie on the stroke, where signatures are gathered.
    #[must_use]
    pub fn layout(&self) -> Option<&Layout<BINS>> {
        self.layout.as_ref()
    }

    /// The running baseline, kN, where a model judges.
    #[must_use]
    pub fn baseline(&self) -> Option<&Field<N, BINS>> {
        self.model.as_ref().map(|_| &self.state.baseline)
    }

    /// The model.
    #[must_use]
    pub fn model(&self) -> Option<&ShapeModel<N, BINS>> {
        self.model.as_ref()
    }

    /// What the last judged stroke measured.
    #[must_use]
    pub fn measures(&self) -> &Measures {
        &self.state.last
    }
}

/// Parts in which one tangent is made: the slope, its factor part out, earlier tangents out, the length.
const TANGENT_STEPS: usize = 2 + 2 * FACTORS + 2 * TANGENTS;

mod decide;

#[cfg(test)]
mod tests;
