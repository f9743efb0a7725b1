//! Claim: the simulated frame answers a load as SciPy's solver says, to a ten-thousandth of the peak.
//!
//! The script builds the frame from the press's own figures; only the load is shared. Skipped with a notice where
//! there is no Python or no network; `BOLSTER_REQUIRE_PYTHON=1` makes that a failure.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use bolster_claims::python;
use bolster_sim::frame::{Frame, FrameChange};
use bolster_sim::scenario::{Scenario, find};
use bolster_sim::simulator::Simulator;
use serde_json::{Value, json};

/// Readings of the stroke used as load: from its first contact on.
const READINGS: usize = 1200;

struct Case {
    name: String,
    asked: Value,
    loads: Vec<[f64; 4]>,
    columns: usize,
}

/// The total load of a simulated stroke, cracks and all, laid off centre onto the frame of its press.
fn case(name: &str, change: &FrameChange, what: &str) -> Case {
    let mut scenario = Scenario::from_toml(find(name).unwrap()).unwrap();
    scenario.strokes = 1;
    let mut simulator = Simulator::new(&scenario).unwrap();
    let press = *simulator.press();
    let stroke = simulator.next().unwrap();
    let total = |s: &bolster_sim::simulator::SimSample| s.kn.iter().sum::<f64>();
    let onset = stroke.samples.iter().position(|s| total(s) > 0.05 * press.rated_kn).unwrap();
    let force: Vec<f64> = stroke.samples.iter().skip(onset - 20).take(READINGS).map(total).collect();
    let half = press.bolster_mm.map(|mm| mm / 2.0);
    let at = [0.3 * half[0], -0.2 * half[1]];
    let step_s = 1.0 / scenario.sample_hz;
    let frame = Frame::new(&press, &scenario.frame, change, step_s);
    let shape = frame.shape(at[0], at[1]);
    let mut state = [0.0; 6];
    let mut loads = vec![frame.column_loads(&state)];
    for pair in force.windows(2) {
        let at = |kn: f64| shape.map(|part| part * kn);
        state = frame.complete(&frame.known(&state, &at(pair[0])), &at(pair[1]));
        loads.push(frame.column_loads(&state));
    }
    // SciPy starts from rest under the first force as well: both are at zero with the force already on.
    let columns = press.columns.count();
    let side = |sides: &[f32], n: usize| sides.get(n).copied().map_or(0.0, f64::from);
    let column = |n: usize| {
        json!({
            "x": side(press.columns.side_x(), n),
            "y": side(press.columns.side_y(), n),
            "stiffness": scenario.frame.column_stiffness.get(n).copied().unwrap_or(1.0),
            "factor": change.column_factor[n],
        })
    };
    let asked = json!({
        "mass_kg": scenario.frame.slide_mass_kg,
        "rated_kn": press.rated_kn,
        "stretch_mm": scenario.frame.stretch_at_rated_mm,
        "damping": scenario.frame.damping,
        "gib_share": scenario.frame.gib_share,
        "gib_factor": change.gib_factor,
        "half_mm": half,
        "slide_mm": scenario.frame.slide_mm.unwrap_or(press.bolster_mm),
        "columns": (0..columns).map(column).collect::<Vec<_>>(),
        "step_s": step_s,
        "force_kn": force,
        "at_mm": at,
    });
    Case { name: format!("{name}, {what}"), asked, loads, columns }
}

#[test]
fn the_frame_answers_as_scipys_solver_does() {
    let sound = FrameChange::default();
    let loose = FrameChange { column_factor: [0.5, 1.0, 1.0, 1.0], gib_factor: 0.3 };
    let cases: Vec<Case> = ["small-press", "brake-two-dies", "five-station", "forty-station"]
        .into_iter()
        .flat_map(|name| [case(name, &sound, "sound"), case(name, &loose, "a loose rod and worn gibs")])
        .collect();
    let asked: Vec<&Value> = cases.iter().map(|case| &case.asked).collect();
    let Some(answers) = python::run("frame.py", &json!({ "cases": asked })) else { return };
    for (case, answer) in cases.iter().zip(answers.as_array().unwrap()) {
        let answer: Vec<Vec<f64>> = serde_json::from_value(answer.clone()).unwrap();
        assert_eq!(answer.len(), case.loads.len(), "{}", case.name);
        let peak = case.loads.iter().flatten().fold(0.0_f64, |peak, kn| peak.max(kn.abs()));
        let mut worst = 0.0_f64;
        for (ours, theirs) in case.loads.iter().zip(&answer) {
            assert_eq!(theirs.len(), case.columns);
            for (a, b) in ours.iter().zip(theirs) {
                worst = worst.max((a - b).abs() / peak);
            }
        }
        println!("{}: peak of a column {peak:.0} kN, off by {worst:.1e} of it", case.name);
        assert!(worst < 1e-4, "{}: off by {worst:e} of the peak", case.name);
    }
}
