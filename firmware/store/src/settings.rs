//! Settings in two generations: the current one, and the one being written.
//!
//! Settings are bytes to the store. They are kept in parts of [`PART`] bytes under the number of their slot; a
//! slot's head says its generation, length and checksum. The slot with the highest generation whose parts fit its
//! head is current. New settings go part by part to the other slot, are read back against the checksum, and only
//! then does their head make them current: power may fail at any moment, and the settings are the old or the new.

use embedded_storage_async::nor_flash::NorFlash;
use sequential_storage::cache::Cache;
use sequential_storage::map::{MapConfig, MapStorage};

use crate::erasing::Noted;
use crate::{Store, StoreError};

/// Bytes in a part; the last one may be shorter.
pub const PART: usize = 192;
/// Parts that settings may have.
pub const PARTS_MAX: u16 = 1024;

const CRC_32: crc::Crc<u32> = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC);

/// The checksum that settings are committed with.
#[must_use]
pub fn checksum(settings: &[u8]) -> u32 {
    CRC_32.checksum(settings)
}

/// Which of the two generations.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Slot {
    First = 0,
    Second = 1,
}

impl Slot {
    fn other(self) -> Self {
        match self {
            Self::First => Self::Second,
            Self::Second => Self::First,
        }
    }

    /// Key of a part; [`PARTS_MAX`] is the head's.
    fn key(self, part: u16) -> u16 {
        (self as u16) << 15 | part
    }
}

/// Settings that are whole.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Current {
    slot: Slot,
    /// One more with each commit.
    pub generation: u32,
    /// Bytes.
    pub len: u32,
    /// CRC-32/ISO-HDLC over them.
    pub check: u32,
}

/// Parts that so many bytes take.
fn parts(len: u32) -> u32 {
    len.div_ceil(PART as u32)
}

impl<F: NorFlash> Store<F> {
    /// The current settings; none on a new flash.
    ///
    /// # Errors
    /// [`StoreError`] if the flash fails.
    pub async fn current_settings(&mut self) -> Result<Option<Current>, StoreError> {
        self.aside = None;
        let mut found: Option<Current> = None;
        for slot in [Slot::First, Slot::Second] {
            let Some(head) = self.head(slot).await? else { continue };
            let newer = found.is_none_or(|current| head.generation > current.generation);
            if newer && self.check_of(slot, head.len).await? == Some(head.check) {
                found = Some(head);
            }
        }
        self.aside = Some(found.map_or(Slot::First, |current| current.slot.other()));
        Ok(found)
    }

    /// Reads one part of settings: gives how many bytes were put into `out`.
    ///
    /// # Errors
    /// [`StoreError::NotWhole`] if there is no such part, or it is longer than `out`.
    pub async fn read_settings(
        &mut self,
        current: &Current,
        part: u16,
        out: &mut [u8],
    ) -> Result<usize, StoreError> {
        self.part(current.slot, part, out).await?.ok_or(StoreError::NotWhole)
    }

    /// Puts one part of new settings aside, in any order.
    ///
    /// # Errors
    /// [`StoreError::TooLong`] for more than [`PART`] bytes or [`PARTS_MAX`] parts.
    pub async fn put_settings(&mut self, part: u16, bytes: &[u8]) -> Result<(), StoreError> {
        if bytes.len() > PART || part >= PARTS_MAX {
            return Err(StoreError::TooLong);
        }
        let slot = self.aside().await?;
        self.write(slot.key(part), bytes).await
    }

    /// Reads one part of what has been put aside: gives how many bytes were put into `out`.
    ///
    /// # Errors
    /// [`StoreError::NotWhole`] if there is no such part, or it is longer than `out`.
    pub async fn read_aside(&mut self, part: u16, out: &mut [u8]) -> Result<usize, StoreError> {
        let slot = self.aside().await?;
        self.part(slot, part, out).await?.ok_or(StoreError::NotWhole)
    }

    /// Makes what has been put aside current, if it is `len` bytes with this checksum. Returning is the promise
    /// that it will be found again.
    ///
    /// # Errors
    /// [`StoreError::NotWhole`] if it is not; the old settings then stay.
    pub async fn commit_settings(&mut self, len: u32, check: u32) -> Result<Current, StoreError> {
        if len == 0 || parts(len) > u32::from(PARTS_MAX) {
            return Err(StoreError::TooLong);
        }
        let current = self.current_settings().await?;
        let slot = current.map_or(Slot::First, |current| current.slot.other());
        if self.check_of(slot, len).await? != Some(check) {
            return Err(StoreError::NotWhole);
        }
        let generation = current.map_or(1, |current| current.generation.saturating_add(1));
        let mut head = [0; 12];
        for (cell, byte) in
            head.iter_mut().zip([generation, len, check].into_iter().flat_map(u32::to_le_bytes))
        {
            *cell = byte;
        }
        // Until the head is written, and if that fails, nobody knows which is current.
        self.aside = None;
        self.write(slot.key(PARTS_MAX), &head).await?;
        self.aside = Some(slot.other());
        Ok(Current { slot, generation, len, check })
    }

    async fn aside(&mut self) -> Result<Slot, StoreError> {
        if self.aside.is_none() {
            self.current_settings().await?;
        }
        Ok(self.aside.unwrap_or(Slot::First))
    }

    async fn head(&mut self, slot: Slot) -> Result<Option<Current>, StoreError> {
        let mut head = [0; 12];
        if self.part(slot, PARTS_MAX, &mut head).await? != Some(head.len()) {
            return Ok(None);
        }
        let mut words = head.as_chunks::<4>().0.iter().map(|word| u32::from_le_bytes(*word));
        let mut word = || words.next().unwrap_or(0);
        Ok(Some(Current { slot, generation: word(), len: word(), check: word() }))
    }

    /// Checksum over a slot's parts, if they make up `len` bytes.
    async fn check_of(&mut self, slot: Slot, len: u32) -> Result<Option<u32>, StoreError> {
        if parts(len) > u32::from(PARTS_MAX) {
            return Ok(None);
        }
        let mut digest = CRC_32.digest();
        let (mut left, mut bytes) = (len as usize, [0; PART]);
        for part in 0..parts(len) as u16 {
            let wanted = left.min(PART);
            if self.part(slot, part, &mut bytes).await?.is_none_or(|got| got < wanted) {
                return Ok(None);
            }
            digest.update(bytes.get(..wanted).unwrap_or(&[]));
            left -= wanted;
        }
        Ok(Some(digest.finalize()))
    }

    async fn part(&mut self, slot: Slot, part: u16, out: &mut [u8]) -> Result<Option<usize>, StoreError> {
        let Self { flash, regions, item, .. } = self;
        let config = MapConfig::try_new(regions.settings.clone()).map_err(|_| StoreError::Damaged)?;
        let mut map = MapStorage::<u16, _, _>::new(
            Noted::new(flash, regions.erasures.start),
            config,
            Cache::new_uncached(),
        );
        let Some(bytes) = map.fetch_item::<&[u8]>(item, &slot.key(part)).await? else { return Ok(None) };
        let Some(out) = out.get_mut(..bytes.len()) else { return Err(StoreError::NotWhole) };
        out.copy_from_slice(bytes);
        Ok(Some(bytes.len()))
    }

    async fn write(&mut self, key: u16, bytes: &[u8]) -> Result<(), StoreError> {
        let Self { flash, regions, item, .. } = self;
        let config = MapConfig::try_new(regions.settings.clone()).map_err(|_| StoreError::Damaged)?;
        let mut map = MapStorage::<u16, _, _>::new(
            Noted::new(flash, regions.erasures.start),
            config,
            Cache::new_uncached(),
        );
        Ok(map.store_item(item, &key, &bytes).await?)
    }
}
