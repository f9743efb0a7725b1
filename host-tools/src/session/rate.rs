//! How fast a recording was sampled, told from its first rows.

use crate::card::press::PressCard;
use crate::recording::{Header, Row};

/// A sample rate and how it is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SampleRate {
    /// Readings a second.
    pub hz: f64,
    /// Whether the recording tells it (time, or speed with angle); otherwise the middle of the press's speed
    /// range was assumed, which is good enough for a filter's corner and no speed is judged by it.
    pub is_measured: bool,
    /// Whether times are those of a sample clock: each step a whole number of readings, so that a missing reading shows.
    pub is_clock: bool,
}

/// Rows looked at: enough for a few strokes of a slow press, little enough to hold.
pub const ROWS_AHEAD: usize = 20_000;

/// How far a step of time may be off a whole number of readings on a sample clock. Times written to a microsecond are
/// off by 0.02 at 20 kHz; times of a computer that was busy are off by anything.
const OFF_CLOCK: f64 = 0.05;

/// Rate assumed where a recording tells nothing at all, Hz: no filter is built for it.
const UNKNOWN_HZ: f64 = 1000.0;

impl SampleRate {
    /// From the first rows of a recording.
    #[must_use]
    pub fn of(card: &PressCard, header: &Header, rows: &[Row]) -> Self {
        let within = || {
            rows.windows(2).filter_map(|pair| match pair {
                [a, b] if a.stroke == b.stroke => Some((a, b)),
                _ => None,
            })
        };
        if header.has_time
            && let Some(step_s) = median(within().map(|(a, b)| b.time_s - a.time_s))
        {
            let hz = 1.0 / step_s;
            let mut steps = within().map(|(a, b)| (b.time_s - a.time_s) * hz);
            let is_clock = steps.all(|step| step > 0.5 && (step - step.round()).abs() < OFF_CLOCK);
            return Self { hz, is_measured: true, is_clock };
        }
        let Some(step_deg) = median(within().map(|(a, b)| b.angle_deg - a.angle_deg)) else {
            return Self { hz: UNKNOWN_HZ, is_measured: false, is_clock: false };
        };
        let [slowest, fastest] = card.spec.speed_spm;
        let recorded = if header.has_speed { median(rows.iter().map(|row| row.speed_spm)) } else { None };
        let speed_spm = recorded.unwrap_or(0.5 * (slowest + fastest));
        Self { hz: speed_spm * 6.0 / step_deg, is_measured: recorded.is_some(), is_clock: false }
    }
}

/// Median of the positive, finite values; none if there is none.
fn median(values: impl Iterator<Item = f64>) -> Option<f64> {
    let mut values: Vec<f64> = values.filter(|value| value.is_finite() && *value > 0.0).collect();
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied()
}
