//! Device registers of the board.
//!
//! Addresses: the board's memory map as the emulator implements it, tried there.
#![allow(unsafe_code)]

/// One 32-bit device register.
#[derive(Debug, Clone, Copy)]
pub struct Register(usize);

impl Register {
    /// The register at an offset in a device of this board.
    #[must_use]
    pub const fn of(device: Device, offset: usize) -> Self {
        Self(device as usize + offset)
    }

    /// Reads it.
    #[must_use]
    pub fn read(self) -> u32 {
        // SAFETY: a `Device` is the base of a device of this board, and offsets stay within it.
        unsafe { core::ptr::with_exposed_provenance::<u32>(self.0).read_volatile() }
    }

    /// Writes it.
    pub fn write(self, value: u32) {
        // SAFETY: as in `read`.
        unsafe { core::ptr::with_exposed_provenance_mut::<u32>(self.0).write_volatile(value) }
    }
}

/// Devices and the base of their registers.
#[derive(Debug, Clone, Copy)]
#[repr(usize)]
pub enum Device {
    /// CMSDK timer: the sample clock.
    Timer0 = 0x4000_0000,
    /// First serial port.
    Uart0 = 0x4000_4000,
    /// Second serial port.
    Uart1 = 0x4000_5000,
    /// Watchdog: an interrupt that cannot be masked on its first expiry, a reset on its second.
    Watchdog = 0x4000_8000,
    /// The processor's interrupt controller.
    Nvic = 0xE000_E100,
    /// RAM beside the processor's own, where the emulator is told to put a feed.
    Feed = 0x2100_0000,
    /// The upper part of that RAM, which stands in for a flash: see `flash`.
    Flash = 0x21FC_0000,
    /// Lamps, buttons and free-running counters.
    FpgaIo = 0x4002_8000,
}
