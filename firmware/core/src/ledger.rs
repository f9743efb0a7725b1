//! Lifetime counts of a press: strokes by load class, overloads, and fatigue-weighted counts a column.
//!
//! Cycles are counted by rainflow as ASTM E1049-85 (2017) section 5.4.4 describes, streaming: turning points
//! pile up, and a range that is enclosed by the next one is a cycle (half a cycle if it holds the first point).
//! Each counts (range / rated share)^5, so one cycle at the rating counts 1. The exponent is a usual slope
//! of a welded or notched detail's life curve (common practice, no source); the ledger compares a press with
//! itself over time and is no fatigue life.

/// Classes of peak load, a tenth of the rating each; the last holds everything above the rating.
pub const LOAD_CLASSES: usize = 11;

/// Open turning points remembered; older ones are counted as half cycles when there are more.
const OPEN_POINTS: usize = 24;

/// Streaming rainflow of one load history.
#[derive(Debug, Clone, Copy)]
pub struct Rainflow {
    points: [f32; OPEN_POINTS],
    len: usize,
    /// Where the history last stood, and its direction: the candidate for the next turning point.
    last: f32,
    rising: Option<bool>,
    hysteresis: f32,
    /// Steps from `last` between which nothing changes; none are where the first lies above the second.
    idle: [f32; 2],
}

impl Rainflow {
    /// A counter that ignores swings smaller than `hysteresis`.
    #[must_use]
    pub fn new(hysteresis: f32) -> Self {
        Self {
            points: [0.0; OPEN_POINTS],
            len: 0,
            last: 0.0,
            rising: None,
            hysteresis,
            idle: [f32::INFINITY, f32::NEG_INFINITY],
        }
    }

    /// Takes in one load; `counted(range, mean, cycles)` is called for each cycle or half cycle it closes.
    ///
    /// At most two dozen comparisons, the turning points it remembers; amortised one a turning point.
    #[inline]
    pub fn step(&mut self, load: f32, counted: impl FnMut(f32, f32, f32)) {
        let (step, [down, up]) = (load - self.last, self.idle);
        if step >= down && step <= up {
            return;
        }
        match self.rising {
            Some(true) if step > 0.0 => self.last = load,
            Some(false) if step < 0.0 => self.last = load,
            _ => self.turn(load, counted),
        }
    }

    /// A load that begins or ends a rise or fall.
    #[inline(never)]
    fn turn(&mut self, load: f32, mut counted: impl FnMut(f32, f32, f32)) {
        if self.len == 0 {
            self.points[0] = load;
            self.len = 1;
            self.last = load;
            self.idle = [-self.hysteresis, self.hysteresis];
            return;
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
                }
            }
        }
        self.idle = match self.rising {
            None => [-self.hysteresis, self.hysteresis],
            Some(true) => [-self.hysteresis, 0.0],
            Some(false) => [0.0, self.hysteresis],
        };
    }

    fn point(&self, from_top: usize) -> f32 {
        self.len.checked_sub(from_top).and_then(|n| self.points.get(n)).copied().unwrap_or(0.0)
    }

    fn push(&mut self, turning: f32, counted: &mut impl FnMut(f32, f32, f32)) {
        if self.len == OPEN_POINTS {
            // Residue longer than we remember: its oldest range can only ever be half a cycle.
            self.drop_first(counted);
        }
        if let Some(cell) = self.points.get_mut(self.len) {
            *cell = turning;
            self.len += 1;
        }
        for _ in 0..OPEN_POINTS {
            if self.len < 3 {
                return;
            }
            let (newest, middle, oldest) = (self.point(1), self.point(2), self.point(3));
            let (x, y) = ((newest - middle).abs(), (middle - oldest).abs());
            if x < y {
                return;
            }
            if self.len == 3 {
                // Y holds the starting point: half a cycle, and the start moves on.
                self.drop_first(counted);
            } else {
                counted(y, 0.5 * (middle + oldest), 1.0);
                self.len -= 3;
                if let Some(cell) = self.points.get_mut(self.len) {
                    *cell = newest;
                    self.len += 1;
                }
            }
        }
    }

    fn drop_first(&mut self, counted: &mut impl FnMut(f32, f32, f32)) {
        let [first, second] = [self.points[0], self.points[1]];
        counted((second - first).abs(), 0.5 * (first + second), 0.5);
        self.points.copy_within(1..self.len, 0);
        self.len -= 1;
    }

    /// Counts what is still open, each range as half a cycle, without changing the state.
    pub fn residue(&self, mut counted: impl FnMut(f32, f32, f32)) {
        let mut rest = *self;
        if rest.rising.is_some() {
            rest.push(rest.last, &mut counted);
        }
        for pair in rest.points.get(..rest.len).unwrap_or(&[]).windows(2) {
            if let [a, b] = pair {
                counted((b - a).abs(), 0.5 * (a + b), 0.5);
            }
        }
    }
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
    pub weighted: [f64; N],
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
            weighted: [0.0; N],
            // Swings below 2 % of the share weigh under 3e-9 and are mostly noise.
            flows: [Rainflow::new(0.02 * share_kn); N],
            share_kn,
        }
    }

    /// Takes in one frame's filtered loads.
    #[inline]
    pub fn step(&mut self, loads: &[f32; N]) {
        let share = self.share_kn;
        for ((flow, load), weighted) in self.flows.iter_mut().zip(loads).zip(&mut self.weighted) {
            flow.step(*load, |range, _, cycles| *weighted += f64::from(cycles * weight(range / share)));
        }
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
                assert_eq!(
                    (quick.last.to_bits(), quick.rising),
                    (slow.last.to_bits(), slow.rising),
                    "load {n}"
                );
            }
            assert!(of_quick == of_slow && !of_quick.is_empty(), "hysteresis {hysteresis}");
        }
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
