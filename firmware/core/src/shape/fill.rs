//! Filling a learned model in its place, a few words at a time, for a controller without room for a second one.
//!
//! A model is [`ShapeModel::WORDS`] words of 32 bits in a fixed order. Three of them are whole numbers: whether bins
//! are bins of angle (0 or 1), how many bins are used, and the repeat limit. The rest are finite f32 by their bits:
//! where each bin starts and the last one ends, then reference, 1/σ, factors, 1/spread, for each allowed direction
//! its scores and its field, tangents, 1/scatter of windows, gains and stations, whitener, limits, medians, and the
//! allowed limit, stock range, stock widening and reference size. Fields lie bin by bin, column by column.

use super::model::{ALLOWED, Direction, FACTORS, STATISTICS, ShapeModel, TANGENTS, WINDOWS};
use crate::signature::Layout;

/// Whole numbers at the beginning.
const WHOLE: usize = 3;
/// Single numbers at the end.
const SINGLE: usize = 4;
/// Runs of numbers that lie together.
const RUNS: usize = 13 + 2 * ALLOWED + SINGLE;

/// Why a part of a model was refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum FillError {
    /// A stroke is still being judged with the present model: try again after the next frame.
    Busy,
    /// Filling has not begun.
    NotBegun,
    /// Words must follow one another: the next one to come has this number.
    Order(usize),
    /// This word is no number, or not a possible one: filling must begin again.
    Value(usize),
    /// So many words are there, and more are needed.
    Incomplete(usize),
    /// The bins do not follow one another within one stroke: filling must begin again.
    Layout,
}

impl core::fmt::Display for FillError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::Busy => f.write_str("a stroke is still being judged: try again after the next frame"),
            Self::NotBegun => f.write_str("no learned shape is being filled in: begin first"),
            Self::Order(next) => {
                write!(f, "the learned shape's words must follow one another: {next} is next")
            }
            Self::Value(word) => {
                write!(f, "word {word} of the learned shape is not a possible value: begin again")
            }
            Self::Incomplete(words) => write!(f, "the learned shape ends after {words} words: send the rest"),
            Self::Layout => f.write_str(
                "the learned shape's bins do not follow one another within one stroke: begin again",
            ),
        }
    }
}

impl core::error::Error for FillError {}

impl<const N: usize, const BINS: usize> ShapeModel<N, BINS> {
    /// Words of a model.
    pub const WORDS: usize = WHOLE
        + BINS
        + 1
        + BINS * N * (2 + FACTORS + ALLOWED + TANGENTS)
        + FACTORS * (1 + ALLOWED)
        + N * (WINDOWS + 1)
        + WINDOWS
        + N * WINDOWS * N * WINDOWS
        + 3 * STATISTICS
        + SINGLE;

    /// A model of nothing: a place to be filled.
    #[must_use]
    pub const fn empty() -> Self {
        Self {
            layout: Layout::EMPTY,
            reference: [[0.0; N]; BINS],
            per_sigma: [[0.0; N]; BINS],
            factors: [[[0.0; N]; BINS]; FACTORS],
            per_spread: [0.0; FACTORS],
            allowed: [const { Direction { scores: [0.0; FACTORS], field: [[0.0; N]; BINS] } }; ALLOWED],
            tangents: [[[0.0; N]; BINS]; TANGENTS],
            per_window: [[0.0; WINDOWS]; N],
            per_gain: [0.0; N],
            per_station: [0.0; WINDOWS],
            whitener: [[[[0.0; WINDOWS]; N]; WINDOWS]; N],
            limits: [[0.0; STATISTICS]; 2],
            medians: [0.0; STATISTICS],
            allowed_limit: 0.0,
            stock_range: 0.0,
            stock_widening: 0.0,
            reference_size: 0.0,
            repeat_limit: 0,
        }
    }

    /// The n-th word; none beyond the last.
    #[must_use]
    pub fn word(&self, n: usize) -> Option<u32> {
        let Some(mut left) = n.checked_sub(WHOLE) else {
            let [by_angle, used] = self.layout.whole_words();
            return [by_angle, used, self.repeat_limit].get(n).copied();
        };
        for run in self.runs() {
            match run.get(left) {
                Some(value) => return Some(value.to_bits()),
                None => left -= run.len(),
            }
        }
        None
    }

    /// Writes words from the n-th on.
    ///
    /// # Errors
    /// [`FillError::Value`] names a word that cannot be, or lies beyond the last.
    pub(super) fn put(&mut self, n: usize, words: &[u32]) -> Result<(), FillError> {
        let end = n.saturating_add(words.len());
        if end > Self::WORDS {
            return Err(FillError::Value(Self::WORDS));
        }
        for (n, word) in (n..end).zip(words) {
            match n {
                0 if *word <= 1 => self.layout.put_by_angle(*word == 1),
                1 if (1..=BINS).contains(&(*word as usize)) => self.layout.put_used(*word as usize),
                2 if *word > 0 => self.repeat_limit = *word,
                WHOLE.. if f32::from_bits(*word).is_finite() => {}
                _ => return Err(FillError::Value(n)),
            }
        }
        let mut start = WHOLE;
        for run in self.runs_mut() {
            let length = run.len();
            if n < start + length && end > start {
                let cells = run.iter_mut().skip(n.saturating_sub(start));
                for (cell, word) in cells.zip(words.iter().skip(start.saturating_sub(n))) {
                    *cell = f32::from_bits(*word);
                }
            }
            start += length;
        }
        Ok(())
    }
}

/// The runs of numbers in their order, borrowed as the caller needs them.
macro_rules! runs {
    ($name:ident, $one:path, $flat:ident, $layout:ident $(, $m:tt)?) => {
        impl<const N: usize, const BINS: usize> ShapeModel<N, BINS> {
            fn $name(&$($m)? self) -> [&$($m)? [f32]; RUNS] {
                let Self {
                    layout,
                    reference,
                    per_sigma,
                    factors,
                    per_spread,
                    allowed,
                    tangents,
                    per_window,
                    per_gain,
                    per_station,
                    whitener,
                    limits,
                    medians,
                    allowed_limit,
                    stock_range,
                    stock_widening,
                    reference_size,
                    repeat_limit: _,
                } = self;
                let (starts, end) = layout.$layout();
                let [a, b, c, d, e] = allowed;
                [
                    starts,
                    $one(end),
                    reference.$flat(),
                    per_sigma.$flat(),
                    factors.$flat().$flat(),
                    per_spread,
                    &$($m)? a.scores,
                    a.field.$flat(),
                    &$($m)? b.scores,
                    b.field.$flat(),
                    &$($m)? c.scores,
                    c.field.$flat(),
                    &$($m)? d.scores,
                    d.field.$flat(),
                    &$($m)? e.scores,
                    e.field.$flat(),
                    tangents.$flat().$flat(),
                    per_window.$flat(),
                    per_gain,
                    per_station,
                    whitener.$flat().$flat().$flat(),
                    limits.$flat(),
                    medians,
                    $one(allowed_limit),
                    $one(stock_range),
                    $one(stock_widening),
                    $one(reference_size),
                ]
            }
        }
    };
}

runs!(runs, core::slice::from_ref, as_flattened, places);
runs!(runs_mut, core::slice::from_mut, as_flattened_mut, places_mut, mut);
