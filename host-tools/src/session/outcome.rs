//! One judged stroke in plain numbers, as programs and pictures take it.

use bolster_core::press::Columns;
use bolster_core::stroke::Position;
use bolster_core::verdict::{Reason, Verdict};
use bolster_link::message::{FindingLine, JudgedStroke, Place};
use serde::Serialize;

use crate::wear::WearReading;

/// One stroke: verdict, reasons and features. Loads in kN, angles in degrees from the top, work in kJ.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Outcome {
    /// Number in the recording.
    pub stroke: u64,
    /// `pass`, `note`, `hold` or `trip`.
    pub verdict: &'static str,
    /// Stable codes, in the order of the core's list.
    pub reasons: Vec<&'static str>,
    /// Greatest total load (0 if it never pushed).
    pub peak_kn: f64,
    /// Where; null without angles.
    pub peak_angle_deg: Option<f64>,
    /// Greatest reverse total load, a magnitude.
    pub reverse_kn: f64,
    /// Work over slide travel; null without angles.
    pub work_kj: Option<f64>,
    /// Load centre at the peak, mm right and front of the middle; null where the load is too small.
    pub load_centre_mm: Option<[f64; 2]>,
    /// One a gauge, in channel order.
    pub columns: Vec<ColumnOutcome>,
    /// Coil number in the recording, 0 where it has none.
    pub coil: u64,
    /// Slide height at the peak, mm above the bottom; null without angles.
    pub peak_height_mm: Option<f64>,
    /// Where the reverse load was greatest; null without angles.
    pub reverse_angle_deg: Option<f64>,
    /// Where the total load first rose over 2 % of the rating; null without angles or contact.
    pub contact_angle_deg: Option<f64>,
    /// Mean strokes a minute; null where the recording cannot tell.
    pub speed_spm: Option<f64>,
    /// Against the frozen reference of the die card, in the terms wear shows in; null without a learnt die.
    pub wear: Option<WearReading>,
    /// What was found, with places and figures.
    pub findings: Vec<FindingOutcome>,
}

/// One gauge column of a stroke.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ColumnOutcome {
    /// `total`, `left`, `right`, `lf`, `rf`, `lr` or `rr`.
    pub name: &'static str,
    /// Greatest load, kN.
    pub peak_kn: f64,
    /// Greatest reverse load, kN, a magnitude.
    pub reverse_kn: f64,
}

/// Sensor inputs as recordings name them.
const SENSORS: [&str; 8] = ["s1", "s2", "s3", "s4", "s5", "s6", "s7", "s8"];

/// One finding.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FindingOutcome {
    /// Stable code.
    pub reason: &'static str,
    /// Verdict it brings.
    pub verdict: &'static str,
    /// In words.
    pub says: &'static str,
    /// Gauge column by name, where one can be named; of a sensor window the input, `s1` to `s8`.
    pub column: Option<&'static str>,
    /// Where it began, degrees; null where it has no place.
    pub from_deg: Option<f64>,
    /// Where it ended.
    pub to_deg: Option<f64>,
    /// The value, in the unit of its limit.
    pub value: f64,
    /// The limit.
    pub limit: f64,
}

const VERDICTS: [Verdict; 4] = [Verdict::Pass, Verdict::Note, Verdict::Hold, Verdict::Trip];

/// How bad a verdict's word is, 0 for pass to 3 for trip; none for another word.
#[must_use]
pub fn verdict_rank(word: &str) -> Option<usize> {
    VERDICTS.iter().position(|verdict| verdict.word() == word)
}

/// The word of a verdict's number; one that this version has not got is taken for the worst.
fn word(verdict: u8) -> &'static str {
    VERDICTS.get(usize::from(verdict)).copied().unwrap_or(Verdict::Trip).word()
}

/// f32 to f64 by way of the shortest decimal that means the same f32: 0.1 stays 0.1 in JSON.
fn plain(value: f32) -> f64 {
    value.to_string().parse().unwrap_or(f64::from(value))
}

fn degrees(place: Place) -> Option<f64> {
    Position::from(place).angle().map(|angle| plain(angle.degrees()))
}

impl FindingOutcome {
    /// None for a reason that this version has not got.
    fn of(finding: &FindingLine, columns: Columns) -> Option<Self> {
        let reason = Reason::ALL.get(usize::from(finding.reason))?;
        Some(Self {
            reason: reason.code(),
            verdict: word(finding.verdict),
            says: reason.says(),
            column: finding.column.and_then(|n| {
                // A sensor window names its input.
                let names = if *reason == Reason::SensorWindow { &SENSORS } else { columns.names() };
                names.get(usize::from(n)).copied()
            }),
            from_deg: degrees(finding.from),
            to_deg: degrees(finding.to),
            value: plain(finding.value),
            limit: plain(finding.limit),
        })
    }
}

impl Outcome {
    /// Of a stroke that a monitor judged, here or on a controller, with its number and coil in the recording.
    #[must_use]
    pub fn new(stroke: u64, coil: u64, columns: Columns, judged: &JudgedStroke) -> Self {
        let of = &judged.summary;
        let column = |(name, [peak, reverse]): (&&'static str, &[f32; 2])| ColumnOutcome {
            name,
            peak_kn: plain(*peak),
            reverse_kn: plain(*reverse),
        };
        let has = |reason: &&Reason| of.reasons & 1 << (**reason as u8) != 0;
        let findings = judged.findings.iter().flatten();
        Self {
            stroke,
            verdict: word(of.verdict),
            reasons: Reason::ALL.iter().filter(has).map(|reason| reason.code()).collect(),
            peak_kn: plain(of.peak_kn),
            peak_angle_deg: degrees(of.peak_at),
            reverse_kn: plain(of.reverse_kn),
            work_kj: of.work_kj.map(plain),
            load_centre_mm: of.centre_mm.map(|centre| centre.map(plain)),
            columns: columns.names().iter().zip(&of.columns_kn).map(column).collect(),
            coil,
            peak_height_mm: of.peak_height_mm.map(plain),
            reverse_angle_deg: degrees(of.reverse_at),
            contact_angle_deg: of.contact_at.and_then(degrees),
            speed_spm: of.speed_spm.map(plain),
            wear: None,
            findings: findings.filter_map(|finding| FindingOutcome::of(finding, columns)).collect(),
        }
    }
}
