//! Watch windows on the load and sensor windows on the inputs, by position in the stroke.

use crate::stroke::Position;
use crate::verdict::{Finding, Reason, Verdict};

/// A part of the stroke, in the units of the position (fraction of a turn, or ticks from onset).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Span {
    /// First position inside.
    pub from: Position,
    /// Last position inside.
    pub to: Position,
}

impl Span {
    /// Whether a position lies inside. A span over the top of the stroke (350° to 10°) is understood.
    #[must_use]
    #[inline]
    pub fn contains(&self, position: Position) -> bool {
        match (self.from, self.to, position) {
            (Position::Angle(from), Position::Angle(to), Position::Angle(here)) => {
                here.0.wrapping_sub(from.0) <= to.0.wrapping_sub(from.0)
            }
            (Position::SinceOnset(from), Position::SinceOnset(to), Position::SinceOnset(here)) => {
                (from..=to).contains(&here)
            }
            _ => false,
        }
    }
}

/// Which load a watch window looks at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Channel {
    /// The total.
    Total,
    /// One column, by number.
    Column(u8),
}

/// Which value of the load inside the window is limited.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WindowValue {
    /// Its greatest.
    Greatest,
    /// Its least.
    Least,
    /// Its mean over the frames inside.
    Mean,
}

/// An angle window with its own load limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WatchWindow {
    /// Where.
    pub span: Span,
    /// Of which load.
    pub channel: Channel,
    /// Which value.
    pub value: WindowValue,
    /// Least allowed, kN.
    pub low_kn: f32,
    /// Greatest allowed, kN.
    pub high_kn: f32,
    /// What leaving the limits means.
    pub verdict: Verdict,
}

/// How a sensor must be in its window.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SensorRule {
    /// On at some moment inside (a part passes out).
    OnOnce,
    /// On all through (a part in place).
    OnThroughout,
    /// Off all through (an ejector cleared).
    OffThroughout,
}

/// An angle window in which a sensor must, or must not, be on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SensorWindow {
    /// Where.
    pub span: Span,
    /// Input number, 0 to 7.
    pub input: u8,
    /// How it must be.
    pub rule: SensorRule,
    /// What missing it means.
    pub verdict: Verdict,
}

/// What has been seen inside one window in this stroke.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Seen {
    frames: u32,
    greatest: f32,
    least: f32,
    mean: f32,
    sensor_on: u32,
}

impl Seen {
    /// Takes in one frame of a watched load.
    #[inline]
    pub fn load(&mut self, load: f32) {
        self.frames = self.frames.saturating_add(1);
        if self.frames == 1 {
            (self.greatest, self.least, self.mean) = (load, load, load);
        } else {
            self.greatest = self.greatest.max(load);
            self.least = self.least.min(load);
            // Welford: no sum grows with the length of the window.
            self.mean += (load - self.mean) / self.frames as f32;
        }
    }

    /// Takes in one frame of a sensor.
    #[inline]
    pub fn sensor(&mut self, on: bool) {
        self.frames = self.frames.saturating_add(1);
        self.sensor_on = self.sensor_on.saturating_add(u32::from(on));
    }
}

impl WatchWindow {
    /// The value the window limits, kN; none if no frame fell inside.
    #[must_use]
    pub fn value_of(&self, seen: &Seen) -> Option<f32> {
        (seen.frames > 0).then_some(match self.value {
            WindowValue::Greatest => seen.greatest,
            WindowValue::Least => seen.least,
            WindowValue::Mean => seen.mean,
        })
    }

    /// What the stroke's end finds. A window that no frame fell into is missed, not passed.
    #[must_use]
    pub fn judge(&self, seen: &Seen) -> Option<Finding> {
        let value = self.value_of(seen).unwrap_or(f32::NAN);
        if value >= self.low_kn && value <= self.high_kn {
            return None;
        }
        Some(Finding {
            reason: Reason::WatchWindow,
            verdict: self.verdict,
            column: match self.channel {
                Channel::Total => None,
                Channel::Column(column) => Some(column),
            },
            from: self.span.from,
            to: self.span.to,
            value,
            limit: if value < self.low_kn { self.low_kn } else { self.high_kn },
        })
    }
}

impl SensorWindow {
    /// What the stroke's end finds. A window that no frame fell into is missed, not passed.
    #[must_use]
    pub fn judge(&self, seen: &Seen) -> Option<Finding> {
        let kept = seen.frames > 0
            && match self.rule {
                SensorRule::OnOnce => seen.sensor_on > 0,
                SensorRule::OnThroughout => seen.sensor_on == seen.frames,
                SensorRule::OffThroughout => seen.sensor_on == 0,
            };
        (!kept).then_some(Finding {
            reason: Reason::SensorWindow,
            verdict: self.verdict,
            column: Some(self.input),
            from: self.span.from,
            to: self.span.to,
            value: seen.sensor_on as f32,
            limit: seen.frames as f32,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::CrankAngle;

    fn at(degrees: f64) -> Position {
        Position::Angle(CrankAngle::from_degrees(degrees))
    }

    #[test]
    fn a_span_may_lie_over_the_top() {
        let span = Span { from: at(350.0), to: at(10.0) };
        for (degrees, inside) in
            [(349.0, false), (350.0, true), (0.0, true), (10.0, true), (11.0, false), (180.0, false)]
        {
            assert_eq!(span.contains(at(degrees)), inside, "{degrees}");
        }
        assert!(!span.contains(Position::SinceOnset(0)) && !span.contains(Position::Unknown));
    }

    #[test]
    fn each_window_value_is_judged_against_both_limits() {
        let mut seen = Seen::default();
        [10.0, 30.0, 20.0].into_iter().for_each(|load| seen.load(load));
        let window = |value, low_kn, high_kn| WatchWindow {
            span: Span { from: at(0.0), to: at(1.0) },
            channel: Channel::Column(2),
            value,
            low_kn,
            high_kn,
            verdict: Verdict::Hold,
        };
        for (value, is) in
            [(WindowValue::Greatest, 30.0), (WindowValue::Least, 10.0), (WindowValue::Mean, 20.0)]
        {
            assert_eq!(window(value, is, is).judge(&seen), None);
            assert_eq!(window(value, is + 0.1, 99.0).judge(&seen).map(|f| f.limit), Some(is + 0.1));
            assert_eq!(window(value, 0.0, is - 0.1).judge(&seen).map(|f| f.limit), Some(is - 0.1));
            assert!(window(value, 0.0, 99.0).judge(&Seen::default()).is_some(), "an empty window is missed");
        }
    }

    #[test]
    fn sensor_rules_hold_over_the_whole_window() {
        let seen = |pattern: &[bool]| {
            let mut seen = Seen::default();
            pattern.iter().for_each(|on| seen.sensor(*on));
            seen
        };
        let window = |rule| SensorWindow {
            span: Span { from: at(0.0), to: at(1.0) },
            input: 3,
            rule,
            verdict: Verdict::Hold,
        };
        let cases = [
            (&[true, true][..], [true, true, false]),
            (&[false, true], [true, false, false]),
            (&[false, false], [false, false, true]),
            (&[], [false, false, false]),
        ];
        for (pattern, kept) in cases {
            for (rule, kept) in [SensorRule::OnOnce, SensorRule::OnThroughout, SensorRule::OffThroughout]
                .into_iter()
                .zip(kept)
            {
                assert_eq!(window(rule).judge(&seen(pattern)).is_none(), kept, "{rule:?} {pattern:?}");
            }
        }
    }
}
