//! What a fitted calibration is worth: errors at each load step, zero, resolution, uncertainty, classes.

use serde::Serialize;

use super::class::{Classes, Evidence, StepErrors, classes};
use super::fit::Fitted;
use super::run::Run;
use super::series::{Order, Placed};

/// The whole assessment.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Assessment {
    /// Residual standard deviation, kN.
    pub residual_kn: f64,
    /// Errors at each step, rising, no load left out.
    pub steps: Vec<StepErrors>,
    /// Largest change of the reading at no load over a series, percent of the greatest load.
    pub zero_percent: Option<f64>,
    /// Resolution, kN, and whether it was measured.
    pub resolution_kn: f64,
    /// Whether the run recorded how far readings wavered.
    pub resolution_measured: bool,
    /// Greatest distance of a step's mean from the line, percent of its load.
    pub interpolation_percent: f64,
    /// Standard uncertainty of the reference, percent.
    pub reference_percent: f64,
    /// Classes reached.
    pub classes: Classes,
}

/// Assesses a fit. `reference_percent`: expanded uncertainty (k = 2) of the reference, percent of load.
#[must_use]
pub fn assess(run: &Run, order: &Order, fitted: &Fitted, reference_percent: f64) -> Assessment {
    let most = order.steps_kn.last().copied().unwrap_or(0.0);
    let resolution = resolution_kn(run, fitted);
    let mut steps = Vec::new();
    let mut interpolation = 0.0_f64;
    for (step, load_kn) in order.steps_kn.iter().enumerate().skip(1) {
        let Some(errors) = step_errors(order, fitted, run, step, *load_kn) else { continue };
        let (mut found, mean_percent) = errors;
        if *load_kn >= 0.199 * most {
            interpolation = interpolation.max(mean_percent.abs());
        }
        found.expanded_percent = expanded(&found, fitted.residual_kn, resolution.0, reference_percent);
        steps.push(found);
    }
    let zero_percent = zero_change(order, fitted, run, most);
    let evidence = Evidence {
        residual_kn: fitted.residual_kn,
        steps: steps.clone(),
        zero_percent: zero_percent.unwrap_or(0.0),
        resolution_kn: resolution.0,
        interpolation_percent: interpolation,
    };
    Assessment {
        residual_kn: fitted.residual_kn,
        steps,
        zero_percent,
        resolution_kn: resolution.0,
        resolution_measured: resolution.1,
        interpolation_percent: interpolation,
        reference_percent,
        classes: classes(&evidence),
    }
}

/// Error of each reading of the order, percent of its reference, by direction and series.
fn step_errors(
    order: &Order,
    fitted: &Fitted,
    run: &Run,
    step: usize,
    load_kn: f64,
) -> Option<(StepErrors, f64)> {
    let mut rising: Vec<(u32, Vec<f64>)> = Vec::new();
    let mut falling: Vec<(u32, Vec<f64>)> = Vec::new();
    let mut residual_sum = (0.0, 0_u32);
    for (placed, residual) in order.placed.iter().zip(&fitted.residuals_kn).filter(|(p, _)| p.step == step) {
        let reference = run.readings.get(placed.index).map_or(load_kn, |r| r.reference_kn);
        let percent = 100.0 * residual / reference;
        residual_sum = (residual_sum.0 + percent, residual_sum.1 + 1);
        let list = if placed.falling { &mut falling } else { &mut rising };
        match list.iter_mut().find(|(series, _)| *series == placed.series) {
            Some((_, all)) => all.push(percent),
            None => list.push((placed.series, vec![percent])),
        }
    }
    if residual_sum.1 == 0 {
        return None;
    }
    let mean = |all: &[f64]| all.iter().sum::<f64>() / all.len().max(1) as f64;
    let range = |all: &[f64]| {
        let most = all.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        (all.len() > 1).then(|| most - all.iter().copied().fold(f64::INFINITY, f64::min))
    };
    let ups: Vec<f64> = rising.iter().map(|(_, all)| mean(all)).collect();
    let mean_percent = residual_sum.0 / f64::from(residual_sum.1);
    // Down against up within the same series, averaged.
    let pairs: Vec<f64> = falling
        .iter()
        .filter_map(|(series, down)| {
            let up = rising.iter().find(|(other, _)| other == series)?;
            Some(mean(down) - mean(&up.1))
        })
        .collect();
    Some((
        StepErrors {
            load_kn,
            accuracy_percent: if ups.is_empty() { mean_percent } else { mean(&ups) },
            repeatability_percent: range(&ups),
            repeatability_same_percent: range(ups.get(..2).unwrap_or_default()),
            reversibility_percent: (!pairs.is_empty()).then(|| mean(&pairs)),
            expanded_percent: 0.0,
        },
        mean_percent,
    ))
}

/// Expanded uncertainty (k = 2), percent of load: reference, fit, resolution, half ranges as even distributions
/// (JCGM 100).
fn expanded(step: &StepErrors, residual_kn: f64, resolution_kn: f64, reference_percent: f64) -> f64 {
    let percent = |kn: f64| 100.0 * kn / step.load_kn;
    let parts = [
        reference_percent / 2.0,
        percent(residual_kn),
        percent(resolution_kn) / 12.0_f64.sqrt(),
        step.repeatability_percent.unwrap_or(0.0) / 12.0_f64.sqrt(),
        step.reversibility_percent.unwrap_or(0.0) / 12.0_f64.sqrt(),
    ];
    2.0 * parts.iter().map(|p| p * p).sum::<f64>().sqrt()
}

/// Resolution of the total, kN: half of how far readings wavered, one count at least.
fn resolution_kn(run: &Run, fitted: &Fitted) -> (f64, bool) {
    let waver = run
        .readings
        .iter()
        .filter_map(|r| r.spread_counts)
        .fold(None, |m: Option<f64>, v| Some(m.map_or(v, |m| m.max(v))));
    let largest = fitted.kn_per_count.iter().flatten().copied().fold(0.0, f64::max);
    (largest * waver.map_or(1.0, |w| (0.5 * w).max(1.0)), waver.is_some())
}

/// Largest change at no load from the start to the end of a series, percent of the greatest load.
fn zero_change(order: &Order, fitted: &Fitted, run: &Run, most: f64) -> Option<f64> {
    let near_zero =
        |p: &Placed| run.readings.get(p.index).is_some_and(|r| r.reference_kn.abs() <= 0.02 * most);
    let unloaded: Vec<f64> = order
        .placed
        .iter()
        .zip(&fitted.residuals_kn)
        .filter(|(p, _)| near_zero(p))
        .map(|(_, residual)| *residual)
        .collect();
    let changes = unloaded.windows(2).map(|w| (w[1] - w[0]).abs());
    (unloaded.len() > 1 && most > 0.0).then(|| 100.0 * changes.fold(0.0, f64::max) / most)
}
