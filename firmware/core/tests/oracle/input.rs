//! A random press with random strokes, as settings, counts and angles: what core and oracle are both given.

use bolster_core::calibrate::CalibrationConfig;
use bolster_core::filter::{FilterConfig, FilterKind};
use bolster_core::frame::{CrankReading, Frame};
use bolster_core::often::MofN;
use bolster_core::press::PressSpec;
use bolster_core::settings::PressSettings;
use bolster_core::stroke::StrokeSource;
use bolster_core::units::{CrankAngle, Tick};
use bolster_core::verdict::Verdict;
use bolster_core::windows::{Channel, Span, WatchWindow, WindowValue};
use rand::RngExt as _;

use super::kit::{TURN, chance, press};

/// Whole strokes in an input, after a part of a turn and before the beginning of another.
pub(crate) const STROKES: usize = 3;

/// What both sides are given.
#[derive(Debug)]
pub(crate) struct Input<const N: usize> {
    pub(crate) settings: PressSettings<N>,
    pub(crate) frames: Vec<Frame<N>>,
    /// Edges of signature bins, degrees.
    pub(crate) edges: Vec<f32>,
    /// One window of the total and of each column, with limits that no load keeps, so that each tells its value.
    pub(crate) windows: Vec<WatchWindow>,
    /// Greatest step back of the crank's angle, degrees.
    pub(crate) jitter: f64,
}

/// A load over the turn: raised cosines of these places, half widths (degrees) and heights (counts).
struct Bumps(Vec<[f64; 3]>);

impl Bumps {
    fn at(&self, degrees: f64) -> f64 {
        let bump = |[place, width, height]: &[f64; 3]| {
            let away = (degrees - place) / width;
            if away.abs() < 1.0 { height * 0.5 * (1.0 + (std::f64::consts::PI * away).cos()) } else { 0.0 }
        };
        self.0.iter().map(bump).sum()
    }
}

/// A random input. The same seed gives the same one.
pub(crate) fn random<const N: usize>(seed: u64) -> Input<N> {
    let mut random = chance(seed);
    let stroke_mm = random.random_range(40.0..400.0);
    let sample_hz = random.random_range(4000.0..20_000.0);
    let turn_frames = random.random_range(400.0..4000.0);
    let speed = 60.0 * sample_hz / turn_frames;
    let spec = PressSpec {
        // So strong that no limit is broken: what is compared here is the features.
        rated_kn: 1e6,
        stroke_mm,
        rod_mm: stroke_mm * random.random_range(0.8..5.0),
        speed_spm: [0.5 * speed, 1.5 * speed],
        usable_energy_kj: None,
        ..press(N)
    };
    let step = 360.0 / turn_frames;

    // Kilonewtons a count, so that some 10⁶ counts are some 10² to 10⁴ kN.
    let gain = random.random_range(2e-4_f32..2e-3);
    let cross = if random.random() { 0.03 } else { 0.0 };
    let mut calibration = CalibrationConfig::<N>::plain(gain);
    for (i, row) in calibration.kn_per_count.iter_mut().enumerate() {
        for (j, cell) in row.iter_mut().enumerate() {
            *cell = gain
                * if i == j { random.random_range(0.8..1.2) } else { cross * random.random_range(-1.0..1.0) };
        }
    }
    calibration.zero_counts = std::array::from_fn(|_| random.random_range(-100_000..100_000));
    let height = random.random_range(3e5..1.5e6);
    let amplitude_kn = height as f32 * gain;

    let mut settings = PressSettings::<N>::usual(spec, sample_hz, gain, StrokeSource::Encoder);
    settings.calibration = calibration;
    let corner_hz = sample_hz * random.random_range(0.03..0.45);
    let kinds = [FilterKind::NoOvershoot, FilterKind::Butterworth2, FilterKind::Butterworth4];
    let kind = kinds.get(random.random_range(0..4)).copied();
    settings.filter = kind.map(|kind| FilterConfig { kind, corner_hz, sample_hz });
    let spikes: bool = random.random();
    settings.spike_jump_kn = if spikes { 2.0 * amplitude_kn } else { f32::INFINITY };
    settings.stroke.onset_kn = 0.05 * N as f32 * amplitude_kn;
    settings.centre_least_kn = 0.1 * N as f32 * amplitude_kn;

    let common: Vec<[f64; 2]> = (0..random.random_range(1..4))
        .map(|_| [random.random_range(110.0..200.0), (20.0 * step).max(random.random_range(3.0..40.0))])
        .collect();
    let bumps: [Bumps; N] = std::array::from_fn(|_| {
        let mut all: Vec<[f64; 3]> = common
            .iter()
            .map(|[place, width]| [*place, *width, height * random.random_range(0.1..0.4)])
            .collect();
        let back = (20.0 * step).max(8.0);
        all.push([random.random_range(205.0..250.0), back, -height * random.random_range(0.02..0.2)]);
        Bumps(all)
    });

    let jitter = if random.random() { random.random_range(0.0..0.8) } else { 0.0 };
    let mut turns = random.random_range(0.3..0.95);
    let mut frames = Vec::new();
    let start = random.random::<u32>();
    while turns < 1.02 + STROKES as f64 {
        let pace = 1.0 + 0.3 * (1.7 * std::f64::consts::TAU * turns).sin();
        turns += pace / turn_frames;
        let degrees = turns.fract() * 360.0;
        let seen = turns + if jitter > 0.0 { random.random_range(-0.5..0.5) * jitter / 360.0 } else { 0.0 };
        let spike = spikes && random.random_bool(0.002);
        let mut counts = [0; N];
        for ((count, bumps), zero) in counts.iter_mut().zip(&bumps).zip(&calibration.zero_counts) {
            let noise = random.random_range(-0.002..0.002) * height;
            // A spike of one column leaves the others alone.
            let jump = if spike && random.random() { 3.0 * height } else { 0.0 };
            *count = zero + (bumps.at(degrees) + noise + jump).round() as i32;
        }
        frames.push(Frame {
            tick: Tick(start.wrapping_add(frames.len() as u32)),
            counts,
            crank: CrankReading::Angle(CrankAngle((seen.rem_euclid(1.0) * TURN) as u64 as u32)),
            sensors: 0,
        });
    }

    let mut edges = vec![random.random_range(5.0_f32..100.0)];
    for _ in 0..16 {
        let last = edges.last().copied().unwrap();
        edges.push(last + random.random_range(0.5..12.0));
    }
    let mut window = |channel| {
        let from = random.random_range(100.0..200.0);
        WatchWindow {
            span: Span::angles(
                CrankAngle::from_degrees(from),
                CrankAngle::from_degrees(from + random.random_range(5.0..60.0)),
            ),
            channel,
            value: [WindowValue::Greatest, WindowValue::Least, WindowValue::Mean][random.random_range(0..3)],
            low_kn: 1e30,
            high_kn: 1e30,
            verdict: Verdict::Note,
            rule: MofN::FIRST,
        }
    };
    let columns = (0..N as u8).map(Channel::Column);
    let windows = std::iter::once(Channel::Total).chain(columns).map(&mut window).collect();
    Input { settings, frames, edges, windows, jitter }
}
