//! A diagnosis read back from the JSON that `replay` and the console keep it as, as far as people are shown it.

use bolster_core::press::Columns;
use serde::Deserialize;

use super::diagnosis::Diagnosis;

/// What a stroke was diagnosed as. Fields this program does not know are passed over.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
pub struct Told {
    /// What the causes rest on.
    pub basis: String,
    /// First of the strokes in a row that were noted for the same reasons; this stroke otherwise.
    pub since_stroke: u64,
    /// Where in the stroke it shows.
    pub extent: Option<ToldExtent>,
    /// What changed.
    pub change: Option<ToldChange>,
    /// Places by how much of the change each explains.
    pub places: Vec<ToldPlace>,
    /// Usual causes, most likely first.
    pub causes: Vec<ToldCause>,
    /// What limits this diagnosis.
    pub remarks: Vec<String>,
}

/// See [`super::Extent`].
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
#[serde(default)]
pub struct ToldExtent {
    /// Where it begins, degrees from the top; none without angles.
    pub from_deg: Option<f64>,
    /// Where it ends.
    pub to_deg: Option<f64>,
    /// Where it is greatest.
    pub greatest_deg: Option<f64>,
    /// Slide height there, mm above the bottom.
    pub greatest_height_mm: Option<f64>,
    /// Where it begins, ms from load onset, for a machine without a crank.
    pub from_ms: Option<f64>,
    /// Where it ends.
    pub to_ms: Option<f64>,
    /// `down`, `up` or `both`.
    pub way: Option<String>,
}

/// See [`super::ChangeSeen`].
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct ToldChange {
    /// Greatest change of the total load, kN, with its sign.
    pub greatest_kn: f64,
    /// The same as a share of the greatest load expected, percent.
    pub greatest_percent: f64,
    /// Gauge column that changed most.
    pub column: String,
    /// Strokes before that show it too.
    pub strokes_alike: usize,
    /// Out of so many.
    pub strokes_looked_at: usize,
    /// `sudden`, `growing`, `steady` or `unknown`.
    pub course: String,
}

/// See [`super::Place`].
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct ToldPlace {
    /// `station`, `column`, `press` or `near`.
    pub kind: String,
    /// Its name.
    pub name: String,
    /// Nearest corner or side.
    pub corner: Option<String>,
    /// Share of the change explained, 0 to 1.
    pub explains: f64,
    /// Whether the strokes cannot tell it from the first one.
    pub as_likely_as_first: bool,
}

/// See [`super::Cause`].
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct ToldCause {
    /// Stable code.
    pub code: String,
    /// In words.
    pub says: String,
    /// Where; none for the press as a whole.
    pub place: Option<String>,
    /// From 0 to 1.
    pub strength: f64,
    /// The signs it rests on.
    pub evidence: Vec<ToldEvidence>,
}

/// See [`super::Evidence`].
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct ToldEvidence {
    /// The sign, in words with its figures.
    pub sign: String,
    /// How far it is there, 0 to 1.
    pub support: f64,
    /// What its absence takes from the cause's strength, 0 to 1.
    pub weight: f64,
}

impl Told {
    /// What this JSON says; none for any other text.
    #[must_use]
    pub fn from_json(text: &str) -> Option<Self> {
        serde_json::from_str(text).ok()
    }

    /// Of a diagnosis at hand.
    #[must_use]
    pub fn of(diagnosis: &Diagnosis) -> Option<Self> {
        serde_json::to_value(diagnosis).ok().and_then(|value| serde_json::from_value(value).ok())
    }

    /// The first cause with its place, in words.
    #[must_use]
    pub fn first(&self) -> Option<String> {
        self.causes.first().map(ToldCause::placed)
    }
}

/// A place's name; columns in upper case, as they are labelled on a press.
pub(crate) fn labelled(place: &str) -> String {
    let columns = [Columns::LeftRight, Columns::Corners];
    let is_column = columns.iter().any(|columns| columns.names().contains(&place));
    if is_column { place.to_uppercase() } else { place.to_owned() }
}

impl ToldCause {
    /// In words with its place.
    #[must_use]
    pub fn placed(&self) -> String {
        match &self.place {
            Some(place) => format!("{} at {}", self.says, labelled(place)),
            None => self.says.clone(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::diagnose::{BASIS, Cause, ChangeSeen, Evidence, Extent, Place};

    #[test]
    fn what_is_shown_of_a_diagnosis_is_what_was_found() {
        let sign = Evidence { sign: "twice the load".into(), support: 0.75, weight: 0.5 };
        let cause = Cause::of("double-blank", "two blanks", Some("piercing 2".into()), vec![sign]);
        let diagnosis = Diagnosis {
            basis: BASIS,
            since_stroke: 7,
            extent: Some(Extent {
                from_deg: Some(150.0),
                to_deg: Some(170.5),
                greatest_deg: Some(160.0),
                from_height_mm: Some(9.0),
                to_height_mm: Some(1.0),
                greatest_height_mm: Some(5.0),
                from_ms: None,
                to_ms: None,
                way: Some("down"),
            }),
            change: Some(ChangeSeen {
                sign: "more",
                greatest_kn: 120.5,
                greatest_percent: 80.0,
                column: "lf",
                strokes_alike: 1,
                strokes_looked_at: 8,
                course: "sudden",
            }),
            centre: None,
            places: vec![Place {
                kind: "station",
                name: "piercing 2".into(),
                station: Some(2),
                at_mm: Some([1.0, 2.0]),
                corner: Some("left front"),
                explains: 0.9,
                as_likely_as_first: true,
            }],
            causes: vec![cause.clone()],
            remarks: vec!["no job".into()],
        };
        let told = Told::of(&diagnosis).unwrap();
        assert_eq!(told, Told::from_json(&serde_json::to_string(&diagnosis).unwrap()).unwrap());
        assert_eq!(told.first().as_deref(), Some("two blanks at piercing 2"));
        assert_eq!(told.causes[0].strength, cause.strength);
        assert_eq!(told.change.unwrap().greatest_kn, 120.5);
        assert_eq!(told.extent.unwrap().greatest_height_mm, Some(5.0));
        assert_eq!(told.places[0].corner.as_deref(), Some("left front"));
        assert_eq!(Told::from_json("{}"), None);
    }
}
