//! What a run gives for each stroke.

use crate::drive::DriveEnergy;
use crate::truth::Truth;

/// One reading of all columns.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SimSample {
    /// Time since the run began, s.
    pub time_s: f64,
    /// Crank angle as the encoder gives it, degrees from the top.
    pub angle_deg: f64,
    /// Indicated load of each column, kN; only the press's columns are used, the rest are 0.
    pub kn: [f64; 4],
    /// Converter counts of each column.
    pub counts: [i32; 4],
    /// Sensor inputs, bit 0 = `s1`.
    pub sensors: u8,
    /// Number of the sample on the fixed clock since the run began; a gap is a frame that did not arrive, or the
    /// part of the turn that is not recorded.
    pub tick: u64,
    /// The index input: on for the first five degrees of a turn.
    pub index: bool,
}

/// Where a stroke's energy went, J: over its recorded part, the drive's also over what led up to it.
///
/// `crank = die + damped + stored` within the integration's error; the drive's account has its own sum.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Energy {
    /// Work the crank did on the slide.
    pub crank_j: f64,
    /// Work the die took (what springs and pads gave back is taken off).
    pub die_j: f64,
    /// Lost in the frame's dampers.
    pub damped_j: f64,
    /// Change of the frame's elastic and kinetic energy.
    pub stored_j: f64,
    /// The drive's account; all zero where the scenario gives no flywheel.
    pub drive: DriveEnergy,
}

impl Energy {
    /// What the account of the slide leaves unexplained, J: the integration's error.
    #[must_use]
    pub fn open_j(&self) -> f64 {
        self.crank_j - self.die_j - self.damped_j - self.stored_j
    }

    /// What the whole account from motor to die leaves unexplained, J.
    #[must_use]
    pub fn open_with_drive_j(&self) -> f64 {
        let d = &self.drive;
        d.motor_j - d.friction_j - d.clutch_j - d.flywheel_j - self.die_j - self.damped_j - self.stored_j
    }
}

/// One stroke.
#[derive(Debug, Clone, PartialEq)]
pub struct SimStroke {
    /// Number, from 1.
    pub number: u32,
    /// Coil, from 1.
    pub coil: u32,
    /// Strokes a minute at the start of the recorded part.
    pub speed_spm: f64,
    /// What was done to it.
    pub truth: Truth,
    /// Where the energy went.
    pub energy: Energy,
    /// The recorded part, in time order; of a whole turn also the press's standing before it.
    pub samples: Vec<SimSample>,
}
