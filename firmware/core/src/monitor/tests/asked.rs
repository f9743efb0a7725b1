//! What people and settings ask of the running monitor: a bypass, a kept stroke's release, a shape filled in its place,
//! another coil; and what it tells of a gauge that is well again.

use super::*;
use crate::calibrate::ZeroTracking;
use crate::permit::PermitRefusal;
use crate::shape::tests as shape;
use crate::shape::{FillError, ShapeModel};
use core::ops::Range;

const BINS: usize = shape::BINS;
type Shaped = Monitor<{ shape::N }, BINS, 16>;

#[test]
fn a_bypass_lets_holds_pass_for_its_time_is_journalled_and_stops_no_trip() {
    let mut monitor = monitor::<1>(StrokeSource::Encoder);
    monitor.set_limits(Tick(0), peak_at_most(100.0, Verdict::Hold)).unwrap();
    assert_eq!(monitor.bypass(Tick(0), 0), Err(PermitRefusal::Time));
    monitor.bypass(Tick(0), 3 * TURN).unwrap();
    let mut tripped = monitor.clone();
    let mut withdrawn = None;
    for tick in 0..5 * TURN {
        if !monitor.step(&frame(tick, [hump(tick % TURN, 150.0)])).permit && withdrawn.is_none() {
            withdrawn = Some(tick);
        }
    }
    // The stroke of the second turn is excused at 2 · 360 + 2, that of the third ends when the time is over.
    assert_eq!(withdrawn, Some(3 * TURN + 2));
    let began = |event: &&crate::journal::Event| matches!(event.kind, EventKind::BypassBegan(_));
    assert!(
        monitor.journal().iter().filter(began).map(|event| event.kind).eq([EventKind::BypassBegan(3 * TURN)])
    );
    assert!(tripped.step(&frame(0, [1.0])).permit && !tripped.step(&frame(1, [1001.0])).permit);
}

#[test]
fn a_kept_stroke_stays_until_it_is_released_and_then_the_next_one_is_kept() {
    let mut monitor = after_a_quiet_turn::<1>();
    let trip = |monitor: &mut Monitor<1, 32, 16>, at: u32| {
        for tick in at..at + 40 {
            monitor.step(&frame(tick, [if tick == at + 20 { 1001.0 } else { 1.0 }]));
        }
        monitor.acknowledge(Tick(at + 39)).unwrap();
    };
    let first =
        |monitor: &Monitor<1, 32, 16>| monitor.kept().kept().map(|mut frames| frames.next().unwrap().tick);
    // Sixteen frames, four of them after the withdrawal.
    trip(&mut monitor, TURN);
    assert_eq!(first(&monitor), Some(Tick(TURN + 9)));
    trip(&mut monitor, TURN + 40);
    assert_eq!((first(&monitor), monitor.kept().missed()), (Some(Tick(TURN + 9)), 1), "not read yet");
    monitor.release_kept();
    assert_eq!(first(&monitor), None);
    trip(&mut monitor, TURN + 80);
    assert_eq!(first(&monitor), Some(Tick(TURN + 89)));
}

#[test]
fn a_gauge_that_is_well_again_is_told_so_once_and_a_zero_at_its_limit_alone_is_told() {
    let mut monitor = after_a_quiet_turn::<2>();
    let mut railed = frame(TURN, [1.0; 2]);
    railed.counts[1] = (1 << 23) - 1;
    monitor.step(&railed);
    assert_eq!(monitor.health()[1], GaugeHealth::Saturated);
    for tick in TURN + 1..2 * TURN {
        monitor.step(&frame(tick, [1.0; 2]));
    }
    assert_eq!(monitor.health(), &[GaugeHealth::Good; 2]);
    let told = |monitor: &Monitor<2, 32, 16>| {
        let events = monitor.journal().iter().filter(|event| event.kind == EventKind::GaugeHealth);
        events.map(|event| (event.reason, event.column)).collect::<Vec<_>>()
    };
    assert_eq!(told(&monitor), [(Some(Reason::GaugeSaturated), Some(1)), (None, Some(1))]);

    // A zero that has drifted further than it may be followed, and no other fault.
    let mut press = monitor.press().clone();
    press.settings.calibration.zero_tracking = Some(ZeroTracking { rate: 0.01, limit_kn: 2.0 });
    let mut monitor: Monitor<2, 32, 16> = Monitor::new(press.settings.build().unwrap());
    monitor.self_test(Tick(0), true);
    let mut withdrawn = None;
    for tick in 0..2 * TURN {
        if !monitor.step(&frame(tick, [0.0, 3.0])).permit && withdrawn.is_none() {
            withdrawn = Some((tick, monitor.health()[1]));
        }
    }
    // 3 kN · (1 − 0.99^n) passes 2 kN after 109 frames; a dither of up to 2 counts moves that by less than one.
    let (tick, health) = withdrawn.expect("a zero at its limit withdraws the permit");
    assert_eq!(health, GaugeHealth::Drifting);
    assert!((107..=111).contains(&tick), "at {tick}");
    assert_eq!(told(&monitor), [(Some(Reason::GaugeDrifting), Some(1))]);
}

fn shaped(source: StrokeSource) -> Shaped {
    let mut settings = monitor::<{ shape::N }>(source).press().settings;
    settings.press.usable_energy_kj = None;
    let mut monitor = Shaped::new(settings.build().unwrap());
    monitor.self_test(Tick(0), true);
    monitor
}

/// The die's good stroke in the frames of each turn, `load` times, and so much more under the first gauge in one bin.
fn run(monitor: &mut Shaped, ticks: Range<u32>, load: f32, more: f32) -> Vec<(Verdict, ReasonSet)> {
    let mut reports = Vec::new();
    for tick in ticks {
        let degree = tick % TURN;
        let bin = (100..260).contains(&degree).then(|| (degree as usize - 100) / 10);
        let loads = core::array::from_fn(|column| {
            let extra = if bin == Some(4) && column == 0 { more } else { 0.0 };
            bin.map_or(0.0, |bin| load * shape::reference(bin)) + extra
        });
        if monitor.step(&frame(tick, loads)).reported {
            let findings = &monitor.report().unwrap().findings;
            reports.push((findings.verdict(), findings.reasons()));
        }
    }
    reports
}

fn fill(monitor: &mut Shaped, words: &[u32]) -> Result<(), FillError> {
    monitor.begin_shape()?;
    for (n, part) in words.chunks(50).enumerate() {
        monitor.fill_shape(50 * n, part)?;
    }
    monitor.commit_shape(Tick(0), true)
}

#[test]
fn a_shape_filled_in_its_place_judges_as_one_that_was_set_and_its_refusals_are_told() {
    let model = shape::model();
    let words: Vec<u32> =
        (0..ShapeModel::<{ shape::N }, BINS>::WORDS).map(|n| model.word(n).unwrap()).collect();
    let mut set = shaped(StrokeSource::Encoder);
    set.set_die(Tick(0), DieLimits::default(), Some(model), true).unwrap();
    let mut filled = shaped(StrokeSource::Encoder);
    assert_eq!(filled.fill_shape(0, &words), Err(FillError::NotBegun));
    assert_eq!(filled.commit_shape(Tick(0), true), Err(FillError::NotBegun));
    filled.begin_shape().unwrap();
    assert!(matches!(filled.commit_shape(Tick(0), true), Err(FillError::Incomplete(_))));
    fill(&mut filled, &words).unwrap();
    let changed = |event: &&crate::journal::Event| event.kind == EventKind::SettingsChanged;
    assert_eq!(filled.journal().iter().filter(changed).count(), 1, "only what took effect is journalled");
    for monitor in [&mut set, &mut filled] {
        // A stroke is judged within the turn after it; that in which the first turn ends is none.
        let good = run(monitor, 0..6 * TURN, 1.0, 0.0);
        assert!(good.len() >= 3 && good.iter().all(|(verdict, _)| *verdict <= Verdict::Note), "{good:?}");
        let faulty = run(monitor, 6 * TURN..8 * TURN, 1.0, 30.0);
        assert!(faulty.iter().any(|(verdict, _)| *verdict == Verdict::Hold), "{faulty:?}");
        assert!(!monitor.permit().is_granted());
    }
    assert_eq!(set.report(), filled.report());
    assert_eq!(set.shape().measures(), filled.shape().measures());

    // While a die waits for the stroke under way to end, the shape that belongs to it cannot be begun.
    let mut busy = shaped(StrokeSource::Encoder);
    run(&mut busy, 0..TURN, 1.0, 0.0);
    (TURN..TURN + 200).for_each(|tick| {
        busy.step(&frame(tick, [50.0; 2]));
    });
    busy.set_limits(Tick(TURN + 200), DieLimits::default()).unwrap();
    assert!(busy.is_waiting());
    assert_eq!(busy.begin_shape(), Err(FillError::Busy));
}

#[test]
fn another_coil_that_was_told_is_noted_and_one_that_was_not_holds_the_press() {
    for told in [true, false] {
        let mut monitor = shaped(StrokeSource::Encoder);
        monitor.set_die(Tick(0), DieLimits::default(), Some(shape::model()), true).unwrap();
        // Told before the top at which its first stroke begins and the old coil's last one ends.
        let ends = 13 * TURN;
        let quiet = run(&mut monitor, 0..ends, 1.0, 0.0);
        assert!(quiet[1..].iter().all(|(verdict, _)| *verdict == Verdict::Pass), "{quiet:?}");
        if told {
            monitor.new_coil();
        }
        // Six per cent stronger stock moves every load alike: what this die's stock may do.
        let after = run(&mut monitor, ends..16 * TURN, 1.06, 0.0);
        let first = after.iter().find(|(verdict, _)| *verdict != Verdict::Pass).unwrap();
        let wanted = if told { Verdict::Note } else { Verdict::Hold };
        assert_eq!(first.0, wanted, "told: {told}, {after:?}");
        assert_eq!(first.1.contains(Reason::StockChanged), told, "{after:?}");
    }
}

#[test]
fn a_stroke_with_all_there_is_to_judge_is_told_in_the_frame_in_which_the_next_one_ends() {
    let mut monitor = shaped(StrokeSource::Marked);
    let mut limits = DieLimits::default();
    told::fill_windows(&mut limits);
    monitor.set_die(Tick(0), limits, Some(shape::model()), true).unwrap();
    let mut reported = Vec::new();
    for tick in 0..5 {
        monitor.mark();
        let step = monitor.step(&frame(tick, [1.0; 2]));
        reported.push(step.reported.then(|| monitor.report().unwrap().findings.reasons()));
    }
    // The first ends where the second begins, and waits until that one ends.
    assert_eq!(reported[..2], [None; 2]);
    for reasons in &reported[2..] {
        assert!(reasons.unwrap().contains(Reason::NotJudged), "{reported:?}");
    }
}
