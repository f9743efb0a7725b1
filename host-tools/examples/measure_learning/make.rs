//! Presses to measure on: the built-in scenarios with random changes to press, frame, stock and faults.

use std::fs::File;
use std::io::{BufWriter, Write as _};
use std::path::Path;

use bolster::recording::SimulatedWriter;
use bolster_sim::material;
use bolster_sim::scenario::{FaultData, Scenario, find};
use bolster_sim::simulator::Simulator;
use bolster_sim::truth::{Kind, TruthWriter};

use super::Failure;

const BASES: [&str; 4] = ["five-station", "forty-station", "brake-two-dies", "small-press"];
const VARIANTS: u64 = 4;
const KINDS: [Kind; 12] = [
    Kind::Dull,
    Kind::Chipped,
    Kind::Broken,
    Kind::NoStrip,
    Kind::Double,
    Kind::Misfeed,
    Kind::ShutHeight,
    Kind::Slug,
    Kind::LooseRod,
    Kind::GaugeStuck,
    Kind::GaugeGain,
    Kind::HardMaterial,
];
const SEVERITIES: [f64; 3] = [0.05, 0.15, 0.5];
const LEARNING: u32 = 300;
const TEST: u32 = 560;
/// Samples a stroke: enough for every shape here, and files stay small.
const SAMPLES: f64 = 1500.0;

/// A small generator of our own: examples need no more chance than this.
struct Chance(u64);

impl Chance {
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((self.0 >> 33) as f64) / f64::from(1_u32 << 31)
    }

    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.next()
    }
}

pub(crate) fn scenario(base: &str, variant: u64) -> Result<Scenario, Failure> {
    let mut scenario = Scenario::from_toml(find(base).ok_or("no such scenario")?)?;
    let mut chance = Chance(1_000 * variant + base.len() as u64);
    for _ in 0..8 {
        chance.next();
    }
    scenario.seed = 7_000 + 13 * variant;
    scenario.strokes = LEARNING + TEST;
    if variant > 0 {
        scenario.frame.stretch_at_rated_mm *= chance.between(0.6, 1.5);
        scenario.frame.slide_mass_kg *= chance.between(0.6, 1.6);
        scenario.frame.damping = chance.between(0.02, 0.12);
        let strip = &mut scenario.strip;
        strip.coil_thickness_percent = chance.between(0.5, 2.0);
        strip.coil_strength_percent = chance.between(1.0, 4.0);
        strip.scatter_station_percent *= chance.between(0.6, 1.6);
        let softer = material::all().get((chance.next() * 4.0) as usize).ok_or("no material")?;
        softer.name.clone_into(&mut strip.material);
    }
    scenario.strip.strokes_per_coil = chance.between(100.0, 150.0) as u32;
    let spm = scenario.drive.speed_spm;
    let seconds = (scenario.angle_to_deg - scenario.angle_from_deg) / (6.0 * spm);
    scenario.sample_hz = scenario.sample_hz.min((SAMPLES / seconds).max(2_000.0));
    let each = 0.25 / (KINDS.len() * SEVERITIES.len()) as f64;
    scenario.faults = KINDS
        .iter()
        .flat_map(|kind| SEVERITIES.map(|severity| (*kind, severity)))
        .map(|(kind, severity)| FaultData {
            kind,
            severity,
            from: LEARNING + 1,
            to: None,
            probability: Some(each),
            grows: false,
            station: None,
            column: None,
        })
        .collect();
    Ok(scenario)
}

/// Writes every press that is not there yet.
pub(crate) fn presses(folder: &Path) -> Result<(), Failure> {
    for (base, variant) in cases() {
        let case = folder.join(format!("sim-{base}-{variant}"));
        if case.join("truth.csv").exists() {
            continue;
        }
        match press(&case, base, variant) {
            Ok(()) => println!("made {}", case.display()),
            // A random press that cannot run is no press: say so and go on.
            Err(why) => println!("{}: {why}", case.display()),
        }
    }
    Ok(())
}

fn press(case: &Path, base: &str, variant: u64) -> Result<(), Failure> {
    let scenario = scenario(base, variant)?;
    let simulator = Simulator::new(&scenario)?;
    std::fs::create_dir_all(case)?;
    std::fs::write(case.join("press.toml"), wide_card(&scenario))?;
    let file = |name: &str| File::create(case.join(name)).map(BufWriter::new);
    let columns = simulator.press().columns;
    let mut recordings = [
        SimulatedWriter::new(file("train.csv")?, SimulatedWriter::header(columns))?,
        SimulatedWriter::new(file("test.csv")?, SimulatedWriter::header(columns))?,
    ];
    let mut truth = TruthWriter::new(Vec::new())?;
    for stroke in simulator {
        let [train, test] = &mut recordings;
        if stroke.number <= LEARNING {
            train.write(&stroke)?;
        } else {
            test.write(&stroke)?;
            truth.write(&stroke)?;
        }
    }
    for recording in recordings {
        recording.finish()?;
    }
    file("truth.csv")?.write_all(&truth.finish()?)?;
    Ok(())
}

/// The press card, with limits of the press set wide: what a new material or frame does to them is not measured here.
pub(crate) fn wide_card(scenario: &Scenario) -> String {
    bolster_sim::press::card(scenario).lines().map(|line| wide(line) + "\n").collect()
}

/// Scenario and variant of every press.
pub(crate) fn cases() -> Vec<(&'static str, u64)> {
    BASES.iter().flat_map(|base| (0..VARIANTS).map(|variant| (*base, variant))).collect()
}

fn wide(line: &str) -> String {
    let field = line.split('=').next().unwrap_or_default().trim();
    match field {
        "reverse_percent" | "imbalance_percent" => format!("{field} = 300.0"),
        "column_percent" => format!("{field} = 500.0"),
        _ => line.to_owned(),
    }
}
