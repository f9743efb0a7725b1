//! What a run promises: the same bytes, sensible loads, energy that adds up, faults that show.

use super::*;
use crate::recording::{RecordingForm, RecordingWriter, TruthWriter};
use crate::scenario::{FaultData, built_in, find};

fn scenario(name: &str, strokes: u32) -> Scenario {
    let mut scenario = Scenario::from_toml(find(name).unwrap()).unwrap();
    scenario.strokes = strokes;
    scenario
}

fn bytes(scenario: &Scenario) -> (Vec<u8>, Vec<u8>) {
    let run = Simulator::new(scenario).unwrap();
    let form = RecordingForm { time: true, speed: true, counts: false, sensors: 2 };
    let mut recording = RecordingWriter::new(Vec::new(), run.press().columns, form).unwrap();
    let mut truth = TruthWriter::new(Vec::new()).unwrap();
    for stroke in run {
        recording.write(&stroke).unwrap();
        truth.write(&stroke).unwrap();
    }
    (recording.finish().unwrap(), truth.finish().unwrap())
}

fn fault(kind: Kind, severity: f64) -> FaultData {
    FaultData {
        kind,
        severity,
        from: 2,
        to: Some(2),
        probability: None,
        grows: false,
        station: None,
        column: None,
    }
}

#[test]
fn the_same_scenario_gives_the_same_bytes() {
    for (name, _) in built_in() {
        let mut wanted = scenario(name, 3);
        wanted.faults.push(fault(Kind::GaugeSpikes, 1.0));
        let first = bytes(&wanted);
        assert!(first == bytes(&wanted), "{name}: two runs differ");
        wanted.seed += 1;
        assert!(first.0 != bytes(&wanted).0, "{name}: the seed changes nothing");
    }
}

#[test]
fn good_strokes_peak_between_15_and_85_percent_of_the_rating() {
    for (name, _) in built_in() {
        let run = Simulator::new(&scenario(name, 40)).unwrap();
        let press = *run.press();
        for stroke in run {
            let truth = &stroke.truth;
            assert_eq!(truth.kind, Kind::Good);
            let percent = 100.0 * truth.peak_kn / press.rated_kn;
            assert!((15.0..85.0).contains(&percent), "{name} stroke {}: {percent} %", stroke.number);
            let reverse = 100.0 * truth.reverse_kn / press.rated_kn;
            assert!(reverse > 0.5 && reverse < 0.9 * press.reverse_percent, "{name}: reverse {reverse} %");
        }
    }
}

#[test]
fn the_energy_of_a_stroke_adds_up_to_one_percent() {
    for (name, _) in built_in() {
        for stroke in Simulator::new(&scenario(name, 30)).unwrap() {
            let e = stroke.energy;
            let open = (e.crank_j - e.die_j - e.damped_j - e.stored_j) / e.crank_j;
            assert!(e.crank_j > 0.0 && open.abs() < 0.01, "{name} stroke {}: {e:?}", stroke.number);
        }
    }
}

#[test]
fn indicated_load_follows_the_true_load_within_gain_error_and_noise() {
    let run = Simulator::new(&scenario("five-station", 10)).unwrap();
    let scale = *run.calibration();
    for stroke in run {
        let highest = stroke.samples.iter().map(|s| s.kn.iter().sum::<f64>()).fold(0.0, f64::max);
        // Three deviations of 0.3 % gain, 0.06 % bridge curve and a few counts of noise.
        assert!((highest / stroke.truth.peak_kn - 1.0).abs() < 0.012, "{highest} {}", stroke.truth.peak_kn);
        for sample in &stroke.samples {
            for (scale, (counts, kn)) in scale.iter().zip(sample.counts.iter().zip(sample.kn)) {
                assert_eq!((f64::from(*counts) - scale.zero_counts) * scale.kn_per_count, kn);
            }
        }
    }
}

#[test]
fn samples_are_a_clock_apart_and_stay_in_the_recorded_part() {
    let wanted = scenario("small-press", 5);
    let mut last: Option<f64> = None;
    for stroke in Simulator::new(&wanted).unwrap() {
        let mut previous: Option<SimSample> = None;
        for sample in &stroke.samples {
            // The encoder's step, 0.022°, is taken off before the comparison.
            assert!(
                sample.angle_deg > wanted.angle_from_deg - 0.03 && sample.angle_deg < wanted.angle_to_deg
            );
            if let Some(before) = previous {
                assert!((sample.time_s - before.time_s - 1e-4).abs() < 1e-9);
                assert!(sample.angle_deg >= before.angle_deg);
            }
            previous = Some(*sample);
        }
        let start = stroke.samples[0].time_s;
        if let Some(before) = last {
            let turn = start - before;
            assert!((turn - 0.5).abs() < 0.02, "a turn of {turn} s at 120 a minute");
        }
        last = Some(start);
    }
}

/// Stroke 2 of a run with and without a fault.
fn pair(name: &str, kind: Kind, severity: f64) -> (SimStroke, SimStroke) {
    let good = scenario(name, 2);
    let mut bad = good.clone();
    bad.faults.push(fault(kind, severity));
    let second = |s: &Scenario| Simulator::new(s).unwrap().nth(1).unwrap();
    (second(&good), second(&bad))
}

#[test]
fn every_fault_shows_in_its_own_stroke_and_only_there() {
    for (name, _) in built_in() {
        for &kind in Kind::ALL.iter().filter(|k| **k != Kind::Good) {
            let mut bad = scenario(name, 3);
            bad.faults.push(fault(kind, 1.0));
            let strokes: Vec<_> = Simulator::new(&bad).unwrap().collect();
            let good: Vec<_> = Simulator::new(&scenario(name, 3)).unwrap().collect();
            assert_eq!(strokes[1].truth.kind, kind, "{name}");
            assert_eq!(strokes[0], good[0], "{name} {kind:?}: the stroke before");
            assert_eq!(strokes[2].truth.kind, Kind::Good);
            assert_eq!(strokes[2].samples, good[2].samples, "{name} {kind:?}: the stroke after");
            let differ =
                strokes[1].samples.iter().zip(&good[1].samples).filter(|(a, b)| a.kn != b.kn).count();
            assert!(differ > 5, "{name} {kind:?}: {differ} samples differ");
        }
    }
}

#[test]
fn faults_move_the_load_as_press_people_expect() {
    let (good, none) = pair("five-station", Kind::NoStrip, 1.0);
    // Only the stripper plate's pad is left.
    assert!(none.truth.peak_kn < 0.15 * good.truth.peak_kn, "{}", none.truth.peak_kn);
    let (good, double) = pair("five-station", Kind::Double, 1.0);
    assert!(double.truth.peak_kn > 1.5 * good.truth.peak_kn, "{}", double.truth.peak_kn);
    let (good, low) = pair("five-station", Kind::ShutHeight, 0.5);
    assert!(low.truth.peak_kn > 1.05 * good.truth.peak_kn, "{}", low.truth.peak_kn);
    let (good, dull) = pair("five-station", Kind::Dull, 1.0);
    assert!(dull.truth.work_kj > 1.02 * good.truth.work_kj, "{}", dull.truth.work_kj);
    let (good, broken) = pair("five-station", Kind::Broken, 1.0);
    assert!(broken.truth.work_kj < good.truth.work_kj, "{}", broken.truth.work_kj);
    let (good, slug) = pair("five-station", Kind::Slug, 1.0);
    assert!(slug.truth.peak_kn > 1.1 * good.truth.peak_kn, "{}", slug.truth.peak_kn);
}
