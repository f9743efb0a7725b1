//! Limits that trends run towards, from the cards.

use crate::card::die::DieCard;
use crate::card::press::PressCard;

/// Limits of the cards by the quantity's name, kN and kJ; the die's own before the press's.
#[must_use]
pub fn of_cards(press: &PressCard, die: Option<&DieCard>, columns: &[String]) -> Vec<(String, f64)> {
    let spec = &press.spec;
    let mut limits = Vec::new();
    if let Some(die) = die {
        let bands =
            [("peak", die.limits.peak_kn), ("work", die.limits.work_kj), ("reverse", die.limits.reverse_kn)];
        limits.extend(bands.into_iter().filter_map(|(name, band)| Some((name.to_owned(), band?.ends[1]))));
    }
    limits.push(("peak".to_owned(), spec.rated_kn));
    limits.push(("reverse".to_owned(), spec.rated_kn * spec.reverse_percent / 100.0));
    let share = spec.rated_kn / columns.len().max(1) as f64 * spec.column_percent / 100.0;
    limits.extend(columns.iter().map(|name| (format!("peak-{name}"), share)));
    limits
}
