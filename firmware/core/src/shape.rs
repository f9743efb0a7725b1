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
pub mod fill;
pub mod model;
mod residual;
mod statistics;

use crate::die::Envelope;
use crate::often::Breaks;
use crate::signature::{Layout, Signature};
use crate::stroke::Position;
use crate::verdict::{Finding, Findings, Reason, Verdict};

use field::{Field, add_scaled, dot, hat, scale};
pub use fill::FillError;
pub use model::ShapeModel;
use model::{FACTORS, STATISTICS, Statistic, TANGENTS};
pub use residual::ROUNDS;
use residual::Residual;
use statistics::PIECE;
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
#[derive(Debug, Clone, Copy, PartialEq)]
enum Stage {
    Idle,
    Measure(Against),
    Conclude(Against),
    /// Moves the baseline or the candidate by a part of the way to the stroke in hand.
    Follow {
        candidate: bool,
        weight: f32,
    },
    /// Moves the baseline to the candidate or to the stroke in hand.
    Rebase {
        to_candidate: bool,
    },
    /// The stroke in hand becomes the candidate.
    Candidate,
    Tangent {
        row: usize,
        step: usize,
    },
}

impl Stage {
    /// What is left to do once the stroke's verdict is known.
    fn is_upkeep(self) -> bool {
        match self {
            Self::Idle
            | Self::Follow { candidate: false, .. }
            | Self::Rebase { .. }
            | Self::Candidate
            | Self::Tangent { .. } => true,
            Self::Measure(against) | Self::Conclude(against) => against == Against::Drift,
            Self::Follow { candidate: true, .. } => false,
        }
    }
}

/// What the model's place holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Content {
    Nothing,
    /// Bins only, to gather signatures in.
    Bins,
    /// The first so many words of a model.
    Part(usize),
    Model,
}

/// Judges signatures against a model.
///
/// There is room for one model, filled by [`Self::set`] or, word by word in its place, between [`Self::begin_fill`]
/// and [`Self::commit`]. No stroke is judged by parts of two models, or of half of one.
#[derive(Debug, Clone)]
pub struct ShapeJudge<const N: usize, const BINS: usize> {
    content: Content,
    model: ShapeModel<N, BINS>,
    state: State<N, BINS>,
}

/// What changes from stroke to stroke. Apart from the model, so that the model need not move when the state does.
#[derive(Debug, Clone)]
struct State<const N: usize, const BINS: usize> {
    /// Changes of coil will be told.
    marked: bool,
    /// What leaving the envelope means, and which of the last strokes left it.
    envelope: Envelope,
    breaks: Breaks,
    signatures: [Signature<N, BINS>; 2],
    active: usize,
    /// The next stroke to begin, and the one under way, is the first of a new coil.
    coil_coming: bool,
    coil_begun: bool,
    /// The stroke that ended last was the first of a new coil.
    coil_ended: bool,
    under_way: bool,
    /// The stroke that ended last has not begun to be judged: what follows from the one before is not done yet.
    waiting: bool,
    /// The stroke that ended last cannot be judged.
    unjudged: bool,

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
            envelope: Envelope::default(),
            breaks: Breaks::default(),
            signatures: Default::default(),
            active: 0,
            coil_coming: false,
            coil_begun: false,
            coil_ended: false,
            under_way: false,
            waiting: false,
            unjudged: false,
            stage: Stage::Idle,
            residual: Residual::default(),
            baseline: const { [[0.0; N]; BINS] },
            tangents: const { [[[0.0; N]; BINS]; TANGENTS] },
            candidate: const { [[0.0; N]; BINS] },
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

    /// A new model: nothing is known of it. In place, for all of this does not fit on a small stack.
    fn restart(&mut self, marked: bool) {
        self.marked = marked;
        self.breaks = Breaks::default();
        self.signatures.iter_mut().for_each(Signature::restart);
        (self.coil_coming, self.coil_begun, self.coil_ended) = (false, false, false);
        (self.waiting, self.unjudged) = (false, false);
        self.stage = Stage::Idle;
        self.residual.begin();
        self.misses = 0;
        self.own_stock = false;
        self.drift = 0.0;
        self.last = Measures::default();
        self.forget_coil();
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
    // What is large is a constant here and in what it is made of: built where it goes, not on a small stack first.
    fn default() -> Self {
        Self { content: Content::Nothing, model: const { ShapeModel::empty() }, state: State::default() }
    }
}

impl<const N: usize, const BINS: usize> ShapeJudge<N, BINS> {
    /// Calls of [`Self::advance`] that a stroke's judging takes at most: three comparisons and a drift check, the
    /// tangents of a moved baseline, and the conclusions between them.
    pub const PARTS: usize = 4 * (Residual::<N, BINS>::PARTS + 1)
        + TANGENTS * (BINS.div_ceil(PIECE) + 3 + 2 * (FACTORS + TANGENTS))
        + 6;

    /// Sets or removes the model; `marked` says whether changes of coil will be told by [`Self::new_coil`].
    pub fn set(&mut self, model: Option<ShapeModel<N, BINS>>, marked: bool) {
        self.clear();
        if let Some(model) = model {
            self.model = model;
            self.adopt(marked);
        }
    }

    /// Removes the model.
    pub fn clear(&mut self) {
        self.content = Content::Nothing;
        self.state.stage = Stage::Idle;
        self.state.waiting = false;
    }

    /// What leaving the envelope means from the next stroke on that is judged.
    pub fn set_envelope(&mut self, envelope: Envelope) {
        self.state.envelope = envelope;
        self.state.breaks = Breaks::default();
    }

    /// The model in its place becomes what strokes are judged by.
    fn adopt(&mut self, marked: bool) {
        self.content = Content::Model;
        self.state.restart(marked);
        self.state.baseline = self.model.reference;
        self.state.tangents = self.model.tangents;
        if self.state.under_way && !self.model.layout.is_by_angle() {
            // Its time has run for a while; bins of angle show by themselves whether it begins before them.
            self.state.active().spoil();
        }
    }

    /// Begins to fill in another model, in the place of the present one, which is gone. From here to
    /// [`Self::commit`] a stroke that ends cannot be judged, and is told so with a hold.
    ///
    /// # Errors
    /// [`FillError::Busy`] while a stroke is being judged; after [`Self::PARTS`] frames it no longer is.
    pub fn begin_fill(&mut self) -> Result<(), FillError> {
        if self.state.stage != Stage::Idle || self.state.waiting {
            return Err(FillError::Busy);
        }
        self.content = Content::Part(0);
        Ok(())
    }

    /// Fills in words from the n-th on, in order and any number at a time; see [`fill`] for what they are.
    /// Words that were filled in already may come again, as where an answer was lost.
    ///
    /// # Errors
    /// [`FillError`] says which word is wrong, or what must come first.
    pub fn fill(&mut self, n: usize, words: &[u32]) -> Result<(), FillError> {
        let Content::Part(next) = self.content else { return Err(FillError::NotBegun) };
        if n > next {
            return Err(FillError::Order(next));
        }
        self.model.put(n, words)?;
        self.content = Content::Part(next.max(n + words.len()));
        Ok(())
    }

    /// The model is whole: strokes are judged by it. One under way is, if its bins have not begun yet; if they have,
    /// it is told to be incomplete, with a hold.
    ///
    /// # Errors
    /// [`FillError`] if words are missing or the bins cannot be.
    pub fn commit(&mut self, marked: bool) -> Result<(), FillError> {
        let Content::Part(next) = self.content else { return Err(FillError::NotBegun) };
        if next < ShapeModel::<N, BINS>::WORDS {
            return Err(FillError::Incomplete(next));
        }
        if !self.model.layout.is_sound() {
            return Err(FillError::Layout);
        }
        self.adopt(marked);
        Ok(())
    }

    /// Gathers signatures in these bins without judging them, for learning.
    pub fn gather(&mut self, layout: Layout<BINS>) {
        self.clear();
        self.model.layout = layout;
        self.content = Content::Bins;
        self.state.restart(false);
    }

    /// A stroke begins.
    pub fn begin_stroke(&mut self) {
        self.state.under_way = true;
        self.state.active().restart();
        self.state.coil_begun |= core::mem::take(&mut self.state.coil_coming);
    }

    /// One frame of the stroke.
    #[inline]
    pub fn step(&mut self, position: Position, loads: &[f32; N]) {
        if matches!(self.content, Content::Model | Content::Bins) {
            self.state.active().step(&self.model.layout, position, loads);
        }
    }

    /// The stroke is over and will be judged; the next one may begin. The one before it must have been judged to
    /// the end or [`Self::cut_short`].
    pub fn end_stroke(&mut self) {
        let state = &mut self.state;
        if matches!(self.content, Content::Model | Content::Bins) {
            state.active().finish(&self.model.layout);
        }
        state.under_way = false;
        state.active = 1 - state.active;
        state.coil_ended |= core::mem::take(&mut state.coil_begun);
        state.unjudged = matches!(self.content, Content::Part(_));
        if self.content == Content::Model {
            state.waiting = true;
            if state.stage == Stage::Idle {
                state.stage = state.start();
            }
        }
    }

    /// The stroke was given up: it is not judged.
    pub fn give_up(&mut self) {
        self.state.under_way = false;
        self.state.active = 1 - self.state.active;
        self.state.unjudged = false;
        self.state.waiting = false;
    }

    /// Another stroke has ended: the one before it must be done with. If its verdict was not known yet, that is told
    /// with a hold; what follows for the baseline is still done.
    pub fn cut_short(&mut self, findings: &mut Findings) {
        let state = &mut self.state;
        if self.content == Content::Model {
            // These need the signature, whose place is needed.
            if matches!(state.stage, Stage::Follow { .. } | Stage::Rebase { .. } | Stage::Candidate) {
                state.stage = state.part(&self.model, findings);
            }
            if !state.stage.is_upkeep() {
                // Told already where only a candidate is still asked.
                let told = matches!(
                    state.stage,
                    Stage::Measure(Against::Candidate) | Stage::Conclude(Against::Candidate)
                );
                state.unjudged |= !told;
                state.stage = Stage::Idle;
            }
            state.unjudged |= core::mem::take(&mut state.waiting);
        }
        if core::mem::take(&mut state.unjudged) {
            tell_unjudged(findings);
        }
    }

    /// The stock changes with the next stroke that begins; the one that ended last is still of the old coil.
    /// Where changes are not told (see [`Self::set`]) it is the signature that shows them, and this does nothing.
    pub fn new_coil(&mut self) {
        self.state.coil_coming = true;
    }

    /// Whether there is anything to do about the stroke that ended last, or left to do from the one before.
    #[must_use]
    pub fn has_to_judge(&self) -> bool {
        self.content == Content::Model || self.state.unjudged
    }

    /// A bounded part of the judging of the stroke that ended last.
    pub fn advance(&mut self, findings: &mut Findings) -> Progress {
        let state = &mut self.state;
        if core::mem::take(&mut state.unjudged) {
            tell_unjudged(findings);
        }
        if self.content != Content::Model {
            return Progress::Done;
        }
        state.stage = match state.stage {
            Stage::Idle if state.waiting => state.start(),
            _ => state.part(&self.model, findings),
        };
        if state.stage == Stage::Idle && !state.waiting { Progress::Done } else { Progress::Working }
    }

    /// The signature of the stroke that ended last.
    #[must_use]
    pub fn ended(&self) -> &Signature<N, BINS> {
        self.state.ended()
    }

    /// How bins lie on the stroke, where signatures are gathered.
    #[must_use]
    pub fn layout(&self) -> Option<&Layout<BINS>> {
        matches!(self.content, Content::Model | Content::Bins).then_some(&self.model.layout)
    }

    /// The running baseline, kN, where a model judges.
    #[must_use]
    pub fn baseline(&self) -> Option<&Field<N, BINS>> {
        self.model().map(|_| &self.state.baseline)
    }

    /// The model.
    #[must_use]
    pub fn model(&self) -> Option<&ShapeModel<N, BINS>> {
        (self.content == Content::Model).then_some(&self.model)
    }

    /// What the last judged stroke measured.
    #[must_use]
    pub fn measures(&self) -> &Measures {
        &self.state.last
    }
}

/// The stroke passes nowhere unjudged.
fn tell_unjudged(findings: &mut Findings) {
    findings.add(Finding::of_stroke(Reason::NotJudged, 0.0, 0.0));
}

mod decide;

#[cfg(test)]
pub(crate) mod tests;
