//! Health of gauges and of the frame stream: a result of its own beside the verdict.

use crate::units::Tick;
use crate::verdict::Reason;

pub mod gain;
pub mod hum;

pub use gain::GainWatch;
pub use hum::HumRules;
use hum::HumWatch;

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
    /// Mains hum on it.
    Humming,
    /// In the last stroke it read less than its neighbours say it should.
    GainLost,
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
            Self::Humming => Some(Reason::GaugeHum),
            Self::GainLost => Some(Reason::GaugeGain),
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
    /// Amplitude of mains hum above which a gauge hums, kN; infinite where ticks are no true time.
    pub hum_kn: f32,
    /// Frames in which no gauge at all changed its reading after which frames count as repeated: converters that work
    /// have noise. `u32::MAX` for recordings, whose loads may be rounded.
    pub repeat_frames: u32,
}

/// One gauge's repetitions.
#[derive(Debug, Clone, Copy, Default)]
struct Run {
    /// Frames that repeated the reading before.
    frames: u32,
    /// Sum of the others where it began, kN.
    others_kn: f32,
    moved: bool,
    /// Frames at an end of the range.
    rail: u32,
}

/// Health of all gauges.
#[derive(Debug, Clone, Copy)]
pub struct GaugeWatch<const N: usize> {
    /// A frame has been seen since the last interruption.
    seen: bool,
    /// Neither of the three below is against any gauge.
    well: bool,
    /// No gauge repeats itself or is at an end of its range.
    lively: bool,
    /// A gauge is noisier than it may be.
    noisy: bool,
    /// A gauge hums.
    hums: bool,
    /// No gauge has changed its reading for too long.
    stale: bool,
    /// Unloaded frames in a row, counted round and round to [`HEARD`].
    heard: u8,
    counts: [i32; N],
    /// The last frame's loads and their sum, kN.
    previous_kn: [f32; N],
    total_kn: f32,
    /// Loads of the first of three frames whose second difference is taken, kN.
    first_kn: [f32; N],
    noise_kn: [f32; N],
    hum: HumWatch<N>,
    runs: [Run; N],
    /// What a learned shape says instead of [`HealthRules::stuck_alone_frames`].
    alone_frames: Option<u32>,
}

impl<const N: usize> Default for GaugeWatch<N> {
    fn default() -> Self {
        Self {
            seen: false,
            well: true,
            lively: true,
            noisy: false,
            hums: false,
            stale: false,
            heard: 0,
            counts: [0; N],
            previous_kn: [0.0; N],
            total_kn: 0.0,
            first_kn: [0.0; N],
            noise_kn: [0.0; N],
            hum: HumWatch::default(),
            runs: [Run::default(); N],
            alone_frames: None,
        }
    }
}

/// Unloaded frames in which noise is measured twice, from three of them each: four and five frames apart, so that no
/// rhythm of the signal shows the same of itself every time.
const HEARD: u8 = 9;
/// Weight of one measurement in the running noise figure: about the last 256 unloaded frames.
const NOISE_WEIGHT: f32 = HEARD as f32 / 2.0 / 256.0;

/// One frame's readings as the watch needs them.
#[derive(Debug, Clone, Copy)]
pub struct Readings<'a, const N: usize> {
    /// `[column]`: raw counts.
    pub counts: &'a [i32; N],
    /// Ends of the converter's range: at or beyond either a gauge is saturated.
    pub range_counts: [i32; 2],
    /// `[column]`: loads before spike guard and filter, kN.
    pub loads_kn: &'a [f32; N],
    /// Their sum, kN.
    pub total_kn: f32,
}

impl<const N: usize> GaugeWatch<N> {
    /// The die's own say on how long one gauge alone may repeat its reading; none is the press's,
    /// [`HealthRules::stuck_alone_frames`].
    pub fn set_alone_frames(&mut self, frames: Option<u32>) {
        self.alone_frames = frames;
    }

    /// Takes in one frame's readings. None if nothing is against any gauge, else the health of each.
    ///
    /// Nearly all frames are such that no gauge repeats its reading: that is seen by one comparison a column.
    #[inline]
    pub fn step(
        &mut self,
        rules: &HealthRules,
        now: &Readings<'_, N>,
        unloaded: bool,
    ) -> Option<[GaugeHealth; N]> {
        let [least, greatest] = now.range_counts;
        // Counts strictly between the ends are below this number, counted from the first of them.
        let inside = greatest.wrapping_sub(least).wrapping_sub(1) as u32;
        let mut lively = true;
        for (count, last) in now.counts.iter().zip(&self.counts) {
            lively &= count != last;
            lively &= (count.wrapping_sub(least).wrapping_sub(1) as u32) < inside;
        }
        if !(lively && self.lively) {
            self.run(rules, now.range_counts, *now.counts, *now.loads_kn, now.total_kn);
        }
        self.seen = true;
        self.counts = *now.counts;
        self.total_kn = now.total_kn;
        if unloaded {
            match self.heard {
                0 | 4 => self.first_kn = *now.loads_kn,
                2 | 6 => self.listen(rules, *now.loads_kn),
                _ => {}
            }
            self.heard = if self.heard >= HEARD - 1 { 0 } else { self.heard + 1 };
        } else {
            self.heard = 0;
        }
        self.previous_kn = *now.loads_kn;
        (!self.well).then(|| self.health(rules, now.counts))
    }

    /// Listens for hum; `idle` says that the die does not work in this frame.
    #[inline]
    pub fn listen_for_hum(&mut self, rules: &HumRules, loads_kn: &[f32; N], idle: bool) {
        if !idle {
            self.hum.give_up();
        } else if self.hum.step(rules, loads_kn) {
            self.hums = self.hum.any();
            self.sum_up();
        }
    }

    fn sum_up(&mut self) {
        self.well = self.lively && !self.noisy && !self.hums;
    }

    /// Whether no gauge has changed its reading for longer than a converter that works could give.
    #[must_use]
    pub fn is_stale(&self) -> bool {
        self.stale
    }

    /// A gauge repeats its reading or is at an end of its range, or did so in the frame before.
    #[inline(never)]
    fn run(
        &mut self,
        rules: &HealthRules,
        [least, greatest]: [i32; 2],
        counts: [i32; N],
        loads_kn: [f32; N],
        total_kn: f32,
    ) {
        self.lively = true;
        let mut fewest = u32::MAX;
        let columns = counts.iter().zip(&self.counts).zip(loads_kn).zip(&self.previous_kn);
        for ((((count, last), load_kn), previous_kn), run) in columns.zip(&mut self.runs) {
            if self.seen && count == last {
                if run.frames == 0 {
                    run.others_kn = self.total_kn - previous_kn;
                    run.moved = false;
                }
                run.frames = run.frames.saturating_add(1);
                let others_kn = total_kn - load_kn;
                run.moved |= (others_kn - run.others_kn).abs() > rules.stuck_others_kn;
            } else {
                run.frames = 0;
            }
            let saturated = *count <= least || *count >= greatest;
            run.rail = if saturated { run.rail.saturating_add(1) } else { 0 };
            self.lively &= run.frames == 0 && run.rail == 0;
            fewest = fewest.min(run.frames);
        }
        // Of a lone gauge it cannot be told whether it is stuck or all that comes is.
        self.stale = N > 1 && fewest >= rules.repeat_frames.max(1);
        self.sum_up();
    }

    /// The third of three frames of the unloaded press: the second difference of neighbours is noise, whatever the drift.
    #[inline(never)]
    fn listen(&mut self, rules: &HealthRules, loads_kn: [f32; N]) {
        let mut noisy = false;
        let earlier = self.previous_kn.iter().zip(&self.first_kn);
        for ((noise, load), (one, two)) in self.noise_kn.iter_mut().zip(&loads_kn).zip(earlier) {
            let second_difference = (load - 2.0 * one + two).abs();
            *noise += NOISE_WEIGHT * (second_difference - *noise);
            noisy |= *noise > rules.noise_kn;
        }
        self.noisy = noisy;
        self.sum_up();
    }

    #[inline(never)]
    fn health(&self, rules: &HealthRules, counts: &[i32; N]) -> [GaugeHealth; N] {
        let mut all = [GaugeHealth::Good; N];
        let alone_frames = self.alone_frames.unwrap_or(rules.stuck_alone_frames);
        let columns = self.runs.iter().zip(&self.noise_kn).zip(counts).enumerate();
        for (health, (column, ((run, noise_kn), count))) in all.iter_mut().zip(columns) {
            *health = if run.rail >= rules.rail_frames.max(1) {
                GaugeHealth::Open
            } else if run.rail > 0 {
                GaugeHealth::Saturated
            } else if (run.frames >= rules.stuck_frames && run.frames > 0 && run.moved)
                || run.frames >= alone_frames
            {
                if count.saturating_abs() <= rules.short_counts {
                    GaugeHealth::Short
                } else {
                    GaugeHealth::Stuck
                }
            } else if *noise_kn > rules.noise_kn {
                GaugeHealth::Noisy
            } else if self.hum.hums(column) {
                GaugeHealth::Humming
            } else {
                GaugeHealth::Good
            };
        }
        all
    }

    /// The running noise figure of a column: mean size of the second difference while unloaded, kN.
    #[must_use]
    pub fn noise_kn(&self, column: usize) -> f32 {
        self.noise_kn.get(column).copied().unwrap_or(0.0)
    }

    /// The stream was interrupted on purpose: repetition and differences start afresh, rails and noise stay.
    pub fn interrupt(&mut self) {
        self.seen = false;
        self.heard = 0;
        self.stale = false;
        self.hum.give_up();
        for run in &mut self.runs {
            run.frames = 0;
        }
    }
}

/// Watches the sample clock: every frame's tick is the last one's plus one.
#[derive(Debug, Clone, Copy, Default)]
pub struct ClockWatch {
    /// The next frame's tick, once there has been a frame.
    next: Tick,
    seen: bool,
}

impl ClockWatch {
    /// Takes in one frame's tick; gives what is wrong with it.
    #[inline]
    pub fn step(&mut self, tick: Tick) -> Option<Reason> {
        let due = self.next;
        self.next = Tick(tick.0.wrapping_add(1));
        if self.seen && tick == due { None } else { self.unexpected(due) }
    }

    #[inline(never)]
    fn unexpected(&mut self, due: Tick) -> Option<Reason> {
        let first = !core::mem::replace(&mut self.seen, true);
        if first {
            None
        } else if self.next == due {
            Some(Reason::FramesRepeated)
        } else {
            Some(Reason::FramesLost)
        }
    }

    /// The next tick may be any: the source left frames out on purpose.
    pub fn interrupt(&mut self) {
        self.seen = false;
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
        hum_kn: 1.0,
        repeat_frames: 30,
    };

    /// Counts, load and the others' load of one column's frame.
    type Reading = (i32, f32, f32);

    fn run(frames: usize, reading: impl Fn(usize) -> Reading, unloaded: bool) -> GaugeHealth {
        let mut watch = GaugeWatch::<1>::default();
        let step = |n| {
            let (counts, load_kn, others_kn) = reading(n);
            let now = Readings {
                counts: &[counts],
                range_counts: [-9, 1000],
                loads_kn: &[load_kn],
                total_kn: load_kn + others_kn,
            };
            watch.step(&RULES, &now, unloaded).map_or(GaugeHealth::Good, |[health]| health)
        };
        (0..frames).map(step).last().unwrap()
    }

    fn reading(counts: i32, load_kn: f32, others_kn: f32) -> Reading {
        (counts, load_kn, others_kn)
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
        for end in [-9, 1000] {
            let rail = |_| reading(end, 900.0, 0.0);
            assert_eq!(run(1, rail, false), GaugeHealth::Saturated);
            assert_eq!(run(9, rail, false), GaugeHealth::Saturated);
            assert_eq!(run(10, rail, false), GaugeHealth::Open);
        }
    }

    #[test]
    fn noise_counts_only_while_unloaded() {
        let noisy = |n: usize| reading(n as i32, if n.is_multiple_of(2) { 2.0 } else { -2.0 }, 0.0);
        assert_eq!(run(600, noisy, true), GaugeHealth::Noisy);
        assert_eq!(run(600, noisy, false), GaugeHealth::Good);
    }

    #[test]
    fn frames_in_which_no_gauge_at_all_changes_are_stale_after_a_while() {
        let mut watch = GaugeWatch::<2>::default();
        let mut step = |counts: &[i32; 2]| {
            let now = Readings { counts, range_counts: [-999, 999], loads_kn: &[1.0; 2], total_kn: 2.0 };
            watch.step(&RULES, &now, true);
            watch.is_stale()
        };
        assert!((0..30).all(|_| !step(&[5, 6])));
        assert!(step(&[5, 6]), "the thirtieth repetition");
        assert!(!step(&[5, 7]), "one moves again");
        assert!((0..90).all(|n| !step(&[5, n % 2])), "one that stands still is stuck, not all of them");
        let mut lone = GaugeWatch::<1>::default();
        let now = Readings { counts: &[5], range_counts: [-999, 999], loads_kn: &[1.0], total_kn: 1.0 };
        for _ in 0..90 {
            lone.step(&RULES, &now, true);
        }
        assert!(!lone.is_stale(), "a lone gauge may be stuck");
    }

    #[test]
    fn only_whole_tenths_without_work_are_listened_to_for_hum() {
        // 30 ms of work after every 120 ms leave a whole tenth each time; after every 60 ms they never do, though the
        // hum's phase goes on as if nothing had come between.
        let rules = HumRules::new(2_000.0, RULES.hum_kn).unwrap();
        let hums = |idle: u32, work: u32| {
            let mut watch = GaugeWatch::<1>::default();
            let mut any = false;
            for n in 0..4_000_u32 {
                let hum = 2.0 * libm::sinf(n as f32 * 0.157_079_63);
                watch.listen_for_hum(&rules, &[hum], n % (idle + work) < idle);
                any |= watch.hums;
            }
            any
        };
        assert!(hums(240, 40));
        assert!(!hums(120, 40));
    }

    #[test]
    fn a_die_says_how_long_one_gauge_may_stand_still_and_the_press_when_there_is_none() {
        let stuck_after = |die: Option<u32>| {
            let mut watch = GaugeWatch::<2>::default();
            watch.set_alone_frames(Some(3));
            watch.set_alone_frames(die);
            (0..1_000).find(|n| {
                let now = Readings {
                    counts: &[50, *n],
                    range_counts: [-9, 9999],
                    loads_kn: &[1.0; 2],
                    total_kn: 2.0,
                };
                watch.step(&RULES, &now, true).is_some_and(|all| all[0] == GaugeHealth::Stuck)
            })
        };
        assert_eq!(stuck_after(Some(700)), Some(700));
        assert_eq!(stuck_after(None), Some(RULES.stuck_alone_frames as i32));
    }

    #[test]
    fn a_humming_gauge_is_named_and_its_neighbour_is_not() {
        let rules = HumRules::new(2_000.0, RULES.hum_kn).unwrap();
        let mut watch = GaugeWatch::<2>::default();
        let mut health = None;
        for n in 0..1_000_i32 {
            let hum = 2.0 * libm::sinf(n as f32 * 0.157_079_63);
            let loads_kn = &[hum, 1.0];
            let now = Readings { counts: &[n, n], range_counts: [-9, 9999], loads_kn, total_kn: hum + 1.0 };
            watch.listen_for_hum(&rules, loads_kn, true);
            health = watch.step(&RULES, &now, true);
        }
        assert_eq!(health, Some([GaugeHealth::Humming, GaugeHealth::Good]));
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
