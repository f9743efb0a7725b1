//! Nanoseconds that one frame of four columns takes through the whole core on the host: every machine limit and health
//! check, then with a die whose every window is taken, then with a learned shape judged as well.
//!
//! It stands here and not beside the core because the trial's die and shape do.

#![allow(
    clippy::unwrap_used,
    missing_docs,
    reason = "a bench stops at the first failure; criterion's macros carry no docs"
)]

use bolster_core::frame::{CrankReading, Frame};
use bolster_core::press::{Columns, PressSpec};
use bolster_core::stroke::StrokeSource;
use bolster_core::units::{CrankAngle, Tick};
use bolster_core::verdict::Verdict;
use bolster_link::feed::{Header, TrialDie};
use bolster_link::trial::{TrialMonitor, invented_press, press, put_die};
use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;

const SAMPLE_HZ: f64 = 10_000.0;
/// 60 strokes a minute.
const TURN: usize = 10_000;
const STROKES: usize = 16;
const SEED: u64 = 20_261_125;

fn header() -> Header {
    // Good strokes of the invented shape are long and take more work than the invented press has.
    let press = PressSpec { usable_energy_kj: Some(100.0), ..invented_press(Columns::Corners) };
    Header {
        press,
        source: StrokeSource::Encoder,
        timed: true,
        repeats: false,
        die: TrialDie::Shape,
        records: 0,
        sample_hz: SAMPLE_HZ,
        kn_per_count: 1e-3,
    }
}

/// Good strokes: what the invented shape's reference says, scattered from stroke to stroke and from frame to frame.
fn frames() -> Vec<Frame<4>> {
    let mut random = ChaCha8Rng::seed_from_u64(SEED);
    let share = 2000.0 / 4.0;
    let mut frames = Vec::with_capacity(TURN * STROKES);
    for _ in 0..STROKES {
        let scale = random.random_range(0.997..1.003);
        for n in 0..TURN {
            let along = (n as f64 * 360.0 / TURN as f64 - 100.0) / 140.0;
            let load = if (0.0..1.0).contains(&along) { 2.0 * share * along * (1.0 - along) } else { 0.0 };
            let counts =
                std::array::from_fn(|_| (1e3 * (scale * load + random.random_range(-0.5..0.5))) as i32);
            let angle = CrankAngle(((n as u64) << 32).div_euclid(TURN as u64) as u32);
            // Every sensor as the trial's die wants it: inputs 3 and 6 stay off.
            frames.push(Frame {
                tick: Tick(0),
                counts,
                crank: CrankReading::Angle(angle),
                sensors: 0b1101_1011,
            });
        }
    }
    frames
}

fn frame(bench: &mut Criterion) {
    let frames = frames();
    let header = header();
    let mut group = bench.benchmark_group("frame");
    group.throughput(Throughput::Elements(frames.len() as u64)).sample_size(30);
    for name in ["press alone", "with a die", "with a die and its shape"] {
        let mut monitor = Box::new(TrialMonitor::<4>::new(press(&header).unwrap()));
        monitor.self_test(Tick(0), true);
        if name != "press alone" {
            let die = if name == "with a die" { TrialDie::Limits } else { TrialDie::Shape };
            put_die(&mut monitor, &Header { die, ..header }).unwrap();
        }
        let mut tick = 0_u32;
        group.bench_function(name, |bench| {
            bench.iter(|| {
                let mut granted = 0_u32;
                for frame in &frames {
                    granted += u32::from(monitor.step(&Frame { tick: Tick(tick), ..*frame }).permit);
                    tick = tick.wrapping_add(1);
                }
                granted
            });
        });
        // A stopped press would cost something else.
        let report = monitor.report().unwrap();
        assert!(monitor.permit().is_granted(), "{name}: {:?}", monitor.permit());
        assert!(report.findings.verdict() <= Verdict::Note, "{name}: {:?}", report.findings);
    }
    group.finish();
}

criterion_group!(benches, frame);
criterion_main!(benches);
