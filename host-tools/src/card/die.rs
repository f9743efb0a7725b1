//! The die card: what a die may do, where that was learnt, and who accepted it.
//!
//! TOML, readable and diffable: `[die]` says which die on which press and in which state the card is,
//! `[provenance]` where it comes from and what its evidence supports, `[limits]` holds plain limits a person may
//! edit, and `[shape]` what learning found, in the numbers the core loads. A draft judges in replay; before it may
//! hold a press a named engineer accepts it.

mod acceptance;
mod limits;
mod shape;
#[cfg(test)]
mod tests;

use std::path::{Path, PathBuf};

use bolster_core::press::Columns;
use serde::{Deserialize, Serialize};

use super::press::PressCard;

pub use acceptance::{Acceptance, ReviewedStrokes, Standing};
pub use limits::{Band, EnvelopeCard, Gives, LimitsCard, Load, Must, SensorCard, Then, Value, WatchCard};
pub use shape::{Axis, ShapeCard};

/// A die card.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DieCard {
    /// Which die, on which press, in which state.
    pub die: Head,
    /// Who accepted it; none for a draft.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub acceptance: Option<Acceptance>,
    /// Recorded strokes its limits were shown against.
    #[serde(default, rename = "review", skip_serializing_if = "Vec::is_empty")]
    pub reviews: Vec<ReviewedStrokes>,
    /// Where it comes from; none before the die was learnt.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub provenance: Option<Provenance>,
    /// Plain limits.
    #[serde(default)]
    pub limits: LimitsCard,
    /// What learning found; none before the die was learnt, when only the plain limits judge.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub shape: Option<ShapeCard>,
}

/// Which die, on which press, in which state.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Head {
    /// Free text.
    pub name: String,
    /// Draft or accepted; see [`DieCard::standing`] for whether it still is.
    pub state: State,
    /// The press it was learnt on.
    pub press: PressPrint,
}

/// State of a die card.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum State {
    /// Proposed; judges in replay only.
    Draft,
    /// Accepted by a named engineer.
    Accepted,
}

/// What makes a press this press: a signature learnt on another says nothing here.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PressPrint {
    /// Its name, for people.
    pub name: String,
    /// Gauge columns.
    pub columns: usize,
    /// Rated load, kN.
    pub rated_kn: f64,
    /// Stroke, mm.
    pub stroke_mm: f64,
    /// Rod length, mm.
    pub rod_mm: f64,
    /// Distance between gauges, mm.
    pub bolster_mm: [f64; 2],
}

impl PressPrint {
    /// Of a press card.
    #[must_use]
    pub fn of(card: &PressCard) -> Self {
        Self {
            name: card.name.clone(),
            columns: card.spec.columns.count(),
            rated_kn: card.spec.rated_kn,
            stroke_mm: card.spec.stroke_mm,
            rod_mm: card.spec.rod_mm,
            bolster_mm: card.spec.bolster_mm,
        }
    }

    /// The first thing in which two presses differ, apart from their names.
    fn differs(&self, other: &Self) -> Option<&'static str> {
        let pairs = [
            ("rated_kn", self.rated_kn, other.rated_kn),
            ("stroke_mm", self.stroke_mm, other.stroke_mm),
            ("rod_mm", self.rod_mm, other.rod_mm),
            ("bolster_mm", self.bolster_mm[0], other.bolster_mm[0]),
            ("bolster_mm", self.bolster_mm[1], other.bolster_mm[1]),
        ];
        if self.columns != other.columns {
            return Some("columns");
        }
        pairs.into_iter().find(|(_, a, b)| a != b).map(|(field, ..)| field)
    }
}

/// Where a card comes from and what its evidence supports.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Provenance {
    /// File name of the recording.
    pub recording: String,
    /// SHA-256 of its bytes.
    pub sha256: String,
    /// Strokes in it.
    pub strokes_seen: u64,
    /// Strokes the model rests on.
    pub strokes_used: u64,
    /// Strokes left out as bad or too unlike the rest; they may be rare good ones.
    pub strokes_left_out: Vec<u64>,
    /// Coils, marked or found.
    pub coils: u64,
    /// Whether the recording marks coil changes.
    pub coil_changes_marked: bool,
    /// Tolerated false stops a stroke, as asked for.
    pub false_stop_asked: f64,
    /// False-stop rate that the strokes exclude with 95 % confidence.
    pub false_stop_supported: f64,
    /// The same in words.
    pub evidence: String,
    /// Program and version.
    pub made_by: String,
    /// Each coil judged as one never seen; none where only one was.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rehearsal: Option<RehearsalCard>,
}

/// Coils left out one at a time, their good strokes judged by a model of the others: what new stock may meet.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RehearsalCard {
    /// Coils left out in turn.
    pub coils: u64,
    /// Good strokes judged.
    pub strokes: u64,
    /// Of these, stopped where coil changes are marked.
    pub stopped_marked: u64,
    /// Of these, stopped where they are not.
    pub stopped_unmarked: u64,
}

/// Why a die card was refused.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum DieCardError {
    /// The file.
    #[error("{}: the die card cannot be read ({why}); check its name and your rights", path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// What the operating system said.
        why: std::io::Error,
    },
    /// Its text.
    #[error("{}: this is no die card: {why}; learn it again, or undo the last edit", path.display())]
    Text {
        /// The file.
        path: PathBuf,
        /// Where and what.
        why: String,
    },
    /// Its numbers.
    #[error("{}: [{section}] {why}; learn the card again, or undo the last edit", path.display())]
    Numbers {
        /// The file.
        path: PathBuf,
        /// Table of the card.
        section: &'static str,
        /// What is wrong.
        why: String,
    },
    /// Another press.
    #[error("{}: the card was learnt on press {learnt} and this is press {here}: they differ in {field}; learn the die on this press", path.display())]
    OtherPress {
        /// The file.
        path: PathBuf,
        /// Press of the card.
        learnt: String,
        /// Press it was to be used on.
        here: String,
        /// First field that differs.
        field: &'static str,
    },
}

impl DieCard {
    /// Reads a die card for this press.
    ///
    /// # Errors
    /// [`DieCardError`] if it cannot be read, is no die card, holds numbers that do not go together, or was learnt on
    /// another press.
    pub fn load(path: &Path, press: &PressCard) -> Result<Self, DieCardError> {
        let card = Self::read(path)?;
        let here = PressPrint::of(press);
        if let Some(field) = card.die.press.differs(&here) {
            return Err(DieCardError::OtherPress {
                path: path.to_owned(),
                learnt: card.die.press.name.clone(),
                here: here.name,
                field,
            });
        }
        card.check(path)?;
        Ok(card)
    }

    /// Reads a die card for the press it names.
    ///
    /// # Errors
    /// As [`Self::load`], another press excepted.
    pub fn load_alone(path: &Path) -> Result<Self, DieCardError> {
        let card = Self::read(path)?;
        card.check(path)?;
        Ok(card)
    }

    fn read(path: &Path) -> Result<Self, DieCardError> {
        let unreadable = |why| DieCardError::Unreadable { path: path.to_owned(), why };
        let text = std::fs::read_to_string(path).map_err(unreadable)?;
        toml::from_str(&text)
            .map_err(|why| DieCardError::Text { path: path.to_owned(), why: one_line(&text, &why) })
    }

    fn check(&self, path: &Path) -> Result<(), DieCardError> {
        let numbers = |section, why: String| DieCardError::Numbers { path: path.to_owned(), section, why };
        let count = self.die.press.columns;
        let columns = Columns::from_count(count)
            .ok_or_else(|| numbers("die.press", format!("says {count} columns; there are 1, 2 or 4")))?;
        let shape = self.shape.as_ref().map_or(Ok(()), |shape| shape.check(count));
        shape.map_err(|why| numbers("shape", why))?;
        self.limits.check(columns).map_err(|why| numbers("limits", why))
    }

    /// The card's text.
    ///
    /// # Errors
    /// The TOML writer's own; none of the card's values causes one.
    pub fn to_toml(&self) -> Result<String, toml::ser::Error> {
        let head = "# Die card. Limits are set with qualified people; a load monitor is no safeguard.\n";
        Ok(format!("{head}{}", toml::to_string(self)?))
    }
}

/// A TOML error on one line: where, and what.
fn one_line(text: &str, why: &toml::de::Error) -> String {
    let line = why.span().map(|span| text.bytes().take(span.start).filter(|byte| *byte == b'\n').count() + 1);
    let what = why.message().replace('\n', " ");
    line.map_or_else(|| what.clone(), |line| format!("line {line}: {what}"))
}
