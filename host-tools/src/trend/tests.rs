//! Whole histories: what is said of wear, of a regrind, of other stock and of nothing at all.
#![allow(clippy::unwrap_used)]

use super::analysis::{Analysis, State, StrokesLeft, Trend, Wish};
use super::cells::{Cells, History, Observation};
use super::change::Kind;
use super::quantity::{Measured, values};
use super::testing::Chance;
use crate::wear::{WearReading, WindowReading};

/// Strokes of each coil.
const COIL: u64 = 100;

/// Made strokes: `wear` and a stock's load, both in per cent, of each coil.
fn history(seed: u64, coils: u64, wear: impl Fn(u64) -> f64, stock: impl Fn(u64) -> f64) -> History {
    windowed(seed, coils, wear, stock, None)
}

/// The same, with so much scatter of coils in windows' work, all of the wear being in the third.
fn windowed(
    seed: u64,
    coils: u64,
    wear: impl Fn(u64) -> f64,
    stock: impl Fn(u64) -> f64,
    windows: Option<f64>,
) -> History {
    let mut chance = Chance::new(seed);
    let mut cells = Cells::new(values(1));
    for coil in 1..=coils {
        let load = stock(coil) + 3.0 * chance.normal();
        let own = 1.0 * chance.normal();
        let of_windows = windows.map(|scatter| [(); 6].map(|()| scatter * chance.normal()));
        for n in 0..COIL {
            let stroke = (coil - 1) * COIL + n + 1;
            let (wear, scatter) = (wear(stroke), 0.5 * chance.normal());
            let reading = WearReading {
                load_percent: load,
                work_percent: 0.6 * load + own + wear + scatter,
                return_percent: -0.1 * load + 0.2 * own + 0.3 * wear + 0.3 * scatter,
                lean_percent: windows.map(|_| [0.0; 2]),
                windows: of_windows.map(|coil| {
                    let mut number = 0;
                    coil.map(|coil| {
                        number += 1;
                        WindowReading {
                            at_deg: 150.0 + 6.0 * f64::from(number),
                            work_percent: 0.1 * load + coil + if number == 3 { wear } else { 0.0 },
                        }
                    })
                }),
            };
            let measured = Measured {
                peak_kn: 700.0 * (1.0 + load / 100.0),
                work_kj: Some(1.8 * (1.0 + reading.work_percent / 100.0)),
                reverse_kn: 80.0,
                contact_angle_deg: Some(157.0),
                wear: Some(reading),
            };
            let values = measured.values(std::iter::once(measured.peak_kn));
            cells.take(Observation { stroke, coil, stopped: false, values: &values });
        }
    }
    cells.finish()
}

fn analysed(history: &History, limits: &[(&str, f64)]) -> Analysis {
    let limits = limits.iter().map(|(name, limit)| ((*name).to_owned(), *limit)).collect();
    Analysis::of(history, &["total".to_owned()], &Wish { false_alarm_strokes: 1e7, confidence: 0.95, limits })
}

fn of<'a>(analysis: &'a Analysis, name: &str) -> &'a Trend {
    analysis.quantities.iter().find(|trend| trend.quantity == name).unwrap()
}

#[test]
fn slow_wear_under_coils_that_differ_by_more_is_found_with_the_strokes_left() {
    // 6 % in 6000 strokes; 12 % is met at 12,000.
    let analysis = analysed(&history(1, 60, |s| s as f64 / 1000.0, |_| 0.0), &[("wear-work", 12.0)]);
    let wear = of(&analysis, "wear-work");
    assert_eq!(wear.state, State::Rising, "{}", wear.says);
    let slope = wear.per_1000_strokes.unwrap();
    assert!(slope.low < 1.0 && 1.0 < slope.high, "{slope:?}");
    let left = wear.strokes_left.unwrap();
    assert!(left.least < 6000.0 && 6000.0 < left.most.unwrap(), "{left:?}");
    assert!(analysis.changes.is_empty(), "{:?}", analysis.changes);
    // Stock alone rules the peak load.
    assert_eq!(of(&analysis, "peak").state, State::NoTrend);
}

#[test]
fn one_dull_edge_is_found_in_its_window_and_the_strokes_left_are_told_of_all_work_with_a_wide_interval() {
    // 1.2 % in 6000 strokes: no more than coils' work scatters, six times what it scatters in a window. A line through 60
    // such coils is 2.7 standard errors steep, a trend takes 4.4.
    let mut inside = 0;
    for seed in 20..40 {
        let made = windowed(seed, 60, |s| s as f64 / 5_000.0, |_| 0.0, Some(0.2));
        let analysis = analysed(&made, &[("wear-work", 2.4), ("wear-window-3", 2.4)]);
        let window = of(&analysis, "wear-window-3");
        assert_eq!(
            (window.state, window.strokes_left),
            (State::Rising, None),
            "seed {seed}: {}",
            window.says
        );
        assert!(window.title.contains("around 168°") && window.says.contains("wear-work"), "{}", window.says);
        for n in [1, 2, 4, 5, 6] {
            let other = of(&analysis, &format!("wear-window-{n}"));
            assert_eq!(other.state, State::NoTrend, "seed {seed}: {}", other.says);
        }
        let work = of(&analysis, "wear-work");
        // 2.4 % is met at 12,000.
        let holds = |left: StrokesLeft| left.least < 6000.0 && left.most.is_none_or(|most| most > 6000.0);
        inside += u32::from(work.strokes_left.is_some_and(holds));
        if work.state == State::NoTrend && work.strokes_left.is_some() {
            assert!(work.says.contains(" shows wear, "), "seed {seed}: {}", work.says);
        }
    }
    // 19 of 20 intervals hold; fewer than 16 come about once in four hundred times.
    assert!(inside >= 16, "{inside} of 20");
}

#[test]
fn a_regrind_is_named_and_counting_begins_anew() {
    let wear = |s: u64| (if s > 4000 { s - 4000 } else { s }) as f64 / 500.0;
    let analysis = analysed(&history(2, 70, wear, |_| 0.0), &[]);
    let [change] = analysis.changes.as_slice() else { panic!("{:?}", analysis.changes) };
    assert_eq!(change.kind, Kind::Regrind, "{change:?}");
    // To a coil or two.
    assert!(change.stroke.abs_diff(4001) <= 2 * COIL, "{change:?}");
    let wear = of(&analysis, "wear-work");
    assert!(wear.from_stroke >= change.stroke && wear.state == State::Rising, "{}", wear.says);
    let slope = wear.per_1000_strokes.unwrap();
    assert!(slope.low < 2.0 && 2.0 < slope.high, "{slope:?}");
}

#[test]
fn other_stock_is_named_and_does_not_hide_wear() {
    let stock = |coil: u64| if coil > 30 { 25.0 } else { 0.0 };
    let analysis = analysed(&history(3, 60, |s| s as f64 / 1000.0, stock), &[]);
    let [change] = analysis.changes.as_slice() else { panic!("{:?}", analysis.changes) };
    assert_eq!((change.kind, change.stroke), (Kind::Stock, 30 * COIL + 1), "{change:?}");
    let wear = of(&analysis, "wear-work");
    assert_eq!((wear.state, wear.from_stroke), (State::Rising, 1), "{}", wear.says);
    assert_eq!(of(&analysis, "peak").from_stroke, change.stroke);
}

#[test]
fn too_few_coils_and_coils_without_wear_say_so() {
    let few = analysed(&history(4, 7, |s| s as f64 / 50.0, |_| 0.0), &[("wear-work", 30.0)]);
    let wear = of(&few, "wear-work");
    assert_eq!((wear.state, wear.strokes_left), (State::NotEnough, None));
    assert!(wear.says.starts_with("not enough: 7 coil"), "{}", wear.says);
    for seed in 10..30 {
        let none = analysed(&history(seed, 40, |_| 0.0, |_| 0.0), &[("wear-work", 5.0)]);
        assert!(none.changes.is_empty(), "seed {seed}: {:?}", none.changes);
        for trend in &none.quantities {
            assert_eq!(
                (trend.state, trend.strokes_left),
                (State::NoTrend, None),
                "seed {seed}: {}",
                trend.says
            );
        }
    }
}

#[test]
fn charts_are_designed_for_the_tolerated_false_alarms() {
    let analysis = analysed(&history(5, 50, |s| if s > 2500 { 6.0 } else { 0.0 }, |_| 0.0), &[]);
    let wear = of(&analysis, "wear-work");
    // One false alarm in 1e7 strokes, in all; four parts each of 6 quantities, as these strokes have no windows; blocks of 100.
    let asked = 1e7 * 4.0 * analysis.quantities.len() as f64 / 100.0;
    let cusum = wear.cusum.unwrap();
    assert!((cusum.run_length_blocks / asked - 1.0).abs() < 1e-9, "{cusum:?}");
    assert!(analysis.changes.iter().any(|change| change.kind == Kind::Worse), "{:?}", analysis.changes);
}
