//! What a run lacks to support a claim.

use serde::Serialize;

use super::run::Run;
use super::series::Order;

/// One thing missing.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Missing {
    /// Stable name.
    pub code: &'static str,
    /// What is missing and what to do.
    pub text: String,
    /// Whether the claim stands or falls with it; otherwise it is a remark on the certificate.
    pub needed: bool,
}

/// Load steps from a fifth of the greatest load up that a claim needs (ISO 7500-1, read).
const STEPS: usize = 5;
/// Increasing series that a claim needs (ISO 7500-1, read).
const SERIES: usize = 3;

/// Everything the run lacks.
#[must_use]
pub fn missing(run: &Run, order: &Order) -> Vec<Missing> {
    let mut all = Vec::new();
    let mut say = |code, needed, text: String| all.push(Missing { code, text, needed });
    let most = order.steps_kn.last().copied().unwrap_or(0.0);
    let upper = order.steps_kn.iter().filter(|kn| **kn >= 0.199 * most && **kn > 0.0).count();
    if upper < STEPS {
        say(
            "too-few-steps",
            true,
            format!("{upper} load steps from a fifth of the greatest load up; at least {STEPS} are needed"),
        );
    }
    if order.rising_series < SERIES {
        say(
            "too-few-series",
            true,
            format!(
                "{} increasing series; at least {SERIES} are needed, for one series cannot show how well it repeats",
                order.rising_series
            ),
        );
    }
    if order.falling_series == 0 {
        say(
            "no-decreasing-series",
            true,
            "no decreasing series; without one nothing is known of reversibility".to_owned(),
        );
    }
    for (gauge, name) in run.columns.names().iter().enumerate() {
        if let Some((low, high)) = not_rising(run, order, gauge) {
            say(
                "not-monotonic",
                true,
                format!(
                    "gauge {name}: mean counts do not rise from {low:.3} to {high:.3} kN; find out why before calibrating"
                ),
            );
        }
    }
    let unloaded = order
        .placed
        .iter()
        .any(|p| run.readings.get(p.index).is_some_and(|r| r.reference_kn.abs() <= 0.02 * most));
    if !unloaded {
        say("no-zero", true, "no reading without load; the zero would be a guess".to_owned());
    }
    if order.preloads < 3 {
        say(
            "too-few-preloads",
            false,
            format!("{} preloads marked (series 0); three are usual before the first series", order.preloads),
        );
    }
    let temperatures = || run.readings.iter().filter_map(|r| r.temperature_c);
    let (low, high) =
        (temperatures().fold(f64::INFINITY, f64::min), temperatures().fold(f64::NEG_INFINITY, f64::max));
    if !low.is_finite() {
        say("no-temperature", false, "no temperature recorded; it must stay within ±2 °C".to_owned());
    } else if high - low > 4.0 {
        say(
            "temperature-not-steady",
            true,
            format!("temperature ran from {low} to {high} °C; ±2 °C is allowed"),
        );
    }
    if run.readings.iter().all(|r| r.spread_counts.is_none()) {
        say(
            "no-spread",
            false,
            "how far readings wavered was not recorded; resolution is taken as one count".to_owned(),
        );
    }
    all
}

/// The first pair of steps between which a gauge's mean does not rise; places are mixed only where they are alike.
fn not_rising(run: &Run, order: &Order, gauge: usize) -> Option<(f64, f64)> {
    let moved = run.readings.iter().any(|r| r.place_mm.is_some_and(|p| p[0].abs() + p[1].abs() > 0.0));
    // Where the reference moved, a gauge's mean at a step depends on the places taken.
    if moved || run.readings.iter().any(|r| r.columns_kn.is_some()) {
        return None;
    }
    let mean = |step: usize| {
        let counts = order
            .placed
            .iter()
            .filter(|p| p.step == step)
            .filter_map(|p| run.readings.get(p.index)?.counts.get(gauge).copied());
        let (sum, count) = counts.fold((0.0, 0_u32), |(s, n), c| (s + c, n + 1));
        (count > 0).then(|| sum / f64::from(count))
    };
    let steps: Vec<(f64, f64)> =
        order.steps_kn.iter().enumerate().filter_map(|(step, kn)| Some((*kn, mean(step)?))).collect();
    steps.windows(2).find(|w| w[1].1 <= w[0].1).map(|w| (w[0].0, w[1].0))
}
