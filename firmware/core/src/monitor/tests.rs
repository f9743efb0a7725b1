use super::*;
use crate::die::{Band, Threshold};
use crate::frame::CrankReading;
use crate::often::MofN;
use crate::press::{Columns, PressSpec};
use crate::settings::PressSettings;
use crate::stroke::StrokeSource;
use crate::units::CrankAngle;
use crate::verdict::Verdict;
use std::vec;
use std::vec::Vec;

const COUNTS_PER_KN: f32 = 1000.0;
/// A turn is this many frames in these tests.
const TURN: u32 = 360;

fn spec(columns: Columns) -> PressSpec {
    PressSpec {
        columns,
        rated_kn: 1000.0,
        rated_height_mm: 6.0,
        stroke_mm: 100.0,
        rod_mm: 500.0,
        speed_spm: [1000.0, 2000.0],
        bolster_mm: [1200.0, 800.0],
        usable_energy_kj: Some(3.0),
        reverse_percent: 10.0,
        column_percent: 110.0,
        imbalance_percent: 30.0,
        off_centre_percent: Some(40.0),
    }
}

fn monitor<const N: usize>(source: StrokeSource) -> Monitor<N, 32, 16> {
    let columns = Columns::from_count(N).unwrap();
    // 360 frames a turn at 10 kHz is 1667 strokes a minute: far from a press, and legal for the tracker.
    let mut settings = PressSettings::<N>::usual(spec(columns), 10_000.0, 1.0 / COUNTS_PER_KN, source);
    // One frame holds one value in these tests: neither filter nor spike guard may blur it.
    settings.filter = None;
    settings.spike_jump_kn = f32::INFINITY;
    let mut monitor = Monitor::new(settings.build().unwrap());
    monitor.self_test(Tick(0), true);
    monitor
}

/// Frames as a press gives them: every reading a little different from the last.
fn frame<const N: usize>(tick: u32, loads: [f32; N]) -> Frame<N> {
    let mut counts = [0; N];
    for (count, load) in counts.iter_mut().zip(loads) {
        *count = (load * COUNTS_PER_KN) as i32 + (tick % 3) as i32;
    }
    let angle = CrankAngle((u64::from(tick % TURN) * (1 << 32) / u64::from(TURN)) as u32);
    Frame { tick: Tick(tick), counts, crank: CrankReading::Angle(angle), sensors: 0 }
}

/// The monitor after one quiet turn, at the start of the next.
fn after_a_quiet_turn<const N: usize>() -> Monitor<N, 32, 16> {
    let mut monitor = monitor::<N>(StrokeSource::Encoder);
    for tick in 0..TURN {
        let step = monitor.step(&frame(tick, [1.0; N]));
        assert!(step.permit, "withdrawn by nothing at {tick}");
    }
    monitor
}

/// Every machine limit that one frame can break, at every frame of a stroke: withdrawn in that frame.
#[test]
fn a_broken_machine_limit_withdraws_the_permit_in_the_very_frame() {
    let breaks: [(Reason, [f32; 4]); 6] = [
        (Reason::PeakOverRating, [251.0; 4]),
        (Reason::ReverseOverLimit, [-26.0; 4]),
        (Reason::ColumnOverShare, [280.0, 180.0, 180.0, 280.0]),
        (Reason::ImbalanceLeftRight, [0.0, 160.0, 0.0, 160.0]),
        (Reason::ImbalanceFrontRear, [0.0, 0.0, 160.0, 160.0]),
        (Reason::OffCentre, [150.0, 250.0, 150.0, 250.0]),
    ];
    let quiet = after_a_quiet_turn::<4>();
    for (reason, loads) in breaks {
        for at in TURN..2 * TURN {
            let mut monitor = quiet.clone();
            for tick in TURN..at {
                assert!(monitor.step(&frame(tick, [1.0; 4])).permit, "{reason:?}: early at {tick}");
            }
            let step = monitor.step(&frame(at, loads));
            assert!(!step.permit, "{reason:?}: not withdrawn at {at}");
            assert!(monitor.places.under_way().findings.reasons().contains(reason), "{reason:?} at {at}");
            assert!(step.healthy.is_some(), "an overload is no ill health of the monitor");
        }
    }
}

/// The capacity curve at every frame of the closing slide, just below and just above what it allows.
#[test]
fn the_capacity_curve_binds_in_every_closing_frame() {
    let quiet = after_a_quiet_turn::<4>();
    let crank = spec(Columns::Corners).check().unwrap();
    for degree in 1..180 {
        let height = crank.height_mm(f64::from(degree).to_radians());
        // Stay clear of the rating itself, which has its own limit.
        let allowed = (1000.0 * crank.allowed_fraction(height, 6.0)) as f32;
        if allowed > 990.0 {
            continue;
        }
        for (share, permitted) in [(0.999, true), (1.001, false)] {
            let mut monitor = quiet.clone();
            (TURN..TURN + degree).for_each(|tick| {
                monitor.step(&frame(tick, [1.0; 4]));
            });
            let step = monitor.step(&frame(TURN + degree, [allowed * share / 4.0; 4]));
            assert_eq!(step.permit, permitted, "{degree} degrees, {share} of {allowed}");
        }
    }
}

#[test]
fn work_over_the_usable_energy_trips_where_it_passes_the_limit() {
    let mut monitor = after_a_quiet_turn::<4>();
    let crank = spec(Columns::Corners).check().unwrap();
    let height = |tick: u32| crank.height_mm((f64::from(tick % TURN) * 360.0 / f64::from(TURN)).to_radians());
    // 120 kN all the way down 100 mm would take 12 kJ; 3 kJ are usable.
    monitor.step(&frame(TURN, [0.25; 4]));
    let mut work = 0.0;
    for tick in TURN + 1..TURN + 180 {
        let load = if tick == TURN + 1 { 1.0 } else { 120.0 };
        let last = if tick == TURN + 2 { 1.0 } else { 120.0 };
        work += 0.5 * (load + last) * (height(tick - 1) - height(tick)) / 1000.0;
        let permit = monitor.step(&frame(tick, [load as f32 / 4.0; 4])).permit;
        // The table's interpolation and the two or three counts of dither leave a narrow band undecided.
        if (work - 3.0).abs() > 0.005 {
            assert_eq!(permit, work < 3.0, "at {tick}, {work} kJ");
        }
    }
    assert!(monitor.places.under_way().findings.reasons().contains(Reason::WorkOverEnergy));
}

#[test]
fn a_trip_latches_and_an_acknowledgement_needs_the_cause_gone() {
    let mut monitor = after_a_quiet_turn::<2>();
    assert!(!monitor.step(&frame(TURN, [600.0, 600.0])).permit);
    assert!(monitor.acknowledge(Tick(TURN)).is_err(), "still over the rating");
    assert!(!monitor.step(&frame(TURN + 1, [1.0; 2])).permit, "latched");
    assert!(monitor.acknowledge(Tick(TURN + 1)).is_ok());
    assert!(monitor.step(&frame(TURN + 2, [1.0; 2])).permit);
    let kinds: Vec<EventKind> = monitor.journal().iter().map(|event| event.kind).collect();
    assert_eq!(
        kinds,
        [
            EventKind::PowerUp,
            EventKind::SelfTest(true),
            EventKind::PermitWithdrawn,
            EventKind::AcknowledgeRefused,
            EventKind::Acknowledged,
        ]
    );
}

#[test]
fn the_permit_is_withheld_before_self_test() {
    let settings = PressSettings::<1>::usual(spec(Columns::Total), 10_000.0, 0.001, StrokeSource::Encoder);
    let mut monitor: Monitor<1, 32, 16> = Monitor::new(settings.build().unwrap());
    assert!(!monitor.step(&frame(0, [1.0])).permit);
    monitor.self_test(Tick(0), false);
    assert!(!monitor.step(&frame(1, [1.0])).permit);
    monitor.self_test(Tick(1), true);
    assert!(monitor.step(&frame(2, [1.0])).permit);
}

#[test]
fn lost_and_repeated_frames_and_a_dead_encoder_withdraw_the_permit() {
    let mut lost = after_a_quiet_turn::<1>();
    assert!(!lost.step(&frame(TURN + 1, [1.0])).permit);
    let mut repeated = after_a_quiet_turn::<1>();
    assert!(!repeated.step(&frame(TURN - 1, [1.0])).permit);
    for crank in [CrankReading::Absent, CrankReading::Fault, CrankReading::Index(true)] {
        let mut dead = after_a_quiet_turn::<1>();
        assert!(!dead.step(&Frame { crank, ..frame(TURN, [1.0]) }).permit, "{crank:?}");
    }
}

#[test]
fn a_saturated_gauge_withdraws_the_permit_at_once() {
    let mut monitor = after_a_quiet_turn::<4>();
    let mut railed = frame(TURN, [1.0; 4]);
    railed.counts[2] = (1 << 23) - 1;
    let step = monitor.step(&railed);
    assert!(!step.permit && step.healthy.is_none());
    assert_eq!(monitor.health()[2], GaugeHealth::Saturated);
}

fn strokes<const N: usize>(
    monitor: &mut Monitor<N, 32, 16>,
    turns: u32,
    load: impl Fn(u32) -> [f32; N],
) -> Vec<StrokeReport<N>> {
    let mut reports = Vec::new();
    for tick in 0..turns * TURN {
        if monitor.step(&frame(tick, load(tick % TURN))).reported {
            reports.push(monitor.report().unwrap().clone());
        }
    }
    if monitor.close(Tick(turns * TURN)) {
        reports.push(monitor.report().unwrap().clone());
    }
    reports
}

/// A half-sine hump of this height around the bottom.
fn hump(degree: u32, height: f32) -> f32 {
    if (150..210).contains(&degree) {
        height * libm::sinf((degree - 150) as f32 * core::f32::consts::PI / 60.0)
    } else {
        0.0
    }
}

#[test]
fn every_turn_gives_one_report_in_order() {
    let mut monitor = monitor::<2>(StrokeSource::Encoder);
    let reports = strokes(&mut monitor, 6, |degree| [hump(degree, 200.0), hump(degree, 300.0)]);
    // The first turn begins in mid-turn for the tracker and does not count.
    assert!(reports.iter().map(|r| r.number).eq(0..5));
    for report in &reports {
        assert_eq!(report.findings.verdict(), Verdict::Pass, "{:?}", report.findings);
        assert!((report.features.total.peak.value - 500.0).abs() < 0.01);
        assert!((report.features.total.peak.position.angle().unwrap().degrees() - 180.0).abs() < 1.1);
        let [x, _] = report.load_centre_mm.unwrap();
        assert!((x - 120.0).abs() < 0.1, "{x}");
        assert!((report.speed_spm.unwrap() - 1666.7).abs() < 6.0);
    }
}

#[test]
fn a_die_limit_holds_after_the_stroke_and_cannot_loosen_the_machines() {
    let mut monitor = monitor::<2>(StrokeSource::Encoder);
    let limits = DieLimits {
        peak_kn: Some(Band { low: 0.0, high: 5000.0, verdict: Verdict::Hold, rule: MofN::FIRST }),
        work_kj: Some(Band { low: 0.0, high: 1e-6, verdict: Verdict::Note, rule: MofN::FIRST }),
        ..DieLimits::default()
    };
    monitor.set_die(Tick(0), limits, None, false).unwrap();
    let reports = strokes(&mut monitor, 3, |degree| [hump(degree, 520.0), hump(degree, 500.0)]);
    assert!(
        reports.iter().all(|r| r.findings.verdict() == Verdict::Trip
            && r.findings.reasons().contains(Reason::PeakOverRating))
    );
}

#[test]
fn a_hold_withdraws_the_permit_when_the_stroke_is_over_and_not_before() {
    let mut monitor = monitor::<1>(StrokeSource::Encoder);
    let band = Band { low: 0.0, high: 100.0, verdict: Verdict::Hold, rule: MofN::FIRST };
    monitor.set_die(Tick(0), DieLimits { peak_kn: Some(band), ..DieLimits::default() }, None, false).unwrap();
    let mut withdrawn = None;
    for tick in 0..3 * TURN {
        let load = if tick >= TURN { hump(tick % TURN, 150.0) } else { 0.0 };
        if !monitor.step(&frame(tick, [load])).permit && withdrawn.is_none() {
            withdrawn = Some(tick);
        }
    }
    // The die's limits in the frame of the top, gain and speed in the next one, the verdict after it.
    assert_eq!(withdrawn, Some(2 * TURN + 2), "at the top that ends the stroke");
}

#[test]
fn a_hold_found_without_waiting_for_frames_is_journalled_and_its_stroke_kept() {
    let band = Band { low: 0.0, high: 100.0, verdict: Verdict::Hold, rule: MofN::FIRST };
    let limits = DieLimits { peak_kn: Some(band), ..DieLimits::default() };
    let withdrawn = |monitor: &Monitor<1, 32, 16>| {
        monitor.journal().iter().filter(|event| event.kind == EventKind::PermitWithdrawn).count()
    };
    let run = |frames: u32| {
        let mut monitor = monitor::<1>(StrokeSource::Marked);
        monitor.set_die(Tick(0), limits.clone(), None, false).unwrap();
        monitor.mark();
        for tick in 0..frames {
            assert!(monitor.step(&frame(tick, [hump(tick % TURN, 150.0)])).permit);
        }
        monitor
    };
    let mut closed = run(300);
    assert!(closed.close(Tick(300)));
    assert_eq!((closed.permit().is_granted(), withdrawn(&closed)), (false, 1));
    assert!(closed.kept().kept().unwrap().map(|frame| frame.tick.0).eq(284..300), "no frame follows");

    // Without a report in the boundary's own frame: only finishing finds the hold.
    let mut finished = run(300);
    finished.end_stroke(Tick(300), false);
    assert!(finished.finish_judging(Tick(300)));
    assert_eq!((finished.permit().is_granted(), withdrawn(&finished)), (false, 1));
    (300..310).for_each(|tick| {
        finished.step(&frame(tick, [0.0]));
    });
    // A quarter of the ring's sixteen frames may still come.
    assert!(finished.kept().kept().unwrap().map(|frame| frame.tick.0).eq(288..304));
    assert_eq!(withdrawn(&finished), 1, "told once");
}

fn peak_at_most(kn: f32, verdict: Verdict) -> DieLimits {
    let band = Band { low: 0.0, high: kn, verdict, rule: MofN::FIRST };
    DieLimits { peak_kn: Some(band), ..DieLimits::default() }
}

/// Turns of a one-column press with a hump of 150 kN in each; `before` acts before the frame of a tick.
fn humps(
    monitor: &mut Monitor<1, 32, 16>,
    turns: u32,
    mut before: impl FnMut(&mut Monitor<1, 32, 16>, u32),
) -> Vec<(Mode, Vec<Reason>)> {
    let mut reports = Vec::new();
    for tick in 0..turns * TURN {
        before(monitor, tick);
        if monitor.step(&frame(tick, [hump(tick % TURN, 150.0)])).reported {
            let report = monitor.report().unwrap();
            reports.push((report.mode, report.findings.reasons().iter().collect()));
        }
    }
    reports
}

#[test]
fn a_die_asked_for_in_mid_stroke_waits_for_the_next_one_at_every_frame() {
    let (none, over) = (vec![], vec![Reason::PeakOverDieLimit]);
    for asked in TURN..2 * TURN {
        let mut monitor = monitor::<1>(StrokeSource::Encoder);
        let mut waited = false;
        let reports = humps(&mut monitor, 4, |monitor, tick| {
            if tick == asked {
                monitor.set_limits(Tick(tick), peak_at_most(100.0, Verdict::Note)).unwrap();
                waited = monitor.is_waiting();
            }
        });
        // The slide is past half its way down.
        let late = asked > TURN + 90;
        assert_eq!(waited, late, "asked for at {asked}");
        let first = if late { &none } else { &over };
        assert_eq!(reports.iter().map(|r| &r.1).collect::<Vec<_>>(), [first, &over], "asked for at {asked}");
        assert!(!monitor.is_waiting());
    }
}

#[test]
fn a_change_waits_while_the_stroke_has_met_a_load_however_early() {
    let mut monitor = after_a_quiet_turn::<1>();
    for tick in TURN..TURN + 20 {
        monitor.step(&frame(tick, [if tick == TURN + 10 { 50.0 } else { 0.0 }]));
    }
    monitor.set_mode(Tick(TURN + 20), Mode::Inch);
    assert!(monitor.is_waiting() && monitor.mode() == Mode::Continuous);
    for tick in TURN + 20..2 * TURN {
        monitor.step(&frame(tick, [0.0]));
        assert_eq!(monitor.mode(), Mode::Continuous, "at {tick}");
    }
    // As soon as the stroke has been judged.
    (2 * TURN..2 * TURN + 4).for_each(|tick| {
        monitor.step(&frame(tick, [0.0]));
    });
    assert_eq!(monitor.mode(), Mode::Inch);
    let changed = |event: &&crate::journal::Event| event.kind == EventKind::ModeChanged(Mode::Inch);
    assert_eq!(monitor.journal().iter().filter(changed).count(), 1);
}

#[test]
fn inching_is_judged_by_the_press_alone_and_a_single_stroke_has_no_rate() {
    // 1667 strokes a minute; the press may do 100 to 200.
    let slow = PressSpec { speed_spm: [100.0, 2000.0], ..spec(Columns::Total) };
    for (mode, wanted) in [
        (Mode::Inch, vec![]),
        (Mode::Single, vec![Reason::PeakOverDieLimit, Reason::SensorWindow]),
        (Mode::Continuous, vec![Reason::SpeedOutOfRange, Reason::PeakOverDieLimit, Reason::SensorWindow]),
    ] {
        let mut settings =
            PressSettings::<1>::usual(slow, 10_000.0, 1.0 / COUNTS_PER_KN, StrokeSource::Encoder);
        settings.filter = None;
        settings.spike_jump_kn = f32::INFINITY;
        let mut press = settings.build().unwrap();
        press.settings.press.speed_spm = [100.0, 200.0];
        let mut monitor: Monitor<1, 32, 16> = Monitor::new(press);
        monitor.self_test(Tick(0), true);
        monitor.set_mode(Tick(0), mode);
        let mut limits = peak_at_most(100.0, Verdict::Note);
        let window = crate::windows::SensorWindow {
            span: crate::windows::Span::angles(
                CrankAngle::from_degrees(100.0),
                CrankAngle::from_degrees(200.0),
            ),
            input: 0,
            must: crate::windows::SensorRule::OnOnce,
            verdict: Verdict::Note,
            rule: MofN::FIRST,
        };
        limits.sensors.push(window).unwrap();
        monitor.set_limits(Tick(0), limits).unwrap();
        let reports = humps(&mut monitor, 4, |_, _| {});
        assert_eq!(reports, [(mode, wanted.clone()), (mode, wanted)]);
        assert!(!monitor.step(&frame(4 * TURN, [1001.0])).permit, "the rating binds in {mode:?}");
    }
}

#[test]
fn a_window_that_had_begun_when_the_die_was_changed_says_nothing_about_that_stroke() {
    let mut monitor = monitor::<1>(StrokeSource::Encoder);
    let window = |from: f64, to: f64| crate::windows::SensorWindow {
        span: crate::windows::Span::angles(CrankAngle::from_degrees(from), CrankAngle::from_degrees(to)),
        input: 0,
        must: crate::windows::SensorRule::OnOnce,
        verdict: Verdict::Note,
        rule: MofN::FIRST,
    };
    let reports = humps(&mut monitor, 4, |monitor, tick| {
        if tick == TURN + 50 {
            let mut limits = DieLimits::default();
            [(10.0, 40.0), (30.0, 80.0), (350.0, 5.0)].into_iter().for_each(|(from, to)| {
                limits.sensors.push(window(from, to)).unwrap();
            });
            monitor.set_limits(Tick(tick), limits).unwrap();
            assert!(!monitor.is_waiting());
        }
    });
    assert_eq!(reports[0].1, [], "no window could be judged");
    assert_eq!(reports[1].1, [Reason::SensorWindow], "the sensor was never on");
}

#[test]
fn a_new_die_starts_its_rules_afresh_and_no_die_lifts_the_rating() {
    let rule = MofN { m: 2, n: 2 };
    let limits = DieLimits {
        double_load: Some(Threshold { kn: 100.0, verdict: Verdict::Note, rule }),
        ..DieLimits::default()
    };
    let mut monitor = monitor::<1>(StrokeSource::Encoder);
    monitor.set_limits(Tick(0), limits.clone()).unwrap();
    let reports = humps(&mut monitor, 6, |monitor, tick| {
        if tick == 3 * TURN + 10 {
            monitor.set_limits(Tick(tick), limits.clone()).unwrap();
        }
    });
    let told: Vec<bool> = reports.iter().map(|(_, reasons)| reasons == &[Reason::DoubleLoad]).collect();
    assert_eq!(told, [false, true, false, true], "of the strokes of turns 2 to 5");
    let mut wide = peak_at_most(1e6, Verdict::Note);
    wide.double_load = Some(Threshold { kn: 1e6, verdict: Verdict::Note, rule: MofN::FIRST });
    monitor.set_limits(Tick(6 * TURN), wide).unwrap();
    assert!(!monitor.step(&frame(6 * TURN, [1001.0])).permit);
}

#[test]
fn the_order_of_columns_changes_nothing_but_their_order() {
    let load = |degree: u32| [hump(degree, 40.0), hump(degree, 90.0), hump(degree, 20.0), hump(degree, 60.0)];
    let straight = strokes(&mut monitor::<4>(StrokeSource::Encoder), 3, load);
    // Mirrored left-right: lf↔rf, lr↔rr.
    let mirrored = strokes(&mut monitor::<4>(StrokeSource::Encoder), 3, |degree| {
        let [lf, rf, lr, rr] = load(degree);
        [rf, lf, rr, lr]
    });
    for (a, b) in straight.iter().zip(&mirrored) {
        for (column, mirror) in [(0, 1), (1, 0), (2, 3), (3, 2)] {
            assert_eq!(a.features.columns[column], b.features.columns[mirror]);
        }
        // Sums are taken in channel order, so they may differ in the last place of 210 kN.
        assert!((a.features.total.peak.value - b.features.total.peak.value).abs() <= 210.0 * f32::EPSILON);
        let ([ax, ay], [bx, by]) = (a.load_centre_mm.unwrap(), b.load_centre_mm.unwrap());
        assert!((ax + bx).abs() < 1e-3 && (ay - by).abs() < 1e-3);
    }
}

#[test]
fn a_marked_part_of_the_turn_is_a_stroke() {
    let mut monitor = monitor::<1>(StrokeSource::Marked);
    let mut tick = 0;
    let mut numbers = Vec::new();
    for _ in 0..4 {
        monitor.mark();
        for degree in 95..262 {
            let mut frame = frame(tick, [hump(degree, 100.0)]);
            frame.crank = CrankReading::Angle(CrankAngle::from_degrees(f64::from(degree)));
            tick += 1;
            if monitor.step(&frame).reported {
                numbers.push(monitor.report().unwrap().number);
            }
        }
    }
    assert!(monitor.close(Tick(tick)) && monitor.permit().is_granted());
    numbers.push(monitor.report().unwrap().number);
    assert_eq!(numbers, [0, 1, 2, 3]);
}

#[test]
fn without_a_crank_strokes_are_told_by_load_and_have_no_height_or_work() {
    let mut monitor = monitor::<1>(StrokeSource::Load);
    let mut reports = 0;
    for tick in 0..4000 {
        let degree = tick % 1000;
        let mut frame = frame(tick, [hump(degree, 100.0)]);
        frame.crank = CrankReading::Absent;
        if monitor.step(&frame).reported {
            reports += 1;
            let report = monitor.report().unwrap();
            assert_eq!(report.features.work_kj, None);
            assert_eq!(report.features.total.peak.height_mm, None);
            assert!((report.features.total.peak.value - 100.0).abs() < 0.01);
        }
    }
    assert_eq!(reports, 4);
}

#[test]
fn a_stroke_with_a_stuck_gauge_has_no_load_centre() {
    let mut monitor = monitor::<2>(StrokeSource::Encoder);
    let mut centres = Vec::new();
    for tick in 0..4 * TURN {
        let mut frame = frame(tick, [hump(tick % TURN, 200.0), hump(tick % TURN, 300.0)]);
        if tick >= 2 * TURN {
            frame.counts[1] = 4_000;
        }
        if monitor.step(&frame).reported {
            let report = monitor.report().unwrap();
            centres.push((
                report.load_centre_mm.is_some(),
                report.findings.reasons().contains(Reason::GaugeStuck),
            ));
        }
    }
    assert_eq!(centres, [(true, false), (false, true)]);
}

/// A press whose gauges read `counts` at a tick, over an encoder at 60 strokes a minute and 10 kHz.
fn sixty_a_minute<const N: usize>(tick: u32, counts: [i32; N]) -> Frame<N> {
    let angle = CrankAngle((u64::from(tick % 10_000) * (1 << 32) / 10_000) as u32);
    Frame { tick: Tick(tick), counts, crank: CrankReading::Angle(angle), sensors: 0 }
}

#[test]
fn hum_withdraws_the_permit_and_is_told_of_its_gauge_whatever_the_load_it_fakes() {
    // A column's share is 250 kN: hum of 3 % of it is 7.5 kN. 40 kN of it fakes a contact of 20 kN and more.
    for (hum_kn, found) in [(5.0, false), (10.0, true), (40.0, true)] {
        let mut monitor = monitor::<4>(StrokeSource::Encoder);
        let mut permit = true;
        for tick in 0..10_000_u32 {
            let hum = hum_kn * libm::sin(f64::from(tick) * core::f64::consts::TAU / 200.0);
            let mut counts = [(tick % 3) as i32; 4];
            counts[1] += (hum * f64::from(COUNTS_PER_KN)) as i32;
            permit = monitor.step(&sixty_a_minute(tick, counts)).permit;
        }
        assert_eq!(permit, !found, "{hum_kn} kN");
        let health = if found { GaugeHealth::Humming } else { GaugeHealth::Good };
        assert_eq!(monitor.health(), &[GaugeHealth::Good, health, GaugeHealth::Good, GaugeHealth::Good]);
    }
}

#[test]
fn frames_that_show_the_same_reading_for_too_long_withdraw_the_permit_though_their_ticks_go_on() {
    let mut monitor = monitor::<2>(StrokeSource::Encoder);
    let mut withdrawn = None;
    for tick in 0..2_000 {
        let risen = tick.min(500) as i32;
        let counts = [risen, -risen];
        let step = monitor.step(&sixty_a_minute(tick, counts));
        if !step.permit && withdrawn.is_none() {
            withdrawn = Some(tick);
            assert!(step.healthy.is_none());
        }
    }
    // 50 ms without a change after the last one at 500.
    assert_eq!(withdrawn, Some(1_000));
    let repeated = |set: ReasonSet| set.contains(Reason::FramesRepeated);
    assert!(repeated(monitor.places.under_way().findings.reasons()) || repeated(monitor.present));
}

#[test]
fn a_lost_gain_holds_the_press_tells_the_gauge_and_is_over_with_the_next_good_stroke() {
    let mut monitor = monitor::<4>(StrokeSource::Encoder);
    let mut told = Vec::new();
    for tick in 0..16 * TURN {
        // The thirteenth turn's strokes read a half on the third gauge.
        let half = tick / TURN == 13;
        let load = hump(tick % TURN, 100.0);
        let loads = [load, load, if half { 0.5 * load } else { load }, load];
        let step = monitor.step(&frame(tick, loads));
        if step.reported {
            let report = monitor.report().unwrap();
            let lost = report.findings.reasons().contains(Reason::GaugeGain);
            told.push((lost, step.permit, monitor.health()[2]));
            assert_eq!(report.load_centre_mm.is_none(), lost);
            if lost {
                assert!(monitor.acknowledge(Tick(tick)).is_ok(), "a person looked at it");
            }
        }
    }
    let good = (false, true, GaugeHealth::Good);
    assert_eq!(told[..12], [good; 12]);
    assert_eq!(told[12..], [(true, false, GaugeHealth::GainLost), good]);
}

mod asked;
mod inside;
mod told;
