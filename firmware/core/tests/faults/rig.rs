//! An invented press that runs turn after turn, with faults of its gauges, its sample clock and its crank sensor.

use bolster_core::calibrate::ZeroTracking;
use bolster_core::frame::{CrankReading, Frame};
use bolster_core::settings::PressSettings;
use bolster_core::stroke::StrokeSource;
use bolster_core::units::Tick;
use rand::RngExt as _;

use super::kit::{KN_PER_COUNT, chance, press, share_of_turn};

/// Frames a turn while the press runs, but for faults that need another [`Pace`].
pub(crate) const TURN: u32 = 1000;
/// The part of the turn at which a fault begins (before the load does), and turns after it.
const PART: f64 = 0.38;
pub(crate) const AFTER: u32 = 12;

/// How the press runs so that all of these faults could be told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Pace {
    pub(crate) sample_hz: f64,
    /// Frames a turn.
    pub(crate) turn: u32,
    /// Good turns before the faults.
    pub(crate) before: u32,
}

impl Pace {
    pub(crate) fn of(faults: &[Fault]) -> Self {
        let has = |fault: Fault| faults.contains(&fault);
        // Hum shows in tenths of a second without load: 240 strokes a minute leave them, 600 do not.
        let (sample_hz, turn) = if has(Fault::Hum) { (5_000.0, 1_250) } else { (10_000.0, TURN) };
        // What a column usually carries is known after eight strokes, and the first one may not be whole.
        Self { sample_hz, turn, before: if has(Fault::GainLost) { 10 } else { 3 } }
    }

    /// Frame in which the faults begin.
    pub(crate) fn begins(self) -> u32 {
        self.before * self.turn + (PART * f64::from(self.turn)) as u32
    }

    fn strokes_a_minute(self) -> f64 {
        60.0 * self.sample_hz / f64::from(self.turn)
    }
}

/// What can go wrong with what the monitor senses.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Fault {
    /// A gauge's reading stays at an end of the converter's range.
    Open,
    /// A gauge's reading stays at the converter's own zero, without noise.
    Short,
    /// A gauge's reading is at an end of the range for three frames.
    Saturated,
    /// A gauge's reading stays at one value.
    Stuck,
    /// White noise on a gauge, 6 % of its share of the rating.
    Noisy,
    /// A gauge's zero wanders off, 6 % of the rating in twelve turns.
    Drifting,
    /// Mains hum on a gauge, 3.5 % of its share of the rating at 50 Hz.
    Hum,
    /// A gauge reads half of every load.
    GainLost,
    /// Five frames do not arrive.
    Lost,
    /// A frame arrives twice.
    Repeated,
    /// The sample clock stands still while frames go on arriving.
    Stalled,
    /// The crank sensor reports that it is faulty.
    SaysFaulty,
    /// The crank sensor's reading is missing.
    Silent,
    /// The encoder, or the index cam, slips by 40° on its shaft.
    Slip,
    /// The encoder stands still, or the index never comes again, while the press runs on.
    Dead,
    /// One index pulse too many, in mid-turn.
    DoubleIndex,
    /// One index pulse is missing.
    MissingIndex,
    /// The press stops for a turn's time before the load, and goes on.
    Stopped,
    /// The press turns back by 60° and goes on.
    TurnedBack,
    /// The press turns back over the top, and goes on from there.
    BackedOut,
}

impl Fault {
    pub(crate) const ALL: [Self; 20] = [
        Self::Open,
        Self::Short,
        Self::Saturated,
        Self::Stuck,
        Self::Noisy,
        Self::Drifting,
        Self::Hum,
        Self::GainLost,
        Self::Lost,
        Self::Repeated,
        Self::Stalled,
        Self::SaysFaulty,
        Self::Silent,
        Self::Slip,
        Self::Dead,
        Self::DoubleIndex,
        Self::MissingIndex,
        Self::Stopped,
        Self::TurnedBack,
        Self::BackedOut,
    ];

    pub(crate) fn is_of_gauge(self) -> bool {
        self <= Self::GainLost
    }
}

/// Settings of the press: as usual, with its zeros tracked.
pub(crate) fn settings<const N: usize>(source: StrokeSource, pace: Pace) -> PressSettings<N> {
    let mut spec = press(N);
    spec.speed_spm = [5.0, 7.0].map(|sixths| pace.strokes_a_minute() * sixths / 6.0);
    spec.usable_energy_kj = None;
    let mut settings = PressSettings::<N>::usual(spec, pace.sample_hz, KN_PER_COUNT, source);
    // A hundredth of the error in each unloaded frame, up to 2 % of the rating.
    settings.calibration.zero_tracking = Some(ZeroTracking { rate: 0.01, limit_kn: 20.0 });
    settings.stroke.rest_s = 0.01;
    settings
}

/// Load of one gauge, kN: a hump around the bottom of the stroke, up to 60 % of its share.
fn load_kn(turns: f64, columns: usize) -> f64 {
    let along = (turns.rem_euclid(1.0) - 0.42) / 0.16;
    let total = if (0.0..1.0).contains(&along) { 600.0 * (std::f64::consts::PI * along).sin() } else { 0.0 };
    total / columns as f64
}

/// Where the crank is in each frame, in turns: forward, but for what the faults do to it.
fn phases(faults: &[Fault], pace: Pace) -> Vec<f64> {
    let (turn, begins) = (pace.turn, pace.begins());
    let step = 1.0 / f64::from(turn);
    let mut all: Vec<f64> = (0..begins).map(|n| f64::from(n) * step).collect();
    let mut phase = f64::from(begins) * step;
    for fault in faults {
        let (way, frames) = match fault {
            Fault::Stopped => (0.0, turn),
            Fault::TurnedBack => (-1.0, turn / 6),
            Fault::BackedOut => (-1.0, turn * 9 / 20),
            _ => continue,
        };
        for _ in 0..frames {
            all.push(phase);
            phase += way * step;
        }
    }
    for _ in 0..AFTER * turn {
        all.push(phase);
        phase += step;
    }
    all
}

/// All frames of a run. The first fault of a gauge befalls the first column, a second one the last.
pub(crate) fn frames<const N: usize>(source: StrokeSource, faults: &[Fault], seed: u64) -> Vec<Frame<N>> {
    let mut random = chance(seed);
    let has = |fault: Fault| faults.contains(&fault);
    let of_gauges: Vec<Fault> = faults.iter().copied().filter(|fault| fault.is_of_gauge()).collect();
    let pace = Pace::of(faults);
    let (turn, begins) = (f64::from(pace.turn), pace.begins());
    let phases = phases(faults, pace);
    let mut pulses_after = 0;
    let mut was_top = false;
    let mut tick = 0;
    let mut frames = Vec::with_capacity(phases.len() + 1);
    for (n, phase) in (0_u32..).zip(&phases) {
        let begun = n >= begins;
        let mut counts = [0; N];
        for count in &mut counts {
            // A converter's own noise: some counts.
            *count = (load_kn(*phase, N) / f64::from(KN_PER_COUNT)) as i32 + random.random_range(-20..20);
        }
        for (fault, column) in of_gauges.iter().zip([0, N - 1]) {
            let since = n.saturating_sub(begins);
            // Uniform noise of this half width has a standard deviation of 6 % of the share of 1,000 kN.
            let noise = random.random_range(-104.0..104.0) / N as f64 / f64::from(KN_PER_COUNT);
            if !begun {
                continue;
            }
            match fault {
                Fault::Open => counts[column] = (1 << 23) - 1,
                Fault::Short => counts[column] = 3,
                Fault::Saturated if (100..103).contains(&since) => counts[column] = -(1 << 23),
                Fault::Stuck => counts[column] = 20_000,
                Fault::Noisy => counts[column] += noise as i32,
                Fault::Drifting => {
                    let drift = 60.0 * f64::from(since) / (f64::from(AFTER) * turn);
                    counts[column] += (drift / f64::from(KN_PER_COUNT)) as i32;
                }
                Fault::Hum => {
                    let turns = f64::from(n) / pace.sample_hz * 50.0;
                    let hum = 35.0 / N as f64 * (std::f64::consts::TAU * turns).sin();
                    counts[column] += (hum / f64::from(KN_PER_COUNT)) as i32;
                }
                Fault::GainLost => counts[column] /= 2,
                _ => {}
            }
        }
        let shown = if has(Fault::Slip) && begun { phase + 40.0 / 360.0 } else { *phase };
        let frozen = f64::from(begins) / turn;
        let reading = match source {
            StrokeSource::Index => {
                // The cam is on for ten frames from the top.
                let top = shown.rem_euclid(1.0) * turn < 9.5;
                pulses_after += u32::from(begun && top && !was_top);
                was_top = top;
                let extra = has(Fault::DoubleIndex) && (20..30).contains(&n.saturating_sub(begins));
                let missing = has(Fault::MissingIndex) && begun && pulses_after == 1;
                CrankReading::Index((top || extra) && !missing && !(has(Fault::Dead) && begun))
            }
            StrokeSource::Load => CrankReading::Absent,
            StrokeSource::Encoder | StrokeSource::Marked => {
                let shown = if has(Fault::Dead) && begun { frozen } else { shown };
                CrankReading::Angle(share_of_turn(shown))
            }
        };
        let crank = match reading {
            CrankReading::Absent => reading,
            _ if has(Fault::SaysFaulty) && n == begins + 12 => CrankReading::Fault,
            _ if has(Fault::Silent) && n == begins + 15 => CrankReading::Absent,
            _ => reading,
        };
        let frame = Frame { tick: Tick(tick), counts, crank, sensors: 0 };
        let lost = has(Fault::Lost) && (begins..begins + 5).contains(&n);
        if !lost {
            frames.push(frame);
        }
        if has(Fault::Repeated) && n == begins + 7 {
            frames.push(frame);
        }
        tick += u32::from(!(has(Fault::Stalled) && n >= begins + 3));
    }
    frames
}
