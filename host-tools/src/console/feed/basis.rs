//! What diagnoses of a press's strokes rest on beside its die: the frame, and the job where its plan is known.

use crate::card::die::DieCard;
use crate::card::press::PressCard;
use crate::diagnose::{DiagnoseError, Diagnoser};
use crate::plan::job::Job;
use crate::plan::press::{Candidate, of_card};

/// Frame and job.
#[derive(Debug, Clone)]
pub struct Basis {
    /// The press with its frame.
    pub press: Candidate,
    /// The job of the plan, and which of its hits the die makes.
    pub job: Option<(Job, u32)>,
}

impl Basis {
    /// Of a press card alone: the frame by default, no job. None if the card's figures cannot be.
    #[must_use]
    pub fn of(card: &PressCard) -> Option<Self> {
        let press = of_card(card).ok()?.into_iter().next()?;
        Some(Self { press, job: None })
    }

    /// What diagnoses strokes judged by this die; none where it has no learnt signatures.
    ///
    /// # Errors
    /// [`DiagnoseError`] for a hit that the job does not have.
    pub fn diagnoser(&self, die: &DieCard) -> Result<Option<Diagnoser>, DiagnoseError> {
        if die.shape.is_none() {
            return Ok(None);
        }
        let job = self.job.as_ref().map(|(job, hit)| (job, *hit));
        Diagnoser::new(&self.press, die, job).map(Some)
    }
}
