//! Strokes as the monitor's core takes them: frames of raw counts on a fixed sample clock.
//!
//! A scenario recorded over the whole turn (0 to 360°) in continuous running gives every tick; where the press
//! stands, or where only part of the turn is recorded, ticks are missing and the core must be told so or be fed
//! the gap by the caller.

use crate::simulator::SimSample;
use bolster_core::frame::{CrankReading, Frame};
use bolster_core::units::{CrankAngle, Tick};

/// What crank sensor the press has.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CrankInput {
    /// An encoder.
    Encoder,
    /// An index input, on for the first degrees of a turn.
    Index,
    /// None.
    Absent,
}

/// The frame of one sample for a press of `N` columns.
#[must_use]
pub fn frame<const N: usize>(sample: &SimSample, crank: CrankInput) -> Frame<N> {
    let mut counts = [0; N];
    counts.iter_mut().zip(sample.counts).for_each(|(to, from)| *to = from);
    Frame {
        // The core's clock wraps; only differences mean something.
        tick: Tick(sample.tick as u32),
        counts,
        crank: match crank {
            CrankInput::Encoder => CrankReading::Angle(CrankAngle::from_degrees(sample.angle_deg)),
            CrankInput::Index => CrankReading::Index(sample.index),
            CrankInput::Absent => CrankReading::Absent,
        },
        sensors: sample.sensors,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_frame_carries_what_the_sample_says() {
        let sample = SimSample {
            time_s: 0.5,
            angle_deg: 90.0,
            kn: [0.0; 4],
            counts: [1, -2, 3, -4],
            sensors: 0b101,
            tick: (1 << 32) + 7,
            index: true,
        };
        let encoder: Frame<4> = frame(&sample, CrankInput::Encoder);
        assert_eq!(encoder.counts, [1, -2, 3, -4]);
        assert_eq!((encoder.tick, encoder.sensors), (Tick(7), 0b101));
        assert_eq!(encoder.crank, CrankReading::Angle(CrankAngle(1 << 30)));
        let index: Frame<2> = frame(&sample, CrankInput::Index);
        assert_eq!((index.counts, index.crank), ([1, -2], CrankReading::Index(true)));
    }
}
