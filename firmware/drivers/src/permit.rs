//! The permit output with its read-back, and the watchdog behind it.
//!
//! The output energises a relay; a contact that moves with it is read back. The watchdog is fed only from a frame
//! that was judged with everything sound, so that a sample loop that stops, runs wild or judges stale readings
//! drops the press without any program's help: the board's watchdog resets, and a reset leaves the pin off.

use bolster_core::units::Tick;
use embedded_hal::digital::{InputPin, OutputPin, PinState};

/// What the read-back may say against the output.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PermitFault {
    /// The pin could not be set or read.
    Pin,
    /// The relay did not follow in its time: welded, or its coil or wire is open.
    NotFollowed,
}

/// The permit output.
#[derive(Debug)]
pub struct PermitOutput<O, I> {
    output: O,
    contact: I,
    /// Frames in which the contact may differ while the relay moves.
    moving_frames: u16,
    differing: u16,
    fault: Option<PermitFault>,
}

impl<O: OutputPin, I: InputPin> PermitOutput<O, I> {
    /// The output, switched off, with a contact that must follow within `moving_frames`.
    pub fn new(mut output: O, contact: I, moving_frames: u16) -> Self {
        let fault = output.set_low().is_err().then_some(PermitFault::Pin);
        Self { output, contact, moving_frames, differing: 0, fault }
    }

    /// Sets the output for one frame. After a fault it stays off until the next power-up.
    ///
    /// # Errors
    /// [`PermitFault`] in this and every later frame once one was seen.
    pub fn step(&mut self, permit: bool) -> Result<(), PermitFault> {
        let wanted = permit && self.fault.is_none();
        let set = self.output.set_state(PinState::from(wanted));
        match (set, self.contact.is_high()) {
            (Ok(()), Ok(closed)) if closed == wanted => self.differing = 0,
            (Ok(()), Ok(_)) => {
                self.differing = self.differing.saturating_add(1);
                if self.differing > self.moving_frames {
                    self.fault.get_or_insert(PermitFault::NotFollowed);
                }
            }
            _ => {
                self.fault.get_or_insert(PermitFault::Pin);
            }
        }
        match self.fault {
            None => Ok(()),
            Some(fault) => {
                // Off at once, not in the next frame: there may be none.
                let _ = self.output.set_low();
                Err(fault)
            }
        }
    }

    /// Gives the pins back.
    pub fn release(self) -> (O, I) {
        (self.output, self.contact)
    }
}

/// A watchdog as boards have them.
pub trait Watchdog {
    /// Puts off the reset by its time.
    fn feed(&mut self);
}

/// Feeds a watchdog only from healthy frames.
#[derive(Debug)]
pub struct Guardian<W> {
    watchdog: W,
    last: Option<Tick>,
}

/// One frame as the guardian sees it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FrameHealth {
    /// Its tick.
    pub tick: Tick,
    /// The converter delivered it whole and newly converted.
    pub fresh: bool,
    /// The monitor judged it.
    pub judged: bool,
    /// The permit output follows.
    pub output: bool,
}

impl<W: Watchdog> Guardian<W> {
    /// Guards with this watchdog, which is running already.
    pub fn new(watchdog: W) -> Self {
        Self { watchdog, last: None }
    }

    /// Feeds the watchdog if all of this frame is sound and it is the one after the last. True if it was fed.
    pub fn step(&mut self, frame: FrameHealth) -> bool {
        let follows = self.last.is_none_or(|last| frame.tick.since(last) == 1);
        self.last = Some(frame.tick);
        let sound = frame.fresh && frame.judged && frame.output && follows;
        if sound {
            self.watchdog.feed();
        }
        sound
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use embedded_hal_mock::eh1::digital::{Mock, State, Transaction};
    use std::vec::Vec;

    /// Frames of (wanted, contact): what the pin must be set to.
    fn run(frames: &[(bool, bool)], moving: u16, set: &[bool]) -> Vec<Result<(), PermitFault>> {
        let state = |on| if on { State::High } else { State::Low };
        let sets: Vec<_> =
            core::iter::once(&false).chain(set).map(|on| Transaction::set(state(*on))).collect();
        let gets: Vec<_> = frames.iter().map(|(_, closed)| Transaction::get(state(*closed))).collect();
        let mut output = PermitOutput::new(Mock::new(&sets), Mock::new(&gets), moving);
        let outcomes = frames.iter().map(|(wanted, _)| output.step(*wanted)).collect();
        let (mut pin, mut contact) = output.release();
        pin.done();
        contact.done();
        outcomes
    }

    #[test]
    fn a_relay_that_follows_in_time_is_no_fault() {
        let frames = [(true, false), (true, false), (true, true), (false, true), (false, false)];
        assert!(run(&frames, 2, &[true, true, true, false, false]).iter().all(Result::is_ok));
    }

    #[test]
    fn a_relay_that_does_not_follow_drops_the_output_for_good() {
        let frames = [(true, false), (true, false), (true, true)];
        let set = [true, true, false, false, false];
        let fault = Err(PermitFault::NotFollowed);
        assert_eq!(run(&frames, 1, &set), [Ok(()), fault, fault]);
    }

    #[test]
    fn a_welded_contact_is_a_fault() {
        let frames = [(false, true), (false, true)];
        assert_eq!(run(&frames, 1, &[false, false, false]), [Ok(()), Err(PermitFault::NotFollowed)]);
    }

    #[derive(Default)]
    struct Count(u32);

    impl Watchdog for &mut Count {
        fn feed(&mut self) {
            self.0 += 1;
        }
    }

    #[test]
    fn only_a_sound_and_following_frame_feeds_the_watchdog() {
        let good = FrameHealth { tick: Tick(u32::MAX), fresh: true, judged: true, output: true };
        let mut count = Count::default();
        let mut guardian = Guardian::new(&mut count);
        assert!(guardian.step(good));
        assert!(!guardian.step(good), "the same frame again");
        assert!(guardian.step(FrameHealth { tick: Tick(0), ..good }));
        assert!(!guardian.step(FrameHealth { tick: Tick(2), ..good }), "one is missing");
        for (n, frame) in (3..).zip([
            FrameHealth { fresh: false, ..good },
            FrameHealth { judged: false, ..good },
            FrameHealth { output: false, ..good },
        ]) {
            assert!(!guardian.step(FrameHealth { tick: Tick(n), ..frame }));
        }
        assert_eq!(count.0, 2);
    }
}
