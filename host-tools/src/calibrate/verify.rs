//! A later run against the stored calibration: has anything moved?

use bolster_core::press::Columns;
use serde::Serialize;

use super::fit::{Fitted, total_kn};
use super::run::Run;
use super::series::Order;
use super::stored::{Shunt, Stored};

/// What has moved.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Verification {
    /// Names of the gauges.
    pub gauges: Vec<&'static str>,
    /// `[gauge]`: change of zero, kN.
    pub zero_kn: Vec<f64>,
    /// `[gauge]`: change of the column's own gain, percent.
    pub gain_percent: Vec<f64>,
    /// Greatest error of the stored calibration from a fifth of the greatest load up, percent of load.
    pub error_percent: f64,
    /// Load at which that stood, kN.
    pub error_at_kn: f64,
    /// `[gauge]`: change of the shunt's step, percent; none without a shunt on both sides.
    pub shunt_percent: Option<Vec<f64>>,
    /// Allowed error, percent.
    pub allowed_percent: f64,
    /// Whether everything lies within it.
    pub holds: bool,
}

/// Compares a run with the stored calibration; `shunt` is today's.
///
/// # Errors
/// A text if the run has other gauges than the stored calibration.
pub fn verify(
    run: &Run,
    order: &Order,
    fitted: &Fitted,
    stored: &Stored,
    shunt: Option<&Shunt>,
    allowed_percent: f64,
) -> Result<Verification, String> {
    let columns = stored.columns().ok_or("the stored calibration names no columns of a press")?;
    if columns != run.columns {
        return Err(format!(
            "the run has gauges {}, the stored calibration {}",
            run.columns.names().join(", "),
            columns.names().join(", ")
        ));
    }
    let loaded = &stored.calibration;
    let zeros: Vec<f64> = loaded.zero_counts.iter().map(|z| f64::from(*z)).collect();
    let own =
        |matrix: &[Vec<f64>], i: usize| matrix.get(i).and_then(|r| r.get(i)).copied().unwrap_or(f64::NAN);
    let zero_kn = (0..columns.count())
        .map(|i| {
            let moved = fitted.zero_counts.get(i).copied().unwrap_or(f64::NAN)
                - zeros.get(i).copied().unwrap_or(f64::NAN);
            moved * own(&loaded.kn_per_count, i)
        })
        .collect();
    let gain_percent: Vec<f64> = (0..columns.count())
        .map(|i| 100.0 * (own(&fitted.kn_per_count, i) / own(&loaded.kn_per_count, i) - 1.0))
        .collect();
    let most = order.steps_kn.last().copied().unwrap_or(0.0);
    let (mut error_percent, mut error_at_kn) = (0.0_f64, 0.0);
    for reading in order.placed.iter().filter_map(|p| run.readings.get(p.index)) {
        if reading.reference_kn >= 0.199 * most && reading.reference_kn > 0.0 {
            let indicated = total_kn(&zeros, &loaded.kn_per_count, &reading.counts);
            let percent = 100.0 * (indicated / reading.reference_kn - 1.0);
            if percent.abs() > error_percent.abs() {
                (error_percent, error_at_kn) = (percent, reading.reference_kn);
            }
        }
    }
    let shunt_percent = match (&stored.shunt, shunt) {
        (Some(was), Some(is)) => Some(shunt_change(was, is)?),
        _ => None,
    };
    let near = |value: &f64| value.abs() <= allowed_percent;
    let holds =
        near(&error_percent) && gain_percent.iter().all(near) && shunt_percent.iter().flatten().all(near);
    Ok(Verification {
        gauges: gauge_names(columns),
        zero_kn,
        gain_percent,
        error_percent,
        error_at_kn,
        shunt_percent,
        allowed_percent,
        holds,
    })
}

/// Change of the shunt's step of each gauge, percent.
///
/// # Errors
/// A text if the shunts are not the same.
pub fn shunt_change(was: &Shunt, is: &Shunt) -> Result<Vec<f64>, String> {
    if (was.shunt_ohm / is.shunt_ohm - 1.0).abs() > 1e-3 || (was.gauge_ohm / is.gauge_ohm - 1.0).abs() > 1e-3
    {
        return Err(format!(
            "the shunt check was made with {} ohm on {} ohm gauges, not {} on {}",
            was.shunt_ohm, was.gauge_ohm, is.shunt_ohm, is.gauge_ohm
        ));
    }
    if was.step_counts.len() != is.step_counts.len() {
        return Err(format!("the shunt check needs {} steps, one a gauge", was.step_counts.len()));
    }
    Ok(was.step_counts.iter().zip(&is.step_counts).map(|(was, is)| 100.0 * (is / was - 1.0)).collect())
}

fn gauge_names(columns: Columns) -> Vec<&'static str> {
    columns.names().to_vec()
}
