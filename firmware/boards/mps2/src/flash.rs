//! A NOR flash for settings, counters and journal, in the board's second RAM.
//!
//! The board has no flash of its own that the emulator would keep. The upper part of its second RAM stands in: erasing
//! sets bits, programming clears them. It outlives a reset, as a flash does, but not the emulator; losing power is tried
//! by the `store` program on a file. Memory that was never written reads as zeros and means erased, so all is kept
//! inverted.

use crate::below::{Current, Keep, Which};
use crate::mmio::{Device, Register};
use bolster_link::message::Refusal;
use bolster_store::counters::Counters;
use bolster_store::{Regions, Store, StoreError};
use core::convert::Infallible;
use embassy_futures::block_on;
use embedded_storage_async::nor_flash::{ErrorType, NorFlash, ReadNorFlash};

/// Bytes of a page.
const PAGE: u32 = 4096;
/// Pages: settings 22 (two generations with a learned shape, and room to turn them over), counters 2, journal 16,
/// notes of erasures 2.
const PAGES: u32 = 42;

/// What lies where.
fn regions() -> Regions {
    Regions {
        settings: 0..22 * PAGE,
        counters: 22 * PAGE..24 * PAGE,
        journal: 24 * PAGE..40 * PAGE,
        erasures: 40 * PAGE..42 * PAGE,
    }
}

/// The flash.
#[derive(Debug)]
struct Flash;

fn word(at: u32) -> Register {
    Register::of(Device::Flash, at as usize & !3)
}

impl ErrorType for Flash {
    type Error = Infallible;
}

impl ReadNorFlash for Flash {
    const READ_SIZE: usize = 1;

    async fn read(&mut self, at: u32, bytes: &mut [u8]) -> Result<(), Infallible> {
        // Whole words where there are any: most reads are of them.
        let (words, rest) =
            if at.is_multiple_of(4) { bytes.as_chunks_mut::<4>() } else { ([].as_mut_slice(), bytes) };
        let behind = at + 4 * words.len() as u32;
        for (cells, at) in words.iter_mut().zip((at..).step_by(4)) {
            *cells = (!word(at).read()).to_le_bytes();
        }
        for (byte, at) in rest.iter_mut().zip(behind..) {
            let [a, b, c, d] = (!word(at).read()).to_le_bytes();
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

/// What the flash keeps. A store that cannot be opened keeps nothing, and the monitor stays without settings.
#[derive(Debug)]
pub struct Stored {
    store: Option<Store<Flash>>,
    current: Option<bolster_store::settings::Current>,
}

impl Stored {
    /// Opens the store.
    #[must_use]
    pub fn open() -> Self {
        let mut store = block_on(Store::open(Flash, regions())).ok();
        let current = store.as_mut().and_then(|store| block_on(store.current_settings()).ok()).flatten();
        Self { store, current }
    }

    fn store(&mut self) -> Result<&mut Store<Flash>, Refusal> {
        self.store.as_mut().ok_or(Refusal::Store)
    }
}

fn refused(why: StoreError) -> Refusal {
    match why {
        StoreError::TooLong => Refusal::Place,
        StoreError::NotWhole => Refusal::NotWhole,
        _ => Refusal::Store,
    }
}

impl Keep for Stored {
    fn put(&mut self, part: u16, bytes: &[u8]) -> Result<(), Refusal> {
        block_on(self.store()?.put_settings(part, bytes)).map_err(refused)
    }

    fn part(&mut self, of: Which, part: u16, out: &mut [u8]) -> Result<usize, Refusal> {
        let current = self.current;
        let store = self.store()?;
        match (of, current) {
            (Which::Aside, _) => block_on(store.read_aside(part, out)).map_err(refused),
            (Which::Current, Some(current)) => {
                block_on(store.read_settings(&current, part, out)).map_err(refused)
            }
            (Which::Current, None) => Err(Refusal::NotWhole),
        }
    }

    fn commit(&mut self, len: u32, check: u32) -> Result<Current, Refusal> {
        let current = block_on(self.store()?.commit_settings(len, check)).map_err(refused)?;
        self.current = Some(current);
        Ok(Current { generation: current.generation, len: current.len })
    }

    fn current(&mut self) -> Option<Current> {
        self.current.map(|current| Current { generation: current.generation, len: current.len })
    }

    fn counters(&mut self) -> Counters {
        let read = |store: &mut Store<Flash>| block_on(store.counters()).ok();
        self.store.as_mut().and_then(read).unwrap_or_default()
    }

    fn save(&mut self, counters: &Counters) {
        if let Some(store) = &mut self.store {
            let _ = block_on(store.save_counters(counters));
        }
    }

    fn next_line(&mut self) -> u32 {
        let read = |store: &mut Store<Flash>| block_on(store.next_entry()).ok();
        self.store.as_mut().and_then(read).unwrap_or(0)
    }

    fn append(&mut self, number: u32, body: &[u8]) -> bool {
        self.store.as_mut().is_some_and(|store| block_on(store.append(number, body)).is_ok())
    }

    fn lines(&mut self, see: impl FnMut(u32, &[u8])) -> Result<(), Refusal> {
        block_on(self.store()?.entries(see)).map_err(refused)
    }
}
