//! What a run promises: the same bytes, sensible loads, energy that adds up, faults that show.

mod passing;

use super::*;
use crate::scenario::{FaultData, built_in, find};
use crate::truth::TruthWriter;

fn scenario(name: &str, strokes: u32) -> Scenario {
    let mut scenario = Scenario::from_toml(find(name).unwrap()).unwrap();
    scenario.strokes = strokes;
    scenario
}

/// Every number of every reading, bit for bit, and the truth as it is written.
fn bytes(scenario: &Scenario) -> (Vec<u64>, Vec<u8>) {
    let (mut bits, mut truth) = (Vec::new(), TruthWriter::new(Vec::new()).unwrap());
    for stroke in Simulator::new(scenario).unwrap() {
        for sample in &stroke.samples {
            bits.extend([sample.time_s, sample.angle_deg, stroke.speed_spm].map(f64::to_bits));
            bits.extend(sample.kn.map(f64::to_bits));
            bits.extend(sample.counts.map(|counts| u64::from(counts.cast_unsigned())));
            bits.extend([sample.tick, u64::from(sample.sensors), u64::from(sample.index)]);
        }
        truth.write(&stroke).unwrap();
    }
    (bits, truth.finish().unwrap())
}

#[test]
fn threads_change_no_byte() {
    let wanted = scenario("brake-two-dies", 3);
    let alone = bytes(&wanted);
    let together: Vec<_> = std::thread::scope(|scope| {
        let runs: Vec<_> = (0..4).map(|_| scope.spawn(|| bytes(&wanted))).collect();
        runs.into_iter().map(|run| run.join().unwrap()).collect()
    });
    assert!(together.iter().all(|b| *b == alone));
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
            assert_eq!(truth.kind, Kind::Good, "{name}: faults begin later");
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
            let open = e.open_j() / e.crank_j;
            assert!(e.crank_j > 0.0 && open.abs() < 0.01, "{name} stroke {}: {e:?}", stroke.number);
            // Motor, flywheel, clutch and friction on the one side, die and frame on the other.
            let open = e.open_with_drive_j() / e.crank_j;
            assert!(e.drive.crank_j > 0.0 && open.abs() < 0.01, "{name} stroke {}: {e:?}", stroke.number);
        }
    }
}

#[test]
fn the_flywheel_slows_in_the_stroke_and_recovers_before_the_next() {
    let wanted = scenario("five-station", 12);
    let flywheel_j = wanted.drive.flywheel_kj.unwrap() * 1000.0;
    for stroke in Simulator::new(&wanted).unwrap().skip(4) {
        let speed = |pair: &[SimSample]| {
            (pair[1].angle_deg - pair[0].angle_deg) / (pair[1].time_s - pair[0].time_s) / 6.0
        };
        let half = stroke.samples.len() / 4;
        let first = speed(&[stroke.samples[0], stroke.samples[half]]);
        let end = stroke.samples.len() - 1;
        let last = speed(&[stroke.samples[end - half], stroke.samples[end]]);
        // (1 − E/E₀)^½ without the motor; the motor gives back at most its breakdown power meanwhile.
        let droop = 1.0 - f64::sqrt(1.0 - stroke.energy.crank_j / flywheel_j);
        let seen = 1.0 - last / first;
        assert!(seen > 0.2 * droop && seen < 1.1 * droop, "stroke {}: {seen} of {droop}", stroke.number);
        let d = stroke.energy.drive;
        assert!(d.motor_j > 0.0 && d.flywheel_j.abs() < 0.2 * d.motor_j, "{d:?}");
    }
}

#[test]
fn modes_rest_where_they_should() {
    let mut single = scenario("small-press", 4);
    single.drive.mode = crate::scenario::Mode::Single;
    single.drive.pause_s = 1.5;
    let strokes: Vec<_> = Simulator::new(&single).unwrap().collect();
    for pair in strokes.windows(2) {
        let turn = pair[1].samples[0].time_s - pair[0].samples[0].time_s;
        // A turn of 0.5 s, the pause, half the clutch time and half the brake time.
        assert!((turn - (0.5 + 1.5 + 0.06 + 0.075)).abs() < 0.03, "{turn}");
    }
    let mut inch = scenario("small-press", 2);
    inch.drive.mode = crate::scenario::Mode::Inch;
    let stroke = Simulator::new(&inch).unwrap().next().unwrap();
    let still = stroke.samples.windows(2).filter(|w| w[0].angle_deg == w[1].angle_deg).count();
    assert!(still > stroke.samples.len() / 2, "{still} of {} still", stroke.samples.len());
    assert!(stroke.samples.windows(2).all(|w| w[1].angle_deg >= w[0].angle_deg));
    assert!(stroke.truth.peak_kn > 0.15 * 250.0, "{}", stroke.truth.peak_kn);
    let e = stroke.energy;
    assert!(e.open_j().abs() < 0.01 * e.crank_j, "{e:?}");
    let mut stops = scenario("small-press", 7);
    stops.drive.stop_every = 3;
    stops.drive.stop_s = 20.0;
    let starts: Vec<f64> = Simulator::new(&stops).unwrap().map(|s| s.samples[0].time_s).collect();
    let long: Vec<usize> =
        starts.windows(2).enumerate().filter(|(_, w)| w[1] - w[0] > 19.0).map(|(i, _)| i + 1).collect();
    assert_eq!(long, [3, 6], "{starts:?}");
}

#[test]
fn a_whole_turn_is_recorded_with_one_index_pulse() {
    let mut wanted = scenario("five-station", 3);
    (wanted.angle_from_deg, wanted.angle_to_deg) = (0.0, 360.0);
    wanted.drive.stop_every = 0;
    let mut last_tick: Option<u64> = None;
    for stroke in Simulator::new(&wanted).unwrap() {
        let edges = stroke.samples.windows(2).filter(|w| w[0].index && !w[1].index).count();
        assert!(stroke.samples[0].index && edges == 1, "{edges} index pulses");
        for sample in &stroke.samples {
            assert!(last_tick.is_none_or(|t| sample.tick == t + 1), "a gap before tick {}", sample.tick);
            last_tick = Some(sample.tick);
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
    // The encoder shows its steps and 120 a minute slips by a few percent under load.
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
    // Those derived from a base differ from it by their faults alone.
    for name in ["small-press", "brake-two-dies", "five-station", "forty-station"] {
        for &kind in Kind::ALL.iter().filter(|k| **k != Kind::Good) {
            let mut base = scenario(name, 3);
            // A flywheel remembers the last stroke, as it should; here each stroke must stand alone.
            base.drive.flywheel_kj = None;
            if kind == Kind::MissedIndex {
                (base.angle_from_deg, base.angle_to_deg) = (0.0, 360.0);
            }
            let mut bad = base.clone();
            bad.faults.push(fault(kind, 1.0));
            let strokes: Vec<_> = Simulator::new(&bad).unwrap().collect();
            let good: Vec<_> = Simulator::new(&base).unwrap().collect();
            assert_eq!(strokes[1].truth.kind, kind, "{name}");
            assert!(strokes[0] == good[0], "{name} {kind:?}: the stroke before differs");
            assert_eq!(strokes[2].truth.kind, Kind::Good);
            assert!(strokes[2].samples == good[2].samples, "{name} {kind:?}: the stroke after differs");
            let differ = strokes[1].samples.iter().zip(&good[1].samples).filter(|(a, b)| a != b).count();
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

#[test]
fn sensors_follow_the_part() {
    for (kind, input) in [(Kind::Misfeed, 1), (Kind::NoStrip, 1), (Kind::PartNotOut, 2)] {
        let (good, bad) = pair("five-station", kind, 1.0);
        let on = |s: &SimStroke| s.samples.iter().filter(|x| x.sensors & input != 0).count();
        assert!(on(&good) > 100 && on(&bad) == 0, "{kind:?}: {} and {}", on(&good), on(&bad));
    }
}

#[test]
fn wear_raises_the_work_and_a_regrind_takes_it_back() {
    let wanted = scenario("five-station", 60);
    let work = |since: u32| {
        let mut worn = wanted.clone();
        worn.strip.wear_per_100k = 0.9;
        worn.strip.regrind_every = Some(60_000);
        worn.strip.strokes_since_regrind = since;
        Simulator::new(&worn).unwrap().map(|s| s.truth.work_kj).sum::<f64>() / 60.0
    };
    let (sharp, dull, reground) = (work(0), work(59_900), work(60_000));
    // The same seed and so the same coils: only the edges differ.
    assert!(dull > 1.03 * sharp, "{sharp} kJ sharp, {dull} kJ dull");
    assert!((reground / sharp - 1.0).abs() < 1e-9, "{sharp} kJ sharp, {reground} kJ reground");
}

#[test]
fn good_strokes_stay_within_every_limit_of_their_press() {
    for (name, _) in built_in() {
        let run = Simulator::new(&scenario(name, 25)).unwrap();
        let press = *run.press();
        let crank = press.check().unwrap();
        let columns = press.columns.count();
        let share = press.rated_kn / columns as f64;
        for stroke in run {
            for sample in &stroke.samples {
                let total: f64 = sample.kn.iter().sum();
                let height = crank.height_mm(sample.angle_deg.to_radians());
                if sample.angle_deg < 180.0 && total > 0.1 * press.rated_kn {
                    let allowed = press.rated_kn * crank.allowed_fraction(height, press.rated_height_mm);
                    assert!(total < allowed, "{name}: {total} of {allowed} kN at {height} mm");
                }
                let most = sample.kn.iter().copied().fold(0.0, f64::max);
                assert!(most < share * press.column_percent / 100.0, "{name}: a column with {most} kN");
                for sides in [press.columns.side_x(), press.columns.side_y()] {
                    let sum: f64 = sides.iter().zip(sample.kn).map(|(s, kn)| f64::from(*s) * kn).sum();
                    let limit = press.rated_kn * press.imbalance_percent / 100.0;
                    assert!(columns == 1 || sum.abs() < limit, "{name}: difference {sum} kN");
                }
            }
        }
    }
}

#[test]
fn a_finer_step_changes_little() {
    for name in ["small-press", "brake-two-dies", "five-station", "forty-station"] {
        let coarse = scenario(name, 3);
        let mut fine = coarse.clone();
        fine.sample_hz *= 8.0;
        for (a, b) in Simulator::new(&coarse).unwrap().zip(Simulator::new(&fine).unwrap()) {
            let (a, b) = (a.truth, b.truth);
            // What a step adds is second order: an eighth of the step leaves a sixty-fourth of the error, so the
            // difference is the coarse run's error. Peaks also fall between samples: (ω·step)²/8 = 0.1 %.
            for (what, x, y, part) in [
                ("peak", a.peak_kn, b.peak_kn, 0.005),
                ("work", a.work_kj, b.work_kj, 0.005),
                ("reverse", a.reverse_kn, b.reverse_kn, 0.03),
            ] {
                assert!((x / y - 1.0).abs() < part, "{name} {what}: {x} against {y}");
            }
        }
    }
}

#[test]
fn inching_back_turns_the_crank_back_under_load() {
    let mut inch = scenario("small-press", 1);
    inch.drive.mode = crate::scenario::Mode::Inch;
    inch.drive.inch_back_every = 4;
    let stroke = Simulator::new(&inch).unwrap().next().unwrap();
    let backwards = stroke.samples.windows(2).filter(|w| w[1].angle_deg < w[0].angle_deg).count();
    assert!(backwards > 100, "{backwards}");
    let e = stroke.energy;
    assert!(e.open_j().abs() < 0.01 * e.crank_j, "{e:?}");
}
