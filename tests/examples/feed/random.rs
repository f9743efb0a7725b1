//! Random frames of a running press with faults of gauges, clock, crank and people, in every mode, from a seed.

use bolster_core::frame::{CrankReading, Frame};
use bolster_core::mode::Mode;
use bolster_core::press::{Columns, PressSpec};
use bolster_core::stroke::StrokeSource;
use bolster_core::units::{CrankAngle, Tick};
use bolster_link::feed::{Before, Header, TrialDie};
use bolster_link::trial::invented_press;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

const SAMPLE_HZ: f64 = 10_000.0;
/// Counts of a column's rated share.
const SHARE: f64 = 2_097_152.0;

/// What a random feed says of its press.
pub(crate) fn header(columns: Columns, source: StrokeSource, records: u32) -> Header {
    // Faster than a press of that size, for more strokes in as many frames.
    let press = PressSpec { speed_spm: [60.0, 600.0], ..invented_press(columns) };
    let kn_per_count = (press.rated_kn / columns.count() as f64 / SHARE) as f32;
    Header {
        press,
        source,
        timed: true,
        repeats: false,
        die: TrialDie::Shape,
        records,
        sample_hz: SAMPLE_HZ,
        kn_per_count,
    }
}

/// What goes wrong for a while.
#[derive(Clone, Copy)]
enum Fault {
    None,
    Rail(usize, bool),
    Stuck(usize),
    Shorted(usize),
    Noisy(usize),
    Drift(usize),
    Spike(usize),
    Garbage,
    LostFrames,
    RepeatedFrames,
    CrankJump,
    CrankBack,
    CrankWrong,
    CrankAbsent,
    Overload,
    Reverse,
}

/// `count` frames; in a `sound` feed none is lost or repeated and no channel freezes, which would restart a controller.
pub(crate) fn frames<const N: usize>(
    seed: u64,
    source: StrokeSource,
    count: u32,
    sound: bool,
) -> impl Iterator<Item = (Before, Frame<N>)> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    // Of their own, so that all else is as it would be without them.
    let mut modes = ChaCha8Rng::seed_from_u64(seed ^ 0x6d6f_6465);
    let mut tick = rng.random::<u32>();
    let (mut turn, mut speed_spm) = (0.9_f64, 60.0);
    let mut amplitude = 0.5;
    let mut shares = [1.0; N];
    let (mut fault, mut fault_left) = (Fault::None, 0_u32);
    let mut held = [0_i32; N];
    let mut drift = 0.0;
    (0..count).map(move |_| {
        let mut before = Before {
            acknowledge: rng.random_ratio(1, 2_000),
            bypass: rng.random_ratio(1, 50_000),
            new_coil: rng.random_ratio(1, 60_000),
            mark: rng.random_ratio(1, 80_000),
            mode: any_mode(&mut modes),
            finish: false,
        };
        if fault_left == 0 {
            fault = if rng.random_ratio(1, 2_500) { any_fault::<N>(&mut rng) } else { Fault::None };
            let restarts = matches!(
                fault,
                Fault::LostFrames | Fault::RepeatedFrames | Fault::Stuck(_) | Fault::Shorted(_)
            );
            if sound && restarts {
                fault = Fault::Garbage;
            }
            fault_left = if matches!(fault, Fault::None) { 1 } else { rng.random_range(1..1_500) };
        }
        fault_left -= 1;

        turn += speed_spm / 60.0 / SAMPLE_HZ;
        if turn >= 1.0 {
            turn -= 1.0;
            speed_spm = rng.random_range(55.0..700.0);
            amplitude = rng.random_range(0.1..0.95);
            shares = core::array::from_fn(|_| rng.random_range(0.85..1.15));
            before.mark |= source == StrokeSource::Marked;
        }
        tick = match fault {
            Fault::LostFrames if fault_left == 0 => tick.wrapping_add(rng.random_range(2..2_000)),
            Fault::RepeatedFrames => tick,
            _ => tick.wrapping_add(1),
        };
        let shown = match fault {
            Fault::CrankJump if fault_left.is_multiple_of(64) => rng.random(),
            Fault::CrankBack => turn - 2e-6 * f64::from(fault_left % 700),
            _ => turn,
        };
        let crank = match (fault, source) {
            (Fault::CrankWrong, _) => CrankReading::Fault,
            (Fault::CrankAbsent, _) | (_, StrokeSource::Load) => CrankReading::Absent,
            (_, StrokeSource::Index) => CrankReading::Index((0.0..0.01).contains(&shown)),
            _ => CrankReading::Angle(CrankAngle::from_degrees(shown * 360.0)),
        };

        // A half sine of load from a third to five ninths of the turn, a reverse swing after it.
        let phase = (turn - 0.35) / 0.2;
        let pull = (turn - 0.55) / 0.04;
        let mut load = if (0.0..1.0).contains(&phase) {
            amplitude * (phase * core::f64::consts::PI).sin()
        } else if (0.0..1.0).contains(&pull) {
            -0.05 * amplitude * (pull * core::f64::consts::PI).sin()
        } else {
            0.0
        };
        match fault {
            Fault::Overload => load *= 2.5,
            Fault::Reverse => load = -0.3,
            _ => {}
        }
        let mut counts = [0; N];
        for (count, share) in counts.iter_mut().zip(&shares) {
            let noise = rng.random_range(-400.0..400.0);
            *count = rail((load * share * SHARE + noise) as i32);
        }
        if let Fault::Drift(_) = fault {
            drift += 30.0;
        } else {
            drift = 0.0;
        }
        match fault {
            Fault::Rail(column, top) => counts[column] = if top { (1 << 23) - 1 } else { -(1 << 23) },
            Fault::Stuck(column) => counts[column] = held[column],
            Fault::Shorted(column) => counts[column] = 3,
            Fault::Noisy(column) => {
                counts[column] = rail(counts[column].saturating_add(rng.random_range(-600_000..600_000)));
            }
            Fault::Drift(column) => counts[column] = rail(counts[column].saturating_add(drift as i32)),
            Fault::Spike(column) if fault_left.is_multiple_of(97) => {
                counts[column] = rng.random_range(-8_000_000..8_000_000)
            }
            Fault::Garbage => counts = core::array::from_fn(|_| rng.random()),
            _ => {}
        }
        held = counts;
        (
            before,
            Frame { tick: Tick(tick), counts, crank, sensors: if turn < 0.5 { rng.random() } else { 0xFF } },
        )
    })
}

fn rail(count: i32) -> i32 {
    count.clamp(-(1 << 23), (1 << 23) - 1)
}

/// Once in a while the press is switched, to the mode it is in already as well; most of the time it runs on.
fn any_mode(rng: &mut ChaCha8Rng) -> Option<Mode> {
    let modes = [Mode::Inch, Mode::Single, Mode::Continuous, Mode::Continuous];
    rng.random_ratio(1, 6_000).then(|| modes[rng.random_range(0..modes.len())])
}

fn any_fault<const N: usize>(rng: &mut ChaCha8Rng) -> Fault {
    let column = rng.random_range(0..N);
    match rng.random_range(0..15) {
        0 => Fault::Rail(column, rng.random()),
        1 => Fault::Stuck(column),
        2 => Fault::Shorted(column),
        3 => Fault::Noisy(column),
        4 => Fault::Drift(column),
        5 => Fault::Spike(column),
        6 => Fault::Garbage,
        7 => Fault::LostFrames,
        8 => Fault::RepeatedFrames,
        9 => Fault::CrankJump,
        10 => Fault::CrankBack,
        11 => Fault::CrankWrong,
        12 => Fault::CrankAbsent,
        13 => Fault::Overload,
        _ => Fault::Reverse,
    }
}
