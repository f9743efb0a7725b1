//! Makes erasing a page one thing that either happened or is done again.
//!
//! A page whose erasure was torn may hold anything, a page's marks and whole items among it, and the logs in the
//! other regions cannot tell. So before a page is erased its number is written down in a log of its own, and after
//! it that it is done; a start finds what was not done and erases that page again, which loses nothing, for it was
//! to be empty.
//!
//! The log has two pages and fills them in turn. Each note has a running number and a checksum and only the newest
//! one counts: when a page of the log is itself erased, the other holds newer ones, so that torn notes mean nothing.

use embedded_storage_async::nor_flash::{ErrorType, NorFlash, ReadNorFlash};

const CRC_32: crc::Crc<u32> = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC);

/// Longest half of a note, bytes.
const HALF_MAX: usize = 32;

/// A flash that notes what it erases.
#[derive(Debug)]
pub(crate) struct Noted<'a, F> {
    flash: &'a mut F,
    /// Where the log's first page begins.
    log: u32,
}

/// The newest note.
#[derive(Debug, Clone, Copy)]
struct Note {
    number: u32,
    /// Address of the page to be erased.
    page: u32,
    /// Where the note lies.
    at: u32,
    done: bool,
}

impl<'a, F: NorFlash> Noted<'a, F> {
    /// Bytes of half a note: first what is to be done, then that it is.
    const HALF: u32 = if F::WRITE_SIZE > 16 { HALF_MAX as u32 } else { 16 };
    const PAGE: u32 = F::ERASE_SIZE as u32;

    pub(crate) fn new(flash: &'a mut F, log: u32) -> Self {
        Self { flash, log }
    }

    /// To be called at every start: finishes an erasure that a loss of power interrupted.
    pub(crate) async fn finish(&mut self) -> Result<(), F::Error> {
        match self.newest().await? {
            Some(note) if !note.done => self.carry_out(note.page, note.at).await,
            _ => Ok(()),
        }
    }

    async fn half(&mut self, at: u32) -> Result<[u8; HALF_MAX], F::Error> {
        let mut bytes = [0xFF; HALF_MAX];
        if let Some(half) = bytes.get_mut(..Self::HALF as usize) {
            self.flash.read(at, half).await?;
        }
        Ok(bytes)
    }

    async fn newest(&mut self) -> Result<Option<Note>, F::Error> {
        let mut newest: Option<Note> = None;
        let mut at = self.log;
        while at < self.log + 2 * Self::PAGE {
            let first = self.half(at).await?;
            if let [[a, b, c, d], [e, f, g, h], [i, j, k, l], ..] = *first.as_chunks::<4>().0 {
                let (number, page) = (u32::from_le_bytes([a, b, c, d]), u32::from_le_bytes([e, f, g, h]));
                let sound = u32::from_le_bytes([i, j, k, l]) == CRC_32.checksum(&[a, b, c, d, e, f, g, h]);
                if sound && newest.is_none_or(|newest| number > newest.number) {
                    let done = is_programmed(&self.half(at + Self::HALF).await?);
                    newest = Some(Note { number, page, at, done });
                }
            }
            at += 2 * Self::HALF;
        }
        Ok(newest)
    }

    /// A place for the next note that is blank.
    async fn next_place(&mut self, newest: Option<Note>) -> Result<u32, F::Error> {
        let middle = self.log + Self::PAGE;
        let mut at = newest.map_or(self.log, |note| note.at + 2 * Self::HALF);
        let end = if newest.is_none_or(|note| note.at < middle) { middle } else { middle + Self::PAGE };
        while at < end {
            // A torn note is no note, but its place is taken.
            if !is_programmed(&self.half(at).await?) && !is_programmed(&self.half(at + Self::HALF).await?) {
                return Ok(at);
            }
            at += 2 * Self::HALF;
        }
        let other = if end == middle { middle } else { self.log };
        self.flash.erase(other, other + Self::PAGE).await?;
        Ok(other)
    }

    async fn carry_out(&mut self, page: u32, at: u32) -> Result<(), F::Error> {
        self.flash.erase(page, page + Self::PAGE).await?;
        let done = [0; HALF_MAX];
        self.flash.write(at + Self::HALF, done.get(..Self::HALF as usize).unwrap_or(&[])).await
    }

    async fn erase_one(&mut self, page: u32) -> Result<(), F::Error> {
        let newest = self.newest().await?;
        let at = self.next_place(newest).await?;
        let number = newest.map_or(1, |note| note.number.saturating_add(1));
        let [a, b, c, d] = number.to_le_bytes();
        let [e, f, g, h] = page.to_le_bytes();
        let [i, j, k, l] = CRC_32.checksum(&[a, b, c, d, e, f, g, h]).to_le_bytes();
        let mut note = [0; HALF_MAX];
        for (cell, byte) in note.iter_mut().zip([a, b, c, d, e, f, g, h, i, j, k, l]) {
            *cell = byte;
        }
        self.flash.write(at, note.get(..Self::HALF as usize).unwrap_or(&[])).await?;
        self.carry_out(page, at).await
    }
}

fn is_programmed(bytes: &[u8]) -> bool {
    bytes.iter().any(|byte| *byte != 0xFF)
}

impl<F: NorFlash> ErrorType for Noted<'_, F> {
    type Error = F::Error;
}

impl<F: NorFlash> ReadNorFlash for Noted<'_, F> {
    const READ_SIZE: usize = F::READ_SIZE;

    async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), F::Error> {
        self.flash.read(offset, bytes).await
    }

    fn capacity(&self) -> usize {
        self.flash.capacity()
    }
}

impl<F: NorFlash> NorFlash for Noted<'_, F> {
    const WRITE_SIZE: usize = F::WRITE_SIZE;
    const ERASE_SIZE: usize = F::ERASE_SIZE;

    async fn erase(&mut self, from: u32, to: u32) -> Result<(), F::Error> {
        let mut page = from;
        while page < to {
            self.erase_one(page).await?;
            page += Self::PAGE;
        }
        Ok(())
    }

    async fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), F::Error> {
        self.flash.write(offset, bytes).await
    }
}
