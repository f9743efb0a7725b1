//! Where a press's judged strokes come from.
//!
//! A [`StrokeFeed`] gives one judged stroke after another. [`Recorded`] judges a recording's, [`Simulated`] the
//! simulator's, [`Connected`] takes in those that a controller judged.

mod basis;
mod connected;
mod intake;
mod judging;
mod recorded;
mod runner;
mod simulated;

use crate::card::die::DieCard;
use crate::card::press::PressCard;
use crate::diagnose::Diagnosis;
use crate::recording::{RecordingError, Row};
use crate::session::{Outcome, SessionError};

pub use basis::Basis;
pub use connected::{Connected, Place};
pub use intake::{Intake, IntakeClosed};
pub use recorded::Recorded;
pub use runner::{FeedState, FeedStatus, Pace, Runner};
pub use simulated::Simulated;

/// One judged stroke.
#[derive(Debug, Clone, PartialEq)]
pub struct JudgedStroke {
    /// What was found.
    pub outcome: Outcome,
    /// Its readings, loads in kN; may be empty where the source keeps only some.
    pub rows: Vec<Row>,
    /// Baseline of the die's good strokes (bin after bin, columns side by side) and the bins' edges.
    pub band: Option<(Vec<f32>, Vec<f64>)>,
    /// What it was diagnosed as; none for what passed or cannot be diagnosed.
    pub diagnosis: Option<Diagnosis>,
}

/// Why a feed gave no stroke.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum FeedError {
    /// The recording.
    #[error(transparent)]
    Recording(#[from] RecordingError),
    /// Recording, press and die do not go together.
    #[error("{source_name}: {why}")]
    Session {
        /// Where the strokes come from.
        source_name: String,
        /// Why.
        why: SessionError,
    },
    /// The controller.
    #[error("controller at {place}: {why}")]
    Controller {
        /// Where its line is.
        place: String,
        /// Why.
        why: String,
    },
    /// None yet: a line was lost or is there again, which [`StrokeFeed::is_away`] tells; to be asked again.
    #[error("no stroke yet")]
    NotYet,
    /// The scenario.
    #[error("scenario {name}: {why}")]
    Scenario {
        /// Its name.
        name: String,
        /// Why.
        why: String,
    },
}

/// A source of judged strokes of one press.
pub trait StrokeFeed: Send {
    /// The press.
    fn press(&self) -> &PressCard;

    /// What it is, for people and for provenance: `recording monday.csv.gz`.
    fn source(&self) -> String;

    /// Judges by this card from the next stroke on.
    ///
    /// # Errors
    /// [`FeedError`] if the card does not fit.
    fn set_die(&mut self, die: &DieCard) -> Result<(), FeedError>;

    /// The next stroke once it is over; none when there will be no more.
    ///
    /// # Errors
    /// [`FeedError`] if the source fails; after [`FeedError::NotYet`] it can be asked again.
    fn next(&mut self) -> Result<Option<JudgedStroke>, FeedError>;

    /// What is to be journalled beside the strokes since this was last asked.
    fn told(&mut self) -> Vec<String> {
        Vec::new()
    }

    /// Whether the line to the source is lost and sought.
    fn is_away(&self) -> bool {
        false
    }

    /// Whether strokes come at the press's own time, so that nobody has to hold them back.
    fn is_live(&self) -> bool {
        false
    }
}
