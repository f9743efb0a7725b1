//! Watch windows on the load and sensor windows on the inputs, by position in the stroke.

use crate::often::MofN;
use crate::stroke::Position;
use crate::units::CrankAngle;
use crate::verdict::{Finding, Reason, Verdict};

/// A part of the stroke, by crank angle or by ticks from load onset.
///
/// Kept as a start and a width, so that a frame is compared with one subtraction.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Span {
    by_angle: bool,
    from: u32,
    width: u32,
}

impl Span {
    /// From one angle to another, both inside. A span over the top of the stroke (350° to 10°) is understood.
    #[must_use]
    pub fn angles(from: CrankAngle, to: CrankAngle) -> Self {
        Self { by_angle: true, from: from.0, width: to.0.wrapping_sub(from.0) }
    }

    /// From one tick after load onset to another, both inside; nothing if they are the wrong way round.
    #[must_use]
    pub fn ticks(from: u32, to: u32) -> Option<Self> {
        Some(Self { by_angle: false, from, width: to.checked_sub(from)? })
    }

    /// Whether a position lies inside.
    #[must_use]
    #[inline]
    pub fn contains(&self, position: Position) -> bool {
        let (by_angle, here) = match position {
            Position::Angle(angle) => (true, angle.0),
            Position::SinceOnset(ticks) => (false, ticks),
            Position::Unknown => return false,
        };
        by_angle == self.by_angle && here.wrapping_sub(self.from) <= self.width
    }

    /// Whether a stroke that has come as far as this, from the top or from load onset, has been inside already.
    pub(crate) fn begun(&self, position: Position) -> bool {
        let here = match position {
            Position::Angle(angle) => angle.0,
            Position::SinceOnset(ticks) => ticks,
            Position::Unknown => return false,
        };
        let same = self.by_angle == matches!(position, Position::Angle(_));
        let over_the_top = self.by_angle && self.from.checked_add(self.width).is_none();
        same && (self.from <= here || over_the_top)
    }

    /// First and last position inside.
    #[must_use]
    pub fn ends(&self) -> [Position; 2] {
        [self.from, self.from.wrapping_add(self.width)].map(|place| {
            if self.by_angle { Position::Angle(CrankAngle(place)) } else { Position::SinceOnset(place) }
        })
    }
}

/// Which of up to 32 spans a position lies in, found anew only where one begins or ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Inside {
    by_angle: bool,
    /// From here, for so far, the answer is `mask`.
    from: u32,
    length: u32,
    mask: u32,
}

impl Inside {
    /// What [`Self::mask`] says, where it is known from the frame before.
    #[inline]
    pub fn known(&self, position: Position) -> Option<u32> {
        let (by_angle, here) = match position {
            Position::Angle(angle) => (true, angle.0),
            Position::SinceOnset(ticks) => (false, ticks),
            Position::Unknown => return Some(0),
        };
        (by_angle == self.by_angle && here.wrapping_sub(self.from) < self.length).then_some(self.mask)
    }

    /// Bit n is set where the position lies in the n-th span; no bit where it is unknown.
    pub fn mask(&mut self, position: Position, spans: impl IntoIterator<Item = Span>) -> u32 {
        if let Some(mask) = self.known(position) {
            return mask;
        }
        self.begin(position);
        for (n, span) in (0..).zip(spans) {
            self.look(n, span);
        }
        self.mask
    }

    /// Begins to find the answer for a position; [`Self::look`] at each span is to follow.
    pub(crate) fn begin(&mut self, position: Position) {
        let (by_angle, from) = match position {
            Position::Angle(angle) => (true, angle.0),
            Position::SinceOnset(ticks) => (false, ticks),
            Position::Unknown => return,
        };
        *self = Self { by_angle, from, length: u32::MAX, mask: 0 };
    }

    /// Takes in the n-th span.
    pub(crate) fn look(&mut self, n: u32, span: Span) {
        if span.by_angle != self.by_angle {
            return;
        }
        let into = self.from.wrapping_sub(span.from);
        let within = into <= span.width;
        self.mask |= u32::from(within) << (n & 31);
        // To its end if it is under way, else to its beginning; a span of all there is never changes.
        let change = if within { span.width - into } else { span.from.wrapping_sub(self.from) - 1 };
        if change < self.length {
            self.length = change + 1;
        }
    }

    /// The spans are others now.
    pub fn forget(&mut self) {
        self.length = 0;
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
    /// How often they must have been left.
    pub rule: MofN,
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
    pub must: SensorRule,
    /// What missing it means.
    pub verdict: Verdict,
    /// How often it must have been missed.
    pub rule: MofN,
}

/// What has been seen of the load inside one window in this stroke.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Seen {
    frames: u32,
    /// What the window limits, kN.
    value: f32,
}

/// What has been seen of the sensor inside one window in this stroke.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct SensorSeen {
    frames: u32,
    on: u32,
}

impl Seen {
    /// Of a window that had begun when the die was changed: this stroke says nothing about it.
    pub(crate) const VOID: Self = Self { frames: u32::MAX, value: 0.0 };

    /// Whether the stroke says anything about the window.
    fn counts(&self) -> bool {
        self.frames != u32::MAX
    }

    /// What the window limits, kN; none if no frame fell inside.
    #[must_use]
    pub fn value(&self) -> Option<f32> {
        (self.frames > 0).then_some(self.value)
    }

    /// Takes in one frame of a watched load, of which `limited` is judged.
    #[inline]
    pub fn load(&mut self, limited: WindowValue, load: f32) {
        self.frames = self.frames.saturating_add(1);
        let first = self.frames == 1;
        match limited {
            WindowValue::Greatest if first || load > self.value => self.value = load,
            WindowValue::Least if first || load < self.value => self.value = load,
            WindowValue::Mean if first => self.value = load,
            // Welford: no sum grows with the length of the window.
            WindowValue::Mean => self.value += (load - self.value) / self.frames as f32,
            WindowValue::Greatest | WindowValue::Least => {}
        }
    }
}

impl SensorSeen {
    /// See [`Seen::VOID`].
    pub(crate) const VOID: Self = Self { frames: u32::MAX, on: 0 };

    /// Takes in so many frames in which the sensor is alike.
    pub fn sensor(&mut self, on: bool, frames: u32) {
        self.frames = self.frames.saturating_add(frames);
        self.on = self.on.saturating_add(if on { frames } else { 0 });
    }
}

/// Frames in a row that have the same sensors on and lie in the same windows: counted together, and told to the windows
/// when that changes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) struct Alike {
    pub(crate) inside: u32,
    pub(crate) sensors: u8,
    pub(crate) frames: u32,
}

impl WatchWindow {
    /// What the stroke's end finds. A window that no frame fell into is missed, not passed.
    #[must_use]
    pub fn judge(&self, seen: &Seen) -> Option<Finding> {
        let value = seen.value().unwrap_or(f32::NAN);
        if !seen.counts() || (value >= self.low_kn && value <= self.high_kn) {
            return None;
        }
        let [from, to] = self.span.ends();
        Some(Finding {
            reason: Reason::WatchWindow,
            verdict: self.verdict,
            column: match self.channel {
                Channel::Total => None,
                Channel::Column(column) => Some(column),
            },
            from,
            to,
            value,
            limit: if value < self.low_kn { self.low_kn } else { self.high_kn },
        })
    }
}

impl SensorWindow {
    /// What the stroke's end finds. A window that no frame fell into is missed, not passed.
    #[must_use]
    pub fn judge(&self, seen: &SensorSeen) -> Option<Finding> {
        let kept = seen.frames > 0
            && match self.must {
                SensorRule::OnOnce => seen.on > 0,
                SensorRule::OnThroughout => seen.on == seen.frames,
                SensorRule::OffThroughout => seen.on == 0,
            };
        let [from, to] = self.span.ends();
        (!kept && seen.frames != u32::MAX).then_some(Finding {
            reason: Reason::SensorWindow,
            verdict: self.verdict,
            column: Some(self.input),
            from,
            to,
            value: seen.on as f32,
            limit: seen.frames as f32,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(degrees: f64) -> Position {
        Position::Angle(CrankAngle::from_degrees(degrees))
    }

    fn span(from: f64, to: f64) -> Span {
        Span::angles(CrankAngle::from_degrees(from), CrankAngle::from_degrees(to))
    }

    #[test]
    fn a_span_may_lie_over_the_top() {
        let span = span(350.0, 10.0);
        for (degrees, inside) in
            [(349.0, false), (350.0, true), (0.0, true), (10.0, true), (11.0, false), (180.0, false)]
        {
            assert_eq!(span.contains(at(degrees)), inside, "{degrees}");
        }
        assert!(!span.contains(Position::SinceOnset(0)) && !span.contains(Position::Unknown));
        let late = Span::ticks(5, 9).unwrap();
        assert!(
            [4, 5, 9, 10].map(|tick| late.contains(Position::SinceOnset(tick))) == [false, true, true, false]
        );
        assert!(!late.contains(at(0.0)) && Span::ticks(9, 5).is_none());
    }

    #[test]
    fn the_remembered_answer_is_the_answer_of_each_span_forwards_backwards_and_over_the_top() {
        let spans = [
            span(350.0, 10.0),
            span(90.0, 200.0),
            span(200.0, 210.0),
            span(5.0, 5.0),
            span(0.0, 359.999_999_9),
        ];
        let mut inside = Inside::default();
        let turn = (0..4000).map(|n| f64::from(n) * 0.09);
        let rocking = (0..4000).map(|n| 180.0 + 179.0 * libm::sin(f64::from(n) * 0.7));
        for degrees in turn.clone().chain(turn).chain(rocking) {
            let position = at(degrees);
            let mask = inside.mask(position, spans.iter().copied());
            for (n, span) in spans.iter().enumerate() {
                assert_eq!(mask & (1 << n) != 0, span.contains(position), "span {n} at {degrees}");
            }
        }
        assert_eq!(inside.mask(Position::Unknown, spans.iter().copied()), 0);
        let ticks = [Span::ticks(0, 3).unwrap(), Span::ticks(2, 9).unwrap()];
        for tick in [0, 1, 2, 3, 4, 9, 10, 0, 5, 3] {
            let mask = inside.mask(Position::SinceOnset(tick), ticks.iter().copied());
            assert_eq!(mask, u32::from(tick <= 3) | u32::from((2..=9).contains(&tick)) << 1, "tick {tick}");
        }
    }

    #[test]
    fn a_remembered_answer_ends_with_a_change_of_kind_of_spans_and_where_one_ends_as_another_is_near() {
        let angles = [Span::angles(CrankAngle(0), CrankAngle(200))];
        let mut inside = Inside::default();
        let mask =
            |inside: &mut Inside, position, spans: &[Span]| inside.mask(position, spans.iter().copied());
        assert_eq!(mask(&mut inside, Position::Angle(CrankAngle(100)), &angles), 1);
        assert_eq!(
            mask(&mut inside, Position::SinceOnset(100), &angles),
            0,
            "a time lies in no span of angles"
        );
        assert_eq!(mask(&mut inside, Position::Angle(CrankAngle(100)), &angles), 1);
        assert_eq!(mask(&mut inside, Position::Angle(CrankAngle(101)), &[]), 1, "remembered");
        inside.forget();
        assert_eq!(mask(&mut inside, Position::Angle(CrankAngle(101)), &[]), 0, "these are others");
        // Every unit on either side of each end, whichever of the spans comes first.
        let [a, b] = [(0, 10), (12, 20)].map(|(from, to)| Span::ticks(from, to).unwrap());
        for spans in [[a, b], [b, a]] {
            let mut inside = Inside::default();
            for tick in 5..25 {
                let position = Position::SinceOnset(tick);
                let wanted =
                    u32::from(spans[0].contains(position)) | u32::from(spans[1].contains(position)) << 1;
                assert_eq!(mask(&mut inside, position, &spans), wanted, "{tick} in {spans:?}");
            }
        }
    }

    #[test]
    fn a_span_has_begun_once_the_stroke_has_come_to_its_start_and_over_the_top_always() {
        let early = span(90.0, 200.0);
        assert_eq!([89.0, 90.0, 210.0].map(|degrees| early.begun(at(degrees))), [false, true, true]);
        assert!(span(350.0, 10.0).begun(at(100.0)), "it began before the top");
        let late = Span::ticks(5, 9).unwrap();
        let begun = [4, 5, 10].map(|ticks| late.begun(Position::SinceOnset(ticks)));
        assert_eq!(begun, [false, true, true]);
        // A place of another kind, or none, says nothing.
        assert!(!early.begun(Position::SinceOnset(u32::MAX)) && !late.begun(at(300.0)));
        assert!(!early.begun(Position::Unknown) && !late.begun(Position::Unknown));
        assert!(!span(350.0, 10.0).begun(Position::SinceOnset(9)));
    }

    #[test]
    fn each_window_value_is_judged_against_both_limits() {
        let seen = |value| {
            let mut seen = Seen::default();
            [20.0, 30.0, 10.0, 24.0].into_iter().for_each(|load| seen.load(value, load));
            seen
        };
        let window = |value, low_kn, high_kn| WatchWindow {
            span: span(0.0, 1.0),
            channel: Channel::Column(2),
            value,
            low_kn,
            high_kn,
            verdict: Verdict::Hold,
            rule: MofN::FIRST,
        };
        for (value, is) in
            [(WindowValue::Greatest, 30.0), (WindowValue::Least, 10.0), (WindowValue::Mean, 21.0)]
        {
            let seen = seen(value);
            assert_eq!(window(value, is, is).judge(&seen), None);
            assert_eq!(window(value, is + 0.1, 99.0).judge(&seen).map(|f| f.limit), Some(is + 0.1));
            assert_eq!(window(value, 0.0, is - 0.1).judge(&seen).map(|f| f.limit), Some(is - 0.1));
            assert!(window(value, 0.0, 99.0).judge(&Seen::default()).is_some(), "an empty window is missed");
        }
    }

    #[test]
    fn a_watch_window_that_had_begun_when_the_die_was_changed_says_nothing_whatever_comes_after() {
        let (channel, value, verdict, rule) =
            (Channel::Total, WindowValue::Greatest, Verdict::Hold, MofN::FIRST);
        let window =
            WatchWindow { span: span(0.0, 1.0), channel, value, low_kn: 5.0, high_kn: 9.0, verdict, rule };
        let mut seen = Seen::VOID;
        assert_eq!(window.judge(&seen), None);
        seen.load(value, 99.0);
        assert_eq!(window.judge(&seen), None);
    }

    #[test]
    fn sensor_rules_hold_over_the_whole_window() {
        let seen = |pattern: &[bool]| {
            let mut seen = SensorSeen::default();
            pattern.iter().for_each(|on| seen.sensor(*on, 1));
            seen
        };
        let window = |must| SensorWindow {
            span: span(0.0, 1.0),
            input: 3,
            must,
            verdict: Verdict::Hold,
            rule: MofN::FIRST,
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
