//! What moved between the first and the last stretch of strokes.

use serde::Serialize;

use super::examine::{Level, PartHealth};
use super::study::Found;

/// How near an oscillation of the last stretch must lie to one of the first to be the same, share of its frequency.
const SAME: f64 = 0.15;
/// Standard errors from which on a change is no chance: one in 370 by chance alone.
const SURE: f64 = 3.0;

/// Strokes from which on their scatter tells a middle's error.
const FEWEST_STROKES: usize = 8;

/// What is compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Quantity {
    /// Ringing frequency, Hz.
    Frequency,
    /// Damping ratio, per cent of critical.
    Damping,
    /// Unloaded level, kN.
    Zero,
    /// Share of the total at its peak, per cent.
    Share,
}

impl Quantity {
    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Frequency => "frequency",
            Self::Damping => "damping",
            Self::Zero => "zero",
            Self::Share => "share",
        }
    }

    /// Its unit.
    #[must_use]
    pub const fn unit(self) -> &'static str {
        match self {
            Self::Frequency => "Hz",
            Self::Damping | Self::Share => "%",
            Self::Zero => "kN",
        }
    }
}

/// A change from the first stretch of strokes to the last.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Shift {
    /// What changed.
    pub quantity: Quantity,
    /// Column or total.
    pub channel: String,
    /// In the first stretch.
    pub first: f64,
    /// In the last.
    pub last: f64,
    /// Standard error of their difference.
    pub error: f64,
    /// Whether the difference is more than three of these.
    pub sure: bool,
}

impl Shift {
    fn new(quantity: Quantity, channel: &str, first: Level, last: Level) -> Self {
        let error = first.error.hypot(last.error);
        let sure = (last.value - first.value).abs() > SURE * error;
        Self { quantity, channel: channel.to_owned(), first: first.value, last: last.value, error, sure }
    }

    /// Last less first.
    #[must_use]
    pub fn change(&self) -> f64 {
        self.last - self.first
    }
}

/// What moved between two stretches; `columns` are the columns' names.
pub(super) fn shifts(first: &PartHealth, last: &PartHealth, columns: &[&str]) -> Vec<Shift> {
    let mut shifts = Vec::new();
    for (of, to) in first.ringing.iter().zip(&last.ringing) {
        for mode in &of.modes {
            let off = |other: &&Found| (other.mode.hz / mode.mode.hz - 1.0).abs();
            let same = to.modes.iter().filter(|other| off(other) < SAME);
            let Some(other) = same.min_by(|a, b| off(a).total_cmp(&off(b))) else { continue };
            let hz = |of: &Found| Level { value: of.mode.hz, error: of.hz_error };
            let damping =
                |of: &Found| Level { value: 100.0 * of.mode.damping, error: 100.0 * of.damping_error };
            shifts.push(Shift::new(Quantity::Frequency, &of.channel, hz(mode), hz(other)));
            shifts.push(Shift::new(Quantity::Damping, &of.channel, damping(mode), damping(other)));
        }
    }
    if first.strokes.min(last.strokes) < FEWEST_STROKES {
        return shifts;
    }
    let levels = |quantity, first: &[Level], last: &[Level]| -> Vec<Shift> {
        let both = columns.iter().zip(first.iter().zip(last));
        both.map(|(name, (first, last))| Shift::new(quantity, name, *first, *last)).collect()
    };
    shifts.extend(levels(Quantity::Zero, &first.zero_kn, &last.zero_kn));
    if columns.len() > 1 {
        shifts.extend(levels(Quantity::Share, &first.share_percent, &last.share_percent));
    }
    shifts
}
