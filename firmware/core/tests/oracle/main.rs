//! Claim: an oracle in f64 that shares no code with the core finds the same features in random strokes.
//!
//! Tolerances come from where f32 rounds and the slide's table interpolates; each stands beside its check. Positions
//! are compared exactly: the frame that the core names must be one that the oracle cannot tell from the right one.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod input;
#[path = "../kit/mod.rs"]
mod kit;
mod model;

use bolster_core::die::DieLimits;
use bolster_core::features::At;
use bolster_core::monitor::{Monitor, StrokeReport};
use bolster_core::signature::Layout;
use bolster_core::stroke::Position;
use bolster_core::units::Tick;
use bolster_core::windows::{Channel, WatchWindow, WindowValue};

use input::{Input, STROKES};
use kit::{ROUNDING, TURN};
use model::{Oracle, Stroke};

const BINS: usize = 16;
/// Inputs tried of each number of columns.
const SEEDS: u64 = 60;

/// What the core says of one stroke.
struct Said<const N: usize> {
    report: StrokeReport<N>,
    /// `[bin][column]`.
    bins: Vec<[f32; N]>,
}

fn said<const N: usize>(input: &Input<N>) -> Vec<Said<N>> {
    let mut monitor: Monitor<N, BINS, 4> = Monitor::new(input.settings.build().unwrap());
    monitor.self_test(Tick(0), true);
    let mut die = DieLimits::default();
    input.windows.iter().for_each(|window| die.watch.push(*window).unwrap());
    monitor.set_die(Tick(0), die, None, false).unwrap();
    monitor.gather_signatures(Layout::new(true, &input.edges).unwrap());
    let mut all = Vec::new();
    for frame in &input.frames {
        if monitor.step(frame).reported {
            all.push(Said {
                report: monitor.report().unwrap().clone(),
                bins: monitor.shape().ended().bins().to_vec(),
            });
        }
    }
    all
}

/// A stroke's features beside the oracle's, with the words for a failure.
struct Beside<'a, const N: usize> {
    input: &'a Input<N>,
    oracle: &'a Oracle<N>,
    stroke: &'a Stroke<N>,
    report: &'a StrokeReport<N>,
    name: String,
}

impl<const N: usize> Beside<'_, N> {
    fn near(&self, what: &str, found: f64, wanted: f64, tolerance: f64) {
        assert!(
            (found - wanted).abs() <= tolerance,
            "{}: {what} is {found}, the oracle's {wanted}, more than {tolerance} off",
            self.name
        );
    }

    /// The frame that a value was taken in: one at that angle in which the oracle's value is the extreme too.
    fn frame_of(&self, what: &str, at: &At, series: &[f64], best: f64, tolerance: f64) -> usize {
        let Position::Angle(angle) = at.position else { panic!("{}: {what} has no angle", self.name) };
        let here =
            |n: &usize| self.stroke.angles[*n] == angle.0 && (series[*n] - best).abs() <= 2.0 * tolerance;
        let Some(frame) = (0..series.len()).find(here) else {
            panic!(
                "{}: {what} of {} lies at {angle:?}, where the oracle has no such value",
                self.name, at.value
            );
        };
        let height = f64::from(at.height_mm.unwrap());
        self.near(what, height, self.stroke.height_mm[frame], self.oracle.slide.table_error());
        frame
    }

    /// The greatest of a series, at least 0, with its place; gives its frame.
    fn greatest(&self, what: &str, at: &At, series: &[f64], tolerance: f64) -> Option<usize> {
        let best = series.iter().copied().fold(0.0, f64::max);
        self.near(what, f64::from(at.value), best, tolerance);
        (best > tolerance).then(|| self.frame_of(what, at, series, best, tolerance))
    }

    fn peaks(&self) {
        let features = &self.report.features;
        let columns = features.columns.iter().chain([&features.total]);
        let tolerances = &self.oracle.after_kn;
        for (n, ((column, loads), tolerance)) in columns.zip(&self.stroke.after).zip(tolerances).enumerate() {
            let peak = self.greatest(&format!("peak {n}"), &column.peak, loads, *tolerance);
            let pulls: Vec<f64> = loads.iter().map(|load| -load).collect();
            let _ = self.greatest(&format!("reverse {n}"), &column.reverse, &pulls, *tolerance);
            if n == N
                && let Some(frame) = peak
            {
                let shares = features.at_peak_kn.iter().zip(&self.stroke.after).zip(tolerances);
                for ((share, loads), tolerance) in shares {
                    self.near("share at the peak", f64::from(*share), loads[frame], *tolerance);
                }
            }
        }
        // Two rounded totals and their difference, which is no larger.
        let total = &self.stroke.after[N];
        let rise = total.windows(2).map(|pair| pair[1] - pair[0]).fold(0.0, f64::max);
        self.near("rise", f64::from(features.rise_kn_per_tick), rise, 2.1 * tolerances[N]);
    }

    fn differences(&self) {
        let columns = &self.input.settings.press.columns;
        let features = &self.report.features;
        for (what, at, sides) in [
            ("left-right", &features.left_right, columns.side_x()),
            ("front-rear", &features.front_rear, columns.side_y()),
        ] {
            let difference = |n: usize| {
                sides
                    .iter()
                    .zip(&self.stroke.after)
                    .map(|(side, loads)| f64::from(*side) * loads[n])
                    .sum::<f64>()
            };
            let signed: Vec<f64> = (0..self.stroke.angles.len()).map(difference).collect();
            let tolerance = self.oracle.after_kn[N];
            let sign = f64::from(at.value).signum();
            // Left and right may be nearly as great: the size is compared, and the place with its own sign.
            let most = signed.iter().fold(0.0, |most: f64, x| most.max(x.abs()));
            self.near(what, f64::from(at.value.abs()), most, tolerance);
            if most > tolerance {
                let along: Vec<f64> = signed.iter().map(|x| sign * x).collect();
                let _ = self.frame_of(what, at, &along, most, tolerance);
            }
        }
    }

    fn integrals(&self) {
        let features = &self.report.features;
        let load = &self.stroke.before[N];
        let off = self.oracle.before_kn[N];
        let frames = load.len() as f64;
        let sizes: f64 = load.iter().map(|x| x.abs()).sum();
        // Every term is off by a rounding of its load; a compensated sum by two roundings of itself, to first order.
        self.near(
            "impulse",
            f64::from(features.impulse_kn_ticks),
            load.iter().sum(),
            frames * off + 3.0 * ROUNDING * sizes,
        );

        let height = &self.stroke.height_mm;
        let means = || load.windows(2).map(|pair| 0.5 * (pair[0] + pair[1]));
        let ways = || height.windows(2).map(|pair| pair[0] - pair[1]);
        let work: f64 = means().zip(ways()).map(|(mean, way)| mean * way).sum::<f64>() * 1e-3;
        let travel: f64 = ways().map(f64::abs).sum();
        let size: f64 = means().zip(ways()).map(|(mean, way)| (mean * way).abs()).sum();
        // Σ mean · (e before − e after), summed by parts: an error e of the heights counts only where the load changes
        // and at the ends. Then the loads' own error over the travel, and some roundings of each term.
        let all: Vec<f64> = means().collect();
        let changes: f64 = all.windows(2).map(|pair| (pair[1] - pair[0]).abs()).sum();
        let ends = all.first().unwrap().abs() + all.last().unwrap().abs();
        let tolerance =
            self.oracle.slide.table_error() * (changes + ends) + off * travel + 6.0 * ROUNDING * size;
        self.near("work", f64::from(features.work_kj.unwrap()), work, 1e-3 * tolerance);

        let onset = f64::from(self.input.settings.stroke.onset_kn);
        let (mut sums, mut unsure) = ([0.0; N], [0.0; N]);
        let (mut loaded, mut contacts, mut known) = (0.0, vec![], false);
        for (n, total) in load.iter().enumerate() {
            // Within a rounding of the onset either answer is right.
            let (above, near) = (*total >= onset, (*total - onset).abs() <= off);
            if !known && (above || near) {
                contacts.push(self.stroke.angles[n]);
                known = !near;
            }
            loaded += f64::from(u8::from(above || near));
            for column in 0..N {
                let x = self.stroke.before[column][n];
                sums[column] += if above { x } else { 0.0 };
                unsure[column] += if near { x.abs() } else { 0.0 };
            }
        }
        for column in 0..N {
            let most = self.stroke.before[column].iter().fold(0.0, |most: f64, x| most.max(x.abs()));
            // A plain sum of n terms is off by a rounding of each partial sum: at most n²/2 terms' sizes.
            let tolerance = unsure[column]
                + loaded * self.oracle.before_kn[column]
                + 0.5 * loaded * loaded * ROUNDING * most;
            self.near("loaded sum", f64::from(features.loaded_sum[column]), sums[column], tolerance);
        }
        match features.contact {
            Some(Position::Angle(angle)) => {
                assert!(contacts.contains(&angle.0), "{}: contact at {angle:?}, not {contacts:?}", self.name);
            }
            other => assert!(contacts.is_empty() || !known, "{}: contact {other:?}", self.name),
        }
    }

    fn centres(&self) {
        let bolster = self.input.settings.press.bolster_mm;
        let columns = &self.input.settings.press.columns;
        let features = &self.report.features;
        let sums = (&features.loaded_sum, self.report.mean_centre_mm);
        for (what, (loads, centre)) in
            [("centre", (&features.at_peak_kn, self.report.load_centre_mm)), ("mean centre", sums)]
        {
            // The loads themselves are compared above; here only what is made of them.
            let total: f64 = loads.iter().map(|load| f64::from(*load)).sum();
            let least = f64::from(self.input.settings.centre_least_kn);
            if (total - least).abs() < 1e-5 * least {
                continue;
            }
            let told = N > 1 && total > least;
            assert_eq!(centre.is_some(), told, "{}: {what} of {total} kN", self.name);
            let Some(centre) = centre else { continue };
            for (axis, sides) in [(0, columns.side_x()), (1, columns.side_y())] {
                let half = 0.5 * bolster[axis];
                let moment: f64 = loads
                    .iter()
                    .zip(sides)
                    .map(|(load, side)| f64::from(*load) * f64::from(*side) * half)
                    .sum();
                let sizes: f64 = loads.iter().map(|load| f64::from(load.abs())).sum();
                // N products, N sums twice, one quotient.
                let tolerance = (3.0 * N as f64 + 2.0) * ROUNDING * half * sizes / total;
                self.near(what, f64::from(centre[axis]), moment / total, tolerance);
            }
        }
    }

    fn clock(&self) {
        let features = &self.report.features;
        let ticks = (self.stroke.frames[1] - self.stroke.frames[0]) as f64;
        assert_eq!(features.frames as usize, self.stroke.angles.len(), "{}: frames", self.name);
        assert_eq!(f64::from(features.ticks[1].since(features.ticks[0])), ticks, "{}: ticks", self.name);
        let turns = (self.stroke.degrees.last().unwrap() - self.stroke.degrees[0]) / 360.0;
        // A step back before the crank has moved on cannot be taken off what has been turned.
        let tolerance = self.input.jitter / 360.0 + 1e-9;
        self.near("turned", features.turned as f64 / TURN, turns, tolerance);
        let speed = 60.0 * turns * self.input.settings.stroke.sample_hz as f64 / ticks;
        let told = f64::from(self.report.speed_spm.unwrap());
        self.near("speed", told, speed, speed * (tolerance / turns + 6.0 * ROUNDING));
    }

    fn window(&self, window: &WatchWindow) {
        let [Position::Angle(from), Position::Angle(to)] = window.span.ends() else { panic!("angles only") };
        let (series, number) = match window.channel {
            Channel::Total => (N, None),
            Channel::Column(column) => (usize::from(column), Some(column)),
        };
        let inside: Vec<f64> = self
            .stroke
            .angles
            .iter()
            .zip(&self.stroke.after[series])
            .filter(|(angle, _)| (from.0..=to.0).contains(*angle))
            .map(|(_, load)| *load)
            .collect();
        let (most, frames) = (inside.iter().fold(0.0, |most: f64, x| most.max(x.abs())), inside.len() as f64);
        let rounded = self.oracle.after_kn[series];
        let (wanted, tolerance) = match window.value {
            WindowValue::Greatest => (inside.iter().copied().fold(f64::MIN, f64::max), rounded),
            WindowValue::Least => (inside.iter().copied().fold(f64::MAX, f64::min), rounded),
            // A running mean is off by a rounding of itself with every frame, and a later one counts for more:
            // half a rounding a frame; the difference and its quotient count less and less: two more in all.
            WindowValue::Mean => {
                (inside.iter().sum::<f64>() / frames, rounded + (0.5 * frames + 2.0) * ROUNDING * most)
            }
        };
        let told = self.report.findings.list().iter().find(|f| f.column == number && f.limit > 1e29);
        self.near(&format!("{window:?}"), f64::from(told.unwrap().value), wanted, tolerance);
    }

    fn signature(&self, bins: &[[f32; N]]) {
        let edges: Vec<f64> = self.input.edges.iter().map(|edge| f64::from(*edge)).collect();
        assert_eq!(bins.len(), edges.len() - 1, "{}: bins", self.name);
        // Only a frame past the furthest place counts; between those the load runs straight.
        let mut points = vec![0];
        for n in 1..self.stroke.degrees.len() {
            if self.stroke.degrees[n] > self.stroke.degrees[*points.last().unwrap()] {
                points.push(n);
            }
        }
        for (column, series) in self.stroke.before.iter().take(N).enumerate() {
            let most = series.iter().fold(0.0, |most: f64, x| most.max(x.abs()));
            for (bin, ends) in edges.windows(2).enumerate() {
                let (mut area, mut pieces, mut change) = (0.0, 0.0, 0.0);
                for pair in points.windows(2) {
                    let [from, to] = [pair[0], pair[1]];
                    let (a, b) = (self.stroke.degrees[from], self.stroke.degrees[to]);
                    if b < ends[0] - 1.0 || a > ends[1] + 1.0 {
                        continue;
                    }
                    change += (series[to] - series[from]).abs();
                    pieces += 1.0;
                    let (start, end) = (a.max(ends[0]), b.min(ends[1]));
                    if start < end {
                        let at = |x: f64| series[from] + (series[to] - series[from]) * (x - a) / (b - a);
                        area += (end - start) * 0.5 * (at(start) + at(end));
                    }
                }
                let width = ends[1] - ends[0];
                // An angle counts in f32 degrees: cut off by 2⁻²⁴ of a turn and rounded, 4e-5 in all. Such a shift of
                // places moves an integral by at most twice the shift times the load's change in and about the bin.
                // Sums of a bin round once a piece, of no more than the greatest load over the bin; some five more
                // roundings in each piece are of its own size.
                let tolerance = self.oracle.before_kn[column]
                    + 2.0 * 4e-5 * change / width
                    + (pieces + 6.0) * ROUNDING * most;
                let what = format!("bin {bin} of column {column}");
                self.near(&what, f64::from(bins[bin][column]), area / width, tolerance);
            }
        }
    }
}

fn agrees<const N: usize>() {
    for seed in 0..SEEDS {
        let input = input::random::<N>(seed);
        let oracle = Oracle::new(&input, seed);
        let said = said(&input);
        assert_eq!(said.len(), STROKES, "seed {seed}, {N} columns");
        assert_eq!(oracle.strokes.len(), said.len(), "seed {seed}, {N} columns");
        for (n, (stroke, said)) in oracle.strokes.iter().zip(&said).enumerate() {
            let name = format!("seed {seed}, {N} columns, stroke {n}, {:?}", input.settings.filter);
            let beside = Beside { input: &input, oracle: &oracle, stroke, report: &said.report, name };
            beside.peaks();
            beside.differences();
            beside.integrals();
            beside.centres();
            beside.clock();
            input.windows.iter().for_each(|window| beside.window(window));
            beside.signature(&said.bins);
        }
    }
}

#[test]
fn features_of_random_strokes_of_one_column_are_the_oracle_s() {
    agrees::<1>();
}

#[test]
fn features_of_random_strokes_of_two_columns_are_the_oracle_s() {
    agrees::<2>();
}

#[test]
fn features_of_random_strokes_of_four_columns_are_the_oracle_s() {
    agrees::<4>();
}
