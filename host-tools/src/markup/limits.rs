//! A die's plain limits, in words.

use super::{load, load_unit};
use crate::card::die::{Band, DieCard};
use crate::figure::LoadUnit;

/// One of a die's plain limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limit {
    /// Its name in forms.
    pub key: &'static str,
    /// Its name for people.
    pub label: &'static str,
    /// Whether it is a load; work otherwise.
    pub is_load: bool,
    /// Lowest and highest, kN or kJ; none where there is no limit.
    pub band: Option<[f64; 2]>,
}

impl Limit {
    /// The limit in words: `120 to 480 kN`.
    #[must_use]
    pub fn words(&self, unit: LoadUnit) -> String {
        match self.band {
            None => "no limit".to_owned(),
            Some([low, high]) if self.is_load => format!("{} to {}", load(unit, low), load_unit(unit, high)),
            Some([low, high]) => format!("{low:.3} to {high:.3} kJ"),
        }
    }
}

/// The plain limits of a card.
#[must_use]
pub fn limits(card: &DieCard) -> [Limit; 3] {
    let band = |band: Option<Band>| band.map(|band| band.0);
    let limit = |key, label, is_load, of| Limit { key, label, is_load, band: band(of) };
    [
        limit("peak", "Peak load", true, card.limits.peak_kn),
        limit("reverse", "Reverse load", true, card.limits.reverse_kn),
        limit("work", "Work", false, card.limits.work_kj),
    ]
}
