//! A judged stroke's outcome, read back from JSON.

use bolster_core::press::Columns;
use bolster_core::verdict::{Reason, Verdict};
use serde::Deserialize;

use super::{ColumnOutcome, FindingOutcome, Outcome};
use crate::wear::WearReading;

#[derive(Deserialize)]
struct Stored {
    stroke: u64,
    verdict: String,
    reasons: Vec<String>,
    peak_kn: f64,
    peak_angle_deg: Option<f64>,
    reverse_kn: f64,
    work_kj: Option<f64>,
    load_centre_mm: Option<[f64; 2]>,
    columns: Vec<StoredColumn>,
    coil: u64,
    peak_height_mm: Option<f64>,
    reverse_angle_deg: Option<f64>,
    contact_angle_deg: Option<f64>,
    speed_spm: Option<f64>,
    // Strokes stored by earlier versions have none.
    #[serde(default)]
    wear: Option<WearReading>,
    findings: Vec<StoredFinding>,
}

#[derive(Deserialize)]
struct StoredColumn {
    name: String,
    peak_kn: f64,
    reverse_kn: f64,
}

#[derive(Deserialize)]
struct StoredFinding {
    reason: String,
    verdict: String,
    column: Option<String>,
    from_deg: Option<f64>,
    to_deg: Option<f64>,
    // JSON has no infinity: a limit without an end is null.
    value: Option<f64>,
    limit: Option<f64>,
}

fn verdict(word: &str) -> Option<&'static str> {
    let all = [Verdict::Pass, Verdict::Note, Verdict::Hold, Verdict::Trip];
    all.into_iter().map(Verdict::word).find(|known| *known == word)
}

fn reason(code: &str) -> Option<Reason> {
    Reason::ALL.iter().copied().find(|known| known.code() == code)
}

fn column(name: &str) -> Option<&'static str> {
    let all = [Columns::Total, Columns::LeftRight, Columns::Corners];
    all.iter().flat_map(|columns| columns.names()).copied().find(|known| *known == name)
}

/// The outcome whose JSON this is; none for any other text. Reasons this program does not know are left out.
#[must_use]
pub fn outcome_from_json(text: &str) -> Option<Outcome> {
    let stored: Stored = serde_json::from_str(text).ok()?;
    let columns = stored.columns.iter().map(|of| {
        Some(ColumnOutcome { name: column(&of.name)?, peak_kn: of.peak_kn, reverse_kn: of.reverse_kn })
    });
    let findings = stored.findings.iter().filter_map(|finding| {
        let reason = reason(&finding.reason)?;
        Some(FindingOutcome {
            reason: reason.code(),
            verdict: verdict(&finding.verdict)?,
            says: reason.says(),
            column: finding.column.as_deref().and_then(column),
            from_deg: finding.from_deg,
            to_deg: finding.to_deg,
            value: finding.value.unwrap_or(f64::NAN),
            limit: finding.limit.unwrap_or(f64::NAN),
        })
    });
    Some(Outcome {
        stroke: stored.stroke,
        verdict: verdict(&stored.verdict)?,
        reasons: stored.reasons.iter().filter_map(|code| reason(code).map(Reason::code)).collect(),
        peak_kn: stored.peak_kn,
        peak_angle_deg: stored.peak_angle_deg,
        reverse_kn: stored.reverse_kn,
        work_kj: stored.work_kj,
        load_centre_mm: stored.load_centre_mm,
        columns: columns.collect::<Option<Vec<_>>>()?,
        coil: stored.coil,
        peak_height_mm: stored.peak_height_mm,
        reverse_angle_deg: stored.reverse_angle_deg,
        contact_angle_deg: stored.contact_angle_deg,
        speed_spm: stored.speed_spm,
        wear: stored.wear,
        findings: findings.collect(),
    })
}
