use super::*;
extern crate std;
use std::vec::Vec;

fn rules(source: StrokeSource) -> StrokeRules {
    // Encoder tests turn 3.6° a frame, ten times what this speed means for index pulses 1000 frames apart.
    let top_speed_spm = if source == StrokeSource::Encoder { 600.0 } else { 60.0 };
    StrokeConfig { source, sample_hz: 1000.0, top_speed_spm, onset_kn: 10.0, rest_s: 0.02 }.build().unwrap()
}

fn angles(rules: &StrokeRules, degrees: impl IntoIterator<Item = f64>) -> Vec<Place> {
    let mut tracker = Tracker::default();
    let step = |(n, d): (usize, f64)| {
        tracker.step(rules, Tick(n as u32), CrankReading::Angle(CrankAngle::from_degrees(d)), 0.0)
    };
    degrees.into_iter().enumerate().map(step).collect()
}

fn turns(count: u32) -> impl Iterator<Item = f64> {
    (0..count * 100).map(|n| f64::from(n) * 3.6 + 1.0)
}

#[test]
fn an_encoder_stroke_runs_from_top_to_top() {
    // Starting at 1° of the first turn: the first turn is not whole and does not count.
    let places = angles(&rules(StrokeSource::Encoder), turns(4));
    assert_eq!(places.iter().filter(|p| p.started).count(), 3);
    assert_eq!(places.iter().filter(|p| p.ended).count(), 2);
    assert!(places.iter().all(|p| !p.crank_fault && !p.reversed));
    assert!(places.iter().take(99).all(|p| !p.in_stroke));
}

#[test]
fn jitter_at_the_top_makes_no_stroke() {
    let rocking = (0..50).map(|n| if n % 2 == 0 { 359.5 } else { 0.5 });
    let places = angles(&rules(StrokeSource::Encoder), turns(2).chain(rocking));
    assert_eq!(places.iter().filter(|p| p.ended).count(), 1);
}

#[test]
fn a_begun_stroke_that_rocks_back_behind_the_top_stands_at_the_top() {
    let rocking = (0..6).map(|n| if n % 2 == 0 { 0.2 } else { 359.9 });
    let places = angles(&rules(StrokeSource::Encoder), turns(1).chain(rocking));
    let degrees: Vec<f32> = places[100..].iter().map(|p| p.position.angle().unwrap().degrees()).collect();
    assert!(degrees.iter().all(|d| *d < 0.21), "{degrees:?}");
    assert!(places[100..].iter().all(|p| p.in_stroke && !p.reversed));
}

#[test]
fn backing_out_over_the_top_gives_the_stroke_up() {
    let forth = turns(1).chain((0..30).map(|n| 1.0 + f64::from(n)));
    let back = (0..60).map(|n| 30.0 - f64::from(n) * 3.0);
    let places = angles(&rules(StrokeSource::Encoder), forth.chain(back));
    assert!(places.iter().any(|p| p.reversed));
    assert_eq!(places.iter().filter(|p| p.ended).count(), 1);
    assert!(!places.last().unwrap().in_stroke);
}

#[test]
fn an_impossible_jump_is_an_encoder_fault_and_ends_the_stroke() {
    let jump = turns(1).chain([10.0, 14.0, 100.0, 103.6]);
    let places = angles(&rules(StrokeSource::Encoder), jump);
    let fault = places.iter().position(|p| p.crank_fault);
    assert_eq!(fault, Some(102));
    assert!(places[102].ended && !places[103].in_stroke && !places[103].crank_fault);
}

#[test]
fn a_missing_encoder_is_a_fault_at_once() {
    let mut tracker = Tracker::default();
    let place = tracker.step(&rules(StrokeSource::Encoder), Tick(0), CrankReading::Absent, 0.0);
    assert!(place.crank_fault);
}

#[test]
fn the_index_gives_the_angle_between_pulses() {
    let rules = rules(StrokeSource::Index);
    let mut tracker = Tracker::default();
    for n in 0..3000_u32 {
        let place = tracker.step(&rules, Tick(n), CrankReading::Index(n % 1000 < 10), 0.0);
        assert!(!place.crank_fault, "at {n}");
        assert_eq!(place.started, n % 1000 == 0, "at {n}");
        match place.position {
            Position::Angle(angle) => {
                let wanted = f64::from(n % 1000) * 0.36;
                assert!((f64::from(angle.degrees()) - wanted).abs() < 1e-3, "at {n}: {}", angle.degrees());
            }
            _ => assert!(n < 1000, "at {n}"),
        }
    }
}

#[test]
fn a_lost_or_doubled_index_pulse_is_a_fault() {
    for pulses in [&[0_u32, 1000, 2000, 4000][..], &[0, 1000, 2000, 2100]] {
        let rules = rules(StrokeSource::Index);
        let mut tracker = Tracker::default();
        let mut faults = Vec::new();
        for n in 0..4100_u32 {
            let level = pulses.iter().any(|p| (*p..p + 10).contains(&n));
            if tracker.step(&rules, Tick(n), CrankReading::Index(level), 0.0).crank_fault {
                faults.push(n);
            }
        }
        assert_eq!(faults, [*pulses.last().unwrap()]);
    }
}

#[test]
fn load_alone_tells_a_stroke_from_onset_to_rest() {
    let rules = rules(StrokeSource::Load);
    let mut tracker = Tracker::default();
    let load = |n: u32| if (100..150).contains(&n) { 50.0 } else { 1.0 };
    let places: Vec<Place> =
        (0..300).map(|n| tracker.step(&rules, Tick(n), CrankReading::Absent, load(n))).collect();
    assert_eq!(places.iter().position(|p| p.started), Some(100));
    // Rest begins at 150 and must last 20 ticks.
    assert_eq!(places.iter().position(|p| p.ended), Some(170));
    assert_eq!(places[120].position, Position::SinceOnset(20));
}

#[test]
fn marks_end_and_start_strokes_of_a_part_of_the_turn() {
    let rules = rules(StrokeSource::Marked);
    let mut tracker = Tracker::default();
    let mut places = Vec::new();
    for _ in 0..3 {
        tracker.mark();
        for n in 0..50_u32 {
            let angle = CrankAngle::from_degrees(100.0 + f64::from(n) * 3.0);
            places.push(tracker.step(&rules, Tick(n), CrankReading::Angle(angle), 0.0));
        }
    }
    let at = |pick: fn(&Place) -> bool| {
        places.iter().enumerate().filter(|(_, p)| pick(p)).map(|(n, _)| n).collect::<Vec<_>>()
    };
    assert_eq!(at(|p| p.started), [0, 50, 100]);
    assert_eq!(at(|p| p.ended), [50, 100]);
    assert!(tracker.close() && !tracker.close());
}

#[test]
fn wrong_settings_are_refused_by_name() {
    let good = StrokeConfig {
        source: StrokeSource::Load,
        sample_hz: 1.0,
        top_speed_spm: 1.0,
        onset_kn: 1.0,
        rest_s: 1.0,
    };
    assert_eq!(StrokeConfig { sample_hz: 0.0, ..good }.build(), Err(StrokeConfigError("sample_hz")));
    assert_eq!(StrokeConfig { onset_kn: f32::NAN, ..good }.build(), Err(StrokeConfigError("onset_kn")));
}

/// Frames at which the crank sensor is found at fault, with this reading and this total load in each frame.
fn faults_under(
    source: StrokeSource,
    frames: u32,
    crank: impl Fn(u32) -> CrankReading,
    load: impl Fn(u32) -> f32,
) -> Vec<u32> {
    let rules = rules(source);
    let mut tracker = Tracker::default();
    (0..frames).filter(|n| tracker.step(&rules, Tick(*n), crank(*n), load(*n)).crank_fault).collect()
}

#[test]
fn an_encoder_that_stands_while_loads_come_and_go_is_at_fault_with_the_second() {
    let standing = |_| CrankReading::Angle(CrankAngle::from_degrees(170.0));
    // A load of 100 frames every 300; the onset is 10 kN, and 20 frames below half of it are a rest.
    let loads = |n: u32| if n % 300 >= 200 { 50.0 } else { 1.0 };
    assert_eq!(faults_under(StrokeSource::Encoder, 600, standing, loads), [500]);
    // What rings passes the onset again and again without resting.
    let ringing = |n: u32| if n >= 200 && n % 10 < 5 { 50.0 } else { 1.0 };
    assert_eq!(faults_under(StrokeSource::Encoder, 600, standing, ringing), []);
    // A load that the press stops in, and another when it has moved on.
    let moving = |n: u32| CrankReading::Angle(CrankAngle::from_degrees(170.0 + f64::from(n) / 300.0));
    assert_eq!(faults_under(StrokeSource::Encoder, 600, moving, loads), [500], "1.7 degrees are jitter");
    let moving = |n: u32| CrankReading::Angle(CrankAngle::from_degrees(170.0 + f64::from(n) / 100.0));
    assert_eq!(faults_under(StrokeSource::Encoder, 600, moving, loads), []);
}

#[test]
fn an_index_that_does_not_come_for_nine_loads_is_at_fault_with_the_ninth() {
    let never = |_| CrankReading::Index(false);
    let loads = |n: u32| if n % 300 >= 200 { 50.0 } else { 1.0 };
    assert_eq!(faults_under(StrokeSource::Index, 2700, never, loads), [2600]);
    // Eight stations in one slow stroke; at 2400 frames a turn no pulse is odd.
    let slow = |n: u32| CrankReading::Index(n % 2400 < 10);
    assert_eq!(faults_under(StrokeSource::Index, 7000, slow, loads), []);
}

#[test]
fn all_frames_but_those_at_top_and_bottom_go_on_and_are_placed_as_they_would_be() {
    for source in [StrokeSource::Encoder, StrokeSource::Marked] {
        let rules = rules(source);
        let mut tracker = Tracker::default();
        let mut went_on = 0;
        for (n, degrees) in (0..).zip(turns(3)) {
            let (tick, crank) = (Tick(n), CrankReading::Angle(CrankAngle::from_degrees(degrees)));
            // One load a turn: the press rests, is loaded once, and rests.
            let load = if (40..60).contains(&(n % 100)) { 50.0 } else { 0.0 };
            let mut asked = tracker;
            let place = asked.step(&rules, tick, crank, load);
            if let Some(angle) = tracker.go_on(&rules, tick, crank, load) {
                went_on += 1;
                assert_eq!(place.position, Position::Angle(angle));
                assert!(!place.started && !place.ended && !place.crank_fault && !place.reversed);
                assert_eq!(tracker.rested(), place.rested);
            }
            tracker = asked;
        }
        // The first frame has none before it; a bottom a turn, and two tops.
        let wanted = if source == StrokeSource::Encoder { 300 - 1 - 3 - 2 } else { 300 - 1 };
        assert_eq!(went_on, wanted, "{source:?}");
    }
}

#[test]
fn a_frame_goes_on_up_to_the_greatest_step_and_a_recording_s_up_to_half_a_turn() {
    let goes = |source: StrokeSource, step: u32| {
        let rules = rules(source);
        let mut tracker = Tracker::default();
        let from = CrankAngle(if source == StrokeSource::Encoder { 0 } else { 1 << 30 });
        let _ = tracker.step(&rules, Tick(0), CrankReading::Angle(from), 0.0);
        let to = CrankAngle(from.0.wrapping_add(step));
        tracker.go_on(&rules, Tick(1), CrankReading::Angle(to), 0.0).is_some()
    };
    let most = rules(StrokeSource::Encoder).max_step;
    assert!(goes(StrokeSource::Encoder, most) && !goes(StrokeSource::Encoder, most + 1));
    assert!(goes(StrokeSource::Marked, i32::MAX as u32) && !goes(StrokeSource::Marked, 1 << 31));
    assert!(!goes(StrokeSource::Encoder, u32::MAX) && !goes(StrokeSource::Marked, u32::MAX));
}
