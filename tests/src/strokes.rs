//! Recordings made for a test: by the simulator, or from a formula.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use crate::press::gauges;
use crate::program::{bolster, word};

/// A recording that the simulator made, and the card of its press.
#[derive(Debug)]
pub struct Made {
    /// The recording.
    pub recording: PathBuf,
    /// The press card.
    pub press: PathBuf,
    /// The truth beside it.
    pub truth: PathBuf,
}

/// Good strokes of a built-in scenario, in a folder of that name.
///
/// # Panics
/// If the program fails.
#[must_use]
pub fn simulated(folder: &Path, scenario: &str, strokes: u32, more: &[&str]) -> Made {
    let out = folder.join(scenario);
    let count = strokes.to_string();
    let words = ["simulate", scenario, "--good", "--strokes", &count, "--out", word(&out)];
    let _ = bolster(words.iter().chain(more)).well();
    Made { recording: out.join("recording.csv"), press: out.join("press.toml"), truth: out.join("truth.csv") }
}

/// One reading: where in the stroke, and the load of each column.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// Crank angle, degrees; none leaves the column out.
    pub angle_deg: Option<f64>,
    /// Time, s; none leaves the column out.
    pub time_s: Option<f64>,
    /// `[column]`: load, kN.
    pub loads: [f64; 4],
}

/// The text of a recording of these strokes, numbered from 1; numbers at full length. `per_kn` scales the loads
/// and `unit` ends the gauge columns' names.
///
/// # Panics
/// If there are no strokes.
#[must_use]
pub fn text(columns: usize, unit: &str, per_kn: f64, strokes: &[Vec<Reading>]) -> String {
    let first = strokes[0][0];
    let mut text = String::from("stroke");
    for (name, there) in [("angle_deg", first.angle_deg.is_some()), ("time_s", first.time_s.is_some())] {
        if there {
            write!(text, ",{name}").unwrap();
        }
    }
    for gauge in gauges(columns) {
        write!(text, ",{gauge}_{unit}").unwrap();
    }
    text.push('\n');
    for (number, stroke) in strokes.iter().enumerate() {
        for reading in stroke {
            write!(text, "{}", number + 1).unwrap();
            for value in [reading.angle_deg, reading.time_s].into_iter().flatten() {
                write!(text, ",{value}").unwrap();
            }
            for load in &reading.loads[..columns] {
                write!(text, ",{}", load * per_kn).unwrap();
            }
            text.push('\n');
        }
    }
    text
}

/// A smooth stroke by angle at 60 strokes a minute and `sample_hz`, from 100° to 260° from the top: a hump of
/// `peak_kn` that ends at the bottom, then a pull back of a tenth of it. `shares` splits the load over the columns.
#[must_use]
pub fn smooth(sample_hz: f64, peak_kn: f64, shares: [f64; 4]) -> Vec<Reading> {
    let step = 360.0 / sample_hz;
    (0..=(160.0 / step) as usize)
        .map(|n| {
            let angle = 100.0 + n as f64 * step;
            let load = peak_kn * (hump(angle, 140.0, 180.0) - 0.1 * hump(angle, 182.0, 200.0));
            Reading {
                angle_deg: Some(angle),
                time_s: Some(n as f64 / sample_hz),
                loads: shares.map(|share| share * load),
            }
        })
        .collect()
}

/// sin² between two angles, 0 outside.
#[must_use]
pub fn hump(angle: f64, from: f64, to: f64) -> f64 {
    if angle <= from || angle >= to {
        return 0.0;
    }
    ((angle - from) / (to - from) * core::f64::consts::PI).sin().powi(2)
}
