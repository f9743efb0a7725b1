//! Claim: a recording of raw counts, with the press's calibration, is judged as the same loads in kN are.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::path::Path;

use bolster::calibrate::stored::Stored;
use bolster::card::press::PressCard;
use bolster::judge::{JudgeError, judge};
use bolster::recording::{Header, SimulatedWriter, Unit};
use bolster::session::Outcome;
use bolster_sim::scenario::{Scenario, find};
use bolster_sim::simulator::Simulator;

fn outcomes(folder: &Path, counts: bool) -> Vec<Outcome> {
    let mut scenario = Scenario::from_toml(find("five-station").unwrap()).unwrap();
    scenario.strokes = 5;
    let simulator = Simulator::new(&scenario).unwrap();
    let mut card = PressCard::parse(&bolster_sim::press::card(&scenario), Path::new("card")).unwrap();
    if counts {
        let mut stored = Stored::estimate(simulator.press().columns, 1.0);
        for (n, scale) in simulator.calibration().iter().enumerate() {
            stored.calibration.zero_counts[n] = scale.zero_counts.round() as i32;
            stored.calibration.kn_per_count[n][n] = scale.kn_per_count;
        }
        let path = folder.join("calibration.toml");
        std::fs::write(&path, stored.to_toml().unwrap()).unwrap();
        card.calibrate_by(&path).unwrap();
    }
    let path = folder.join(if counts { "counts.csv" } else { "kn.csv" });
    let header = Header {
        unit: if counts { Unit::Counts } else { Unit::Kilonewtons },
        ..SimulatedWriter::header(card.spec.columns)
    };
    let mut writer = SimulatedWriter::new(std::fs::File::create(&path).unwrap(), header).unwrap();
    simulator.for_each(|stroke| writer.write(&stroke).unwrap());
    writer.finish().unwrap();
    let mut outcomes = Vec::new();
    judge(
        &path,
        &card,
        |_, _| Ok(()),
        &mut |_, _, _| {},
        |outcome, _| {
            outcomes.push(outcome.clone());
            Ok::<(), JudgeError>(())
        },
    )
    .unwrap();
    outcomes
}

#[test]
fn counts_with_their_calibration_are_judged_as_loads_are() {
    let folder = tempfile::tempdir().unwrap();
    let (loads, counts) = (outcomes(folder.path(), false), outcomes(folder.path(), true));
    assert_eq!((loads.len(), counts.len()), (5, 5));
    for (a, b) in loads.iter().zip(&counts) {
        assert_eq!(a.verdict, b.verdict);
        // Of counts the zero is followed while unloaded, where the slide's own inertia shows a few kN.
        assert!((a.peak_kn - b.peak_kn).abs() < 0.005 * 2000.0, "{} {}", a.peak_kn, b.peak_kn);
        assert!((a.reverse_kn - b.reverse_kn).abs() < 0.005 * 2000.0, "{} {}", a.reverse_kn, b.reverse_kn);
    }
}

#[test]
fn a_calibration_of_another_press_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let scenario = Scenario::from_toml(find("five-station").unwrap()).unwrap();
    let mut card = PressCard::parse(&bolster_sim::press::card(&scenario), Path::new("card")).unwrap();
    let path = folder.path().join("calibration.toml");
    let two = Stored::estimate(bolster_core::press::Columns::LeftRight, 1.0);
    std::fs::write(&path, two.to_toml().unwrap()).unwrap();
    let why = card.calibrate_by(&path).unwrap_err().to_string();
    assert!(why.contains("calibration.toml") && why.contains("2 column(s)"), "{why}");
}
