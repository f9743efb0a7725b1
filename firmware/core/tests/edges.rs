//! Claims about edges, which mutation testing found untested: what holds exactly at a limit, just before and just after.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod kit;

use bolster_core::health::{GaugeHealth, GaugeWatch, HealthRules, Readings};
use bolster_core::permit::RunPermit;
use bolster_core::stroke::StrokeSource;
use bolster_core::units::Tick;
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
    // Four times not: two of those are listened to, and steady; noise in them is heard.
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
