//! A NOR flash that is stricter than real ones and loses power when told to.

use embedded_storage_async::nor_flash::{
    ErrorType, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash,
};
use std::vec::Vec;

pub(super) const WORD: usize = 4;
pub(super) const PAGE: usize = 1024;

/// What the word or page under way looks like after a loss of power.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Torn {
    /// As before.
    Untouched,
    /// Some bits are done, others not; which ones depends on the operation's number.
    Half,
    /// All done, only nobody was told.
    Done,
}

#[derive(Debug)]
pub(super) struct Failure(NorFlashErrorKind);

impl NorFlashError for Failure {
    fn kind(&self) -> NorFlashErrorKind {
        self.0
    }
}

/// The flash. Programming clears bits; each word may be programmed once between two erasures of its page.
#[derive(Debug, Clone)]
pub(super) struct Flash {
    bytes: Vec<u8>,
    programmed: Vec<bool>,
    /// Words programmed and pages erased so far.
    pub(super) done: u64,
    pub(super) cut: Option<(u64, Torn)>,
    pub(super) erasures: Vec<u32>,
    /// Bytes read so far.
    pub(super) read: usize,
    dead: bool,
}

impl Flash {
    pub(super) fn new(pages: usize) -> Self {
        Self {
            bytes: std::vec![0xFF; pages * PAGE],
            programmed: std::vec![false; pages * PAGE / WORD],
            done: 0,
            cut: None,
            erasures: std::vec![0; pages],
            read: 0,
            dead: false,
        }
    }

    /// Power is back; what was torn stays torn.
    pub(super) fn power_up(mut self) -> Self {
        self.dead = false;
        self.cut = None;
        self
    }

    pub(super) fn is_dead(&self) -> bool {
        self.dead
    }

    /// Whether power fails in the operation that begins now, and how.
    fn fails(&mut self) -> Option<Torn> {
        let now = self.done;
        self.done += 1;
        self.cut.filter(|(at, _)| *at == now).map(|(_, torn)| {
            self.dead = true;
            torn
        })
    }

    fn alive(&self) -> Result<(), Failure> {
        if self.dead { Err(Failure(NorFlashErrorKind::Other)) } else { Ok(()) }
    }

    /// Bits that differ from operation to operation and byte to byte: a fixed hash.
    fn some_bits(&self, at: usize) -> u8 {
        let mixed = (self.done ^ (at as u64) << 20).wrapping_mul(0x9E37_79B9_7F4A_7C15);
        (mixed >> 56) as u8
    }
}

impl ErrorType for Flash {
    type Error = Failure;
}

impl ReadNorFlash for Flash {
    const READ_SIZE: usize = 1;

    async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Failure> {
        self.alive()?;
        self.read += bytes.len();
        let from = offset as usize;
        bytes.copy_from_slice(&self.bytes[from..from + bytes.len()]);
        Ok(())
    }

    fn capacity(&self) -> usize {
        self.bytes.len()
    }
}

impl NorFlash for Flash {
    const WRITE_SIZE: usize = WORD;
    const ERASE_SIZE: usize = PAGE;

    async fn erase(&mut self, from: u32, to: u32) -> Result<(), Failure> {
        let (from, to) = (from as usize, to as usize);
        assert!(from.is_multiple_of(PAGE) && to.is_multiple_of(PAGE) && from < to, "{from}..{to}");
        for page in from / PAGE..to / PAGE {
            self.alive()?;
            let torn = self.fails();
            self.erasures[page] += 1;
            for at in page * PAGE..(page + 1) * PAGE {
                self.bytes[at] = match torn {
                    Some(Torn::Untouched) => self.bytes[at],
                    // Erasing sets bits, not in any order.
                    Some(Torn::Half) => self.bytes[at] | self.some_bits(at),
                    Some(Torn::Done) | None => 0xFF,
                };
            }
            // A page torn in its erasure holds nothing that is known: it must be erased again before anything is written,
            // or what is written must be found as it is; both are the store's to see to.
            if torn != Some(Torn::Untouched) {
                self.programmed[page * PAGE / WORD..(page + 1) * PAGE / WORD].fill(false);
            }
        }
        self.alive()
    }

    async fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Failure> {
        let offset = offset as usize;
        assert!(offset.is_multiple_of(WORD) && bytes.len().is_multiple_of(WORD), "{offset}, {}", bytes.len());
        for (n, word) in bytes.chunks(WORD).enumerate() {
            self.alive()?;
            let from = offset + n * WORD;
            let blank = word.iter().all(|byte| *byte == 0xFF);
            assert!(blank || !self.programmed[from / WORD], "word at {from} programmed twice");
            let torn = self.fails();
            for (k, byte) in word.iter().enumerate() {
                let at = from + k;
                self.bytes[at] &= match torn {
                    Some(Torn::Untouched) => 0xFF,
                    Some(Torn::Half) => byte | self.some_bits(at),
                    Some(Torn::Done) | None => *byte,
                };
            }
            // A word torn by a loss of power may be programmed again: its bits can only clear further.
            if !blank && matches!(torn, None | Some(Torn::Done)) {
                self.programmed[from / WORD] = true;
            }
        }
        self.alive()
    }
}
