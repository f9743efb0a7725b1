//! A wire between two pins.

use core::cell::Cell;
use core::convert::Infallible;
use embedded_hal::digital::{ErrorType, InputPin, OutputPin};
use std::rc::Rc;

/// A wire with a level; its clones are its ends.
#[derive(Debug, Clone, Default)]
pub struct Wire {
    level: Rc<Cell<bool>>,
    stuck: Rc<Cell<Option<bool>>>,
}

impl Wire {
    /// The level that an input at its end sees.
    #[must_use]
    pub fn is_on(&self) -> bool {
        self.stuck.get().unwrap_or(self.level.get())
    }

    /// Drives it.
    pub fn set(&self, on: bool) {
        self.level.set(on);
    }

    /// Shorts it to a supply, or mends it.
    pub fn stick(&self, level: Option<bool>) {
        self.stuck.set(level);
    }
}

impl ErrorType for Wire {
    type Error = Infallible;
}

impl InputPin for Wire {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        Ok(self.is_on())
    }

    fn is_low(&mut self) -> Result<bool, Infallible> {
        Ok(!self.is_on())
    }
}

impl OutputPin for Wire {
    fn set_high(&mut self) -> Result<(), Infallible> {
        self.set(true);
        Ok(())
    }

    fn set_low(&mut self) -> Result<(), Infallible> {
        self.set(false);
        Ok(())
    }
}
