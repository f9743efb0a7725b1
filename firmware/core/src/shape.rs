//! The signature of each stroke against what the die's good strokes do.

use crate::signature::{Layout, Signature};
use crate::stroke::Position;
use crate::verdict::{Findings, Verdict};

/// What learning found about a die's good strokes.
#[derive(Debug, Clone, PartialEq)]
pub struct ShapeModel<const N: usize, const BINS: usize> {
    /// How bins lie on the stroke.
    pub layout: Layout<BINS>,
}

/// Whether the judging of a stroke is complete.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Progress {
    /// More calls are needed.
    Working,
    /// Nothing is left to do.
    Done,
}

/// Judges signatures against a model.
#[derive(Debug, Clone, Default)]
pub struct ShapeJudge<const N: usize, const BINS: usize> {
    model: Option<ShapeModel<N, BINS>>,
    signatures: [Signature<N, BINS>; 2],
    active: usize,
}

impl<const N: usize, const BINS: usize> ShapeJudge<N, BINS> {
    /// Calls of [`Self::advance`] that a stroke's judging takes at most.
    pub const PARTS: usize = BINS + 8;

    /// Sets or removes the model.
    pub fn set(&mut self, model: Option<ShapeModel<N, BINS>>) {
        self.model = model;
    }

    /// Whether there is a model.
    #[must_use]
    pub fn has_model(&self) -> bool {
        self.model.is_some()
    }

    /// A stroke begins.
    pub fn begin_stroke(&mut self) {
        if let Some(signature) = self.signatures.get_mut(self.active) {
            signature.restart();
        }
    }

    /// One frame of the stroke.
    #[inline]
    pub fn step(&mut self, position: Position, loads: &[f32; N]) {
        if let (Some(model), Some(signature)) = (&self.model, self.signatures.get_mut(self.active)) {
            signature.step(&model.layout, position, loads);
        }
    }

    /// The stroke is over and will be judged; the next one may begin.
    pub fn end_stroke(&mut self) {
        if let (Some(model), Some(signature)) = (&self.model, self.signatures.get_mut(self.active)) {
            signature.finish(&model.layout);
        }
        self.active = 1 - self.active;
    }

    /// The stroke was given up: it is not judged.
    pub fn give_up(&mut self) {
        self.active = 1 - self.active;
    }

    /// A bounded part of the judging.
    pub fn advance(&mut self, _findings: &mut Findings) -> Progress {
        Progress::Done
    }

    /// The stroke's final verdict is known.
    pub fn settle(&mut self, _verdict: Verdict) {}

    /// The stock changed.
    pub fn new_coil(&mut self) {}

    /// The signature of the stroke that ended last.
    #[must_use]
    pub fn ended(&self) -> &Signature<N, BINS> {
        let [first, second] = &self.signatures;
        if self.active == 0 { second } else { first }
    }
}
