//! Frame health in words and numbers for people.

use std::fmt::Write as _;

use super::examine::{FrameHealth, RecordingHealth, Ringing};
use super::shift::Shift;

/// Coverage factor of what stands behind ±: two standard errors, about 95 %.
const COVER: f64 = 2.0;

impl FrameHealth {
    /// The report.
    #[must_use]
    pub fn text(&self) -> String {
        let mut text = format!("Frame of press {}\n", self.press);
        for recording in &self.recordings {
            recording.write(&mut text);
        }
        if !self.shifts.is_empty() {
            let _ = writeln!(text, "\nFrom the first strokes to the last (± two standard errors)");
            let sure = |shift: &&Shift| shift.sure;
            for shift in self.shifts.iter().filter(sure) {
                let _ = writeln!(text, "  {}", shift.text());
            }
            let still = self.shifts.iter().filter(|shift| !shift.sure).count();
            let _ = writeln!(text, "  {still} of {} compared did not move beyond chance", self.shifts.len());
        }
        let _ = writeln!(
            text,
            "\nFatigue-weighted cycles (one of the column's share of the rating, {:.0} kN, counts 1)",
            self.column_rated_kn
        );
        for (name, cycles) in self.columns.iter().zip(&self.weighted_cycles) {
            let _ = writeln!(text, "  {:<7} {cycles:.3e}", label(name));
        }
        text
    }
}

impl Shift {
    fn text(&self) -> String {
        format!(
            "{} of {}: {} to {} {} ({:+.3} ± {:.3})",
            self.quantity.words(),
            label(&self.channel),
            digits(self.first),
            digits(self.last),
            self.quantity.unit(),
            self.change(),
            COVER * self.error,
        )
    }
}

impl RecordingHealth {
    fn write(&self, text: &mut String) {
        let _ = writeln!(text, "\n{}: {} strokes{}", self.recording, self.strokes, self.sampled());
        if self.strokes_uneven > 0 {
            let _ = writeln!(
                text,
                "  {} strokes not used: their readings are not evenly spaced in time",
                self.strokes_uneven
            );
        }
        match self.free_part {
            Some(part) => {
                let _ = writeln!(
                    text,
                    "  free vibration from {:.*} to {:.*} {}, {} strokes",
                    part.decimals(),
                    part.from,
                    part.decimals(),
                    part.to,
                    part.words(),
                    self.strokes_kept
                );
            }
            None if self.sample_hz.is_some() => {
                let _ = writeln!(
                    text,
                    "  no part of the strokes is a free, decaying oscillation: no frequency is told"
                );
            }
            None => {
                let _ = writeln!(
                    text,
                    "  the recording does not tell time, so no frequency is told: record time_s, or speed_spm with the angle"
                );
            }
        }
        if self.free_part.is_some() {
            let _ = writeln!(
                text,
                "  {:<7} {:>18} {:>17} {:>17} {:>12} {:>11}",
                "", "ringing, Hz", "damping, %", "by decrement, %", "spectrum, Hz", "size, kN"
            );
            self.ringing.iter().for_each(|ringing| ringing.write(text));
        }
    }

    fn sampled(&self) -> String {
        let Some(hz) = self.sample_hz else { return String::new() };
        let by = if self.by_speed {
            " by strokes a minute and angle, good to how far the press slows down"
        } else {
            ""
        };
        format!(", {hz:.0} readings a second{by}")
    }
}

impl Ringing {
    fn write(&self, text: &mut String) {
        if let Some(why) = self.not_enough {
            let _ = writeln!(text, "  {:<7} not enough ringing: {why}", label(&self.channel));
        }
        for (n, mode) in self.modes.iter().enumerate() {
            let name = if n == 0 { label(&self.channel) } else { String::new() };
            let with = |value: f64, error: f64| {
                let places = places(COVER * error);
                format!("{value:.places$} ± {:.places$}", COVER * error)
            };
            let both = mode.decrement_damping.zip(mode.decrement_error);
            let decrement = both.map_or("-".to_owned(), |(value, error)| with(100.0 * value, 100.0 * error));
            let crest = mode.spectrum_hz.map_or("-".to_owned(), |hz| format!("{hz:.1}"));
            let _ = writeln!(
                text,
                "  {name:<7} {:>18} {:>17} {decrement:>17} {crest:>12} {:>11.2}",
                with(mode.mode.hz, mode.hz_error),
                with(100.0 * mode.mode.damping, 100.0 * mode.damping_error),
                mode.amplitude_kn,
            );
        }
    }
}

/// Upper case, as columns are labelled on a press.
fn label(name: &str) -> String {
    if name == "total" { name.to_owned() } else { name.to_uppercase() }
}

/// Decimals that show an uncertainty in two digits.
fn places(error: f64) -> usize {
    if error > 0.0 { (1.0 - error.log10().floor()).clamp(0.0, 6.0) as usize } else { 3 }
}

/// Four digits.
fn digits(value: f64) -> String {
    let places = if value == 0.0 { 3 } else { (3.0 - value.abs().log10().floor()).clamp(0.0, 6.0) as usize };
    format!("{value:.places$}")
}
