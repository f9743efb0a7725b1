//! Learning a die's envelope from good strokes: what good strokes do, and how sure that is.
//!
//! Good strokes vary for good reasons. Learning takes apart what it sees: stroke-to-stroke scatter, from the
//! differences of neighbouring strokes; what a change of stock does, from coil to coil and from physics (load scale,
//! slide height at contact); and timing. What a judge then limits is what is left, and each of these by limits of its
//! own. Limits come from the learning strokes judged by models that did not see them, with a tail fitted to the
//! requested false-stop rate, and the report says what rate the number of strokes and coils can support.

mod bins;
mod directions;
mod factors;
mod gather;
mod innovations;
mod limits;
mod rehearsal;
mod segments;
#[cfg(test)]
mod tests;

use std::path::Path;

use nalgebra::{DMatrix, RowDVector};

use crate::card::die::{DieCard, Head, PressPrint, Provenance, ShapeCard, State};
use crate::card::press::PressCard;
use crate::judge::{JudgeError, Shown};

pub use gather::Gathered;
pub(crate) use innovations::Model;

/// What a person asks for.
#[derive(Debug, Clone, PartialEq)]
pub struct Wish {
    /// Name of the die.
    pub die: String,
    /// Tolerated false stops a stroke.
    pub false_stop: f64,
}

/// Which part of a recording to learn from; all of it by default.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Part {
    /// Only the first so many whole strokes.
    pub first: Option<u64>,
    /// As if the recording marked no coils.
    pub ignore_coils: bool,
}

/// Fewest whole strokes a model can be built from; a claim worth having takes a hundred and several coils.
pub const LEAST_STROKES: usize = 20;

/// Why nothing could be learnt.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum LearnError {
    /// The recording.
    #[error(transparent)]
    Judge(#[from] JudgeError),
    /// Too few strokes.
    #[error(
        "{path}: only {found} whole strokes; record at least {LEAST_STROKES} good ones, better 100 over several coils"
    )]
    TooFew {
        /// The recording.
        path: String,
        /// Whole strokes found.
        found: usize,
    },
    /// The rate asked for is no rate.
    #[error(
        "a false-stop rate of {0} cannot be asked for; give a share of strokes between 1e-9 and 0.1, such as 1e-4"
    )]
    Rate(f64),
    /// Nothing happens in the strokes.
    #[error("{path}: the strokes hold no load worth learning; check the gauges and the press card")]
    NoLoad {
        /// The recording.
        path: String,
    },
}

/// Signatures as numbers: one row a stroke, bins × columns values in a row, column fastest.
#[derive(Debug, Clone)]
struct Strokes {
    x: DMatrix<f64>,
    columns: usize,
}

impl Strokes {
    fn count(&self) -> usize {
        self.x.nrows()
    }

    fn size(&self) -> usize {
        self.x.ncols()
    }

    fn row(&self, stroke: usize) -> RowDVector<f64> {
        self.x.row(stroke).into_owned()
    }

    /// Median of each value over a range of strokes.
    fn median(&self, strokes: std::ops::Range<usize>) -> RowDVector<f64> {
        RowDVector::from_iterator(
            self.size(),
            self.x.column_iter().map(|column| {
                let mut values: Vec<f64> =
                    column.iter().copied().skip(strokes.start).take(strokes.len()).collect();
                median(&mut values)
            }),
        )
    }
}

/// Median of values in any order; 0 for none. The middle two are averaged.
fn median(values: &mut [f64]) -> f64 {
    values.sort_by(f64::total_cmp);
    let half = values.len() / 2;
    match (values.len() % 2, values.get(half), half.checked_sub(1).and_then(|n| values.get(n))) {
        (1, Some(middle), _) => *middle,
        (0, Some(above), Some(below)) => 0.5 * (above + below),
        _ => 0.0,
    }
}

/// Learns a die card from a recording of good strokes.
///
/// # Errors
/// [`LearnError`] for a bad recording, too few strokes or a rate that is none.
pub fn learn(
    recording: &Path,
    card: &PressCard,
    wish: &Wish,
    shown: Shown<'_>,
) -> Result<DieCard, LearnError> {
    learn_part(recording, card, wish, Part::default(), shown)
}

/// As [`learn`], from a part of the recording.
///
/// # Errors
/// As [`learn`].
pub fn learn_part(
    recording: &Path,
    card: &PressCard,
    wish: &Wish,
    part: Part,
    shown: Shown<'_>,
) -> Result<DieCard, LearnError> {
    if !(wish.false_stop >= 1e-9 && wish.false_stop <= 0.1) {
        return Err(LearnError::Rate(wish.false_stop));
    }
    let path = || recording.display().to_string();
    let gathered =
        gather::gather(recording, card, part, shown)?.ok_or_else(|| LearnError::NoLoad { path: path() })?;
    if gathered.strokes.count() < LEAST_STROKES {
        return Err(LearnError::TooFew { path: path(), found: gathered.strokes.count() });
    }
    let slope = directions::HeightSlope::new(card, &gathered);
    let (model, left_out) = innovations::model(&gathered, &slope, wish.false_stop);
    let rehearsal = rehearsal::rehearse(&gathered, &slope, &model, &left_out, wish.false_stop);
    let evidence = limits::Evidence::new(&model, rehearsal, wish.false_stop);
    let file = recording.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    Ok(DieCard {
        die: Head { name: wish.die.clone(), state: State::Draft, press: PressPrint::of(card) },
        acceptance: None,
        reviews: Vec::new(),
        provenance: Some(Provenance {
            recording: file,
            sha256: gathered.sha256.clone(),
            strokes_seen: gathered.seen,
            strokes_used: (gathered.strokes.count() - left_out.len()) as u64,
            strokes_left_out: left_out.iter().filter_map(|n| gathered.numbers.get(*n).copied()).collect(),
            coils: model.segments.len() as u64,
            coil_changes_marked: gathered.coils.is_some(),
            false_stop_asked: wish.false_stop,
            false_stop_supported: evidence.supported,
            evidence: evidence.says,
            made_by: concat!("bolster ", env!("CARGO_PKG_VERSION")).to_owned(),
            rehearsal: rehearsal.map(|found| found.card()),
        }),
        limits: gathered.limits(&left_out),
        shape: Some(ShapeCard::of(&gathered, &model)),
    })
}
