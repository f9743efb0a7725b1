//! Settings, counters and journal in NOR flash, whole through any loss of power.
//!
//! Three regions of one flash, each a log that goes round its pages (crate `sequential-storage`: every item has
//! its checksum, pages wear alike, a half-written item is as if it had never been begun):
//!
//! - [`settings`]: two generations; new ones become current by one small item, written after all of them has been
//!   written and read back,
//! - [`counters`]: lifetime counts that only go up,
//! - [`journal`]: numbered entries; the oldest page makes room.
//!
//! A fourth region of two pages notes what is being erased, so that an erasure interrupted is done again.
//!
//! A page's mark torn by a loss of power is programmed again, which clears bits only: plain NOR flash takes that, a
//! part whose words carry error correction and take one programming only does not.
//!
//! Everything is `async` because the flash traits are; no executor is needed, any `block_on` will do. To be called
//! below the sample loop: an erase takes as long as the part takes, up to seconds on some.
#![no_std]

#[cfg(test)]
extern crate std;

pub mod counters;
mod erasing;
pub mod journal;
pub mod regions;
pub mod settings;

#[cfg(test)]
mod tests;

use embedded_storage_async::nor_flash::NorFlash;
use erasing::Noted;
pub use regions::{Regions, RegionsError};

/// Longest item of any kind, bytes, with room for its key.
const ITEM_MAX: usize = 256;

/// Why something could not be stored or read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum StoreError {
    /// The flash itself reported an error.
    Flash,
    /// The region is full: too small for what it is to hold.
    Full,
    /// A region is damaged beyond what losing power can do.
    Damaged,
    /// What is to be stored is too long, or lies outside what the region was made for.
    TooLong,
    /// Settings to be committed are not whole, or their checksum does not fit.
    NotWhole,
    /// Counters would go back.
    Backwards,
}

impl core::fmt::Display for StoreError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::Flash => "the flash reported an error",
            Self::Full => "the flash region is too small for what it is to hold",
            Self::Damaged => "a flash region is damaged",
            Self::TooLong => "too long to be stored",
            Self::NotWhole => "the settings are not whole, or their checksum does not fit",
            Self::Backwards => "counters never go back",
        })
    }
}

impl core::error::Error for StoreError {}

impl<E> From<sequential_storage::Error<E>> for StoreError {
    fn from(why: sequential_storage::Error<E>) -> Self {
        match why {
            sequential_storage::Error::Storage { .. } => Self::Flash,
            sequential_storage::Error::FullStorage => Self::Full,
            sequential_storage::Error::Corrupted { .. } => Self::Damaged,
            sequential_storage::Error::BufferTooBig
            | sequential_storage::Error::BufferTooSmall(_)
            | sequential_storage::Error::ItemTooBig => Self::TooLong,
            // Keys and values are our own: what cannot be read back was not written by this version.
            _ => Self::Damaged,
        }
    }
}

/// Why a store could not be opened.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OpenError {
    /// The regions do not suit the flash.
    Regions(RegionsError),
    /// The flash reported an error.
    Flash,
}

impl core::fmt::Display for OpenError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::Regions(why) => why.fmt(f),
            Self::Flash => f.write_str("the flash reported an error"),
        }
    }
}

impl core::error::Error for OpenError {}

/// The store on one flash.
#[derive(Debug)]
pub struct Store<F> {
    flash: F,
    regions: Regions,
    /// Room for one item.
    item: [u8; ITEM_MAX],
    /// Where new settings go, once it is known: finding out reads all settings there are.
    aside: Option<settings::Slot>,
}

impl<F: NorFlash> Store<F> {
    /// Opens the store on this flash: finishes an erasure that a loss of power interrupted. Nothing else is written:
    /// an empty flash is an empty store.
    ///
    /// # Errors
    /// [`OpenError`] if the regions do not suit the flash, or the flash fails.
    pub async fn open(flash: F, regions: Regions) -> Result<Self, OpenError> {
        regions.check(F::ERASE_SIZE, F::WRITE_SIZE, flash.capacity()).map_err(OpenError::Regions)?;
        let mut store = Self { flash, regions, item: [0; ITEM_MAX], aside: None };
        let mut noted = Noted::new(&mut store.flash, store.regions.erasures.start);
        noted.finish().await.map_err(|_| OpenError::Flash)?;
        Ok(store)
    }

    /// Gives the flash back.
    #[must_use]
    pub fn into_flash(self) -> F {
        self.flash
    }
}
