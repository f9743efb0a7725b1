//! Pictures of one stroke: its signatures, and its load under the capacity curve.

use bolster_core::settings::ONSET_SHARE;

use super::{Caption, LearntBand, label, verdict};
use crate::card::press::PressCard;
use crate::figure::{AxisKind, Capacity, LoadUnit, OffendingSpan, Signature, Trace};
use crate::recording::Row;
use crate::session::Outcome;

/// The readings of one stroke.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct StrokeReadings {
    /// In the recording's order.
    pub rows: Vec<Row>,
}

/// Signatures of a stroke, over the band it was judged by, with the parts that its findings point at.
#[must_use]
pub fn signature(
    readings: &StrokeReadings,
    outcome: &Outcome,
    band: Option<&LearntBand>,
    card: &PressCard,
    unit: LoadUnit,
    caption: &Caption,
) -> Signature {
    let names = card.spec.columns.names();
    let by_angle = readings.rows.first().is_some_and(|row| !row.angle_deg.is_nan());
    // Without angles time counts from where the load comes on, as the core counts it.
    let total_of = |row: &Row| row.loads.iter().sum::<f64>();
    let onset = readings.rows.iter().find(|row| total_of(row) >= ONSET_SHARE * card.spec.rated_kn);
    let onset_s = onset.or(readings.rows.first()).map_or(0.0, |row| row.time_s);
    let position = |row: &Row| if by_angle { row.angle_deg } else { 1000.0 * (row.time_s - onset_s) };
    let positions: Vec<f64> = readings.rows.iter().map(position).collect();
    let trace = |name: &str, column: Option<usize>, load: &dyn Fn(&Row) -> f64| Trace {
        name: label(name),
        load_kn: readings.rows.iter().map(load).collect(),
        envelope: band.and_then(|band| band.envelope(column, &positions)),
    };
    let total = trace("total", None, &total_of);
    let columns = match names {
        [_] => Vec::new(),
        names => names
            .iter()
            .enumerate()
            .map(|(n, name)| trace(name, Some(n), &|row| row.loads.get(n).copied().unwrap_or(0.0)))
            .collect(),
    };
    let spans = outcome.findings.iter().filter_map(|finding| {
        let (from, to) = (finding.from_deg?, finding.to_deg?);
        // A limit broken in one frame still deserves a mark that can be seen.
        let widen = if to - from < 1.0 { 0.5 } else { 0.0 };
        Some(OffendingSpan {
            from: from - widen,
            to: to + widen,
            reason: finding.says.to_owned(),
            column: finding.column.map(label),
        })
    });
    Signature {
        title: format!("Stroke {}", outcome.stroke),
        subtitle: caption.subtitle.clone(),
        caption: String::new(),
        verdict: Some(verdict(outcome.verdict)),
        reasons: outcome.findings.iter().map(reason).collect(),
        axis: if by_angle { AxisKind::CrankAngle } else { AxisKind::Milliseconds },
        unit,
        position: positions,
        total,
        columns,
        spans: spans.collect(),
    }
}

fn reason(finding: &crate::session::FindingOutcome) -> String {
    match finding.column {
        Some(column) => format!("{}: {}", label(column), finding.says),
        None => finding.says.to_owned(),
    }
}

/// Total load against slide height on the way down, under what the crank can carry. None without angles.
#[must_use]
pub fn capacity(
    readings: &StrokeReadings,
    outcome: &Outcome,
    card: &PressCard,
    unit: LoadUnit,
    caption: &Caption,
) -> Option<Capacity> {
    let crank = card.spec.check().ok()?;
    let down: Vec<&Row> = readings.rows.iter().filter(|row| row.angle_deg <= 180.0).collect();
    let height = |row: &&Row| crank.height_mm(row.angle_deg.to_radians());
    let highest = down.first().map(height)?;
    // Points close enough that the curve looks curved, and one at the rated height, where it has its corner.
    let mut heights: Vec<f64> = (0..=200).map(|n| highest * f64::from(n) / 200.0).collect();
    heights.push(card.spec.rated_height_mm.min(highest));
    heights.sort_by(f64::total_cmp);
    heights.dedup();
    let allowed = |h: f64| card.spec.rated_kn * crank.allowed_fraction(h, card.spec.rated_height_mm);
    Some(Capacity {
        title: format!("Stroke {}: load under the capacity curve", outcome.stroke),
        subtitle: caption.subtitle.clone(),
        unit,
        height_mm: down.iter().map(height).collect(),
        curve: "this stroke".to_owned(),
        load_kn: down.iter().map(|row| row.loads.iter().sum()).collect(),
        allowed: heights.into_iter().map(|h| (h, allowed(h))).collect(),
    })
}
