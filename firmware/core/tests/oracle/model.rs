//! The oracle: every stage in f64, written from what the stages are said to do, sharing no code with them.
//!
//! Kinematics from the slider-crank's equation as it stands in textbooks, filters from their poles as one recursion
//! of the whole order, integrals as plain sums over all frames of a stroke, which it may keep.

use std::f64::consts::{FRAC_1_SQRT_2, PI, TAU};

use bolster_core::filter::FilterKind;
use bolster_core::frame::CrankReading;

use super::input::Input;
use super::kit::{ROUNDING, TURN};

/// Slide height above the bottom of the stroke, mm, and the bound on its second derivative over the angle.
pub(crate) struct Slide {
    radius: f64,
    rod: f64,
}

impl Slide {
    pub(crate) fn height(&self, degrees: f64) -> f64 {
        let (r, l, angle) = (self.radius, self.rod, degrees.to_radians());
        // From the top: the pin is r cos θ above the crank's axis, the slide a rod's projection below it.
        let below_axis = (l * l - (r * angle.sin()).powi(2)).sqrt() - r * angle.cos();
        (r + l) - below_axis
    }

    /// Error of straight interpolation over one degree: Δ²/8 · max |h″|, where h″ = −r cos θ + r² cos 2θ / s +
    /// r⁴ sin² θ cos² θ / s³ with s = √(l² − r² sin² θ) ≥ √(l² − r²); and a few roundings of the stroke in f32.
    pub(crate) fn table_error(&self) -> f64 {
        let r = self.radius;
        let least = (self.rod * self.rod - r * r).sqrt();
        let bend = r + r * r / least + r.powi(4) / (4.0 * least.powi(3));
        1.0_f64.to_radians().powi(2) / 8.0 * bend + 4.0 * ROUNDING * 2.0 * r
    }
}

type Complex = (f64, f64);

fn times(a: Complex, b: Complex) -> Complex {
    (a.0 * b.0 - a.1 * b.1, a.0 * b.1 + a.1 * b.0)
}

/// A recursive low-pass of any order: y = Σ b x − Σ a y.
pub(crate) struct Recursion {
    b: Vec<f64>,
    a: Vec<f64>,
    /// How far one rounding of every sample's arithmetic can move the output, in roundings of the input's size.
    pub(crate) roundings: f64,
    /// The output is held within the range of what came in since the beginning of the last but one of the spans of
    /// so many samples; none where it is not.
    held: Option<usize>,
}

impl Recursion {
    /// From poles in the z plane, zeros at −1 (or at 0), gain 1 at rest.
    fn of_poles(poles: &[Complex], zero: f64) -> (Vec<f64>, Vec<f64>) {
        let mut a: Vec<Complex> = vec![(1.0, 0.0)];
        for pole in poles {
            a.push((0.0, 0.0));
            for n in (1..a.len()).rev() {
                let part = times(*pole, a[n - 1]);
                a[n] = (a[n].0 - part.0, a[n].1 - part.1);
            }
        }
        let a: Vec<f64> = a
            .into_iter()
            .map(|(re, im)| {
                assert!(im.abs() < 1e-9, "poles come in pairs");
                re
            })
            .collect();
        let mut b = vec![0.0; a.len()];
        b[0] = 1.0;
        for _ in poles {
            for n in (1..b.len()).rev() {
                b[n] += zero * b[n - 1];
            }
        }
        let gain = a.iter().sum::<f64>() / b.iter().sum::<f64>();
        (b.into_iter().map(|b| gain * b).collect(), a)
    }

    /// Sum of the sizes of the impulse response of 1 / Π (1 − pole/z): what it makes of an error in every sample.
    fn gain_of_errors(poles: &[Complex]) -> f64 {
        let (_, a) = Self::of_poles(poles, 0.0);
        let (mut past, mut sum) = (vec![0.0; a.len() - 1], 0.0);
        for n in 0..20_000 {
            let x = if n == 0 { 1.0 } else { 0.0 };
            let y: f64 = x - a[1..].iter().zip(&past).map(|(a, y)| a * y).sum::<f64>();
            past.rotate_right(1);
            past[0] = y;
            sum += y.abs();
        }
        sum
    }

    pub(crate) fn new(kind: FilterKind, corner_hz: f64, sample_hz: f64) -> Self {
        let ratio = corner_hz / sample_hz;
        let order = match kind {
            FilterKind::NoOvershoot => {
                // Two equal stages 1 − p over 1 − p/z, each 1/√2 in power at the corner: found by halving.
                let power = |p: f64| (1.0 - p).powi(2) / (1.0 + p * p - 2.0 * p * (TAU * ratio).cos());
                let (mut low, mut high) = (0.0, 1.0);
                for _ in 0..200 {
                    let middle = 0.5 * (low + high);
                    if power(middle) > FRAC_1_SQRT_2 { low = middle } else { high = middle }
                }
                let pole = (low, 0.0);
                let (b, a) = Self::of_poles(&[pole, pole], 0.0);
                // Each stage: the difference, its product with the share and the sum, of sizes 2, 2·share and 1, and
                // the rounded share: 6 at most. The first stage's errors pass through the second, whose gain is 1.
                let roundings = 2.0 * 6.0 * Self::gain_of_errors(&[pole]);
                return Self { b, a, roundings, held: None };
            }
            FilterKind::Butterworth2 => 2,
            FilterKind::Butterworth4 => 4,
        };
        // Poles of the prototype evenly on the left half of the unit circle; the bilinear transform with its corner
        // put where it is wanted.
        let k = (PI * ratio).tan();
        let poles: Vec<Complex> = (0..order)
            .map(|n| {
                let angle = PI * f64::from(2 * n + order + 1) / f64::from(2 * order);
                let (re, im) = (k * angle.cos(), k * angle.sin());
                // (1 + s)/(1 − s)
                let size = (1.0 - re).powi(2) + im * im;
                ((1.0 - re * re - im * im) / size, 2.0 * im / size)
            })
            .collect();
        let (b, a) = Self::of_poles(&poles, 1.0);
        // A section in f32: nine roundings of sums and products, none larger than four times the input's size, and
        // five rounded coefficients of sizes up to 2: 24 a sample at most, passed through its own recursion. What the
        // first of two sections does passes through the second, whose greatest response to a bounded signal is
        // below 2.
        let last = poles.len() - 1;
        let pairs = (0..poles.len() / 2).map(|n| Self::gain_of_errors(&[poles[n], poles[last - n]]));
        // Two periods of the corner.
        let held = Some((2.0 * sample_hz / corner_hz).ceil() as usize);
        Self { b, a, roundings: 2.0 * 24.0 * pairs.sum::<f64>(), held }
    }

    /// Filters a signal, at rest at its first value before it began.
    fn run(&self, signal: &[f64]) -> Vec<f64> {
        let first = signal[0];
        let mut raw: Vec<f64> = Vec::with_capacity(signal.len());
        let mut out = Vec::with_capacity(signal.len());
        for n in 0..signal.len() {
            let x = |back: usize| if n >= back { signal[n - back] } else { first };
            let y = |back: usize| if n >= back { raw[n - back] } else { first };
            let forward: f64 = self.b.iter().enumerate().map(|(k, b)| b * x(k)).sum();
            let back: f64 = self.a.iter().enumerate().skip(1).map(|(k, a)| a * y(k)).sum();
            let value = forward - back;
            raw.push(value);
            out.push(self.held.map_or(value, |span| {
                let lately = &signal[(n / span).saturating_sub(1) * span..=n];
                let least = lately.iter().copied().fold(f64::INFINITY, f64::min);
                let greatest = lately.iter().copied().fold(f64::NEG_INFINITY, f64::max);
                value.max(least).min(greatest)
            }));
        }
        out
    }
}

/// Single readings that jump are replaced by the last accepted one; a frame after one with such a reading is accepted.
fn without_spikes(columns: &mut [Vec<f64>], jump: f64, seed: u64) {
    let mut accepted: Vec<f64> = columns.iter().map(|loads| loads[0]).collect();
    let mut withheld = false;
    for n in 0..columns[0].len() {
        let guarded = !withheld;
        withheld = false;
        for (loads, accepted) in columns.iter_mut().zip(&mut accepted) {
            let change = (loads[n] - *accepted).abs();
            assert!(
                !jump.is_finite() || (change - jump).abs() > 1e-3 * jump,
                "seed {seed}: too near to tell"
            );
            if guarded && change > jump {
                loads[n] = *accepted;
                withheld = true;
            } else {
                *accepted = loads[n];
            }
        }
    }
}

/// One stroke as the oracle sees it.
pub(crate) struct Stroke<const N: usize> {
    /// `[frame]`: angle as given, and the degrees counted for it.
    pub(crate) angles: Vec<u32>,
    pub(crate) degrees: Vec<f64>,
    pub(crate) height_mm: Vec<f64>,
    /// `[column][frame]`, kN: before and after the filter; the totals are the last.
    pub(crate) before: Vec<Vec<f64>>,
    pub(crate) after: Vec<Vec<f64>>,
    /// First and last frame of the input.
    pub(crate) frames: [usize; 2],
}

/// All strokes of an input, and how far f32 may be from them.
pub(crate) struct Oracle<const N: usize> {
    pub(crate) slide: Slide,
    pub(crate) strokes: Vec<Stroke<N>>,
    /// `[column, then total]`: tolerances of loads before and after the filter, kN.
    pub(crate) before_kn: Vec<f64>,
    pub(crate) after_kn: Vec<f64>,
}

impl<const N: usize> Oracle<N> {
    pub(crate) fn new(input: &Input<N>, seed: u64) -> Self {
        let config = &input.settings.calibration;
        let press = &input.settings.press;
        let slide = Slide { radius: 0.5 * press.stroke_mm, rod: press.rod_mm };
        let filter = input.settings.filter.map(|f| Recursion::new(f.kind, f.corner_hz, f.sample_hz));

        let net = |column: usize| {
            let zero = f64::from(config.zero_counts[column]);
            input.frames.iter().map(move |frame| f64::from(frame.counts[column]) - zero)
        };
        let greatest: Vec<f64> =
            (0..N).map(|column| net(column).fold(0.0, |most: f64, x| most.max(x.abs()))).collect();
        let (mut before, mut after, mut before_kn, mut after_kn) = (vec![], vec![], vec![], vec![]);
        let mut sizes = 0.0;
        let mut columns = vec![];
        for row in config.kn_per_count {
            let mut loads = vec![0.0; input.frames.len()];
            let mut size = 0.0;
            for (column, cell) in row.iter().enumerate() {
                loads.iter_mut().zip(net(column)).for_each(|(load, net)| *load += f64::from(*cell) * net);
                size += f64::from(cell.abs()) * greatest[column];
            }
            columns.push((loads, size));
        }
        let (mut guarded, column_sizes): (Vec<_>, Vec<_>) = columns.into_iter().unzip();
        without_spikes(&mut guarded, f64::from(input.settings.spike_jump_kn), seed);
        for (loads, size) in guarded.into_iter().zip(column_sizes) {
            // Counts are exact in f32 below 2²⁴; one rounding a product and one a sum.
            before_kn.push(2.0 * N as f64 * ROUNDING * size);
            let filtered = filter.as_ref().map_or_else(|| loads.clone(), |filter| filter.run(&loads));
            let roundings = filter.as_ref().map_or(0.0, |filter| filter.roundings);
            // The low-passes' own gain on errors that come in is below 2 (Butterworth), 1 (no overshoot).
            after_kn.push(2.0 * before_kn.last().unwrap() + roundings * ROUNDING * size);
            before.push(loads);
            after.push(filtered);
            sizes += size;
        }
        for (all, tolerances) in [(&mut before, &mut before_kn), (&mut after, &mut after_kn)] {
            let total = (0..input.frames.len()).map(|n| all.iter().map(|column| column[n]).sum()).collect();
            let tolerance = tolerances.iter().sum::<f64>() + N as f64 * ROUNDING * sizes;
            all.push(total);
            tolerances.push(tolerance);
        }
        let strokes = Self::split(input, &slide, &before, &after);
        Self { slide, strokes, before_kn, after_kn }
    }

    /// Strokes run from the frame in which the furthest angle passes a top to the one before it passes the next.
    fn split(input: &Input<N>, slide: &Slide, before: &[Vec<f64>], after: &[Vec<f64>]) -> Vec<Stroke<N>> {
        let angle = |n: usize| match input.frames[n].crank {
            CrankReading::Angle(angle) => angle.0,
            _ => panic!("only angles here"),
        };
        let mut place = f64::from(angle(0)) / TURN;
        let mut furthest = place;
        let mut tops = vec![];
        // Of every frame: how far it has come, in turns from the top before the first frame.
        let mut places = vec![place];
        for n in 1..input.frames.len() {
            let step = (f64::from(angle(n)) - f64::from(angle(n - 1))) / TURN;
            place += step - step.round();
            if place.floor() > furthest.floor() {
                tops.push(n);
            }
            furthest = furthest.max(place);
            places.push(place);
        }
        let part =
            |all: &[Vec<f64>], from: usize, to: usize| all.iter().map(|x| x[from..to].to_vec()).collect();
        let stroke = |ends: &[usize]| {
            let (from, to) = (ends[0], ends[1]);
            // Jitter back behind the top that began the stroke counts as the top.
            let top = places[from].floor();
            let degrees: Vec<f64> = places[from..to].iter().map(|x| 360.0 * (x - top).max(0.0)).collect();
            Stroke {
                angles: (from..to).map(|n| if places[n] < top { 0 } else { angle(n) }).collect(),
                height_mm: degrees.iter().map(|x| slide.height(*x)).collect(),
                degrees,
                before: part(before, from, to),
                after: part(after, from, to),
                frames: [from, to - 1],
            }
        };
        tops.windows(2).map(stroke).collect()
    }
}
