//! Health of gauges and of the frame stream: a result of its own beside the verdict.

use crate::units::Tick;
use crate::verdict::Reason;

/// What one gauge is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum GaugeHealth {
    /// Nothing against it.
    #[default]
    Good,
    /// At an end of the converter's range in this frame.
    Saturated,
    /// At an end of the range for longer than any stroke could hold it there: a broken wire or bridge.
    Open,
    /// The converter's own zero without noise while the others moved: shorted.
    Short,
    /// One value without noise while the others moved.
    Stuck,
    /// Unloaded, and noisier than it may be.
    Noisy,
    /// Its zero has drifted as far as tracking may follow.
    Drifting,
}

impl GaugeHealth {
    /// The reason it gives, if it is one.
    #[must_use]
    pub const fn reason(self) -> Option<Reason> {
        match self {
            Self::Good => None,
            Self::Saturated => Some(Reason::GaugeSaturated),
            Self::Open => Some(Reason::GaugeOpen),
            Self::Short => Some(Reason::GaugeShort),
            Self::Stuck => Some(Reason::GaugeStuck),
            Self::Noisy => Some(Reason::GaugeNoisy),
            Self::Drifting => Some(Reason::GaugeDrifting),
        }
    }
}

/// Limits of gauge health.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HealthRules {
    /// Frames at a rail after which a gauge counts as open.
    pub rail_frames: u32,
    /// Frames of one repeated value after which a gauge counts as stuck, if the others moved meanwhile.
    pub stuck_frames: u32,
    /// Change of the other columns' sum during the repetition that makes it suspicious, kN.
    pub stuck_others_kn: f32,
    /// Frames of one repeated value, in a stroke, after which a gauge counts as stuck whatever the others do.
    pub stuck_alone_frames: u32,
    /// A stuck gauge within this of the converter's own zero counts as shorted, counts.
    pub short_counts: i32,
    /// Mean size of the second difference of an unloaded gauge above which it is noisy, kN.
    pub noise_kn: f32,
}

#[derive(Debug, Clone, Copy, Default)]
struct Gauge {
    /// A reading has been seen since the last interruption.
    seen: bool,
    last: i32,
    run: u32,
    others_at_run: f32,
    moved: bool,
    rail_run: u32,
    /// The last two loads while unloaded, and how many of them there are.
    previous_kn: [f32; 2],
    previous: u8,
    noise_kn: f32,
}

/// Health of all gauges.
#[derive(Debug, Clone, Copy)]
pub struct GaugeWatch<const N: usize> {
    gauges: [Gauge; N],
}

impl<const N: usize> Default for GaugeWatch<N> {
    fn default() -> Self {
        Self { gauges: [Gauge::default(); N] }
    }
}

/// Weight of one unloaded frame in the running noise figure: about the last 256 of them.
const NOISE_WEIGHT: f32 = 1.0 / 256.0;

/// One gauge's reading as the watch needs it.
#[derive(Debug, Clone, Copy)]
pub struct Reading {
    /// Raw counts.
    pub counts: i32,
    /// Whether they are at an end of the range.
    pub saturated: bool,
    /// Load before spike guard and filter, kN.
    pub load_kn: f32,
    /// Sum of the other columns' loads, kN.
    pub others_kn: f32,
}

impl Gauge {
    /// Takes in one load of the unloaded gauge: the second difference of neighbours is noise, whatever the drift.
    #[inline]
    fn listen(&mut self, load_kn: f32) {
        let [one, two] = self.previous_kn;
        if self.previous >= 2 {
            let second_difference = (load_kn - 2.0 * one + two).abs();
            self.noise_kn += NOISE_WEIGHT * (second_difference - self.noise_kn);
        } else {
            self.previous += 1;
        }
        self.previous_kn = [load_kn, one];
    }
}

impl<const N: usize> GaugeWatch<N> {
    /// Takes in one frame's reading of one column.
    #[inline]
    pub fn step(&mut self, rules: &HealthRules, column: usize, now: Reading, unloaded: bool) -> GaugeHealth {
        let Some(gauge) = self.gauges.get_mut(column) else { return GaugeHealth::Good };
        if gauge.seen && now.counts == gauge.last {
            gauge.run = gauge.run.saturating_add(1);
            gauge.moved |= (now.others_kn - gauge.others_at_run).abs() > rules.stuck_others_kn;
        } else {
            gauge.seen = true;
            gauge.last = now.counts;
            gauge.run = 0;
            gauge.moved = false;
            gauge.others_at_run = now.others_kn;
        }
        if unloaded {
            gauge.listen(now.load_kn);
        } else {
            gauge.previous = 0;
        }
        if now.saturated {
            gauge.rail_run = gauge.rail_run.saturating_add(1);
            return if gauge.rail_run >= rules.rail_frames {
                GaugeHealth::Open
            } else {
                GaugeHealth::Saturated
            };
        }
        gauge.rail_run = 0;
        if (gauge.run >= rules.stuck_frames && gauge.moved) || gauge.run >= rules.stuck_alone_frames {
            if now.counts.saturating_abs() <= rules.short_counts {
                GaugeHealth::Short
            } else {
                GaugeHealth::Stuck
            }
        } else if gauge.noise_kn > rules.noise_kn {
            GaugeHealth::Noisy
        } else {
            GaugeHealth::Good
        }
    }

    /// The running noise figure of a column: mean size of the second difference while unloaded, kN.
    #[must_use]
    pub fn noise_kn(&self, column: usize) -> f32 {
        self.gauges.get(column).map_or(0.0, |gauge| gauge.noise_kn)
    }

    /// The stream was interrupted on purpose: repetition and differences start afresh, rails and noise stay.
    pub fn interrupt(&mut self) {
        for gauge in &mut self.gauges {
            gauge.seen = false;
            gauge.run = 0;
            gauge.moved = false;
            gauge.previous = 0;
        }
    }
}

/// Watches the sample clock: every frame's tick is the last one's plus one.
#[derive(Debug, Clone, Copy, Default)]
pub struct ClockWatch {
    last: Option<Tick>,
}

impl ClockWatch {
    /// Takes in one frame's tick; gives what is wrong with it.
    #[inline]
    pub fn step(&mut self, tick: Tick) -> Option<Reason> {
        let gap = self.last.map_or(1, |last| tick.since(last));
        self.last = Some(tick);
        match gap {
            1 => None,
            0 => Some(Reason::FramesRepeated),
            _ => Some(Reason::FramesLost),
        }
    }

    /// The next tick may be any: the source left frames out on purpose.
    pub fn interrupt(&mut self) {
        self.last = None;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RULES: HealthRules = HealthRules {
        rail_frames: 10,
        stuck_frames: 5,
        stuck_others_kn: 20.0,
        stuck_alone_frames: 100,
        short_counts: 3,
        noise_kn: 1.0,
    };

    fn run(frames: usize, reading: impl Fn(usize) -> Reading, unloaded: bool) -> GaugeHealth {
        let mut watch = GaugeWatch::<1>::default();
        (0..frames).map(|n| watch.step(&RULES, 0, reading(n), unloaded)).last().unwrap()
    }

    fn reading(counts: i32, load_kn: f32, others_kn: f32) -> Reading {
        Reading { counts, saturated: false, load_kn, others_kn }
    }

    #[test]
    fn a_repeated_value_is_stuck_only_when_the_others_move() {
        assert_eq!(run(50, |_| reading(7, 50.0, 100.0), false), GaugeHealth::Good);
        assert_eq!(run(50, |n| reading(7, 50.0, n as f32), false), GaugeHealth::Stuck);
        assert_eq!(run(50, |n| reading(-3, 50.0, n as f32), false), GaugeHealth::Short);
        assert_eq!(run(50, |n| reading(n as i32 % 2, 50.0, n as f32), false), GaugeHealth::Good);
    }

    #[test]
    fn a_lone_gauge_is_stuck_after_the_longer_run() {
        assert_eq!(run(100, |_| reading(7, 50.0, 0.0), false), GaugeHealth::Good);
        assert_eq!(run(101, |_| reading(7, 50.0, 0.0), false), GaugeHealth::Stuck);
    }

    #[test]
    fn the_rail_is_saturated_at_once_and_open_after_a_while() {
        let rail = |_| Reading { counts: 9, saturated: true, load_kn: 900.0, others_kn: 0.0 };
        assert_eq!(run(1, rail, false), GaugeHealth::Saturated);
        assert_eq!(run(9, rail, false), GaugeHealth::Saturated);
        assert_eq!(run(10, rail, false), GaugeHealth::Open);
    }

    #[test]
    fn noise_counts_only_while_unloaded() {
        let noisy = |n: usize| reading(n as i32, if n.is_multiple_of(2) { 2.0 } else { -2.0 }, 0.0);
        assert_eq!(run(600, noisy, true), GaugeHealth::Noisy);
        assert_eq!(run(600, noisy, false), GaugeHealth::Good);
    }

    #[test]
    fn lost_and_repeated_frames_are_told_apart() {
        let mut clock = ClockWatch::default();
        assert_eq!(clock.step(Tick(u32::MAX)), None);
        assert_eq!(clock.step(Tick(0)), None);
        assert_eq!(clock.step(Tick(0)), Some(Reason::FramesRepeated));
        assert_eq!(clock.step(Tick(2)), Some(Reason::FramesLost));
        clock.interrupt();
        assert_eq!(clock.step(Tick(900)), None);
    }
}
