//! The press of a scenario, as the core knows it and as a press card.

use crate::scenario::{Scenario, ScenarioError};
use bolster_core::press::{Columns, PressSpec};
use core::fmt::Write as _;

/// The scenario's press, checked by the core's own rules.
///
/// # Errors
/// [`ScenarioError::Field`] naming what the core refuses.
pub fn spec(scenario: &Scenario) -> Result<PressSpec, ScenarioError> {
    let refuse = |field: &str, problem: String| ScenarioError::Field { field: field.to_owned(), problem };
    let data = &scenario.press;
    let columns = Columns::from_count(data.columns)
        .ok_or_else(|| refuse("press.columns", format!("must be 1, 2 or 4, not {}", data.columns)))?;
    let spec = PressSpec {
        columns,
        rated_kn: data.rated_kn,
        rated_height_mm: data.rated_height_mm,
        stroke_mm: data.stroke_mm,
        rod_mm: data.rod_mm,
        speed_spm: data.speed_spm,
        bolster_mm: data.bolster_mm,
        usable_energy_kj: data.usable_energy_kj,
        reverse_percent: scenario.limits.reverse_percent,
        column_percent: scenario.limits.column_percent,
        imbalance_percent: scenario.limits.imbalance_percent,
        off_centre_percent: scenario.limits.off_centre_percent,
    };
    spec.check().map_err(|why| refuse("press", format!("is refused: {why}")))?;
    Ok(spec)
}

/// The press card's text (TOML) for a scenario's press.
#[must_use]
pub fn card(scenario: &Scenario) -> String {
    let (press, limits) = (&scenario.press, &scenario.limits);
    let mut out = String::new();
    let name = toml::Value::String(press.name.clone());
    // Writing to a string cannot fail.
    let _ = writeln!(out, "# Invented press of the scenario {}.", scenario.name);
    let _ = writeln!(out, "[press]\nname = {name}\ncolumns = {}", press.columns);
    let _ = writeln!(out, "rated_kn = {:?}\nrated_height_mm = {:?}", press.rated_kn, press.rated_height_mm);
    let _ = writeln!(out, "stroke_mm = {:?}\nrod_mm = {:?}", press.stroke_mm, press.rod_mm);
    let _ = writeln!(out, "speed_spm = {:?}\nbolster_mm = {:?}", press.speed_spm, press.bolster_mm);
    if let Some(energy) = press.usable_energy_kj {
        let _ = writeln!(out, "usable_energy_kj = {energy:?}");
    }
    let _ = writeln!(out, "\n[limits]\nreverse_percent = {:?}", limits.reverse_percent);
    let _ = writeln!(out, "column_percent = {:?}", limits.column_percent);
    let _ = writeln!(out, "imbalance_percent = {:?}", limits.imbalance_percent);
    if let Some(percent) = limits.off_centre_percent {
        let _ = writeln!(out, "off_centre_percent = {percent:?}");
    }
    out
}
