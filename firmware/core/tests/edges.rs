//! Claims about edges, which mutation testing found untested: what holds exactly at a limit, just before and just after.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod kit;

use bolster_core::frame::CrankReading;
use bolster_core::health::{GaugeHealth, GaugeWatch, HealthRules, Readings};
use bolster_core::permit::RunPermit;
use bolster_core::stroke::{Place, Position, StrokeConfig, StrokeSource, Tracker};
use bolster_core::units::{CrankAngle, Tick, angle_span};
use bolster_core::verdict::{Reason, Verdict};

/// As settings make them, with numbers that are easy to follow here.
fn rules() -> HealthRules {
    let mut rules = kit::sharp::<2>(StrokeSource::Encoder, 10_000.0).health;
    (rules.rail_frames, rules.stuck_frames, rules.stuck_alone_frames) = (10, 5, 100);
    (rules.stuck_others_kn, rules.short_counts, rules.noise_kn) = (20.0, 3, 1.0);
    rules
}

/// Health of the first of two gauges after frames of (its counts, its load, the other's load, unloaded).
fn after(frames: impl IntoIterator<Item = (i32, f32, f32, bool)>) -> GaugeHealth {
    let (rules, mut watch, mut health) = (rules(), GaugeWatch::<2>::default(), GaugeHealth::Good);
    for (n, (count, load, other, unloaded)) in (0_i32..).zip(frames) {
        let now = Readings {
            counts: &[count, n % 7],
            range_counts: [-1000, 1000],
            loads_kn: &[load, other],
            total_kn: load + other,
        };
        health = watch.step(&rules, &now, unloaded).map_or(GaugeHealth::Good, |all| all[0]);
    }
    health
}

#[test]
fn a_gauge_that_repeats_itself_is_stuck_only_once_the_others_moved_by_more_than_the_limit() {
    let moved = |by: f32| after((0..20).map(|n| (7, 50.0, if n < 10 { 100.0 } else { 100.0 + by }, false)));
    assert_eq!(moved(20.0), GaugeHealth::Good);
    assert_eq!(moved(20.01), GaugeHealth::Stuck);
    assert_eq!(moved(-20.0), GaugeHealth::Good);
    assert_eq!(moved(-20.01), GaugeHealth::Stuck);
}

#[test]
fn a_steady_offset_and_a_steady_drift_are_no_noise() {
    assert_eq!(after((0..2000).map(|n| (n % 5, 30.0, 0.0, true))), GaugeHealth::Good);
    assert_eq!(after((0..2000).map(|n| (n % 5, n as f32, 0.0, true))), GaugeHealth::Good);
}

#[test]
fn two_unloaded_frames_must_precede_one_that_is_listened_to() {
    // Loaded, and twice not: neither of those two has two unloaded ones before it.
    let twice = |n: i32| (n % 5, if n % 3 == 0 { 50.0 } else { 0.0 }, 0.0, n % 3 != 0);
    assert_eq!(after((0..2000).map(twice)), GaugeHealth::Good);
    // Four times not: the third of those is listened to, and steady; noise in it is heard.
    let quiet = |n: i32| (n % 5, if n % 5 == 0 { 50.0 } else { 0.0 }, 0.0, n % 5 != 0);
    assert_eq!(after((0..2000).map(quiet)), GaugeHealth::Good);
    let noise = |n: i32| if n % 2 == 0 { 2.0 } else { -2.0 };
    let noisy = |n: i32| (n % 5, if n % 5 == 0 { 50.0 } else { noise(n) }, 0.0, n % 5 != 0);
    assert_eq!(after((0..2000).map(noisy)), GaugeHealth::Noisy);
}

#[test]
fn a_bypass_excuses_every_hold_until_its_last_tick_and_none_when_the_clock_comes_round() {
    let mut permit = RunPermit::default();
    permit.self_test(true);
    permit.bypass(Tick(100), 50).unwrap();
    for tick in [100, 101, 120, 149] {
        assert!(!permit.take(Tick(tick), Reason::ShapeOffEnvelope, Verdict::Hold, true), "at {tick}");
        assert_eq!(permit.bypass_left(Tick(tick)), 150 - tick);
    }
    assert_eq!(permit.bypass_left(Tick(150)), 0);
    // 2³² ticks later by the wrapping clock.
    assert!(permit.take(Tick(120), Reason::ShapeOffEnvelope, Verdict::Hold, true));
}

/// A gauge alone, unloaded, with noise of this size from frame to frame.
fn heard(frames: i32, noise_kn: f32, rules: &HealthRules) -> (f32, GaugeHealth) {
    let (mut watch, mut health) = (GaugeWatch::<1>::default(), GaugeHealth::Good);
    for n in 0..frames {
        let load = if n % 2 == 0 { noise_kn } else { -noise_kn };
        let now =
            Readings { counts: &[n % 5], range_counts: [-1000, 1000], loads_kn: &[load], total_kn: load };
        health = watch.step(rules, &now, true).map_or(GaugeHealth::Good, |[health]| health);
    }
    (watch.noise_kn(0), health)
}

#[test]
fn the_noise_figure_is_the_mean_second_difference_and_is_noise_above_the_limit_alone() {
    // ±2 kN from frame to frame: the second difference is 8 kN in each.
    let (figure, _) = heard(4000, 2.0, &rules());
    assert!((figure - 8.0).abs() < 0.01, "{figure}");
    // The figure of 300 frames is the limit of another run over the same frames: reached, and passed with the next
    // measurement, which is five frames on at most.
    let (figure, _) = heard(300, 2.0, &rules());
    let at = HealthRules { noise_kn: figure, ..rules() };
    assert_eq!(heard(300, 2.0, &at).1, GaugeHealth::Good);
    assert_eq!(heard(305, 2.0, &at).1, GaugeHealth::Noisy);
}

#[test]
fn an_interruption_ends_what_a_gauge_repeated() {
    let repeated = |interrupted: bool| {
        let (rules, mut watch, mut health) = (rules(), GaugeWatch::<2>::default(), GaugeHealth::Good);
        for n in 0..8 {
            if interrupted && n == 4 {
                watch.interrupt();
            }
            let others = n as f32 * 30.0;
            let now = Readings {
                counts: &[7, n],
                range_counts: [-1000, 1000],
                loads_kn: &[50.0, others],
                total_kn: 50.0 + others,
            };
            health = watch.step(&rules, &now, false).map_or(GaugeHealth::Good, |all| all[0]);
        }
        health
    };
    assert_eq!([false, true].map(repeated), [GaugeHealth::Stuck, GaugeHealth::Good]);
}

#[test]
fn a_gauge_that_has_stopped_repeating_itself_is_good_however_few_repetitions_count() {
    let rules = HealthRules { stuck_frames: 0, ..rules() };
    let mut watch = GaugeWatch::<2>::default();
    let mut told = Vec::new();
    // The first gauge repeats itself twice while the other moves; later the other one is at its rail.
    for (count, other) in [(7, 1), (7, 2), (7, 3), (8, 4), (9, 1000), (10, 6)] {
        let others = other as f32 * 30.0;
        let now = Readings {
            counts: &[count, other],
            range_counts: [-1000, 1000],
            loads_kn: &[50.0, others],
            total_kn: 50.0 + others,
        };
        told.push(watch.step(&rules, &now, false).unwrap_or_default());
    }
    let [good, stuck, rail] = [GaugeHealth::Good, GaugeHealth::Stuck, GaugeHealth::Saturated];
    assert_eq!(told, [[good, good], [stuck, good], [stuck, good], [good, good], [good, rail], [good, good]]);
}

fn tracked(source: StrokeSource, speed: f32) -> StrokeConfig {
    StrokeConfig { source, sample_hz: 1000.0, top_speed_spm: speed, onset_kn: 10.0, rest_s: 0.02 }
}

/// Frames in which the crank sensor is found at fault.
fn faults(config: StrokeConfig, frames: impl IntoIterator<Item = (CrankReading, f32)>) -> Vec<u32> {
    let (rules, mut tracker) = (config.build().unwrap(), Tracker::default());
    let mut at_fault =
        |(n, (crank, load))| tracker.step(&rules, Tick(n), crank, load).crank_fault.then_some(n);
    (0..).zip(frames).filter_map(&mut at_fault).collect()
}

fn angle(degrees: f64) -> CrankReading {
    CrankReading::Angle(CrankAngle::from_degrees(degrees))
}

#[test]
fn an_encoder_s_step_is_believed_up_to_three_times_the_top_speed_and_jitter() {
    // 600 a minute at 1 kHz: 3.6° a frame, 12.8° in all.
    let step = |by: f64| {
        faults(tracked(StrokeSource::Encoder, 600.0), [(angle(20.0), 0.0), (angle(20.0 + by), 0.0)])
    };
    assert_eq!(step(12.7), []);
    assert_eq!(step(12.9), [1]);
    assert_eq!(step(-12.9), [1]);
}

#[test]
fn a_fast_press_rests_a_quarter_of_its_shortest_turn_between_two_loads() {
    // 600 a minute at 1 kHz: the shortest turn is 62 frames; 15 of rest make two loads of one, 14 do not. Below half of the
    // onset is rest, half of it is not.
    let standing = |rest: usize, load: f32| {
        let frames = [vec![0.0; 30], vec![50.0; 10], vec![load; rest], vec![50.0; 10]].concat();
        faults(tracked(StrokeSource::Encoder, 600.0), frames.into_iter().map(|load| (angle(170.0), load)))
    };
    assert_eq!(standing(14, 0.0), []);
    assert_eq!(standing(15, 0.0), []);
    assert_eq!(standing(16, 0.0), [56]);
    assert_eq!(standing(40, 4.99), [80]);
    assert_eq!(standing(40, 5.0), []);
    assert_eq!(standing(40, -5.0), []);
}

#[test]
fn a_pulse_under_way_when_the_sensor_failed_is_no_new_one() {
    let config = tracked(StrokeSource::Index, 60.0);
    let rules = config.build().unwrap();
    let mut tracker = Tracker::default();
    let mut started = Vec::new();
    for n in 0..3000_u32 {
        let on = n % 1000 < 10;
        let crank = if n == 1005 { CrankReading::Fault } else { CrankReading::Index(on) };
        if tracker.step(&rules, Tick(n), crank, 0.0).started {
            started.push(n);
        }
    }
    assert_eq!(started, [0, 1000, 2000]);
}

#[test]
fn a_turn_is_too_short_below_the_shortest_and_not_at_it() {
    // 600 a minute at 1 kHz: 100 frames, and 62 at the shortest.
    let pulses = |apart: u32| {
        let frames = (0..80).map(|n| (CrankReading::Index(n == 0 || n == apart), 0.0));
        faults(tracked(StrokeSource::Index, 600.0), frames)
    };
    assert_eq!(pulses(62), []);
    assert_eq!(pulses(61), [61]);
}

#[test]
fn a_recording_that_jumps_back_or_says_its_sensor_failed_is_at_fault() {
    let config = tracked(StrokeSource::Marked, 600.0);
    let part = |crank: CrankReading| faults(config, [(angle(100.0), 0.0), (angle(150.0), 0.0), (crank, 0.0)]);
    assert_eq!(part(angle(280.0)), [], "a recording may leave out parts of the turn");
    assert_eq!(part(angle(140.0)), []);
    assert_eq!(part(angle(130.0)), [2]);
    assert_eq!(part(CrankReading::Fault), [2]);
    assert_eq!(part(CrankReading::Absent), []);
}

#[test]
fn what_is_wrong_with_stroke_tracking_is_said_by_name() {
    let wrong = StrokeConfig { rest_s: -1.0, ..tracked(StrokeSource::Load, 60.0) };
    assert_eq!(wrong.build().unwrap_err().to_string(), "stroke tracking: rest_s must be a positive number");
}

/// Places of an encoder at 600 strokes a minute and 1 kHz that stands at these units of 2³² to the turn.
fn places(angles: &[u32]) -> Vec<Place> {
    let rules = tracked(StrokeSource::Encoder, 600.0).build().unwrap();
    let mut tracker = Tracker::default();
    let step =
        |(n, units): (u32, &u32)| tracker.step(&rules, Tick(n), CrankReading::Angle(CrankAngle(*units)), 0.0);
    (0..).zip(angles).map(step).collect()
}

#[test]
fn a_step_back_is_jitter_up_to_two_degrees_and_keeps_its_own_angle() {
    let (at, jitter) = (CrankAngle::from_degrees(150.0).0, angle_span(2.0));
    for (by, reversed) in [(jitter, false), (jitter + 1, true)] {
        let back = places(&[at, at - by])[1];
        assert_eq!((back.reversed, back.position), (reversed, Position::Angle(CrankAngle(at - by))));
    }
    // Over the top: a little back stands at the top, more is where it is and ends the stroke.
    let top: Vec<u32> = (0..100_u32).map(|n| CrankAngle::from_degrees(3.6 * f64::from(n) + 1.0).0).collect();
    let over = |back: f64| {
        let ends = [CrankAngle::from_degrees(0.5).0, CrankAngle::from_degrees(0.5 - back).0];
        places(&[top.clone(), ends.to_vec()].concat())[101]
    };
    assert_eq!((over(1.0).position, over(1.0).in_stroke), (Position::Angle(CrankAngle::TOP), true));
    let gone = over(5.0);
    assert_eq!(
        (gone.position, gone.in_stroke, gone.ended),
        (Position::Angle(CrankAngle::from_degrees(-4.5)), false, true)
    );
}

#[test]
fn the_greatest_step_is_believed_and_one_unit_more_is_not() {
    let (at, most) = (CrankAngle::from_degrees(20.0).0, angle_span(f64::from(3.0_f32 * 360.0 / 100.0) + 2.0));
    assert!(!places(&[at, at + most])[1].crank_fault);
    assert!(places(&[at, at + most + 1])[1].crank_fault);
}

#[test]
fn an_encoder_that_moved_by_just_the_jitter_stands_and_by_a_unit_more_has_moved() {
    let standing = |by: u32| {
        let at = CrankAngle::from_degrees(170.0).0;
        let frames = [vec![0.0; 30], vec![50.0; 10], vec![0.0; 30], vec![50.0; 10]].concat();
        let crank = |n: usize| CrankReading::Angle(CrankAngle(if n < 35 { at } else { at + by }));
        faults(tracked(StrokeSource::Encoder, 600.0), (0..80).map(|n| (crank(n), frames[n])))
    };
    assert_eq!(standing(angle_span(2.0)), [70]);
    assert_eq!(standing(angle_span(2.0) + 1), []);
}

#[test]
fn time_in_a_recording_without_angles_counts_from_the_first_load_over_the_onset() {
    let (rules, mut tracker) = (tracked(StrokeSource::Marked, 60.0).build().unwrap(), Tracker::default());
    let loads = [0.0, 9.9, 10.0, 50.0, 0.0, 50.0];
    let said: Vec<Position> = (0..)
        .zip(loads)
        .map(|(n, load)| tracker.step(&rules, Tick(n), CrankReading::Absent, load).position)
        .collect();
    let since = |ticks: u32| Position::SinceOnset(ticks);
    assert_eq!(said, [Position::Unknown, Position::Unknown, since(0), since(1), since(2), since(3)]);
}

#[test]
fn a_recording_s_jump_back_is_believed_up_to_the_greatest_step() {
    let (at, most) =
        (CrankAngle::from_degrees(150.0).0, angle_span(f64::from(3.0_f32 * 360.0 / 100.0) + 2.0));
    let back = |by: u32| {
        let frames = [at, at - by].map(|units| (CrankReading::Angle(CrankAngle(units)), 0.0));
        faults(tracked(StrokeSource::Marked, 600.0), frames)
    };
    assert_eq!(back(most), []);
    assert_eq!(back(most + 1), [1]);
}

#[test]
fn a_stroke_told_by_load_rests_below_half_of_the_onset_and_not_at_it() {
    let ended = |rest: f32| {
        let (rules, mut tracker) = (tracked(StrokeSource::Load, 60.0).build().unwrap(), Tracker::default());
        (0..100).any(|n| {
            let load = if n < 10 { 50.0 } else { rest };
            tracker.step(&rules, Tick(n), CrankReading::Absent, load).ended
        })
    };
    assert_eq!([4.99, 5.0, -4.99, -5.0].map(ended), [true, false, true, false]);
}
