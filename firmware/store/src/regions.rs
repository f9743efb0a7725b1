//! Where on the flash each kind of thing lies.

use core::ops::Range;

/// Four regions of whole pages, in bytes from the flash's beginning.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Regions {
    /// Settings: room for two generations and a page more.
    pub settings: Range<u32>,
    /// Counters: two pages at least.
    pub counters: Range<u32>,
    /// Journal: two pages at least; the more, the further back it reaches.
    pub journal: Range<u32>,
    /// Notes of what is being erased: two pages.
    pub erasures: Range<u32>,
}

/// Why regions were refused; names the region.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum RegionsError {
    /// It does not begin and end with a page, or has fewer than two, or ends after the flash.
    Pages(&'static str),
    /// It overlaps another one.
    Overlap(&'static str),
    /// The flash's pages or words are of a size that cannot be worked with.
    Flash,
}

impl core::fmt::Display for RegionsError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::Pages(region) => {
                write!(f, "the {region} region needs two or more whole pages within the flash")
            }
            Self::Overlap(region) => write!(f, "the {region} region overlaps another one"),
            Self::Flash => f.write_str("this flash has pages too small or words too large"),
        }
    }
}

impl core::error::Error for RegionsError {}

impl Regions {
    pub(crate) fn check(&self, page: usize, word: usize, capacity: usize) -> Result<(), RegionsError> {
        let all = [
            ("settings", &self.settings),
            ("counters", &self.counters),
            ("journal", &self.journal),
            ("erasures", &self.erasures),
        ];
        let (Ok(page), Ok(capacity)) = (u32::try_from(page), u32::try_from(capacity)) else {
            return Err(RegionsError::Flash);
        };
        // An item with its header, and both ends' marks, must fit a page.
        if page < 2 * crate::ITEM_MAX as u32 || !word.is_power_of_two() || word > 32 {
            return Err(RegionsError::Flash);
        }
        for (name, region) in all {
            let whole = region.start.is_multiple_of(page) && region.end.is_multiple_of(page);
            if !whole || region.end > capacity || region.end.saturating_sub(region.start) < 2 * page {
                return Err(RegionsError::Pages(name));
            }
        }
        for (n, (_, region)) in all.iter().enumerate() {
            for (name, other) in all.iter().skip(n + 1) {
                if region.start < other.end && other.start < region.end {
                    return Err(RegionsError::Overlap(name));
                }
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn regions_that_cannot_be_are_named() {
        let good =
            Regions { settings: 0..4096, counters: 4096..8192, journal: 8192..12288, erasures: 12288..14336 };
        assert_eq!(good.check(1024, 4, 14336), Ok(()));
        assert_eq!(good.check(1024, 4, 14335), Err(RegionsError::Pages("erasures")));
        assert_eq!(good.check(256, 4, 14336), Err(RegionsError::Flash));
        let short = Regions { counters: 4096..5120, ..good.clone() };
        assert_eq!(short.check(1024, 4, 14336), Err(RegionsError::Pages("counters")));
        let over = Regions { journal: 7168..12288, ..good };
        assert_eq!(over.check(1024, 4, 14336), Err(RegionsError::Overlap("journal")));
    }
}
