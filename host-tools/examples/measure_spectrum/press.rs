//! A simulated press whose frame is heavier or lighter, more or less damped, and what it truly rings at.

use std::path::Path;

use bolster::card::press::PressCard;
use bolster::recording::{Header, SimulatedWriter};
use bolster::spectrum::{FrameHealth, Mode, Wanted, examine};
use bolster_core::crank::CrankSlider;
use bolster_core::press::PressSpec;
use bolster_sim::frame::{Frame, FrameChange};
use bolster_sim::scenario::{Scenario, find};
use bolster_sim::simulator::Simulator;
use nalgebra::DMatrix;

type Failed = Box<dyn std::error::Error>;

/// What to simulate.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Case {
    /// Built-in scenario; its faults are left out.
    pub(crate) scenario: &'static str,
    pub(crate) seed: u64,
    pub(crate) strokes: u32,
    /// Factors on slide mass, damping and amplifier noise.
    pub(crate) mass: f64,
    pub(crate) damping: f64,
    pub(crate) noise: f64,
}

/// What was found and what is true.
pub(crate) struct Run {
    pub(crate) health: FrameHealth,
    pub(crate) truth: Vec<Mode>,
    /// Without the crank's part in the motion.
    pub(crate) frame_alone: Vec<Mode>,
}

/// Simulates a case into a recording with a clock, and examines that.
pub(crate) fn run(case: &Case) -> Result<Run, Failed> {
    let text = find(case.scenario).ok_or_else(|| format!("no built-in scenario {}", case.scenario))?;
    let mut scenario = Scenario::from_toml(text)?;
    scenario.seed = case.seed;
    scenario.strokes = case.strokes;
    scenario.faults.clear();
    scenario.frame.slide_mass_kg *= case.mass;
    scenario.frame.damping *= case.damping;
    scenario.front_end.noise_uv *= case.noise;
    let card = PressCard::parse(&bolster_sim::press::card(&scenario), Path::new("press.toml"))?;
    let header = Header { has_time: true, ..SimulatedWriter::header(card.spec.columns) };
    let mut writer = SimulatedWriter::new(Vec::new(), header)?;
    let simulator = Simulator::new(&scenario)?;
    let press = *simulator.press();
    for stroke in simulator {
        writer.write(&stroke)?;
    }
    let file = tempfile::NamedTempFile::with_suffix(".csv")?;
    std::fs::write(file.path(), writer.finish()?)?;
    let health = examine(&[file.path()], &card, Wanted::default(), &mut |_, _, _| {})?;
    let frame_alone = truth(&scenario, &press, None)?;
    let free = health.recordings.first().and_then(|recording| recording.free_part);
    // Where half of the opening's energy has gone: what a decay tells is most of all told there.
    let at = free
        .zip(frame_alone.first())
        .map(|(part, opening)| part.from + 0.5 / opening.decay_per_s() * 6.0 * scenario.drive.speed_spm);
    Ok(Run { truth: truth(&scenario, &press, at)?, health, frame_alone })
}

/// The frame's modes from its mass, damping and stiffness, the slowest first. At a crank angle the crank takes part in
/// the slide's motion by its inertia J: the opening then has the compliance of mass 1/m + h'²/J, h' being the slide's
/// way a radian (from the equations of motion of the simulator's drive).
fn truth(scenario: &Scenario, press: &PressSpec, at_deg: Option<f64>) -> Result<Vec<Mode>, Failed> {
    let frame = Frame::new(press, &scenario.frame, &FrameChange::default(), 1e-4);
    let (mass, damping, stiffness) = frame.matrices();
    let mut rates = DMatrix::<f64>::zeros(6, 6);
    for i in 0..3 {
        rates[(i, 3 + i)] = 1.0;
        for j in 0..3 {
            rates[(3 + i, j)] = -stiffness[i][j] / mass[i];
            rates[(3 + i, 3 + j)] = -damping[i][j] / mass[i];
        }
    }
    if let (Some(at), Some(flywheel_kj)) = (at_deg, scenario.drive.flywheel_kj) {
        let omega = scenario.drive.speed_spm * std::f64::consts::TAU / 60.0;
        let inertia = 2000.0 * flywheel_kj / (omega * omega);
        let way = 1e-3 * CrankSlider::new(press.stroke_mm, press.rod_mm)?.rate_mm(at.to_radians());
        let share = 1.0 + scenario.frame.slide_mass_kg * way * way / inertia;
        for j in 0..6 {
            rates[(3, j)] *= share;
        }
    }
    let eigenvalues = rates.complex_eigenvalues();
    let turning = eigenvalues.iter().filter(|z| z.im > 0.0);
    let mut modes: Vec<Mode> = turning.map(|z| Mode::of_rates(z.im / std::f64::consts::TAU, -z.re)).collect();
    modes.sort_by(|a, b| a.hz.total_cmp(&b.hz));
    Ok(modes)
}

/// The true mode nearest to a frequency.
pub(crate) fn nearest(truth: &[Mode], hz: f64) -> Option<Mode> {
    truth.iter().copied().min_by(|a, b| (a.hz - hz).abs().total_cmp(&(b.hz - hz).abs()))
}
