//! What a die may do: limits on a stroke's features, watch windows and sensor windows.
//!
//! A die can only be stricter than the machine: its limits are judged beside the machine's, never instead.

use crate::features::Features;
use crate::stroke::Position;
use crate::verdict::{Finding, Reason, Verdict};
use crate::windows::{SensorWindow, WatchWindow};

/// Watch windows a die may have.
pub const WATCH_WINDOWS: usize = 8;
/// Sensor windows a die may have: one an input.
pub const SENSOR_WINDOWS: usize = 8;

/// A low and a high limit and what leaving them means.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Band {
    /// Least allowed.
    pub low: f32,
    /// Greatest allowed.
    pub high: f32,
    /// What leaving the limits means.
    pub verdict: Verdict,
}

/// A die's own limits.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct DieLimits {
    /// Of the total peak, kN.
    pub peak_kn: Option<Band>,
    /// Of the reverse load's magnitude, kN.
    pub reverse_kn: Option<Band>,
    /// Of the work, kJ.
    pub work_kj: Option<Band>,
    /// Watch windows.
    pub watch: heapless::Vec<WatchWindow, WATCH_WINDOWS>,
    /// Sensor windows.
    pub sensors: heapless::Vec<SensorWindow, SENSOR_WINDOWS>,
}

/// Why a die's limits were refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum DieError {
    /// A limit is not finite, or a low limit lies above its high one; names the field.
    Band(&'static str),
    /// A window names a column or an input that the press does not have; counts from 0.
    Window(u8),
}

impl core::fmt::Display for DieError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::Band(field) => {
                write!(f, "{field}: needs a low limit not above its high limit, both finite")
            }
            Self::Window(number) => {
                write!(f, "window {}: names a column or input this press does not have", number + 1)
            }
        }
    }
}

impl core::error::Error for DieError {}

impl DieLimits {
    /// Checks the limits against a press of `columns` columns.
    ///
    /// # Errors
    /// [`DieError`] names the first limit or window that cannot be.
    pub fn check(&self, columns: usize) -> Result<(), DieError> {
        let bands = [("peak_kn", self.peak_kn), ("reverse_kn", self.reverse_kn), ("work_kj", self.work_kj)];
        for (field, band) in bands {
            if band.is_some_and(|b| !(b.low.is_finite() && b.high.is_finite() && b.low <= b.high)) {
                return Err(DieError::Band(field));
            }
        }
        for (number, window) in self.watch.iter().enumerate() {
            let known = match window.channel {
                crate::windows::Channel::Total => true,
                crate::windows::Channel::Column(column) => usize::from(column) < columns,
            };
            if !known || window.low_kn.is_nan() || window.high_kn.is_nan() || window.low_kn > window.high_kn {
                return Err(DieError::Window(number as u8));
            }
        }
        for (number, window) in self.sensors.iter().enumerate() {
            if window.input > 7 {
                return Err(DieError::Window(number as u8));
            }
        }
        Ok(())
    }

    /// Judges an ended stroke's features; calls `found` for each limit broken.
    pub fn judge<const N: usize>(&self, features: &Features<N>, mut found: impl FnMut(Finding)) {
        let peak = &features.total.peak;
        let reverse = &features.total.reverse;
        let values = [
            (
                self.peak_kn,
                Some(peak.value),
                peak.position,
                Reason::PeakUnderDieLimit,
                Reason::PeakOverDieLimit,
            ),
            (
                self.reverse_kn,
                Some(reverse.value),
                reverse.position,
                Reason::ReverseOverDieLimit,
                Reason::ReverseOverDieLimit,
            ),
            (
                self.work_kj,
                features.work_kj,
                Position::Unknown,
                Reason::WorkUnderDieLimit,
                Reason::WorkOverDieLimit,
            ),
        ];
        for (band, value, position, under, over) in values {
            // A limit on work is void where the angle that work needs is unknown.
            let (Some(band), Some(value)) = (band, value) else { continue };
            let (reason, limit) = if value < band.low {
                (under, band.low)
            } else if value <= band.high {
                continue;
            } else {
                (over, band.high)
            };
            found(Finding {
                reason,
                verdict: band.verdict,
                column: None,
                from: position,
                to: position,
                value,
                limit,
            });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::features::Gatherer;
    use std::vec::Vec;

    fn features(peak: f32, reverse: f32, work: Option<f32>) -> Features<1> {
        let mut features = Gatherer::<1>::default().finish();
        features.total.peak.value = peak;
        features.total.reverse.value = reverse;
        features.work_kj = work;
        features
    }

    fn reasons(limits: &DieLimits, features: &Features<1>) -> Vec<Reason> {
        let mut found = Vec::new();
        limits.judge(features, |finding| found.push(finding.reason));
        found
    }

    #[test]
    fn each_limit_is_judged_on_both_sides() {
        let band = |low, high| Some(Band { low, high, verdict: Verdict::Hold });
        let limits = DieLimits {
            peak_kn: band(100.0, 200.0),
            reverse_kn: band(0.0, 20.0),
            work_kj: band(1.0, 2.0),
            ..DieLimits::default()
        };
        assert_eq!(reasons(&limits, &features(100.0, 20.0, Some(2.0))), []);
        assert_eq!(
            reasons(&limits, &features(99.0, 21.0, Some(0.9))),
            [Reason::PeakUnderDieLimit, Reason::ReverseOverDieLimit, Reason::WorkUnderDieLimit]
        );
        assert_eq!(
            reasons(&limits, &features(201.0, 0.0, Some(2.1))),
            [Reason::PeakOverDieLimit, Reason::WorkOverDieLimit]
        );
        assert_eq!(reasons(&limits, &features(f32::NAN, 0.0, None)), [Reason::PeakOverDieLimit]);
    }

    #[test]
    fn limits_that_cannot_be_are_refused() {
        let crossed = DieLimits {
            work_kj: Some(Band { low: 2.0, high: 1.0, verdict: Verdict::Hold }),
            ..DieLimits::default()
        };
        assert_eq!(crossed.check(4), Err(DieError::Band("work_kj")));
        assert_eq!(DieLimits::default().check(1), Ok(()));
    }
}
