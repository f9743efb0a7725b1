//! The permit output with its read-back, and the watchdog behind it.
//!
//! The output energises a relay; a contact that moves with it is read back. While it is energised, or moves, the
//! watchdog is fed only by the proof that a frame was wholly healthy, which only the monitor makes. So a sample loop
//! that stops, runs wild or judges stale readings drops the press without any program's help: the board's watchdog
//! resets, and a reset leaves the pin off. Once the output is off and its contact says so there is nothing to guard,
//! and frames with a broken gauge keep the monitor alive to tell of it. The watchdog's time must be longer than the
//! relay takes to open.

use bolster_core::monitor::WhollyHealthy;
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

/// What the output is in one frame.
#[derive(Debug, PartialEq, Eq)]
pub enum Output {
    /// Energised, or off but with the contact still closed.
    On,
    /// Off, and the contact says so.
    Off(ConfirmedOff),
}

/// Proof that in one frame the output was off and its contact open. Only [`PermitOutput::step`] makes one.
#[derive(Debug, PartialEq, Eq)]
pub struct ConfirmedOff(());

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
    pub fn step(&mut self, permit: bool) -> Result<Output, PermitFault> {
        let wanted = permit && self.fault.is_none();
        let set = self.output.set_state(PinState::from(wanted));
        let mut output = Output::On;
        match (set, self.contact.is_high()) {
            (Ok(()), Ok(closed)) if closed == wanted => {
                self.differing = 0;
                if !closed {
                    output = Output::Off(ConfirmedOff(()));
                }
            }
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
            None => Ok(output),
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
#[derive(Debug, PartialEq, Eq)]
pub struct FrameHealth {
    /// Its tick.
    pub tick: Tick,
    /// The converter delivered it whole and newly converted.
    pub fresh: bool,
    /// What the monitor's step gave.
    pub healthy: Option<WhollyHealthy>,
    /// What the permit output's step gave.
    pub output: Result<Output, PermitFault>,
}

impl<W: Watchdog> Guardian<W> {
    /// Guards with this watchdog, which is running already.
    pub fn new(watchdog: W) -> Self {
        Self { watchdog, last: None }
    }

    /// Feeds the watchdog if this frame is the one after the last and fresh, and is wholly healthy or finds the output
    /// off. True if it was fed.
    pub fn step(&mut self, frame: FrameHealth) -> bool {
        let follows = self.last.is_none_or(|last| frame.tick.since(last) == 1);
        self.last = Some(frame.tick);
        let guarded = match (frame.healthy, frame.output) {
            (_, Ok(Output::Off(ConfirmedOff(())))) => true,
            // A proof of another frame is none of this one.
            (Some(proof), Ok(Output::On)) => proof.tick() == frame.tick,
            _ => false,
        };
        let sound = frame.fresh && follows && guarded;
        if sound {
            self.watchdog.feed();
        }
        sound
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use bolster_core::frame::{CrankReading, Frame};
    use bolster_core::monitor::Monitor;
    use bolster_core::press::{Columns, PressSpec};
    use bolster_core::settings::PressSettings;
    use bolster_core::stroke::StrokeSource;
    use bolster_core::units::CrankAngle;
    use embedded_hal_mock::eh1::digital::{Mock, State, Transaction};
    use std::vec::Vec;

    /// Frames of (wanted, contact): what the pin must be set to.
    fn run(frames: &[(bool, bool)], moving: u16, set: &[bool]) -> Vec<Result<Output, PermitFault>> {
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

    const ON: Result<Output, PermitFault> = Ok(Output::On);
    const OFF: Result<Output, PermitFault> = Ok(Output::Off(ConfirmedOff(())));

    #[test]
    fn a_relay_that_follows_in_time_is_no_fault_and_is_off_only_once_its_contact_is_open() {
        let frames = [(true, false), (true, false), (true, true), (false, true), (false, false)];
        assert_eq!(run(&frames, 2, &[true, true, true, false, false]), [ON, ON, ON, ON, OFF]);
    }

    #[test]
    fn a_relay_that_does_not_follow_drops_the_output_for_good() {
        let frames = [(true, false), (true, false), (true, true)];
        let set = [true, true, false, false, false];
        let fault = || Err(PermitFault::NotFollowed);
        assert_eq!(run(&frames, 1, &set), [ON, fault(), fault()]);
    }

    #[test]
    fn a_welded_contact_is_a_fault() {
        let frames = [(false, true), (false, true)];
        assert_eq!(run(&frames, 1, &[false, false, false]), [ON, Err(PermitFault::NotFollowed)]);
    }

    #[derive(Default)]
    struct Count(u32);

    impl Watchdog for &mut Count {
        fn feed(&mut self) {
            self.0 += 1;
        }
    }

    /// A press of one column with its monitor, whose frames may be sound or not.
    fn step(monitor: &mut Monitor<1, 8, 8>, tick: u32, sound: bool) -> Option<WhollyHealthy> {
        let crank = if sound {
            CrankReading::Angle(CrankAngle(tick.wrapping_mul(1 << 18)))
        } else {
            CrankReading::Fault
        };
        monitor.step(&Frame { tick: Tick(tick), counts: [(tick % 5) as i32], crank, sensors: 0 }).healthy
    }

    fn monitor() -> Monitor<1, 8, 8> {
        let press = PressSpec {
            columns: Columns::Total,
            rated_kn: 1000.0,
            rated_height_mm: 6.0,
            stroke_mm: 100.0,
            rod_mm: 500.0,
            speed_spm: [20.0, 60.0],
            bolster_mm: [600.0, 400.0],
            usable_energy_kj: None,
            reverse_percent: 10.0,
            column_percent: 110.0,
            imbalance_percent: 30.0,
            off_centre_percent: None,
        };
        let settings = PressSettings::usual(press, 10_000.0, 1e-3, StrokeSource::Encoder);
        Monitor::new(settings.build().unwrap())
    }

    #[test]
    fn only_a_wholly_healthy_and_following_frame_feeds_the_watchdog_of_an_energised_output() {
        let mut monitor = monitor();
        let mut sound = |tick: u32| step(&mut monitor, tick, true);
        let mut count = Count::default();
        let mut guardian = Guardian::new(&mut count);
        let mut fed = |tick: u32, fresh: bool, healthy: Option<WhollyHealthy>, output| {
            guardian.step(FrameHealth { tick: Tick(tick), fresh, healthy, output })
        };
        assert!(fed(1, true, sound(1), ON));
        assert!(fed(2, true, sound(2), ON));
        assert!(!fed(2, true, None, OFF), "the same frame again");
        let stale = sound(3);
        assert!(fed(3, true, None, OFF), "off: nothing to guard");
        assert!(!fed(4, true, stale, ON), "the proof of another frame");
        assert!(!fed(5, true, None, ON), "no proof");
        assert!(!fed(6, false, None, OFF), "not fresh");
        assert!(!fed(7, true, sound(4), Err(PermitFault::Pin)), "the output fails");
        assert!(!fed(9, true, None, OFF), "one is missing");
        assert_eq!(count.0, 3);
    }

    #[test]
    fn a_frame_with_a_fault_of_the_senses_yields_no_proof() {
        let mut monitor = monitor();
        assert!(step(&mut monitor, 1, true).is_some());
        assert!(step(&mut monitor, 2, false).is_none(), "crank sensor");
        assert!(step(&mut monitor, 3, true).is_some());
        assert!(step(&mut monitor, 3, true).is_none(), "the same tick again");
        assert!(step(&mut monitor, 5, true).is_none(), "a frame is missing");
        assert!(step(&mut monitor, 6, true).is_some());
    }
}
