//! NOR flash as strict as the strictest parts, on a supply that can fail in the middle of any word or page.
//!
//! Programming clears bits, erasing a page sets them all; a word is programmed once between two erasures of its page.
//! A word or page that power fails in is left as it was, half done (which bits, a fixed hash says) or done. What a part
//! refuses, or would spoil in silence, is an error here. Wear and reading disturbs are left out.

use core::cell::Cell;
use embedded_storage_async::nor_flash::{
    ErrorType, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash,
};
use std::rc::Rc;

/// What the word or page under way looks like after a loss of power.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Torn {
    /// As before.
    Untouched,
    /// Some bits are done, others not.
    Half,
    /// All done, only nobody was told.
    Done,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Power {
    On,
    /// Fails in the operation after so many.
    Failing(u64, Torn),
    Off,
}

/// The supply of the whole controller; clones are the same supply.
#[derive(Debug, Clone)]
pub struct Supply {
    power: Rc<Cell<Power>>,
}

impl Default for Supply {
    fn default() -> Self {
        Self { power: Rc::new(Cell::new(Power::On)) }
    }
}

impl Supply {
    /// Whether there is power.
    #[must_use]
    pub fn is_on(&self) -> bool {
        self.power.get() != Power::Off
    }

    /// Power fails now.
    pub fn fail(&self) {
        self.power.set(Power::Off);
    }

    /// Power will fail in the flash operation that comes after so many others: a word programmed or a page erased.
    pub fn fail_after(&self, operations: u64, torn: Torn) {
        self.power.set(Power::Failing(operations, torn));
    }

    /// Power comes back.
    pub fn restore(&self) {
        self.power.set(Power::On);
    }

    /// One flash operation begins: how it ends where power fails in it, or an error where there is none.
    fn operation(&self) -> Result<Option<Torn>, FlashError> {
        match self.power.get() {
            Power::On => Ok(None),
            Power::Failing(0, torn) => {
                self.power.set(Power::Off);
                Ok(Some(torn))
            }
            Power::Failing(left, torn) => {
                self.power.set(Power::Failing(left - 1, torn));
                Ok(None)
            }
            Power::Off => Err(FlashError::NoPower),
        }
    }
}

/// What the flash refuses.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum FlashError {
    /// There is no power.
    #[error("the flash has no power")]
    NoPower,
    /// Not at a word or page.
    #[error("the place is not at a word or page of the flash")]
    NotAligned,
    /// Beyond the end.
    #[error("the place lies beyond the end of the flash")]
    OutOfBounds,
    /// A word was to be programmed a second time.
    #[error("the word at {0} was programmed already and not erased")]
    ProgrammedTwice(usize),
}

impl NorFlashError for FlashError {
    fn kind(&self) -> NorFlashErrorKind {
        match self {
            Self::NotAligned => NorFlashErrorKind::NotAligned,
            Self::OutOfBounds => NorFlashErrorKind::OutOfBounds,
            _ => NorFlashErrorKind::Other,
        }
    }
}

/// A flash of words of `WORD` and pages of `PAGE` bytes.
#[derive(Debug, Clone)]
pub struct Flash<const WORD: usize, const PAGE: usize> {
    bytes: Vec<u8>,
    programmed: Vec<bool>,
    supply: Supply,
    operations: u64,
}

impl<const WORD: usize, const PAGE: usize> Flash<WORD, PAGE> {
    /// An erased flash of so many pages.
    #[must_use]
    pub fn new(pages: usize, supply: &Supply) -> Self {
        Self {
            bytes: vec![0xFF; pages * PAGE],
            programmed: vec![false; pages * PAGE / WORD],
            supply: supply.clone(),
            operations: 0,
        }
    }

    /// Words programmed and pages erased so far.
    #[must_use]
    pub fn operations(&self) -> u64 {
        self.operations
    }

    fn begin(&mut self) -> Result<Option<Torn>, FlashError> {
        let torn = self.supply.operation()?;
        self.operations += 1;
        Ok(torn)
    }

    /// Power may have failed in the operation that ended.
    fn end(&self) -> Result<(), FlashError> {
        if self.supply.is_on() { Ok(()) } else { Err(FlashError::NoPower) }
    }

    fn check(&self, from: usize, to: usize, unit: usize) -> Result<(), FlashError> {
        if !from.is_multiple_of(unit) || !to.is_multiple_of(unit) {
            return Err(FlashError::NotAligned);
        }
        if from > to || to > self.bytes.len() {
            return Err(FlashError::OutOfBounds);
        }
        Ok(())
    }

    /// Bits that differ from operation to operation and byte to byte.
    fn some_bits(&self, at: usize) -> u8 {
        let mixed = (self.operations ^ (at as u64) << 20).wrapping_mul(0x9E37_79B9_7F4A_7C15);
        (mixed >> 56) as u8
    }
}

impl<const WORD: usize, const PAGE: usize> ErrorType for Flash<WORD, PAGE> {
    type Error = FlashError;
}

impl<const WORD: usize, const PAGE: usize> ReadNorFlash for Flash<WORD, PAGE> {
    const READ_SIZE: usize = 1;

    async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), FlashError> {
        self.end()?;
        let from = offset as usize;
        let there = self.bytes.get(from..from.saturating_add(bytes.len())).ok_or(FlashError::OutOfBounds)?;
        bytes.copy_from_slice(there);
        Ok(())
    }

    fn capacity(&self) -> usize {
        self.bytes.len()
    }
}

impl<const WORD: usize, const PAGE: usize> NorFlash for Flash<WORD, PAGE> {
    const WRITE_SIZE: usize = WORD;
    const ERASE_SIZE: usize = PAGE;

    async fn erase(&mut self, from: u32, to: u32) -> Result<(), FlashError> {
        let (from, to) = (from as usize, to as usize);
        self.check(from, to, PAGE)?;
        for page in from / PAGE..to / PAGE {
            let torn = self.begin()?;
            for at in page * PAGE..(page + 1) * PAGE {
                let bits = match torn {
                    Some(Torn::Untouched) => 0,
                    // Erasing sets bits, not in any order.
                    Some(Torn::Half) => self.some_bits(at),
                    Some(Torn::Done) | None => 0xFF,
                };
                if let Some(byte) = self.bytes.get_mut(at) {
                    *byte |= bits;
                }
            }
            let words = self.programmed.get_mut(page * PAGE / WORD..(page + 1) * PAGE / WORD);
            // A page torn in its erasure holds nothing that is known; whoever writes to it must know that.
            if torn != Some(Torn::Untouched) {
                words.into_iter().for_each(|words| words.fill(false));
            }
            self.end()?;
        }
        Ok(())
    }

    async fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), FlashError> {
        let offset = offset as usize;
        self.check(offset, offset.saturating_add(bytes.len()), WORD)?;
        for (n, word) in bytes.chunks(WORD).enumerate() {
            let from = offset + n * WORD;
            let blank = word.iter().all(|byte| *byte == 0xFF);
            if !blank && self.programmed.get(from / WORD).copied().unwrap_or(false) {
                return Err(FlashError::ProgrammedTwice(from));
            }
            let torn = self.begin()?;
            for (at, byte) in (from..).zip(word) {
                let kept = match torn {
                    Some(Torn::Untouched) => 0xFF,
                    Some(Torn::Half) => byte | self.some_bits(at),
                    Some(Torn::Done) | None => *byte,
                };
                if let Some(place) = self.bytes.get_mut(at) {
                    *place &= kept;
                }
            }
            // A torn word may be programmed again: its bits can only clear further.
            if !blank
                && matches!(torn, None | Some(Torn::Done))
                && let Some(programmed) = self.programmed.get_mut(from / WORD)
            {
                *programmed = true;
            }
            self.end()?;
        }
        Ok(())
    }
}
