//! What a die may do: limits on a stroke's features, watch windows and sensor windows.
//!
//! A die can only be stricter than the machine: its limits are judged beside the machine's, never instead. Each limit
//! says which verdict it gives, and in how many of the last strokes it must have been left for that.

use crate::features::Features;
use crate::often::{Breaks, MofN};
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
    /// How often they must have been left.
    pub rule: MofN,
}

/// One end of a peak's range, with what passing it means.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Threshold {
    /// kN.
    pub kn: f32,
    /// What passing it means.
    pub verdict: Verdict,
    /// How often it must have been passed.
    pub rule: MofN,
}

/// What leaving the learned envelope means.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Envelope {
    /// The verdict; what only stock explains stays a note, and a signature that is not whole a hold.
    pub verdict: Verdict,
    /// How often it must have been left.
    pub rule: MofN,
}

impl Default for Envelope {
    fn default() -> Self {
        Self { verdict: Verdict::Hold, rule: MofN::FIRST }
    }
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
    /// A stroke whose total peak stays below this had nothing in the die.
    pub no_load: Option<Threshold>,
    /// A stroke whose total peak passes this had twice the stock in the die.
    pub double_load: Option<Threshold>,
    /// What leaving the learned envelope means, where a shape was learnt.
    pub envelope: Envelope,
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
    /// The load below which there is nothing in the die, or above which there is twice the stock, is not above zero;
    /// names the field.
    Threshold(&'static str),
    /// A limit gives no verdict, or its rule is not m of n with 1 ≤ m ≤ n ≤ 32; names the field.
    Consequence(&'static str),
    /// A watch window names a column that the press does not have, or its limits are turned; counts from 0.
    Watch(u8),
    /// A sensor window names an input that does not exist; counts from 0.
    Sensor(u8),
    /// A stroke is under way or being judged, and there is no room to keep a learned shape until it is over: give it
    /// again then.
    InStroke,
}

impl core::fmt::Display for DieError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::Band(field) => {
                write!(f, "{field}: needs a low limit not above its high limit, both finite")
            }
            Self::Threshold(field) => write!(f, "{field}: needs a load above zero"),
            Self::Consequence(field) => write!(
                f,
                "{field}: must give a note, a hold or a trip, after m of n strokes with 1 <= m <= n <= {}",
                MofN::MOST
            ),
            Self::Watch(number) => write!(
                f,
                "watch window {}: needs a column this press has and a low limit not above its high limit",
                number + 1
            ),
            Self::Sensor(number) => {
                write!(f, "sensor window {}: names an input other than 1 to 8", number + 1)
            }
            Self::InStroke => {
                f.write_str("a stroke is under way or being judged: set the die when it is over")
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
        let sound = |verdict: Verdict, rule: MofN| verdict != Verdict::Pass && rule.is_sound();
        let bands = [("peak_kn", self.peak_kn), ("reverse_kn", self.reverse_kn), ("work_kj", self.work_kj)];
        for (field, band) in bands {
            let Some(band) = band else { continue };
            if !(band.low.is_finite() && band.high.is_finite() && band.low <= band.high) {
                return Err(DieError::Band(field));
            }
            if !sound(band.verdict, band.rule) {
                return Err(DieError::Consequence(field));
            }
        }
        for (field, threshold) in [("no_load_kn", self.no_load), ("double_load_kn", self.double_load)] {
            let Some(threshold) = threshold else { continue };
            if !(threshold.kn.is_finite() && threshold.kn > 0.0) {
                return Err(DieError::Threshold(field));
            }
            if !sound(threshold.verdict, threshold.rule) {
                return Err(DieError::Consequence(field));
            }
        }
        if !sound(self.envelope.verdict, self.envelope.rule) {
            return Err(DieError::Consequence("envelope"));
        }
        for (number, window) in (0..).zip(&self.watch) {
            let known = match window.channel {
                crate::windows::Channel::Total => true,
                crate::windows::Channel::Column(column) => usize::from(column) < columns,
            };
            if !known || window.low_kn.is_nan() || window.high_kn.is_nan() || window.low_kn > window.high_kn {
                return Err(DieError::Watch(number));
            }
            if !sound(window.verdict, window.rule) {
                return Err(DieError::Consequence("watch"));
            }
        }
        for (number, window) in (0..).zip(&self.sensors) {
            if window.input > 7 {
                return Err(DieError::Sensor(number));
            }
            if !sound(window.verdict, window.rule) {
                return Err(DieError::Consequence("sensor"));
            }
        }
        Ok(())
    }

    /// Judges an ended stroke's features; calls `found` for each limit left often enough.
    pub fn judge<const N: usize>(
        &self,
        features: &Features<N>,
        history: &mut BandHistory,
        mut found: impl FnMut(Finding),
    ) {
        let peak = &features.total.peak;
        let reverse = &features.total.reverse;
        let nothing = |threshold: Threshold| Band {
            low: threshold.kn,
            high: f32::INFINITY,
            verdict: threshold.verdict,
            rule: threshold.rule,
        };
        let twice =
            |threshold: Threshold| Band { low: f32::NEG_INFINITY, high: threshold.kn, ..nothing(threshold) };
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
            (self.no_load.map(nothing), Some(peak.value), peak.position, Reason::NoLoad, Reason::NoLoad),
            (
                self.double_load.map(twice),
                Some(peak.value),
                peak.position,
                Reason::DoubleLoad,
                Reason::DoubleLoad,
            ),
        ];
        for ((band, value, position, under, over), breaks) in values.into_iter().zip(&mut history.0) {
            // A limit on work is void where the angle that work needs is unknown.
            let (Some(band), Some(value)) = (band, value) else { continue };
            let (reason, limit) = if value < band.low {
                (under, band.low)
            } else if value <= band.high {
                breaks.push(false, band.rule);
                continue;
            } else {
                (over, band.high)
            };
            if breaks.push(true, band.rule) {
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
}

/// Which of the last strokes left each of a die's limits on features.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct BandHistory([Breaks; 5]);

/// The same of its windows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) struct WindowHistory {
    pub(crate) watch: [Breaks; WATCH_WINDOWS],
    pub(crate) sensors: [Breaks; SENSOR_WINDOWS],
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::CrankAngle;
    use crate::windows::{Channel, SensorRule, Span, WindowValue};
    use std::string::ToString;
    use std::vec::Vec;

    fn features(peak: f32, reverse: f32, work: Option<f32>) -> Features<1> {
        let mut features = Features::<1>::default();
        features.total.peak.value = peak;
        features.total.reverse.value = reverse;
        features.work_kj = work;
        features
    }

    fn reasons(limits: &DieLimits, features: &Features<1>) -> Vec<Reason> {
        let mut found = Vec::new();
        limits.judge(features, &mut BandHistory::default(), |finding| found.push(finding.reason));
        found
    }

    fn threshold(kn: f32) -> Option<Threshold> {
        Some(Threshold { kn, verdict: Verdict::Hold, rule: MofN::FIRST })
    }

    #[test]
    fn each_limit_is_judged_on_both_sides() {
        let band = |low, high| Some(Band { low, high, verdict: Verdict::Hold, rule: MofN::FIRST });
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
    fn a_die_with_nothing_in_it_and_one_with_twice_the_stock_are_told_by_their_own_limits() {
        let limits =
            DieLimits { no_load: threshold(50.0), double_load: threshold(400.0), ..DieLimits::default() };
        assert_eq!(reasons(&limits, &features(49.0, 0.0, None)), [Reason::NoLoad]);
        assert_eq!(reasons(&limits, &features(50.0, 0.0, None)), []);
        assert_eq!(reasons(&limits, &features(400.0, 0.0, None)), []);
        assert_eq!(reasons(&limits, &features(401.0, 0.0, None)), [Reason::DoubleLoad]);
        let both = reasons(&limits, &features(f32::NAN, 0.0, None));
        assert_eq!(both, [Reason::NoLoad, Reason::DoubleLoad], "what is no number passes nothing");
    }

    #[test]
    fn a_limit_with_a_rule_gives_its_verdict_only_when_it_was_left_often_enough() {
        let rule = MofN { m: 2, n: 3 };
        let band = Band { low: 100.0, high: 200.0, verdict: Verdict::Note, rule };
        let limits = DieLimits { peak_kn: Some(band), no_load: threshold(50.0), ..DieLimits::default() };
        let mut history = BandHistory::default();
        let mut verdicts = |peak: f32| {
            let mut found = Vec::new();
            limits.judge(&features(peak, 0.0, None), &mut history, |f| found.push((f.reason, f.verdict)));
            found
        };
        let over = (Reason::PeakOverDieLimit, Verdict::Note);
        assert_eq!(verdicts(201.0), []);
        assert_eq!(verdicts(150.0), []);
        assert_eq!(verdicts(201.0), [over], "two of the last three");
        assert_eq!(verdicts(150.0), [], "this one left nothing");
        assert_eq!(verdicts(150.0), []);
        assert_eq!(verdicts(201.0), []);
        let none = (Reason::NoLoad, Verdict::Hold);
        assert_eq!(
            verdicts(10.0),
            [(Reason::PeakUnderDieLimit, Verdict::Note), none],
            "each by its own rule"
        );
    }

    #[test]
    fn limits_that_cannot_be_are_refused() {
        let band = |low, high, verdict, m, n| Some(Band { low, high, verdict, rule: MofN { m, n } });
        let crossed = DieLimits { work_kj: band(2.0, 1.0, Verdict::Hold, 1, 1), ..DieLimits::default() };
        assert_eq!(crossed.check(4), Err(DieError::Band("work_kj")));
        for (verdict, m, n) in [(Verdict::Pass, 1, 1), (Verdict::Hold, 0, 3), (Verdict::Note, 4, 3)] {
            let limits = DieLimits { peak_kn: band(0.0, 1.0, verdict, m, n), ..DieLimits::default() };
            assert_eq!(limits.check(4), Err(DieError::Consequence("peak_kn")));
            let envelope = Envelope { verdict, rule: MofN { m, n } };
            let limits = DieLimits { envelope, ..DieLimits::default() };
            assert_eq!(limits.check(4), Err(DieError::Consequence("envelope")));
        }
        for kn in [0.0, -1.0, f32::NAN, f32::INFINITY] {
            let limits = DieLimits { double_load: threshold(kn), ..DieLimits::default() };
            assert_eq!(limits.check(4), Err(DieError::Threshold("double_load_kn")));
        }
        assert_eq!(DieLimits::default().check(1), Ok(()));
        for (low, high) in [(f32::NEG_INFINITY, 1.0), (0.0, f32::INFINITY), (f32::NAN, 1.0), (0.0, f32::NAN)]
        {
            let limits = DieLimits { peak_kn: band(low, high, Verdict::Hold, 1, 1), ..DieLimits::default() };
            assert_eq!(limits.check(4), Err(DieError::Band("peak_kn")), "{low} to {high}");
        }
        let point = DieLimits { peak_kn: band(1.0, 1.0, Verdict::Hold, 1, 1), ..DieLimits::default() };
        assert_eq!(point.check(4), Ok(()), "one value may be asked for");
    }

    fn watch(channel: Channel, low_kn: f32, high_kn: f32) -> WatchWindow {
        let span = Span::angles(CrankAngle::TOP, CrankAngle::from_degrees(90.0));
        let (value, verdict, rule) = (WindowValue::Greatest, Verdict::Hold, MofN::FIRST);
        WatchWindow { span, channel, value, low_kn, high_kn, verdict, rule }
    }

    #[test]
    fn windows_that_cannot_be_are_refused_by_their_number() {
        let second = |window: WatchWindow| {
            let mut limits = DieLimits::default();
            limits.watch.push(watch(Channel::Total, 0.0, 1.0)).unwrap();
            limits.watch.push(window).unwrap();
            limits.check(2)
        };
        let good = watch(Channel::Column(1), 5.0, 5.0);
        assert_eq!(second(good), Ok(()));
        assert_eq!(second(watch(Channel::Total, f32::NEG_INFINITY, f32::INFINITY)), Ok(()), "an open limit");
        for bad in [
            watch(Channel::Column(2), 0.0, 1.0),
            watch(Channel::Total, 5.0, 4.9),
            watch(Channel::Total, f32::NAN, 1.0),
            watch(Channel::Total, 0.0, f32::NAN),
        ] {
            assert_eq!(second(bad), Err(DieError::Watch(1)), "{bad:?}");
        }
        assert_eq!(
            second(WatchWindow { verdict: Verdict::Pass, ..good }),
            Err(DieError::Consequence("watch"))
        );

        let input = |input: u8, verdict: Verdict| {
            let WatchWindow { span, rule, .. } = good;
            let mut limits = DieLimits::default();
            let window = SensorWindow { span, input, must: SensorRule::OnOnce, verdict, rule };
            limits.sensors.push(window).unwrap();
            limits.check(1)
        };
        assert_eq!([0, 7].map(|number| input(number, Verdict::Note)), [Ok(()); 2]);
        assert_eq!([8, 255].map(|number| input(number, Verdict::Note)), [Err(DieError::Sensor(0)); 2]);
        assert_eq!(input(0, Verdict::Pass), Err(DieError::Consequence("sensor")));
    }

    #[test]
    fn a_refusal_names_the_field_or_the_window_counted_from_one() {
        for (error, says) in [
            (DieError::Band("peak_kn"), "peak_kn: needs"),
            (DieError::Threshold("no_load_kn"), "no_load_kn: needs"),
            (DieError::Consequence("envelope"), "envelope: must give"),
            (DieError::Watch(0), "watch window 1: needs"),
            (DieError::Sensor(7), "sensor window 8: names"),
            (DieError::InStroke, "a stroke is under way"),
        ] {
            assert!(error.to_string().starts_with(says), "{error}");
        }
    }
}
