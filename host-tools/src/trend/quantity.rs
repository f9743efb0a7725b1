//! What is watched: the quantities of a stroke, and which of them show the stock.

use super::cells::History;
use super::rank::median;
use bolster_core::shape::model::WINDOWS;

use crate::wear::{WearReading, WindowReading};

/// Places of a stroke's values; peaks of the columns follow.
const PEAK: usize = 0;
const WORK: usize = 1;
const REVERSE: usize = 2;
const CONTACT: usize = 3;
const SCALE: usize = 4;
const WEAR_WORK: usize = 5;
const WEAR_RETURN: usize = 6;
const LEAN: usize = 7;
const WINDOW: usize = 9;
const WINDOW_AT: usize = WINDOW + WINDOWS;
const COLUMNS: usize = WINDOW_AT + WINDOWS;

/// Values of a stroke of a press with so many columns.
#[must_use]
pub const fn values(columns: usize) -> usize {
    COLUMNS + columns
}

/// One quantity that is watched.
#[derive(Debug, Clone, PartialEq)]
pub struct Quantity {
    /// Stable name, as `--limit` takes it.
    pub name: String,
    /// In words, for tables and axes.
    pub title: String,
    /// Unit.
    pub unit: &'static str,
    /// Place among a stroke's values.
    pub place: usize,
    /// Quantities that show the stock, with the value that the series is taken at.
    pub stock: Vec<(usize, f64)>,
    /// Whether it grows as edges dull, by its nature: a drop of it is a regrind. Work in a window may fall as an edge dulls
    /// there, as what stock does is taken out by loads that the edge raises too.
    pub wear: bool,
    /// Whether it goes on in a line as an edge dulls on, so that strokes left can be told of it: not what is done in a window,
    /// through which a later release moves.
    pub foretells: bool,
}

/// All quantities of these columns that a history holds.
#[must_use]
pub fn watched(history: &History, columns: &[String]) -> Vec<Quantity> {
    let all = |place: usize| {
        let values = history.cells.iter().filter_map(|cell| cell.values.get(place).copied());
        median(&values.filter(|value| value.is_finite()).collect::<Vec<_>>())
    };
    let one = |name: &str, title: &str, unit, place, stock: Vec<(usize, f64)>, wear| Quantity {
        name: name.to_owned(),
        title: title.to_owned(),
        unit,
        place,
        stock,
        wear,
        foretells: true,
    };
    let scale = || vec![(SCALE, 0.0)];
    // How the load leans says, with its scale, most of what a coil is: thickness, strength and wedge load stations unlike.
    let whole = || {
        let leans = [0, 1].into_iter().take(columns.len() / 2).map(|n| (LEAN + n, 0.0));
        scale().into_iter().chain(leans).collect::<Vec<_>>()
    };
    let at_load = all(PEAK).map(|peak| vec![(PEAK, peak)]).unwrap_or_default();
    let mut list = vec![
        one("wear-work", "Work at the reference's load", "% of reference", WEAR_WORK, scale(), true),
        one(
            "wear-return",
            "Work on the way up at the reference's load",
            "% of reference",
            WEAR_RETURN,
            scale(),
            true,
        ),
    ];
    list.extend((0..WINDOWS).map(|n| {
        let at = all(WINDOW_AT + n).unwrap_or(f64::NAN);
        let lean = if columns.len() > 1 { " and lean" } else { "" };
        let title = format!("Work around {at:.0}° at the reference's load{lean}");
        let name = format!("wear-window-{}", n + 1);
        Quantity { foretells: false, ..one(&name, &title, "% of reference", WINDOW + n, whole(), false) }
    }));
    list.extend([
        one("work-at-load", "Work at the usual peak load", "kJ", WORK, at_load, true),
        one("work", "Work", "kJ", WORK, Vec::new(), false),
        one("peak", "Peak load", "kN", PEAK, Vec::new(), false),
        one("reverse", "Greatest reverse load", "kN", REVERSE, Vec::new(), false),
        one("contact", "Contact angle", "°", CONTACT, Vec::new(), false),
    ]);
    if columns.len() > 1 {
        list.extend(columns.iter().enumerate().map(|(n, name)| {
            let title = format!("Peak load of {}", name.to_uppercase());
            one(&format!("peak-{name}"), &title, "kN", COLUMNS + n, Vec::new(), false)
        }));
    }
    list.retain(|quantity| all(quantity.place).is_some());
    // With a learnt reference at hand the rougher measure of the same thing is not needed.
    if list.iter().any(|quantity| quantity.name == "wear-work") {
        list.retain(|quantity| quantity.name != "work-at-load");
    }
    list
}

/// What a trend takes of a stroke; columns come beside it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measured {
    /// Greatest total load, kN.
    pub peak_kn: f64,
    /// Work, kJ.
    pub work_kj: Option<f64>,
    /// Greatest reverse load, kN.
    pub reverse_kn: f64,
    /// Where the load first rose, degrees.
    pub contact_angle_deg: Option<f64>,
    /// Against the die's frozen reference.
    pub wear: Option<WearReading>,
}

impl Measured {
    /// A stroke's values in the places above, with the peaks of the columns, kN.
    #[must_use]
    pub fn values(self, columns: impl Iterator<Item = f64>) -> Vec<f64> {
        let number = |value: Option<f64>| value.unwrap_or(f64::NAN);
        let wear = |of: fn(WearReading) -> f64| number(self.wear.map(of));
        let windows = self.wear.and_then(|wear| wear.windows);
        let lean = self.wear.and_then(|wear| wear.lean_percent).unwrap_or([f64::NAN; 2]);
        let window =
            |of: fn(WindowReading) -> f64| windows.map_or([f64::NAN; WINDOWS], |windows| windows.map(of));
        let fixed: [f64; LEAN] = [
            self.peak_kn,
            number(self.work_kj),
            self.reverse_kn,
            number(self.contact_angle_deg),
            wear(|wear| wear.load_percent),
            wear(|wear| wear.work_percent),
            wear(|wear| wear.return_percent),
        ];
        let wear = lean.into_iter().chain(window(|w| w.work_percent)).chain(window(|w| w.at_deg));
        fixed.into_iter().chain(wear).chain(columns).collect()
    }
}
