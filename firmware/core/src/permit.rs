//! The run permit: the output that must be energised for the press to run.
//!
//! Withheld at power-up until self-test passes; withdrawn by a trip in the frame that shows it, and by
//! a hold at the end of the stroke. Both latch: only a person's acknowledgement brings it back, and only
//! when nothing is wrong any more. A timed bypass can carry the press over holds, never over machine limits.

use crate::units::Tick;
use crate::verdict::{Reason, ReasonSet, Verdict};

/// Why the permit is as it is.
// Its kind in one byte: asked for twice in every frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[repr(u8)]
pub enum PermitState {
    /// Power-up; self-test has not passed.
    SelfTest,
    /// Energised.
    Granted,
    /// Latched off by these reasons until acknowledged.
    Latched(ReasonSet),
}

/// A running bypass.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Bypass {
    since: Tick,
    ticks: u32,
}

/// Longest bypass a person may ask for, in ticks of the sample clock (24 h at 20 kHz fits).
pub const BYPASS_TICKS_MAX: u32 = 1_728_000_000;

/// The permit and its latch.
#[derive(Debug, Clone, Copy)]
pub struct RunPermit {
    state: PermitState,
    bypass: Option<Bypass>,
}

impl Default for RunPermit {
    fn default() -> Self {
        Self { state: PermitState::SelfTest, bypass: None }
    }
}

/// An acknowledgement or a request could not be granted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PermitRefusal {
    /// Self-test has not passed.
    SelfTest,
    /// Something is still wrong.
    StillWrong(ReasonSet),
    /// The time asked for is zero or beyond [`BYPASS_TICKS_MAX`].
    Time,
}

impl RunPermit {
    /// Whether the output may be energised.
    #[must_use]
    #[inline]
    pub fn is_granted(&self) -> bool {
        matches!(self.state, PermitState::Granted)
    }

    /// Why it is as it is.
    #[must_use]
    pub fn state(&self) -> PermitState {
        self.state
    }

    /// The result of the self-test; a failed one leaves the permit withheld.
    pub fn self_test(&mut self, passed: bool) {
        if passed && self.state == PermitState::SelfTest {
            self.state = PermitState::Granted;
        }
    }

    /// Takes in what one reason demands. True if the permit was granted and is now withdrawn.
    ///
    /// A hold withdraws only when `at_top`; a bypass under way lets holds and die limits pass, never a
    /// machine limit or a fault of gauges, clock or crank.
    pub fn take(&mut self, now: Tick, reason: Reason, verdict: Verdict, at_top: bool) -> bool {
        let demanded = verdict == Verdict::Trip || (verdict == Verdict::Hold && at_top);
        let excused = verdict == Verdict::Hold && self.bypass_left(now) > 0;
        if !demanded || excused {
            return false;
        }
        match &mut self.state {
            PermitState::SelfTest => false,
            PermitState::Granted => {
                let mut reasons = ReasonSet::default();
                reasons.insert(reason);
                self.state = PermitState::Latched(reasons);
                true
            }
            PermitState::Latched(reasons) => {
                reasons.insert(reason);
                false
            }
        }
    }

    /// A person acknowledges. `present` is what is wrong at this moment.
    ///
    /// # Errors
    /// [`PermitRefusal`] while self-test has not passed or something is still wrong.
    pub fn acknowledge(&mut self, present: ReasonSet) -> Result<(), PermitRefusal> {
        match self.state {
            PermitState::SelfTest => Err(PermitRefusal::SelfTest),
            _ if !present.is_empty() => Err(PermitRefusal::StillWrong(present)),
            _ => {
                self.state = PermitState::Granted;
                Ok(())
            }
        }
    }

    /// Starts a bypass of holds for `ticks`.
    ///
    /// # Errors
    /// [`PermitRefusal::Time`] unless 0 < ticks ≤ [`BYPASS_TICKS_MAX`].
    pub fn bypass(&mut self, now: Tick, ticks: u32) -> Result<(), PermitRefusal> {
        if ticks == 0 || ticks > BYPASS_TICKS_MAX {
            return Err(PermitRefusal::Time);
        }
        self.bypass = Some(Bypass { since: now, ticks });
        Ok(())
    }

    /// Ticks left of a bypass; an ended one is forgotten so that the wrapping clock cannot revive it.
    pub fn bypass_left(&mut self, now: Tick) -> u32 {
        let left = self.bypass.map_or(0, |b| b.ticks.saturating_sub(now.since(b.since)));
        if left == 0 {
            self.bypass = None;
        }
        left
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn running() -> RunPermit {
        let mut permit = RunPermit::default();
        permit.self_test(true);
        permit
    }

    #[test]
    fn the_permit_is_withheld_until_self_test_passes() {
        let mut permit = RunPermit::default();
        assert!(!permit.is_granted());
        permit.self_test(false);
        assert!(!permit.is_granted());
        assert_eq!(permit.acknowledge(ReasonSet::default()), Err(PermitRefusal::SelfTest));
        permit.self_test(true);
        assert!(permit.is_granted());
    }

    #[test]
    fn a_trip_latches_until_acknowledged_with_nothing_wrong() {
        let mut permit = running();
        assert!(permit.take(Tick(0), Reason::PeakOverRating, Verdict::Trip, false));
        permit.self_test(true);
        assert!(!permit.is_granted(), "self-test is no acknowledgement");
        let mut wrong = ReasonSet::default();
        wrong.insert(Reason::GaugeOpen);
        assert!(permit.acknowledge(wrong).is_err() && !permit.is_granted());
        assert!(permit.acknowledge(ReasonSet::default()).is_ok() && permit.is_granted());
    }

    #[test]
    fn a_hold_waits_for_the_top_of_the_stroke() {
        let mut permit = running();
        assert!(!permit.take(Tick(0), Reason::ShapeOffEnvelope, Verdict::Hold, false));
        assert!(permit.is_granted());
        assert!(permit.take(Tick(1), Reason::ShapeOffEnvelope, Verdict::Hold, true));
        assert!(!permit.is_granted());
    }

    #[test]
    fn notes_do_not_stop_the_press() {
        let mut permit = running();
        assert!(!permit.take(Tick(0), Reason::SpeedOutOfRange, Verdict::Note, true));
        assert!(permit.is_granted());
    }

    #[test]
    fn a_bypass_excuses_holds_for_its_time_and_never_a_trip() {
        let mut permit = running();
        assert!(permit.bypass(Tick(u32::MAX - 5), 10).is_ok());
        assert!(!permit.take(Tick(3), Reason::ShapeOffEnvelope, Verdict::Hold, true));
        assert!(permit.is_granted());
        assert!(permit.take(Tick(3), Reason::PeakOverRating, Verdict::Trip, false));
        assert!(permit.acknowledge(ReasonSet::default()).is_ok());
        assert!(permit.take(Tick(4), Reason::ShapeOffEnvelope, Verdict::Hold, true), "ten ticks are over");
        assert_eq!(permit.bypass(Tick(0), 0), Err(PermitRefusal::Time));
        assert_eq!(permit.bypass(Tick(0), BYPASS_TICKS_MAX + 1), Err(PermitRefusal::Time));
        assert_eq!(permit.bypass(Tick(0), BYPASS_TICKS_MAX), Ok(()));
    }
}
