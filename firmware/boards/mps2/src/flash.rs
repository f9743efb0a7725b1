//! A NOR flash for settings, counters and journal, in the board's second RAM.
//!
//! The board has no flash of its own that the emulator would keep. The upper part of its second RAM stands in: erasing
//! sets bits, programming clears them. It outlives a reset, as a flash does, but not the emulator; losing power is tried
//! by the `store` program on a file. Memory that was never written reads as zeros and means erased, so all is kept
//! inverted.

use crate::mmio::{Device, Register};
use bolster_store::Regions;
use core::convert::Infallible;
use embedded_storage_async::nor_flash::{ErrorType, NorFlash, ReadNorFlash};

/// Bytes of a page.
const PAGE: u32 = 4096;
/// Pages: settings 22 (two generations with a learned shape, and room to turn them over), counters 2, journal 16,
/// notes of erasures 2.
const PAGES: u32 = 42;

/// What lies where.
#[must_use]
pub fn regions() -> Regions {
    Regions {
        settings: 0..22 * PAGE,
        counters: 22 * PAGE..24 * PAGE,
        journal: 24 * PAGE..40 * PAGE,
        erasures: 40 * PAGE..42 * PAGE,
    }
}

/// The flash.
#[derive(Debug)]
pub struct Flash;

fn word(at: u32) -> Register {
    Register::of(Device::Flash, at as usize & !3)
}

impl ErrorType for Flash {
    type Error = Infallible;
}

impl ReadNorFlash for Flash {
    const READ_SIZE: usize = 1;

    async fn read(&mut self, at: u32, bytes: &mut [u8]) -> Result<(), Infallible> {
        let mut cells = [0; 4];
        for (n, (byte, at)) in bytes.iter_mut().zip(at..).enumerate() {
            if n == 0 || at % 4 == 0 {
                cells = (!word(at).read()).to_le_bytes();
            }
            let [a, b, c, d] = cells;
            *byte = match at % 4 {
                0 => a,
                1 => b,
                2 => c,
                _ => d,
            };
        }
        Ok(())
    }

    fn capacity(&self) -> usize {
        (PAGES * PAGE) as usize
    }
}

impl NorFlash for Flash {
    const WRITE_SIZE: usize = 4;
    const ERASE_SIZE: usize = PAGE as usize;

    async fn erase(&mut self, from: u32, to: u32) -> Result<(), Infallible> {
        for at in (from..to.min(PAGES * PAGE)).step_by(4) {
            word(at).write(0);
        }
        Ok(())
    }

    async fn write(&mut self, at: u32, bytes: &[u8]) -> Result<(), Infallible> {
        for (cells, at) in bytes.as_chunks::<4>().0.iter().zip((at..PAGES * PAGE).step_by(4)) {
            // A programmed bit stays so until it is erased.
            word(at).write(word(at).read() | !u32::from_le_bytes(*cells));
        }
        Ok(())
    }
}
