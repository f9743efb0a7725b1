//! Numbered entries that outlive power; the oldest page makes room for new ones.

use embedded_storage_async::nor_flash::NorFlash;
use sequential_storage::cache::Cache;
use sequential_storage::queue::{QueueConfig, QueueStorage};

use crate::erasing::Noted;
use crate::{Store, StoreError};

/// Longest body of an entry, bytes.
pub const ENTRY_MAX: usize = 64;

impl<F: NorFlash> Store<F> {
    /// Appends an entry. Returning is the promise that it will be found again until its page makes room.
    ///
    /// Numbers are the caller's: [`Self::next_entry`] gives the one to go on with after a start.
    ///
    /// # Errors
    /// [`StoreError`] if the body is longer than [`ENTRY_MAX`] or the flash fails.
    pub async fn append(&mut self, number: u32, body: &[u8]) -> Result<(), StoreError> {
        let mut entry = [0; 4 + ENTRY_MAX];
        let (head, rest) = entry.split_first_chunk_mut::<4>().ok_or(StoreError::TooLong)?;
        *head = number.to_le_bytes();
        rest.get_mut(..body.len()).ok_or(StoreError::TooLong)?.copy_from_slice(body);
        let entry = entry.get(..4 + body.len()).ok_or(StoreError::TooLong)?;
        let config = QueueConfig::try_new(self.regions.journal.clone()).map_err(|_| StoreError::Damaged)?;
        let mut queue = QueueStorage::new(
            Noted::new(&mut self.flash, self.regions.erasures.start),
            config,
            Cache::new_uncached(),
        );
        Ok(queue.push(entry, true).await?)
    }

    /// Shows every entry held, oldest first: its number and body.
    ///
    /// # Errors
    /// [`StoreError`] if the flash fails.
    pub async fn entries(&mut self, mut see: impl FnMut(u32, &[u8])) -> Result<(), StoreError> {
        let Self { flash, regions, item, .. } = self;
        let config = QueueConfig::try_new(regions.journal.clone()).map_err(|_| StoreError::Damaged)?;
        let mut queue =
            QueueStorage::new(Noted::new(flash, regions.erasures.start), config, Cache::new_uncached());
        let mut entries = queue.iter().await?;
        while let Some(entry) = entries.next(item).await? {
            let bytes: &[u8] = &entry;
            if let Some((number, body)) = bytes.split_first_chunk::<4>() {
                see(u32::from_le_bytes(*number), body);
            }
        }
        Ok(())
    }

    /// The number after the newest entry's; 0 on a new flash.
    ///
    /// # Errors
    /// [`StoreError`] if the flash fails.
    pub async fn next_entry(&mut self) -> Result<u32, StoreError> {
        let mut next = 0;
        self.entries(|number, _| next = number.wrapping_add(1)).await?;
        Ok(next)
    }
}
