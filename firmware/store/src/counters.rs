//! Lifetime counts that only go up.

use bolster_core::ledger::{LOAD_CLASSES, Ledger};
use embedded_storage_async::nor_flash::NorFlash;
use sequential_storage::cache::Cache;
use sequential_storage::map::{MapConfig, MapStorage};
use serde::{Deserialize, Serialize};

use crate::erasing::Noted;
use crate::{Store, StoreError};

const KEY: u8 = 1;

/// What a press has gone through in its life.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Counters {
    /// Starts of the controller.
    pub boots: u32,
    /// Strokes.
    pub strokes: u64,
    /// `[class]`: strokes by peak load.
    pub classes: [u32; LOAD_CLASSES],
    /// Strokes that tripped on a machine limit.
    pub overloads: u32,
    /// `[column]`: fatigue-weighted cycles; columns the press has not got are 0.
    pub weighted: [f64; 4],
}

impl Counters {
    /// These with what a ledger has counted since they were read at the start.
    #[must_use]
    pub fn with<const N: usize>(&self, ledger: &Ledger<N>) -> Self {
        let mut sum = *self;
        sum.strokes = sum.strokes.saturating_add(ledger.strokes);
        for (class, more) in sum.classes.iter_mut().zip(&ledger.classes) {
            *class = class.saturating_add(*more);
        }
        sum.overloads = sum.overloads.saturating_add(ledger.overloads);
        for (weighted, more) in sum.weighted.iter_mut().zip(ledger.weighted()) {
            *weighted += more;
        }
        sum
    }

    /// Whether nothing in these is less than in the earlier ones.
    #[must_use]
    pub fn follow(&self, earlier: &Self) -> bool {
        self.boots >= earlier.boots
            && self.strokes >= earlier.strokes
            && self.overloads >= earlier.overloads
            && self.classes.iter().zip(&earlier.classes).all(|(now, before)| now >= before)
            && self.weighted.iter().zip(&earlier.weighted).all(|(now, before)| now >= before)
    }
}

impl<F: NorFlash> Store<F> {
    /// The counters as last saved; all zero on a new flash.
    ///
    /// # Errors
    /// [`StoreError`] if the flash fails.
    pub async fn counters(&mut self) -> Result<Counters, StoreError> {
        let Self { flash, regions, item, .. } = self;
        let config = MapConfig::try_new(regions.counters.clone()).map_err(|_| StoreError::Damaged)?;
        let mut map = MapStorage::<u8, _, _>::new(
            Noted::new(flash, regions.erasures.start),
            config,
            Cache::new_uncached(),
        );
        match map.fetch_item::<&[u8]>(item, &KEY).await? {
            None => Ok(Counters::default()),
            Some(bytes) => postcard::from_bytes(bytes).map_err(|_| StoreError::Damaged),
        }
    }

    /// Saves counters. Returning is the promise that they will be found again, or later ones.
    ///
    /// A save takes about 150 bytes of flash. With 16 pages of 4 KiB that endure 100,000 erasures (common for
    /// serial NOR parts, from memory), that is forty million saves.
    ///
    /// # Errors
    /// [`StoreError::Backwards`] if any count is less than what was saved before.
    pub async fn save_counters(&mut self, counters: &Counters) -> Result<(), StoreError> {
        if !counters.follow(&self.counters().await?) {
            return Err(StoreError::Backwards);
        }
        let mut bytes = [0; 192];
        let bytes: &[u8] = postcard::to_slice(counters, &mut bytes).map_err(|_| StoreError::TooLong)?;
        let Self { flash, regions, item, .. } = self;
        let config = MapConfig::try_new(regions.counters.clone()).map_err(|_| StoreError::Damaged)?;
        let mut map = MapStorage::<u8, _, _>::new(
            Noted::new(flash, regions.erasures.start),
            config,
            Cache::new_uncached(),
        );
        Ok(map.store_item(item, &KEY, &bytes).await?)
    }
}
