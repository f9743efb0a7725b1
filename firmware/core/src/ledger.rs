//! Lifetime counts of a press: strokes by load class, overloads, and fatigue-weighted counts a column.
//!
//! Cycles are counted by rainflow as ASTM E1049-85 (2017) section 5.4.4 describes, streaming: turning points
//! pile up, and a range that is enclosed by the next one is a cycle (half a cycle if it holds the first point). One turning
//! point may close a dozen of them: the ledger takes them in a few a frame, in the order in which they closed.
//! Each counts (range / rated share)^5, so one cycle at the rating counts 1. The exponent is a usual slope
//! of a welded or notched detail's life curve (common practice, no source); the ledger compares a press with
//! itself over time and is no fatigue life.

/// Classes of peak load, a tenth of the rating each; the last holds everything above the rating.
pub const LOAD_CLASSES: usize = 11;

/// Open turning points remembered; older ones are counted as half cycles when there are more.
const OPEN_POINTS: usize = 24;

/// Comparisons that settle every point there can be: each either takes points out or goes on by one.
const ALL: usize = 2 * OPEN_POINTS;

/// Comparisons in one frame. A frame brings one turning point at most, which takes one to go on to and on average at most
/// one that closes a range: those that wait do not pile up.
const A_FRAME: usize = 2;

/// No load lies between these.
const NONE: [f32; 2] = [f32::INFINITY, f32::NEG_INFINITY];

/// A sum of many small terms as two f32, good to some 47 bits: what the sample loop can add without a double unit.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
struct LongSum {
    sum: f32,
    rest: f32,
}

impl LongSum {
    /// Adds one term: the exact rounding error of the sum (Knuth's two-sum) goes to the rest, and the two are made apart.
    fn add(&mut self, term: f32) {
        let sum = self.sum + term;
        let of_term = sum - self.sum;
        self.rest += (self.sum - (sum - of_term)) + (term - of_term);
        self.sum = sum + self.rest;
        self.rest -= self.sum - sum;
    }

    fn value(self) -> f64 {
        f64::from(self.sum) + f64::from(self.rest)
    }
}

/// Streaming rainflow of one load history.
#[derive(Debug, Clone, Copy)]
pub struct Rainflow {
    /// Turning points: those that enclose no range any more but for the last of them, then those that came since.
    points: [f32; OPEN_POINTS],
    settled: usize,
    len: usize,
    /// A turning point of them waits to be settled.
    waits: bool,
    /// Where the history last stood, and its direction: the candidate for the next turning point.
    last: f32,
    rising: Option<bool>,
    hysteresis: f32,
    /// Loads between which nothing changes; none are where the first lies above the second.
    idle: [f32; 2],
}

impl Rainflow {
    /// A counter that ignores swings smaller than `hysteresis`.
    #[must_use]
    pub fn new(hysteresis: f32) -> Self {
        Self {
            points: [0.0; OPEN_POINTS],
            settled: 0,
            len: 0,
            waits: false,
            last: 0.0,
            rising: None,
            hysteresis,
            idle: NONE,
        }
    }

    /// Takes in one load; `counted(range, mean, cycles)` is called for each cycle or half cycle it closes.
    ///
    /// At most two dozen comparisons, the turning points it remembers; amortised one a turning point.
    pub fn step(&mut self, load: f32, mut counted: impl FnMut(f32, f32, f32)) {
        if self.take(load, &mut counted) {
            self.settle(ALL, &mut counted);
        }
    }

    /// Takes in one load without counting what it closes. True if that may be something, for [`Self::settle`].
    #[inline]
    fn take(&mut self, load: f32, counted: impl FnMut(f32, f32, f32)) -> bool {
        match self.rising {
            // Beyond where the history stood, and so beyond what is idle.
            Some(true) if load > self.last => self.idle = [from_below(load, self.hysteresis), load],
            Some(false) if load < self.last => self.idle = [load, from_above(load, self.hysteresis)],
            _ => return !self.is_idle(load) && self.turn(load, counted),
        }
        self.last = load;
        false
    }

    /// Whether the load changes nothing.
    #[inline]
    fn is_idle(&self, load: f32) -> bool {
        let [low, high] = self.idle;
        load >= low && load <= high
    }

    /// A load that begins or ends a rise or fall. True if there is a new turning point.
    #[inline(never)]
    fn turn(&mut self, load: f32, mut counted: impl FnMut(f32, f32, f32)) -> bool {
        let mut new = false;
        if self.len == 0 {
            self.points[0] = load;
            (self.settled, self.len) = (1, 1);
            self.last = load;
            self.idle = [from_below(load, self.hysteresis), from_above(load, self.hysteresis)];
            return new;
        }
        match self.rising {
            None => {
                if (load - self.last).abs() > self.hysteresis {
                    self.rising = Some(load > self.last);
                    self.last = load;
                }
            }
            Some(rising) => {
                let further = if rising { load > self.last } else { load < self.last };
                if further {
                    self.last = load;
                } else if (load - self.last).abs() > self.hysteresis {
                    self.push(self.last, &mut counted);
                    self.rising = Some(!rising);
                    self.last = load;
                    new = true;
                }
            }
        }
        let (last, hysteresis) = (self.last, self.hysteresis);
        self.idle = match self.rising {
            None => [from_below(last, hysteresis), from_above(last, hysteresis)],
            Some(true) => [from_below(last, hysteresis), last],
            Some(false) => [last, from_above(last, hysteresis)],
        };
        new
    }

    /// One more turning point, which waits to be settled.
    fn push(&mut self, turning: f32, counted: &mut impl FnMut(f32, f32, f32)) {
        if self.len == OPEN_POINTS {
            self.settle(ALL, counted);
            if self.len == OPEN_POINTS {
                // Residue longer than we remember: its oldest range can only ever be half a cycle.
                self.drop_first(counted);
            }
        }
        if let Some(cell) = self.points.get_mut(self.len) {
            *cell = turning;
            self.len += 1;
        }
    }

    /// So many comparisons of the turning points that wait. True if none waits any more.
    fn settle(&mut self, most: usize, counted: &mut impl FnMut(f32, f32, f32)) -> bool {
        for _ in 0..most {
            // None where fewer than three are settled: the range is the wrong way round.
            let from = self.settled.wrapping_sub(3);
            let closed = match self.points.get(from..self.settled) {
                Some(&[oldest, middle, newest]) => {
                    let (x, y) = ((newest - middle).abs(), (middle - oldest).abs());
                    let inner = x < y;
                    (!inner).then_some((y, 0.5 * (middle + oldest)))
                }
                _ => None,
            };
            match closed {
                // Y holds the starting point: half a cycle, and the start moves on.
                Some((range, mean)) if from == 0 => {
                    counted(range, mean, 0.5);
                    self.remove(0, 1);
                }
                Some((range, mean)) => {
                    counted(range, mean, 1.0);
                    self.remove(from, 2);
                }
                None if self.settled >= self.len => return true,
                None => self.settled += 1,
            }
        }
        false
    }

    /// Takes out some of the settled points from the n-th on.
    fn remove(&mut self, n: usize, count: usize) {
        for from in n + count..self.len {
            let point = self.points.get(from).copied().unwrap_or(0.0);
            if let Some(cell) = self.points.get_mut(from - count) {
                *cell = point;
            }
        }
        self.len -= count;
        self.settled -= count;
    }

    fn drop_first(&mut self, counted: &mut impl FnMut(f32, f32, f32)) {
        let [first, second] = [self.points[0], self.points[1]];
        counted((second - first).abs(), 0.5 * (first + second), 0.5);
        self.remove(0, 1);
    }

    /// Counts what is still open, each range as half a cycle, without changing the state.
    pub fn residue(&self, mut counted: impl FnMut(f32, f32, f32)) {
        let mut rest = *self;
        rest.settle(ALL, &mut counted);
        if rest.rising.is_some() {
            rest.push(rest.last, &mut counted);
            rest.settle(ALL, &mut counted);
        }
        for pair in rest.points.get(..rest.len).unwrap_or(&[]).windows(2) {
            if let [a, b] = pair {
                counted((b - a).abs(), 0.5 * (a + b), 0.5);
            }
        }
    }
}

/// The least load that is not more than `swing` under `last`, or one so little above it that the difference, rounded, leaves
/// no doubt.
fn from_below(last: f32, swing: f32) -> f32 {
    let least = last - swing;
    if last - least <= swing { least } else { least.next_up() }
}

/// The same above it.
fn from_above(last: f32, swing: f32) -> f32 {
    let most = last + swing;
    if most - last <= swing { most } else { most.next_down() }
}

/// The ledger of a press.
#[derive(Debug, Clone, Copy)]
pub struct Ledger<const N: usize> {
    /// Strokes ended.
    pub strokes: u64,
    /// `[class]`: strokes by total peak, a tenth of the rating each, the last above the rating.
    pub classes: [u32; LOAD_CLASSES],
    /// Strokes that tripped on a machine limit.
    pub overloads: u32,
    /// `[column]`: fatigue-weighted cycles.
    weighted: [LongSum; N],
    /// A turning point of a column waits to be settled.
    waits: bool,
    flows: [Rainflow; N],
    share_kn: f32,
}

/// Weight of one cycle of this range against the rated share.
#[must_use]
pub fn weight(range_over_share: f32) -> f32 {
    let square = range_over_share * range_over_share;
    square * square * range_over_share
}

impl<const N: usize> Ledger<N> {
    /// An empty ledger for columns that each carry `share_kn` at the rating.
    #[must_use]
    pub fn new(share_kn: f32) -> Self {
        Self {
            strokes: 0,
            classes: [0; LOAD_CLASSES],
            overloads: 0,
            weighted: [LongSum::default(); N],
            waits: false,
            // Swings below 2 % of the share weigh under 3e-9 and are mostly noise.
            flows: [Rainflow::new(0.02 * share_kn); N],
            share_kn,
        }
    }

    /// Takes in one frame's filtered loads.
    #[inline]
    pub fn step(&mut self, loads: &[f32; N]) {
        let idle = loads.iter().zip(&self.flows).all(|(load, flow)| flow.is_idle(*load));
        if !idle {
            self.follow(loads);
        }
        if self.waits {
            self.settle(A_FRAME);
        }
    }

    /// A load that rises, falls or turns.
    #[inline(never)]
    fn follow(&mut self, loads: &[f32; N]) {
        let share = self.share_kn;
        for ((flow, load), weighted) in self.flows.iter_mut().zip(loads).zip(&mut self.weighted) {
            if flow.take(*load, |range, _, cycles| weighted.add(cycles * weight(range / share))) {
                (flow.waits, self.waits) = (true, true);
            }
        }
    }

    /// Counts what the turning points that wait have closed, with so many comparisons a column.
    #[inline(never)]
    fn settle(&mut self, most: usize) {
        let share = self.share_kn;
        self.waits = false;
        for (flow, weighted) in self.flows.iter_mut().zip(&mut self.weighted) {
            if flow.waits {
                let mut counted = |range, _, cycles| weighted.add(cycles * weight(range / share));
                flow.waits = !flow.settle(most, &mut counted);
                self.waits |= flow.waits;
            }
        }
    }

    /// No frame follows: counts all that waits.
    pub fn close(&mut self) {
        self.settle(ALL);
    }

    /// `[column]`: fatigue-weighted cycles; those of the last frames may still wait to be counted.
    #[must_use]
    pub fn weighted(&self) -> [f64; N] {
        self.weighted.map(LongSum::value)
    }

    /// Takes in one ended stroke.
    pub fn stroke(&mut self, peak_kn: f32, rated_kn: f32, overloaded: bool) {
        self.strokes = self.strokes.saturating_add(1);
        self.overloads = self.overloads.saturating_add(u32::from(overloaded));
        // A saturating cast: a NaN peak counts in the lowest class, an infinite one in the highest.
        let class = (peak_kn / rated_kn * 10.0) as usize;
        if let Some(count) = self.classes.get_mut(class.min(LOAD_CLASSES - 1)) {
            *count = count.saturating_add(1);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::vec::Vec;

    fn counts(series: &[f32], hysteresis: f32) -> Vec<(f32, f32, f32)> {
        let mut flow = Rainflow::new(hysteresis);
        let mut found = Vec::new();
        for load in series {
            flow.step(*load, |range, mean, cycles| found.push((range, mean, cycles)));
        }
        flow.residue(|range, mean, cycles| found.push((range, mean, cycles)));
        found
    }

    fn by_range(found: &[(f32, f32, f32)], range: f32) -> f32 {
        found.iter().filter(|(r, ..)| *r == range).map(|(.., cycles)| cycles).sum()
    }

    const SERIES: [f32; 9] = [-2.0, 1.0, -3.0, 5.0, -1.0, 3.0, -4.0, 4.0, -2.0];

    #[test]
    fn rainflow_counts_the_standards_example() {
        // Source: ASTM E1049-85 fig. 6 example; counts read, and computed with the Python package rainflow 3.2.0.
        let found = counts(&SERIES, 0.0);
        for (range, cycles) in [(3.0, 0.5), (4.0, 1.5), (6.0, 0.5), (8.0, 1.0), (9.0, 0.5)] {
            assert_eq!(by_range(&found, range), cycles, "range {range}: {found:?}");
        }
        assert_eq!(found.iter().map(|(.., cycles)| cycles).sum::<f32>(), 4.0);
        for wanted in [
            (3.0, -0.5, 0.5),
            (4.0, -1.0, 0.5),
            (4.0, 1.0, 1.0),
            (8.0, 1.0, 0.5),
            (9.0, 0.5, 0.5),
            (8.0, 0.0, 0.5),
            (6.0, 1.0, 0.5),
        ] {
            assert!(found.contains(&wanted), "{wanted:?} not in {found:?}");
        }
    }

    #[test]
    fn idle_loads_are_exactly_those_that_change_nothing() {
        // A fixed generator of random walks over many orders of magnitude; the counter with its shortcut against
        // the same one that never takes it.
        let mut state = 5_u32;
        let mut uniform = || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            f64::from(state) / 4_294_967_296.0
        };
        for hysteresis in [0.0, 1e-6, 0.02, 3.0] {
            let (mut quick, mut slow) = (Rainflow::new(hysteresis), Rainflow::new(hysteresis));
            let (mut of_quick, mut of_slow) = (Vec::new(), Vec::new());
            for n in 0..20_000 {
                let size = libm::pow(10.0, 8.0 * uniform() - 4.0);
                let load = if n % 1000 == 999 { f32::NAN } else { ((uniform() - 0.5) * size) as f32 };
                quick.step(load, |range, mean, cycles| of_quick.push((range, mean, cycles)));
                slow.turn(load, |range, mean, cycles| of_slow.push((range, mean, cycles)));
                slow.settle(ALL, &mut |range, mean, cycles| of_slow.push((range, mean, cycles)));
                assert_eq!(
                    (quick.last.to_bits(), quick.rising, quick.idle),
                    (slow.last.to_bits(), slow.rising, slow.idle),
                    "load {n}"
                );
            }
            assert!(of_quick == of_slow && !of_quick.is_empty(), "hysteresis {hysteresis}");
        }
    }

    #[test]
    fn points_settled_a_few_a_frame_count_the_same_cycles_in_the_same_order() {
        let mut state = 7_u32;
        let mut uniform = || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            state as f32 / 4_294_967_296.0
        };
        let (mut at_once, mut spread) = (Rainflow::new(0.01), Rainflow::new(0.01));
        let (mut of_once, mut of_spread, mut waiting) = (Vec::new(), Vec::new(), 0);
        for n in 0..50_000_u32 {
            // Swings that shrink for a while, so that many ranges are open, and then one over all of them.
            let size = if n % 20 == 19 { 3.0 } else { 1.0 / (1 + n % 20) as f32 };
            let load = if n % 2 == 0 { size } else { -size } * (0.5 + uniform());
            at_once.step(load, |range, mean, cycles| of_once.push((range, mean, cycles)));
            spread.take(load, |range, mean, cycles| of_spread.push((range, mean, cycles)));
            spread.settle(A_FRAME, &mut |range, mean, cycles| of_spread.push((range, mean, cycles)));
            waiting = waiting.max(spread.len - spread.settled);
        }
        assert!((1..12).contains(&waiting), "{waiting} points waited");
        spread.settle(ALL, &mut |range, mean, cycles| of_spread.push((range, mean, cycles)));
        assert!(of_once == of_spread && of_once.len() > 20_000);
    }

    #[test]
    fn a_long_sum_of_small_terms_loses_nothing_that_counts() {
        let mut sum = LongSum::default();
        let mut plain = 0.0_f64;
        for n in 0..1_000_000_u32 {
            let term = if n % 1000 == 0 { 1.3 } else { 3e-9 * (1 + n % 7) as f32 };
            sum.add(term);
            plain += f64::from(term);
        }
        // Each addition errs by 2⁻⁴⁷ of the sum at most.
        assert!((sum.value() - plain).abs() < 1300.0 * 1e6 * 7.2e-15, "{} {plain}", sum.value());
    }

    #[test]
    fn samples_between_turning_points_change_nothing() {
        let mut dense = Vec::new();
        for pair in SERIES.windows(2) {
            (0..16).for_each(|n| dense.push(pair[0] + (pair[1] - pair[0]) * n as f32 / 16.0));
        }
        dense.push(-2.0);
        assert_eq!(counts(&dense, 0.0), counts(&SERIES, 0.0));
        assert_eq!(counts(&dense, 0.5), counts(&SERIES, 0.0));
    }

    #[test]
    fn a_residue_longer_than_the_memory_loses_no_half_cycle() {
        // Ever larger swings never close a cycle.
        let growing: Vec<f32> = (0..100).map(|n| if n % 2 == 0 { n as f32 } else { -(n as f32) }).collect();
        let shrinking: Vec<f32> = growing.iter().rev().copied().collect();
        for series in [growing, shrinking] {
            let total: f32 = counts(&series, 0.0).iter().map(|(.., cycles)| cycles).sum();
            assert_eq!(total, 49.5);
        }
    }

    #[test]
    fn miner_sum_of_the_standards_example() {
        // N = 10⁶ (range/10)^−5 gives D = 6.7838e-7; source: computed, project reference values §2i.
        let damage: f64 = counts(&SERIES, 0.0)
            .iter()
            .map(|(range, _, cycles)| f64::from(cycles * weight(range / 10.0)) * 1e-6)
            .sum();
        assert!((damage - 6.7838e-7).abs() < 1e-11, "{damage}");
    }

    #[test]
    fn strokes_fall_into_their_load_class() {
        let mut ledger = Ledger::<1>::new(100.0);
        for peak in [0.0, 9.9, 10.0, 55.0, 99.9, 100.1, 1e9, f32::NAN] {
            ledger.stroke(peak, 100.0, peak > 100.0);
        }
        assert_eq!(ledger.classes, [3, 1, 0, 0, 0, 1, 0, 0, 0, 1, 2]);
        assert_eq!((ledger.strokes, ledger.overloads), (8, 2));
    }
}
