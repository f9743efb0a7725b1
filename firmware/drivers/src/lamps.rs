//! Lamps: colours after IEC 60073, each with the meaning that standard gives it.

use bolster_core::permit::PermitState;
use bolster_core::verdict::Verdict;
use embedded_hal::digital::{OutputPin, PinState};

/// What the lamps show.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Show {
    /// Red: the permit is withdrawn.
    pub red: bool,
    /// Yellow: the last stroke was told of, or held.
    pub yellow: bool,
    /// Green: the press may run.
    pub green: bool,
    /// Blue: a person must act, that is acknowledge.
    pub blue: bool,
}

impl Show {
    /// What permit and last verdict look like.
    #[must_use]
    pub fn of(permit: PermitState, last: Verdict) -> Self {
        match permit {
            // No lamp says run or stop before self-test has passed.
            PermitState::SelfTest => Self { blue: true, ..Self::default() },
            PermitState::Granted => Self { green: true, yellow: last != Verdict::Pass, ..Self::default() },
            PermitState::Latched(_) => Self { red: true, blue: true, ..Self::default() },
        }
    }
}

/// Four lamps on four pins, lit when high: red, yellow, green, blue.
#[derive(Debug)]
pub struct Lamps<P> {
    pins: [P; 4],
}

impl<P: OutputPin> Lamps<P> {
    /// Lamps on these pins.
    pub fn new(pins: [P; 4]) -> Self {
        Self { pins }
    }

    /// Lights them.
    ///
    /// # Errors
    /// The first pin's error; the other lamps are lit all the same.
    pub fn show(&mut self, show: Show) -> Result<(), P::Error> {
        let wanted = [show.red, show.yellow, show.green, show.blue];
        let mut outcome = Ok(());
        for (pin, lit) in self.pins.iter_mut().zip(wanted) {
            let one = pin.set_state(PinState::from(lit));
            outcome = outcome.and(one);
        }
        outcome
    }

    /// Gives the pins back.
    pub fn release(self) -> [P; 4] {
        self.pins
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use bolster_core::verdict::ReasonSet;
    use embedded_hal_mock::eh1::digital::{Mock, State, Transaction};

    #[test]
    fn green_and_red_are_never_lit_together() {
        let states =
            [PermitState::SelfTest, PermitState::Granted, PermitState::Latched(ReasonSet::default())];
        for permit in states {
            for last in [Verdict::Pass, Verdict::Note, Verdict::Hold, Verdict::Trip] {
                let show = Show::of(permit, last);
                assert!(!(show.red && show.green), "{permit:?} {last:?}");
                assert_eq!(show.green, permit == PermitState::Granted);
            }
        }
    }

    #[test]
    fn each_lamp_hangs_on_its_pin() {
        let pin = |lit| Mock::new(&[Transaction::set(if lit { State::High } else { State::Low })]);
        let mut lamps = Lamps::new([pin(true), pin(false), pin(false), pin(true)]);
        assert!(lamps.show(Show::of(PermitState::Latched(ReasonSet::default()), Verdict::Trip)).is_ok());
        lamps.release().iter_mut().for_each(Mock::done);
    }
}
