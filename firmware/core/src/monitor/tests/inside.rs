//! Watch and sensor windows in the running monitor, against plain counting over each stroke's frames.

use super::*;
use crate::windows::{Channel, SensorRule, SensorWindow, Span, WatchWindow, WindowValue};
use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;

/// Ends between two frames' angles, in half degrees; the first may lie behind the second, over the top.
type Ends = [u32; 2];

fn span([from, to]: Ends) -> Span {
    let angle = |half: u32| CrankAngle::from_degrees(f64::from(half) / 2.0);
    Span::angles(angle(from), angle(to))
}

fn inside([from, to]: Ends, degree: u32) -> bool {
    let at = 2 * degree;
    if from <= to { from < at && at < to } else { from < at || at < to }
}

fn watch(ends: Ends, channel: Channel, value: WindowValue) -> WatchWindow {
    // Nothing keeps it, so that its value is told with every stroke.
    let (low_kn, high_kn) = (-3e6, -2e6);
    WatchWindow {
        span: span(ends),
        channel,
        value,
        low_kn,
        high_kn,
        verdict: Verdict::Note,
        rule: MofN::FIRST,
    }
}

fn sensor(ends: Ends, input: u8, must: SensorRule) -> SensorWindow {
    SensorWindow { span: span(ends), input, must, verdict: Verdict::Note, rule: MofN::FIRST }
}

/// What windows are told of in a report: the window's own column or input, what was seen, and the limit.
fn told(report: &StrokeReport<2>, of: Reason) -> Vec<(Option<u8>, f32, f32)> {
    let found = report.findings.list().iter().filter(|finding| finding.reason == of);
    found.map(|finding| (finding.column, finding.value, finding.limit)).collect()
}

#[test]
fn every_window_sees_just_the_frames_inside_it_whatever_sensors_and_loads_do_between_two_frames() {
    for seed in 0..60 {
        let mut chance = ChaCha8Rng::seed_from_u64(seed);
        let mut ends = || [2 * chance.random_range(0..360_u32) + 1, 2 * chance.random_range(0..360_u32) + 1];
        // Of one reason and column the first is listed: a channel and an input for each.
        let channels = [Channel::Total, Channel::Column(0), Channel::Column(1)];
        let watches = channels.map(|channel| (ends(), channel));
        let sensors: [Ends; 8] = core::array::from_fn(|_| ends());
        let musts = [SensorRule::OnOnce, SensorRule::OnThroughout, SensorRule::OffThroughout];
        let values = [WindowValue::Greatest, WindowValue::Least];
        let value = |n: usize| values[(n + seed as usize) % 2];
        let must = |n: usize| musts[(n + seed as usize) % 3];
        let mut limits = DieLimits::default();
        for (n, (ends, channel)) in watches.iter().enumerate() {
            limits.watch.push(watch(*ends, *channel, value(n))).unwrap();
        }
        for (n, ends) in sensors.iter().enumerate() {
            limits.sensors.push(sensor(*ends, n as u8, must(n))).unwrap();
        }
        let mut monitor = monitor::<2>(StrokeSource::Encoder);
        monitor.set_limits(Tick(0), limits).unwrap();
        // Each input keeps still for a while: for a frame, for many, for the whole turn.
        // In one seed of two all of them for long, or no two frames would be alike.
        let shortest = if seed % 2 == 0 { 1 } else { 100 };
        let lasting: [u32; 8] = [1, 2, 5, 20, 60, 180, 400, 1000].map(|frames: u32| frames.max(shortest));
        let mut inputs = 0_u8;
        // Degree, loads and sensors of each frame: of the stroke under way, and of the one that ended.
        let mut turn: Vec<(u32, [f32; 2], u8)> = Vec::new();
        let mut ended = Vec::new();
        let mut strokes = 0;
        for tick in 0..4 * TURN + 10 {
            for (n, frames) in lasting.iter().enumerate() {
                if chance.random_ratio(1, *frames) {
                    inputs ^= 1 << n;
                }
            }
            // Whole counts, exact in f32; left and right near enough to keep the press's limits.
            let loads = [0, 1].map(|_| chance.random_range(20_000..90_000_i32));
            if tick % TURN == 0 {
                // The stroke that ended is told some frames later.
                ended = core::mem::take(&mut turn);
            }
            let frame = Frame { sensors: inputs, counts: loads, ..frame(tick, [0.0; 2]) };
            if monitor.step(&frame).reported {
                strokes += 1;
                let report = monitor.report().unwrap();
                let mut wanted = Vec::new();
                for (n, (ends, channel)) in watches.iter().enumerate() {
                    let seen = ended.iter().filter(|(degree, ..)| inside(*ends, *degree));
                    let loads = seen.map(|(_, [left, right], _)| match channel {
                        Channel::Total => left + right,
                        Channel::Column(0) => *left,
                        Channel::Column(_) => *right,
                    });
                    let best = match value(n) {
                        WindowValue::Least => loads.reduce(f32::min),
                        _ => loads.reduce(f32::max),
                    };
                    let column = if let Channel::Column(column) = channel { Some(*column) } else { None };
                    wanted.push((column, best));
                }
                let watched = told(report, Reason::WatchWindow);
                assert_eq!(watched.len(), 3, "seed {seed}");
                for ((column, best), (found, value, _)) in wanted.into_iter().zip(watched) {
                    assert_eq!(found, column, "seed {seed}");
                    // A window between two frames is missed.
                    let near = best.is_none_or(|best| (best - value).abs() <= 1e-3);
                    assert!(near, "seed {seed}, {column:?}: {value}, not {best:?}");
                }
                let mut wanted = Vec::new();
                for (n, ends) in sensors.iter().enumerate() {
                    let seen: Vec<bool> = ended
                        .iter()
                        .filter(|(degree, ..)| inside(*ends, *degree))
                        .map(|(_, _, inputs)| inputs & 1 << n != 0)
                        .collect();
                    let on = seen.iter().filter(|on| **on).count();
                    let kept = match must(n) {
                        SensorRule::OnOnce => on > 0,
                        SensorRule::OnThroughout => on == seen.len(),
                        SensorRule::OffThroughout => on == 0,
                    };
                    if !kept || seen.is_empty() {
                        wanted.push((Some(n as u8), on as f32, seen.len() as f32));
                    }
                }
                assert_eq!(told(report, Reason::SensorWindow), wanted, "seed {seed}, stroke {strokes}");
            }
            turn.push((tick % TURN, loads.map(|load| load as f32 / COUNTS_PER_KN), inputs));
        }
        assert_eq!(strokes, 3, "seed {seed}");
    }
}

#[test]
fn windows_of_a_die_set_between_two_strokes_are_judged_in_the_very_next_wherever_the_slide_stands() {
    // No stroke is under way before the first top; the slide is past both windows.
    let mut monitor = monitor::<2>(StrokeSource::Encoder);
    let mut reports = Vec::new();
    for tick in 0..3 * TURN {
        if tick == 200 {
            let mut limits = DieLimits::default();
            limits.watch.push(watch([201, 299], Channel::Total, WindowValue::Greatest)).unwrap();
            limits.sensors.push(sensor([201, 299], 3, SensorRule::OnOnce)).unwrap();
            monitor.set_limits(Tick(tick), limits).unwrap();
            assert!(!monitor.is_waiting());
        }
        if monitor.step(&frame(tick, [1.0; 2])).reported {
            let report = monitor.report().unwrap();
            reports.push([Reason::WatchWindow, Reason::SensorWindow].map(|of| told(report, of).len()));
        }
    }
    assert_eq!(reports, [[1, 1]]);
}
