//! What changed in a run, and what it most likely was: a regrind, other stock, something else.

use serde::Serialize;

use super::cells::History;
use super::quantity::Quantity;
use super::series::Series;
use super::step::{APART, Step, steps};

/// What a change most likely was.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    /// Edges were made sharp again.
    Regrind,
    /// Loads stepped, the wear-like part did not: other stock.
    Stock,
    /// The wear-like part stepped up at once.
    Worse,
    /// Something else.
    Other,
}

impl Kind {
    /// For the picture.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Regrind => "regrind",
            Self::Stock => "other stock",
            Self::Worse => "worse at once",
            Self::Other => "change",
        }
    }
}

/// A change.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Change {
    /// First stroke of the first block after it.
    pub stroke: u64,
    /// What it most likely was.
    pub kind: Kind,
    /// Why.
    pub says: Vec<String>,
    /// Names of the quantities that stepped.
    pub quantities: Vec<String>,
}

/// A step of one quantity, in strokes.
struct Found<'a> {
    quantity: &'a Quantity,
    stroke: u64,
    step: Step,
    /// Height of the series at its start, before and after the step.
    heights: [f64; 3],
    /// The block before it ends with a coil that is marked.
    at_coil: bool,
}

/// Changes of a history in order; `error` is the chance of one where there is none, each quantity. Wear-like quantities show
/// regrinds, the peak load shows stock.
#[must_use]
pub fn changes(history: &History, watched: &[(Quantity, Series)], error: f64) -> Vec<Change> {
    let mut found: Vec<Found<'_>> = Vec::new();
    for (quantity, series) in watched.iter().filter(|(quantity, _)| quantity.wear || quantity.name == "peak")
    {
        let all = steps(series, error);
        let edges: Vec<usize> = [0].into_iter().chain(all.iter().map(|step| step.at)).collect();
        for (step, begin) in all.iter().zip(edges) {
            let near = |from: usize| {
                let part = series.y.iter().skip(from).take(APART);
                part.clone().sum::<f64>() / part.count().max(1) as f64
            };
            found.push(Found {
                quantity,
                stroke: series.strokes.get(step.at).map_or(0, |strokes| strokes[0]),
                step: *step,
                heights: [near(begin), near(step.at.saturating_sub(APART)), near(step.at)],
                at_coil: history.marked,
            });
        }
    }
    found.sort_by_key(|found| found.stroke);
    // Steps of several quantities within a block or two are one change.
    let length =
        history.strokes / (watched.iter().map(|(_, series)| series.y.len()).max().unwrap_or(1).max(1) as u64);
    let groups = found.chunk_by(|a, b| b.stroke - a.stroke <= 2 * length);
    groups.map(named).collect()
}

fn named(found: &[Found<'_>]) -> Change {
    let mut says: Vec<String> = Vec::new();
    for Found { quantity, step, .. } in found {
        let way = if step.size > 0.0 { "up" } else { "down" };
        says.push(format!(
            "{} stepped {way} by {} ± {} {}",
            quantity.name,
            short(step.size.abs()),
            short(2.0 * step.error),
            quantity.unit
        ));
    }
    let wear = found
        .iter()
        .filter(|found| found.quantity.wear)
        .max_by(|a, b| (a.step.size / a.step.error).abs().total_cmp(&(b.step.size / b.step.error).abs()));
    let kind = match wear {
        Some(found) => {
            let [start, before, after] = found.heights;
            let gained = before - start;
            if found.step.size < 0.0 && gained > 0.0 && before - after > 0.5 * gained {
                says.push(format!(
                    "it gave back {:.0} % of what had been gained since it began",
                    100.0 * (before - after) / gained
                ));
                Kind::Regrind
            } else if found.step.size > 0.0 {
                says.push(
                    "edges do not dull at once: look for a chipped edge, a setting or a gauge".to_owned(),
                );
                Kind::Worse
            } else {
                Kind::Other
            }
        }
        None => {
            says.push("what wear raises did not step with it".to_owned());
            Kind::Stock
        }
    };
    if found.iter().any(|found| found.at_coil) {
        says.push("at a marked coil change, as blocks are coils".to_owned());
    }
    Change {
        stroke: found.iter().map(|found| found.stroke).min().unwrap_or(0),
        kind,
        says,
        quantities: found.iter().map(|found| found.quantity.name.clone()).collect(),
    }
}

/// Three significant digits.
pub(crate) fn short(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return value.to_string();
    }
    let digits = (2 - value.abs().log10().floor() as i32).clamp(0, 9) as usize;
    format!("{value:.digits$}")
}
