//! What a diagnosis says, in plain data: where in the stroke, where in the press, what changed, and what it usually is.

use serde::Serialize;

/// Said of every list of causes.
pub const BASIS: &str = "common practice, no source";

/// What one stroke shows.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Diagnosis {
    /// What the causes rest on: [`BASIS`].
    pub basis: &'static str,
    /// First of the strokes in a row that were noted for the same reasons; this stroke otherwise. The strokes after
    /// it repeat its diagnosis.
    pub since_stroke: u64,
    /// Where in the stroke it shows; null where the signature cannot tell.
    pub extent: Option<Extent>,
    /// What changed; null where the signature cannot tell.
    pub change: Option<ChangeSeen>,
    /// Load centres; null on a press with one column, or where the signature cannot tell.
    pub centre: Option<Centre>,
    /// Stations, columns and the press as a whole, by how much of the change each explains, best first.
    pub places: Vec<Place>,
    /// Usual causes, most likely first.
    pub causes: Vec<Cause>,
    /// What limits this diagnosis.
    pub remarks: Vec<String>,
}

/// Where in the stroke a change shows: where it is beyond a third of its greatest.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Extent {
    /// Where it begins, degrees from the top; null without angles.
    pub from_deg: Option<f64>,
    /// Where it ends.
    pub to_deg: Option<f64>,
    /// Where it is greatest.
    pub greatest_deg: Option<f64>,
    /// Slide height where it begins, mm above the bottom.
    pub from_height_mm: Option<f64>,
    /// Slide height where it ends.
    pub to_height_mm: Option<f64>,
    /// Slide height where it is greatest.
    pub greatest_height_mm: Option<f64>,
    /// The same in ms from load onset, for a machine without a crank.
    pub from_ms: Option<f64>,
    /// See `from_ms`.
    pub to_ms: Option<f64>,
    /// `down`, `up` or `both`: on which way of the slide; null without angles.
    pub way: Option<&'static str>,
}

/// What changed. Loads are averaged over the frame's ringing.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ChangeSeen {
    /// `more`, `less` or `both`: the sign of the total load's change.
    pub sign: &'static str,
    /// Greatest change of the total load, kN, with its sign.
    pub greatest_kn: f64,
    /// The same as a share of the greatest total load expected, percent.
    pub greatest_percent: f64,
    /// Gauge column that changed most.
    pub column: &'static str,
    /// Of the last strokes before this one of the same coil, those that show it at least half as strongly.
    pub strokes_alike: usize,
    /// How many strokes that is out of.
    pub strokes_looked_at: usize,
    /// `sudden` (not in the strokes before), `growing`, `steady` (as strong before), or `unknown` (too few strokes).
    pub course: &'static str,
}

/// Load centres, mm right and front of the middle.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Centre {
    /// Of the load that came or went: where in the die it acts.
    pub of_change_mm: [Option<f64>; 2],
    /// One standard deviation of that.
    pub of_change_within_mm: [Option<f64>; 2],
    /// Of the load at the expected peak, expected.
    pub expected_mm: [Option<f64>; 2],
    /// How far it moved.
    pub shift_mm: [Option<f64>; 2],
}

/// A place and how much of the change a change there explains.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Place {
    /// `station`, `column`, `press` (all of it), or `near`: a place told by the columns' shares, where no job names
    /// the stations; what it explains is then less by what a free course fits anyway.
    pub kind: &'static str,
    /// Station's or column's name; `press`; the corner or side a place is near to, or `middle`.
    pub name: String,
    /// Number of a station in the job, from 1, repeats counted.
    pub station: Option<usize>,
    /// Place of a station, or the place told, mm right and front of the middle.
    pub at_mm: Option<[f64; 2]>,
    /// Nearest corner or side.
    pub corner: Option<&'static str>,
    /// Share of the change explained, 0 to 1.
    pub explains: f64,
    /// Whether the strokes cannot tell this place from the first one.
    pub as_likely_as_first: bool,
}

/// A usual cause.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Cause {
    /// Stable code.
    pub code: &'static str,
    /// In words.
    pub says: &'static str,
    /// Where: a station, a column; null for the press as a whole.
    pub place: Option<String>,
    /// From 0 to 1: every sign takes away its weight times what is missing of it.
    pub strength: f64,
    /// The signs it rests on.
    pub evidence: Vec<Evidence>,
}

/// One sign of a cause.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Evidence {
    /// The sign, in words with its figures.
    pub sign: String,
    /// How far it is there, 0 to 1.
    pub support: f64,
    /// What its absence takes from the cause's strength, 0 to 1.
    pub weight: f64,
}

/// To so many decimals: what follows them is no finding.
pub(super) fn tidy(value: f64, decimals: i32) -> f64 {
    let per = 10_f64.powi(decimals);
    (value * per).round() / per
}

impl Cause {
    /// A cause from its signs: strength = product of 1 − weight · (1 − support).
    ///
    /// One at full weight that is missing refutes the cause; lighter ones weaken it. Nothing can raise it above 1.
    #[must_use]
    pub fn of(
        code: &'static str,
        says: &'static str,
        place: Option<String>,
        evidence: Vec<Evidence>,
    ) -> Self {
        let left =
            evidence.iter().map(|e| 1.0 - e.weight.clamp(0.0, 1.0) * (1.0 - e.support.clamp(0.0, 1.0)));
        let strength = tidy(left.product(), 4);
        Self { code, says, place, strength, evidence }
    }
}

impl Diagnosis {
    /// The diagnosis in one line.
    #[must_use]
    pub fn line(&self) -> String {
        let mut parts = Vec::new();
        if let Some(change) = &self.change {
            let at = match self.extent.as_ref().map(|e| (e.greatest_deg, e.greatest_height_mm, e.from_ms)) {
                Some((Some(deg), Some(height), _)) => format!(" at {deg:.0}° ({height:.1} mm)"),
                Some((.., Some(ms))) => format!(" from {ms:.0} ms"),
                _ => String::new(),
            };
            parts.push(format!("{:+.0} kN{at}, {}", change.greatest_kn, change.course));
        }
        if let Some(first) = self.places.first() {
            let also = self.places.iter().filter(|place| place.as_likely_as_first).count();
            let others = if also > 1 { format!(" (or {} like it)", also - 1) } else { String::new() };
            let corner = first.corner.filter(|_| first.kind == "station");
            let corner = corner.map(|corner| format!(", {corner}")).unwrap_or_default();
            parts.push(
                format!("{} {}{others}{corner}", first.kind, first.name)
                    .replace("press press", "whole press"),
            );
        }
        // The same cause can stand at two places: without them it would read as told twice.
        let told = |cause: &Cause| {
            let place = cause.place.as_ref().map(|place| format!(" at {place}")).unwrap_or_default();
            format!("{}{place} {:.2}", cause.code, cause.strength)
        };
        let causes: Vec<String> = self.causes.iter().take(3).map(told).collect();
        parts.push(if causes.is_empty() { "no usual cause fits".to_owned() } else { causes.join(", ") });
        parts.join("; ")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sign(support: f64, weight: f64) -> Evidence {
        Evidence { sign: String::new(), support, weight }
    }

    #[test]
    fn strength_is_bounded_and_every_sign_takes_its_weight_away() {
        let of = |evidence| Cause::of("a", "b", None, evidence).strength;
        assert_eq!(of(Vec::new()), 1.0);
        assert_eq!(of(vec![sign(0.0, 1.0), sign(1.0, 0.5)]), 0.0, "a needed sign is missing");
        assert!((of(vec![sign(0.5, 1.0), sign(0.0, 0.4)]) - 0.5 * 0.6).abs() < 1e-12);
        assert_eq!(of(vec![sign(7.0, 3.0), sign(-2.0, 0.0)]), 1.0, "out of range is cut to range");
    }
}
