//! The certificate: what was found, in words, and what it does not cover.

use std::fmt::Write as _;

use super::assess::Assessment;
use super::bridge;
use super::claim::Missing;
use super::fit::{CrossTalk, Fitted};
use super::run::Run;
use super::series::Order;
use super::stored::Shunt;
use super::verify::Verification;
use crate::figure::{Calibration as Picture, CalibrationPoint, LoadUnit};

/// What no calibration of this kind covers.
pub const NOT_COVERED: &str = "\
What this does not cover:
  It is a statement about slow loads. A stroke is fast: filters, frame ringing and the slide's inertia are
  outside it, and ASTM E74 says itself that it is not for dynamic or high-speed use.
  It holds from the lowest load named to the greatest calibrated; nothing is said below or above.
  It says how well the gauges agree with the reference as it stood: other places, temperatures, tie-rod
  tensions and shut heights may differ.
  Limits of the classes are partly from memory (marked m) and are no substitute for the standards; only a
  laboratory working under them can certify.
";

/// A calibrated run with all that was found.
#[derive(Debug, Clone, Copy)]
pub struct Subject<'a> {
    /// What to call it.
    pub name: &'a str,
    /// The readings.
    pub run: &'a Run,
    /// Series and steps.
    pub order: &'a Order,
    /// Zero, gain and cross-talk.
    pub fitted: &'a Fitted,
    /// What they are worth.
    pub found: &'a Assessment,
}

/// The certificate's text; loads in `unit`. Ends with `caution`.
#[must_use]
pub fn text(of: &Subject<'_>, missing: &[Missing], unit: LoadUnit, caution: &str) -> String {
    let Subject { name, run, order, fitted, found } = *of;
    let mut out = format!("Calibration: {name}\n");
    // Writing to a string cannot fail.
    let _ = writeln!(
        out,
        "{} readings, {} increasing and {} decreasing series, {} load steps to {}",
        order.placed.len(),
        order.rising_series,
        order.falling_series,
        order.steps_kn.len().saturating_sub(1),
        unit.print(order.steps_kn.last().copied().unwrap_or(0.0))
    );
    gauges(&mut out, run, fitted);
    steps(&mut out, found, unit);
    let claims = missing.iter().all(|m| !m.needed);
    classes(&mut out, found, claims, unit);
    for (title, needed) in [("Missing for a claim", true), ("Remarks", false)] {
        let list: Vec<&Missing> = missing.iter().filter(|m| m.needed == needed).collect();
        if !list.is_empty() {
            let _ = writeln!(out, "{title}:");
            for item in list {
                let _ = writeln!(out, "  {}", item.text);
            }
        }
    }
    let _ = write!(out, "\n{NOT_COVERED}\n{caution}\n");
    out
}

fn gauges(out: &mut String, run: &Run, fitted: &Fitted) {
    let names = run.columns.names();
    out.push_str("\nZero and gain:\n");
    for (i, name) in names.iter().enumerate() {
        let gain = fitted.kn_per_count.get(i).and_then(|r| r.get(i)).copied().unwrap_or(f64::NAN);
        let _ = writeln!(
            out,
            "  {name}: zero {:.3} counts, {gain:.9e} kN a count (standard uncertainty {:.3} %)",
            fitted.zero_counts.get(i).copied().unwrap_or(f64::NAN),
            100.0 * fitted.gain_deviation.get(i).copied().unwrap_or(f64::NAN)
        );
    }
    let said = match fitted.cross_talk {
        CrossTalk::None => return,
        CrossTalk::NotTold => {
            "not told: the reference stood in one place (the load was taken as shared evenly)"
        }
        CrossTalk::ByPlaces if names.len() == 4 => {
            "by the places of the reference; a twist of the four corners cannot be told by one load cell and was taken \
             as what leaves least cross-talk"
        }
        CrossTalk::ByPlaces => "by the places of the reference, load shared by the linear form",
        CrossTalk::ByColumns => "by a reference under each column",
    };
    let _ = writeln!(out, "Cross-talk {said}:");
    for (i, row) in fitted.kn_per_count.iter().enumerate() {
        let own = row.get(i).copied().unwrap_or(f64::NAN);
        let shares: Vec<String> = row.iter().map(|m| format!("{:.3} %", 100.0 * m / own)).collect();
        let _ = writeln!(out, "  {}: {}", names.get(i).copied().unwrap_or("?"), shares.join(", "));
    }
}

fn steps(out: &mut String, found: &Assessment, unit: LoadUnit) {
    out.push_str(
        "\nload: error, repeatability, reversibility, expanded uncertainty (k = 2), percent of load\n",
    );
    let percent = |value: Option<f64>| value.map_or_else(|| "not told".to_owned(), |v| format!("{v:.3}"));
    for step in &found.steps {
        let _ = writeln!(
            out,
            "  {}: {:+.3}, {}, {}, {:.3}",
            unit.print(step.load_kn),
            step.accuracy_percent,
            percent(step.repeatability_percent),
            percent(step.reversibility_percent),
            step.expanded_percent
        );
    }
    let _ = writeln!(
        out,
        "residual deviation {} (n − m − 1 degrees of freedom); zero returns within {} % of the greatest load; resolution {}{}",
        unit.print(found.residual_kn),
        percent(found.zero_percent),
        unit.print(found.resolution_kn),
        if found.resolution_measured { "" } else { " (one count, not measured)" }
    );
    let _ = writeln!(out, "reference: expanded uncertainty {} % taken", found.reference_percent);
}

fn classes(out: &mut String, found: &Assessment, claims: bool, unit: LoadUnit) {
    let classes = &found.classes;
    let _ = writeln!(
        out,
        "\nLower limit factor 2.4 s (m) = {}; class AA would hold from {}, class A from {}",
        unit.print(classes.llf_kn),
        unit.print(classes.class_aa_from_kn),
        unit.print(classes.class_a_from_kn)
    );
    if !claims {
        out.push_str("No class is claimed: the run cannot support one.\n");
        return;
    }
    let word =
        |class: Option<&str>| class.map_or_else(|| "none reached".to_owned(), |c| format!("class {c}"));
    let _ = writeln!(out, "By ASTM E74: {}", word(classes.e74));
    let _ = writeln!(out, "By ISO 7500-1 (limits m): {}", word(classes.iso_7500));
    let _ = writeln!(out, "By ISO 376 (limits m, creep not judged): {}", word(classes.iso_376));
    let _ = match classes.lowest_use_kn {
        Some(kn) => writeln!(out, "Lowest load of use: {}", unit.print(kn)),
        None => writeln!(out, "Lowest load of use: none; the calibration supports no class"),
    };
}

/// What a verification found, in words.
#[must_use]
pub fn verification(found: &Verification, unit: LoadUnit) -> String {
    let mut out = format!(
        "Stored calibration {}: greatest error {:+.3} % at {}, {} % allowed\n",
        if found.holds { "holds" } else { "no longer holds" },
        found.error_percent,
        unit.print(found.error_at_kn),
        found.allowed_percent
    );
    for (i, name) in found.gauges.iter().enumerate() {
        let shunt = found.shunt_percent.as_ref().and_then(|s| s.get(i));
        let _ = writeln!(
            out,
            "  {name}: zero moved by {}, gain by {:+.3} %{}",
            unit.print(found.zero_kn.get(i).copied().unwrap_or(f64::NAN)),
            found.gain_percent.get(i).copied().unwrap_or(f64::NAN),
            shunt.map_or_else(String::new, |s| format!(", shunt step by {s:+.3} %"))
        );
    }
    out
}

/// The shunt check in words: what the shunt should give, and what it stands for in load.
#[must_use]
pub fn shunt(shunt: &Shunt, fitted: &Fitted, names: &[&str], unit: LoadUnit) -> String {
    let expected = bridge::shunt_output_mv_per_v(shunt.gauge_ohm, shunt.shunt_ohm);
    let mut out = format!(
        "Shunt {} ohm on {} ohm: {expected:.6} mV/V by Rg/(4Rs + 2Rg)\n",
        shunt.shunt_ohm, shunt.gauge_ohm
    );
    for (i, (name, step)) in names.iter().zip(&shunt.step_counts).enumerate() {
        let gain = fitted.kn_per_count.get(i).and_then(|r| r.get(i)).copied().unwrap_or(f64::NAN);
        let _ = writeln!(
            out,
            "  {name}: {step:.1} counts, {:.1} counts at 1 mV/V; stands for {}",
            step / expected,
            unit.print(step * gain)
        );
    }
    out
}

/// The picture of the total: readings, line, residuals and uncertainty.
#[must_use]
pub fn picture(of: &Subject<'_>, unit: LoadUnit) -> Picture {
    let Subject { name, run, order, fitted, found } = *of;
    // With several gauges the picture shows the load they indicate together, in counts of a mean gauge.
    let count = run.columns.count() as f64;
    let gains = fitted.kn_per_count.iter().enumerate().filter_map(|(i, r)| r.get(i));
    let mean_gain = gains.sum::<f64>() / count;
    let zero =
        if run.columns.count() == 1 { fitted.zero_counts.first().copied().unwrap_or(0.0) } else { 0.0 };
    let points = order
        .placed
        .iter()
        .zip(&fitted.residuals_kn)
        .filter_map(|(placed, residual)| {
            let reading = run.readings.get(placed.index)?;
            Some(CalibrationPoint {
                reference_kn: reading.reference_kn,
                counts: zero + (reading.reference_kn + residual) / mean_gain,
                residual_kn: *residual,
                falling: placed.falling,
            })
        })
        .collect();
    Picture {
        title: format!("Calibration: {name}"),
        subtitle: format!(
            "{} readings, {} increasing and {} decreasing series; slow loads only",
            order.placed.len(),
            order.rising_series,
            order.falling_series
        ),
        unit,
        points,
        zero_counts: zero,
        counts_per_kn: 1.0 / mean_gain,
        uncertainty: found
            .steps
            .iter()
            .map(|s| (s.load_kn, s.expanded_percent * s.load_kn / 100.0))
            .collect(),
        limit_percent: None,
    }
}
