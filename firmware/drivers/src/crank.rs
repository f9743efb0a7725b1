//! Where the crank is: an incremental encoder with an index, or an index input alone.

use bolster_core::frame::CrankReading;
use bolster_core::units::CrankAngle;

/// What an encoder's counter unit says in one frame.
///
/// Boards count edges in a timer; the timer's value and whether the index has passed are all that is needed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct EncoderCount {
    /// Edges counted, wrapping, up when the press turns forward.
    pub count: u16,
    /// Counter value caught at the index mark, if one has passed since the last frame.
    pub index: Option<u16>,
    /// The encoder's own fault output, or a broken signal pair.
    pub fault: bool,
}

/// Turns counts into crank angles.
#[derive(Debug, Clone, Copy)]
pub struct Encoder {
    counts_per_turn: u16,
    /// Angle of the top of the stroke, in counts after the index mark.
    top_counts: u16,
    /// Counts by which two indexes may miss a whole turn.
    tolerance: u16,
    /// Counter value at the last index.
    origin: Option<u16>,
    /// The last indexes contradict each other.
    slipped: bool,
}

/// An encoder that cannot be: no counts, or a top beyond a turn; the counter must hold two turns.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct EncoderError;

impl core::fmt::Display for EncoderError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str("an encoder needs 4 to 32767 counts a turn and a top within them")
    }
}

impl core::error::Error for EncoderError {}

impl Encoder {
    /// An encoder of this many counts a turn (four times its lines), whose top lies so many counts after the index.
    ///
    /// # Errors
    /// [`EncoderError`] if that cannot be.
    pub fn new(counts_per_turn: u16, top_counts: u16) -> Result<Self, EncoderError> {
        if !(4..=0x7FFF).contains(&counts_per_turn) || top_counts >= counts_per_turn {
            return Err(EncoderError);
        }
        Ok(Self {
            counts_per_turn,
            top_counts,
            // Half a degree, and the edges' own uncertainty.
            tolerance: counts_per_turn / 720 + 2,
            origin: None,
            slipped: false,
        })
    }

    /// One frame. A fault until the index has passed once, while it contradicts the counts, and when it does not come.
    pub fn step(&mut self, now: EncoderCount) -> CrankReading {
        if now.fault {
            *self = Self { origin: None, slipped: false, ..*self };
            return CrankReading::Fault;
        }
        if let Some(index) = now.index {
            if let Some(origin) = self.origin {
                // Forward or back, a whole number of turns lies between indexes, or none when it is crossed back.
                let turn = i32::from(self.counts_per_turn);
                let between = i32::from(index.wrapping_sub(origin).cast_signed());
                let off = between.rem_euclid(turn);
                let off = off.min(turn - off);
                self.slipped = off > i32::from(self.tolerance);
            }
            self.origin = Some(index);
        }
        let Some(origin) = self.origin else { return CrankReading::Fault };
        if self.slipped {
            return CrankReading::Fault;
        }
        let turn = i32::from(self.counts_per_turn);
        let since = i32::from(now.count.wrapping_sub(origin).cast_signed());
        if since.abs() > turn + i32::from(self.tolerance) {
            // The index should have passed: without it a lost count would never show, and the counter wraps.
            return CrankReading::Fault;
        }
        let from_top = (since - i32::from(self.top_counts)).rem_euclid(turn) as u64;
        CrankReading::Angle(CrankAngle(((from_top << 32) / u64::from(self.counts_per_turn)) as u32))
    }
}

/// An index input alone: on once a turn.
#[must_use]
pub fn index(on: bool) -> CrankReading {
    CrankReading::Index(on)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(count: u16, index: Option<u16>) -> EncoderCount {
        EncoderCount { count, index, fault: false }
    }

    fn degrees(reading: CrankReading) -> f32 {
        match reading {
            CrankReading::Angle(angle) => angle.degrees(),
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn angles_count_from_the_top_over_the_counters_wrap() {
        let mut encoder = Encoder::new(4000, 1000).unwrap();
        assert_eq!(encoder.step(at(60_000, None)), CrankReading::Fault, "no index yet");
        for turn in 0..40_u32 {
            let origin = (65_000 + turn * 4000) as u16;
            for step in 0..4_u16 {
                let index = (step == 0).then_some(origin);
                let angle = degrees(encoder.step(at(origin.wrapping_add(step * 1000), index)));
                // 1000 counts are a quarter turn, and the top lies a quarter turn after the index.
                assert!((angle - (f32::from(step) * 90.0 - 90.0).rem_euclid(360.0)).abs() < 1e-4, "{angle}");
            }
        }
    }

    #[test]
    fn lost_counts_show_at_the_next_index_and_heal_at_the_one_after() {
        let mut encoder = Encoder::new(4000, 0).unwrap();
        encoder.step(at(0, Some(0)));
        assert_eq!(encoder.step(at(3950, Some(3950))), CrankReading::Fault);
        assert_eq!(encoder.step(at(5000, None)), CrankReading::Fault);
        assert_eq!(degrees(encoder.step(at(7950, Some(7950)))), 0.0);
    }

    #[test]
    fn rocking_over_the_index_is_no_fault() {
        let mut encoder = Encoder::new(4000, 0).unwrap();
        encoder.step(at(10, Some(0)));
        assert!(matches!(encoder.step(at(65_530, Some(0))), CrankReading::Angle(_)));
        assert!(degrees(encoder.step(at(65_530, None))) > 359.0);
    }

    #[test]
    fn an_index_that_does_not_come_is_a_fault() {
        let mut encoder = Encoder::new(4000, 0).unwrap();
        encoder.step(at(0, Some(0)));
        assert!(matches!(encoder.step(at(4005, None)), CrankReading::Angle(_)));
        for count in (4100..60_000).step_by(500) {
            assert_eq!(encoder.step(at(count, None)), CrankReading::Fault, "{count}");
        }
    }

    #[test]
    fn an_encoder_that_cannot_be_is_refused() {
        assert!(
            Encoder::new(0, 0).is_err()
                && Encoder::new(4000, 4000).is_err()
                && Encoder::new(40_000, 0).is_err()
        );
    }
}
