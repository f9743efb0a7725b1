//! What the diagnoses of many strokes amount to.

use std::collections::BTreeMap;

use serde::Serialize;

use super::diagnosis::{BASIS, Diagnosis};
use crate::session::Outcome;

/// Strokes whose diagnosis is told one by one in words.
const LISTED: usize = 12;

/// Strokes with the same first cause at the same place.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Tally {
    /// Code of the cause; null where none fits.
    pub cause: Option<&'static str>,
    /// In words.
    pub says: &'static str,
    /// Where; null for the press as a whole.
    pub place: Option<String>,
    /// Strokes.
    pub strokes: u64,
    /// The first and the last of them.
    pub first_stroke: u64,
    /// See `first_stroke`.
    pub last_stroke: u64,
    /// Greatest strength among them.
    pub strength: f64,
}

/// What the diagnoses of a recording amount to.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Summary {
    /// Strokes held or tripped, by first cause and place, most first.
    pub stopped: Vec<Tally>,
    /// Strokes noted, likewise.
    pub noted: Vec<Tally>,
    #[serde(skip)]
    lines: Vec<String>,
    #[serde(skip)]
    found: BTreeMap<(bool, Option<&'static str>, Option<String>), Tally>,
    #[serde(skip)]
    held: u64,
}

impl Summary {
    /// Takes in a stroke's diagnosis.
    pub fn take(&mut self, outcome: &Outcome, diagnosis: &Diagnosis) {
        let cause = diagnosis.causes.first();
        let stopped = outcome.verdict != "note";
        let key = (stopped, cause.map(|cause| cause.code), cause.and_then(|cause| cause.place.clone()));
        let place = key.2.clone();
        let tally = self.found.entry(key).or_insert_with(|| Tally {
            cause: cause.map(|cause| cause.code),
            says: cause.map_or("no usual cause fits", |cause| cause.says),
            place,
            strokes: 0,
            first_stroke: outcome.stroke,
            last_stroke: outcome.stroke,
            strength: 0.0,
        });
        tally.strokes += 1;
        tally.last_stroke = outcome.stroke;
        tally.strength = tally.strength.max(cause.map_or(0.0, |cause| cause.strength));
        if stopped {
            self.held += 1;
            if self.lines.len() < LISTED {
                self.lines.push(format!(
                    "stroke {} ({}): {}",
                    outcome.stroke,
                    outcome.verdict,
                    diagnosis.line()
                ));
            }
        }
    }

    /// All strokes are taken in: puts the tallies in order.
    pub fn finish(&mut self) {
        let of = |stopped: bool| {
            let mut all: Vec<Tally> = self
                .found
                .iter()
                .filter(|(key, _)| key.0 == stopped)
                .map(|(_, tally)| tally.clone())
                .collect();
            all.sort_by_key(|tally| (std::cmp::Reverse(tally.strokes), tally.first_stroke));
            all
        };
        (self.stopped, self.noted) = (of(true), of(false));
    }

    /// In words.
    #[must_use]
    pub fn text(&self) -> String {
        if self.found.is_empty() {
            return "diagnosis: nothing was noted, held or tripped\n".to_owned();
        }
        let mut text = format!("diagnosis of what was noted, held or tripped ({BASIS}):\n");
        for (word, tallies) in [("stopped", &self.stopped), ("noted", &self.noted)] {
            for tally in tallies {
                let place = tally.place.as_ref().map(|place| format!(" at {place}")).unwrap_or_default();
                text += &format!(
                    "  {word:<8}{:>6} x {}{place} (strokes {} to {}, strength up to {:.2})\n",
                    tally.strokes,
                    tally.cause.unwrap_or("no-usual-cause"),
                    tally.first_stroke,
                    tally.last_stroke,
                    tally.strength
                );
            }
        }
        for line in &self.lines {
            text += &format!("  {line}\n");
        }
        if self.held > self.lines.len() as u64 {
            text +=
                &format!("  and {} more (every stroke's in --jsonl)\n", self.held - self.lines.len() as u64);
        }
        text
    }
}
