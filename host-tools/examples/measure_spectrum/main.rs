//! How near `bolster spectrum` comes to the frame that was simulated, over masses, dampings, noise and seeds.
//!
//! `cargo run --release -p bolster --example measure_spectrum -- [SEEDS] [FIRST_SEED] [STROKES]`: seeds a case (3), the
//! first of them (1001), strokes a recording (12).

mod press;

use press::{Case, nearest, run};

const SCENARIOS: [&str; 4] = ["small-press", "brake-two-dies", "five-station", "forty-station"];
const MASSES: [f64; 5] = [0.4, 0.7, 1.0, 1.6, 2.5];
const DAMPINGS: [f64; 3] = [0.5, 1.0, 2.0];
const NOISES: [f64; 2] = [1.0, 4.0];

/// Errors of told oscillations, per cent, and what was not told.
#[derive(Default)]
struct Tally {
    hz: Vec<f64>,
    /// Against the frame without the crank's part.
    hz_alone: Vec<f64>,
    damping: Vec<f64>,
    decrement: Vec<f64>,
    spectrum: Vec<f64>,
    channels: usize,
    silent: usize,
    outside: usize,
}

impl Tally {
    fn line(&mut self, name: &str) {
        let worst = |errors: &[f64]| errors.iter().fold(0.0_f64, |worst, error| worst.max(error.abs()));
        let rms = |errors: &[f64]| {
            f64::sqrt(errors.iter().map(|error| error * error).sum::<f64>() / errors.len().max(1) as f64)
        };
        println!(
            "{name:<28} {:>5} of {:>5} channels, {:>5} modes: frequency {:.2} / {:.2} % (frame alone {:.2}), damping {:.1} / {:.1} %, decrement {:.1} / {:.1} %, spectrum's crest {:.2} / {:.2} %, outside 1 % or 10 %: {}",
            self.channels - self.silent,
            self.channels,
            self.hz.len(),
            rms(&self.hz),
            worst(&self.hz),
            worst(&self.hz_alone),
            rms(&self.damping),
            worst(&self.damping),
            rms(&self.decrement),
            worst(&self.decrement),
            rms(&self.spectrum),
            worst(&self.spectrum),
            self.outside,
        );
    }

    fn add(&mut self, other: &Self) {
        self.hz.extend(&other.hz);
        self.hz_alone.extend(&other.hz_alone);
        self.damping.extend(&other.damping);
        self.decrement.extend(&other.decrement);
        self.spectrum.extend(&other.spectrum);
        self.channels += other.channels;
        self.silent += other.silent;
        self.outside += other.outside;
    }
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let args: Vec<u64> = std::env::args().skip(1).map(|text| text.parse()).collect::<Result<_, _>>()?;
    let number = |n: usize, default: u64| args.get(n).copied().unwrap_or(default);
    let (seeds, first, strokes) = (number(0, 3), number(1, 1001), number(2, 12));
    println!(
        "seeds {first} to {}, {strokes} strokes; errors: root mean square / greatest",
        first + seeds - 1
    );
    let mut all = Tally::default();
    for scenario in SCENARIOS {
        for noise in NOISES {
            let mut tally = Tally::default();
            for (mass, damping) in MASSES.iter().flat_map(|mass| DAMPINGS.map(|damping| (*mass, damping))) {
                for seed in first..first + seeds {
                    let case = Case { scenario, seed, strokes: strokes as u32, mass, damping, noise };
                    count(&case, &mut tally)?;
                }
            }
            tally.line(&format!("{scenario}, noise x {noise}"));
            all.add(&tally);
        }
    }
    all.line("all");
    Ok(())
}

fn count(case: &Case, tally: &mut Tally) -> Result<(), Box<dyn std::error::Error>> {
    let run = run(case)?;
    for ringing in run.health.recordings.iter().flat_map(|recording| &recording.ringing) {
        tally.channels += 1;
        tally.silent += usize::from(ringing.modes.is_empty());
        for found in &ringing.modes {
            let (Some(truth), Some(alone)) =
                (nearest(&run.truth, found.mode.hz), nearest(&run.frame_alone, found.mode.hz))
            else {
                continue;
            };
            let off = |value: f64, truth: f64| 100.0 * (value / truth - 1.0);
            let (hz, damping) = (off(found.mode.hz, truth.hz), off(found.mode.damping, truth.damping));
            tally.hz.push(hz);
            tally.hz_alone.push(off(found.mode.hz, alone.hz));
            tally.damping.push(damping);
            tally.decrement.extend(found.decrement_damping.map(|value| off(value, truth.damping)));
            tally.spectrum.extend(found.spectrum_hz.map(|value| off(value, truth.hz)));
            if hz.abs() > 1.0 || damping.abs() > 10.0 {
                tally.outside += 1;
                println!("  outside: {case:?}, {}: {found:?}, truth {truth:?}", ringing.channel);
            }
        }
    }
    Ok(())
}
