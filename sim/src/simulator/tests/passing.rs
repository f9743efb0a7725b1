//! What goes through the die between two coils, and a supply that fails.

use super::*;
use crate::scenario::CoilEnd;

/// Strokes around the second coil of the five-station die, whose coils are made short.
fn run(end: CoilEnd) -> Vec<SimStroke> {
    let mut wanted = scenario("five-station", 60);
    wanted.strip.strokes_per_coil = 20;
    wanted.strip.coil_end = end;
    wanted.drive.stop_every = 0;
    Simulator::new(&wanted).unwrap().collect()
}

/// Stations of that die that work the strip, in its order; the first site is a stripper plate.
const WORKING: usize = 5;

#[test]
fn the_end_of_a_coil_runs_out_and_the_next_one_is_threaded_station_by_station() {
    let strokes = run(CoilEnd::Thread);
    let plain = run(CoilEnd::Seamless);
    let first_end = strokes.iter().position(|s| s.truth.kind == Kind::NoStrip).unwrap();
    let seam: Vec<_> = strokes[first_end..first_end + 2 * (WORKING - 1)].iter().collect();
    for (n, stroke) in seam.iter().enumerate() {
        let n = n + 1;
        let (kind, share) =
            if n < WORKING { (Kind::NoStrip, n) } else { (Kind::Threading, 2 * WORKING - 1 - n) };
        assert_eq!(stroke.truth.kind, kind, "stroke {n} of the seam");
        assert!((stroke.truth.severity - share as f64 / WORKING as f64).abs() < 1e-12, "stroke {n}");
        assert_eq!(stroke.coil, if n < WORKING { 1 } else { 2 });
        let on = |input: u8| stroke.samples.iter().any(|s| s.sensors & input != 0);
        // The end has passed the feed sensor; no part comes out before the strip is through.
        assert_eq!((on(1), on(2)), (n >= WORKING, n < WORKING), "stroke {n}");
    }
    let work = |n: usize| seam[n].truth.work_kj;
    // Ever fewer stations work, then ever more.
    assert!(work(0) > work(1) && work(1) > work(2) && work(2) > work(3), "running out");
    assert!(work(4) < work(5) && work(5) < work(6) && work(6) < work(7), "threading");
    let after = &strokes[first_end + 2 * (WORKING - 1)];
    assert_eq!((after.truth.kind, after.coil), (Kind::Good, 2));
    // Nothing else is changed by it: the same coil before.
    assert!(strokes[..first_end] == plain[..first_end]);
    assert!(strokes.iter().all(|s| s.energy.open_j().abs() < 0.01 * strokes[0].energy.crank_j));
}

#[test]
fn a_welded_joint_goes_through_the_die_station_by_station_with_the_old_coil_beyond_it() {
    let (strokes, plain) = (run(CoilEnd::Joint), run(CoilEnd::Seamless));
    let first = strokes.iter().position(|s| s.coil == 2).unwrap();
    for n in 0..WORKING {
        let truth = &strokes[first + n].truth;
        // Station 1 is the stripper plate, which no joint lies under.
        assert_eq!((truth.kind, truth.station), (Kind::Joint, Some(n + 2)));
        assert_eq!(truth.severity, 0.3);
    }
    assert!(strokes[..first] == plain[..first]);
    // Once the joint is out of the die it is as if the second coil had always been there, but for the flywheel's speed.
    let (joined, without) = (&strokes[first + WORKING], &plain[first + WORKING]);
    assert_eq!(joined.truth.kind, Kind::Good);
    assert!((joined.truth.work_kj / without.truth.work_kj - 1.0).abs() < 1e-3);
    // A joint under the outline, the greatest load of this die, is a tenth or more on the whole; see the 60 % of it.
    let outline = 2;
    assert!(strokes[first + outline].truth.work_kj > 1.03 * plain[first + outline].truth.work_kj);
}

#[test]
fn frames_stop_while_the_supply_fails_and_settle_when_it_is_back() {
    let wanted = scenario("five-station", 12);
    let mut bad = wanted.clone();
    bad.faults.push(FaultData { from: 1, to: None, ..fault(Kind::BrownOut, 1.0) });
    let mut starts = Vec::new();
    for (stroke, good) in Simulator::new(&bad).unwrap().zip(Simulator::new(&wanted).unwrap()) {
        let gaps: Vec<_> = stroke.samples.windows(2).filter(|w| w[1].tick != w[0].tick + 1).collect();
        let lost = good.samples.len() - stroke.samples.len();
        // 20 ms of 8 kHz, or what is left of the recorded part.
        assert!(lost == 160 || (lost < 160 && gaps.is_empty()), "{lost} lost");
        let Some([before, after]) = gaps.first().map(|w| [w[0], w[1]]) else { continue };
        assert_eq!((gaps.len(), after.tick - before.tick), (1, 161));
        starts.push(before.angle_deg);
        let at = |s: &SimStroke, tick: u64| s.samples.iter().find(|x| x.tick == tick).copied().unwrap();
        assert_eq!(before, at(&good, before.tick), "true until it stops");
        // From zero: the third-order average has a sixth, and the amplifier less, of the first input.
        assert!(after.counts[0].abs() < good.samples[0].counts[0].abs() / 5 + 10, "{after:?}");
        let settled = after.tick + 80;
        if let Some(late) = stroke.samples.iter().find(|s| s.tick == settled) {
            // 10 ms are sixty and more time constants of the amplifier.
            assert_eq!(late.counts, at(&good, settled).counts);
        }
    }
    let spread = starts.iter().fold([f64::MAX, f64::MIN], |[a, b], x| [a.min(*x), b.max(*x)]);
    assert!(spread[1] - spread[0] > 60.0, "at any instant: {starts:?}");
}

#[test]
fn a_press_that_stops_is_recorded_standing_where_the_whole_turn_is() {
    let mut wanted = scenario("small-press", 3);
    (wanted.angle_from_deg, wanted.angle_to_deg) = (0.0, 360.0);
    (wanted.drive.stop_every, wanted.drive.stop_s) = (1, 1.0);
    let strokes: Vec<_> = Simulator::new(&wanted).unwrap().collect();
    let ticks: Vec<u64> = strokes.iter().flat_map(|s| s.samples.iter().map(|x| x.tick)).collect();
    assert!(ticks.windows(2).all(|w| w[1] == w[0] + 1), "a tick is missing");
    let still =
        |s: &SimStroke| s.samples.windows(2).filter(|w| w[0].angle_deg == w[1].angle_deg).count() as f64;
    let stood_s = still(&strokes[1]) / wanted.sample_hz;
    // The pause, and the slow ends of braking and starting within an encoder step.
    assert!((0.95..1.2).contains(&stood_s), "{stood_s} s");
    assert!(strokes[1].samples.iter().all(|s| s.angle_deg >= 0.0 && s.angle_deg < 360.0));
}
