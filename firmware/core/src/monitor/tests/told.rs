//! What is told of a stroke, and when: findings, journal and ledger.

use super::*;
use crate::die::{SENSOR_WINDOWS, WATCH_WINDOWS};
use crate::windows::{Channel, SensorRule, SensorWindow, Span, WatchWindow, WindowValue};

#[test]
fn a_stroke_over_a_machine_limit_is_an_overload_in_the_ledger_and_no_other_stroke_is() {
    let mut monitor = monitor::<1>(StrokeSource::Encoder);
    monitor.set_limits(Tick(0), peak_at_most(100.0, Verdict::Hold)).unwrap();
    let mut overloads = Vec::new();
    // From the second turn on: over the die's limit, over the rating, within both.
    for tick in 0..6 * TURN {
        let height = [50.0, 150.0, 1010.0, 50.0, 50.0, 50.0][(tick / TURN) as usize];
        if monitor.step(&frame(tick, [hump(tick % TURN, height)])).reported {
            overloads.push(monitor.ledger().overloads);
        }
    }
    assert_eq!(overloads, [0, 1, 1, 1]);
}

/// As many windows as there can be: loads up to 120 kN, and sensors that are never on.
pub(super) fn fill_windows(limits: &mut DieLimits) {
    let span = Span::angles(CrankAngle::TOP, CrankAngle::from_degrees(359.0));
    let (verdict, rule) = (Verdict::Note, MofN::FIRST);
    for _ in 0..WATCH_WINDOWS {
        let (channel, value) = (Channel::Total, WindowValue::Greatest);
        let window = WatchWindow { span, channel, value, low_kn: -1.0, high_kn: 120.0, verdict, rule };
        limits.watch.push(window).unwrap();
    }
    for input in 0..SENSOR_WINDOWS as u8 {
        let window = SensorWindow { span, input, must: SensorRule::OffThroughout, verdict, rule };
        limits.sensors.push(window).unwrap();
    }
}

#[test]
fn strokes_that_end_before_the_last_one_was_judged_are_each_judged_and_told_in_order() {
    // A die with every window takes more frames to judge than these strokes have.
    let mut limits = peak_at_most(100.0, Verdict::Note);
    fill_windows(&mut limits);
    for frames in 1..6 {
        let mut monitor = monitor::<1>(StrokeSource::Marked);
        monitor.set_limits(Tick(0), limits.clone()).unwrap();
        let peaks = [90.0, 110.0, 130.0, 50.0, 140.0, 105.0, 95.0];
        let mut told = Vec::new();
        let mut note = |monitor: &Monitor<1, 32, 16>| {
            let report = monitor.report().unwrap();
            let reasons = report.findings.reasons();
            told.push((
                report.number,
                report.features.total.peak.value.round(),
                reasons.contains(Reason::PeakOverDieLimit),
                reasons.contains(Reason::WatchWindow),
            ));
        };
        let mut tick = 0;
        for peak in peaks {
            monitor.mark();
            for n in 0..frames {
                if monitor.step(&frame(tick, [peak - n as f32])).reported {
                    note(&monitor);
                }
                tick += 1;
            }
        }
        // The last one ends with the recording; the one before it may still wait.
        if monitor.finish_judging(Tick(tick)) {
            note(&monitor);
        }
        assert!(monitor.close(Tick(tick)));
        note(&monitor);
        let wanted: Vec<_> =
            (0..).zip(peaks).map(|(n, peak)| (n, peak, peak > 100.0, peak > 120.0)).collect();
        assert_eq!(told, wanted, "strokes of {frames} frames");
    }
}

#[test]
fn a_lost_gain_is_told_with_its_column() {
    let mut monitor = monitor::<4>(StrokeSource::Encoder);
    let mut columns = Vec::new();
    for tick in 0..15 * TURN {
        let load = hump(tick % TURN, 100.0);
        let half = if tick / TURN == 13 { 0.5 } else { 1.0 };
        if monitor.step(&frame(tick, [load, load, half * load, load])).reported {
            let found = monitor.report().unwrap().findings.list().iter();
            columns.extend(found.map(|finding| (finding.reason, finding.column)));
        }
    }
    assert_eq!(columns, [(Reason::GaugeGain, Some(2))]);
}

#[test]
fn a_gauge_that_fails_while_another_s_lost_gain_is_found_stays_failed() {
    let mut monitor = monitor::<4>(StrokeSource::Encoder);
    let mut found = None;
    for tick in 0..14 * TURN + 20 {
        let load = hump(tick % TURN, 100.0);
        let half = if tick / TURN == 13 { 0.5 } else { 1.0 };
        let mut frame = frame(tick, [load, load, half * load, load]);
        if tick >= 14 * TURN {
            frame.counts[0] = (1 << 23) - 1;
        }
        let step = monitor.step(&frame);
        if tick >= 14 * TURN {
            assert!(!step.permit && step.healthy.is_none());
            assert_eq!(monitor.health()[0], GaugeHealth::Saturated, "in frame {tick}");
        }
        if step.reported && tick >= 14 * TURN {
            found = Some(monitor.report().unwrap().findings.reasons().contains(Reason::GaugeGain));
        }
    }
    assert_eq!(found, Some(true));
    assert_eq!(monitor.health()[2], GaugeHealth::GainLost);
}

#[test]
fn a_stroke_rate_may_leave_the_press_s_range_by_a_twentieth_and_is_told_with_the_end_it_passed() {
    // 360 frames at 10 kHz are 1,666.7 strokes a minute. The twentieth is our own choice, no source.
    const SPM: f64 = 10_000.0 * 60.0 / 360.0;
    for (range, limit) in [
        ([SPM / 0.955, 2.0 * SPM], None),
        ([SPM / 0.945, 2.0 * SPM], Some(SPM / 0.945)),
        ([0.5 * SPM, SPM / 1.045], None),
        ([0.5 * SPM, SPM / 1.055], Some(SPM / 1.055)),
    ] {
        let mut press = monitor::<1>(StrokeSource::Encoder).press().clone();
        press.settings.press.speed_spm = range;
        let mut monitor: Monitor<1, 32, 16> = Monitor::new(press);
        monitor.self_test(Tick(0), true);
        let reports = strokes(&mut monitor, 4, |degree| [hump(degree, 100.0)]);
        // The last one ended with the frames and not at the top.
        for report in &reports[..2] {
            let told: Vec<_> = report.findings.list().iter().map(|f| (f.reason, f.limit)).collect();
            let wanted: Vec<_> = limit.iter().map(|limit| (Reason::SpeedOutOfRange, *limit as f32)).collect();
            assert_eq!(told, wanted, "{range:?}: {:?}", report.speed_spm);
        }
    }
}

#[test]
fn the_journal_names_the_reason_of_the_verdict_and_not_a_milder_one_before_it() {
    let mut monitor = monitor::<1>(StrokeSource::Encoder);
    let mut limits = peak_at_most(100.0, Verdict::Note);
    limits.work_kj = Some(Band { low: 5.0, high: 9.0, verdict: Verdict::Hold, rule: MofN::FIRST });
    monitor.set_limits(Tick(0), limits).unwrap();
    let report = &strokes(&mut monitor, 3, |degree| [hump(degree, 150.0)])[0];
    let reasons: Vec<Reason> = report.findings.list().iter().map(|finding| finding.reason).collect();
    assert_eq!(reasons, [Reason::PeakOverDieLimit, Reason::WorkUnderDieLimit]);
    let judged = monitor.journal().iter().find(|event| event.kind == EventKind::Judged(Verdict::Hold));
    assert_eq!(judged.and_then(|event| event.reason), Some(Reason::WorkUnderDieLimit));
}

#[test]
fn the_frames_around_a_trip_are_kept_a_quarter_of_them_after_it_with_the_offending_one_among_them() {
    // Sixteen frames are kept.
    let mut monitor = after_a_quiet_turn::<1>();
    for tick in TURN..TURN + 100 {
        let step = monitor.step(&frame(tick, [if tick == TURN + 50 { 1001.0 } else { 1.0 }]));
        assert_eq!(step.permit, tick < TURN + 50);
        // Not before the frames after it have come.
        assert_eq!(monitor.kept().kept().is_some(), tick >= TURN + 54, "{tick}");
    }
    let ticks: Vec<u32> = monitor.kept().kept().unwrap().map(|frame| frame.tick.0).collect();
    assert_eq!(ticks, (TURN + 39..TURN + 55).collect::<Vec<_>>());
    assert_eq!(monitor.kept().frame(11).unwrap().counts[0], 1_001_000 + ((TURN + 50) % 3) as i32);
}

#[test]
fn the_proof_that_all_is_well_is_of_its_own_frame() {
    let mut monitor = after_a_quiet_turn::<1>();
    for tick in TURN..TURN + 5 {
        assert_eq!(monitor.step(&frame(tick, [1.0])).healthy.unwrap().tick(), Tick(tick));
    }
}
