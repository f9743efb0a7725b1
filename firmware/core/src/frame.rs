//! One simultaneous reading of everything the monitor sees.

use crate::units::{CrankAngle, Tick};

/// One simultaneous reading of all `N` columns with crank position, sensor inputs and tick.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Frame<const N: usize> {
    /// Sample number on the fixed sample clock.
    pub tick: Tick,
    /// `[column]`: raw converter counts, signed.
    pub counts: [i32; N],
    /// What the crank sensor says.
    pub crank: CrankReading,
    /// Sensor inputs, bit 0 = input 1 … bit 7 = input 8; already debounced.
    pub sensors: u8,
}

/// What the crank sensor of a press can say in one frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CrankReading {
    /// An encoder's angle.
    Angle(CrankAngle),
    /// An index input that is on once a turn, at the top.
    Index(bool),
    /// The press has no crank sensor.
    Absent,
    /// The sensor itself reports that it cannot be trusted.
    Fault,
}
