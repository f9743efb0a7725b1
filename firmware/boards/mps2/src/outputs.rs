//! Permit relay and watchdog of the board, as the drivers want them.
//!
//! The board has no relay: its first lamp stands for the coil, and the lamp's register, which the emulator gives back
//! as written, for the contact.

use crate::mmio::{Device, Register};
use bolster_drivers::permit::Watchdog;
use core::convert::Infallible;
use embedded_hal::digital::{ErrorType, InputPin, OutputPin};

const LAMPS: Register = Register::of(Device::FpgaIo, 0x0);
const COIL: u32 = 1;

/// The coil of the permit relay.
#[derive(Debug)]
pub struct Coil;

/// The contact that moves with it.
#[derive(Debug)]
pub struct Contact;

impl ErrorType for Coil {
    type Error = Infallible;
}

impl OutputPin for Coil {
    fn set_low(&mut self) -> Result<(), Infallible> {
        LAMPS.write(LAMPS.read() & !COIL);
        Ok(())
    }

    fn set_high(&mut self) -> Result<(), Infallible> {
        LAMPS.write(LAMPS.read() | COIL);
        Ok(())
    }
}

impl ErrorType for Contact {
    type Error = Infallible;
}

impl InputPin for Contact {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        Ok(LAMPS.read() & COIL != 0)
    }

    fn is_low(&mut self) -> Result<bool, Infallible> {
        self.is_high().map(|high| !high)
    }
}

/// The board's watchdog: an interrupt that cannot be masked when it expires, a reset when it expires again.
#[derive(Debug)]
pub struct BoardWatchdog;

/// Opens the watchdog's registers for writing.
const KEY: u32 = 0x1ACC_E551;

impl BoardWatchdog {
    /// Starts it; ticks are of 25 MHz.
    #[must_use]
    pub fn start(ticks: u32) -> Self {
        let lock = Register::of(Device::Watchdog, 0xC00);
        lock.write(KEY);
        Register::of(Device::Watchdog, 0x0).write(ticks);
        Register::of(Device::Watchdog, 0x8).write(0b11);
        lock.write(0);
        Self
    }
}

impl Watchdog for BoardWatchdog {
    fn feed(&mut self) {
        let lock = Register::of(Device::Watchdog, 0xC00);
        lock.write(KEY);
        // Clearing its interrupt starts it from its full time again.
        Register::of(Device::Watchdog, 0xC).write(1);
        lock.write(0);
    }
}
