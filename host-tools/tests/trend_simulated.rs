//! Claim: slow wear, of all edges and of one station among several, is found before edges are 10 % dull, with an interval of the
//! strokes left that holds the truth, and none is found in sharp edges. More runs and presses: the example `measure_trend`.

// A claim whose run fails stops with the reason given.
#![allow(clippy::unwrap_used)]

// The example counts stopped strokes with it, too.
#[allow(dead_code)]
#[path = "../examples/measure_trend/case.rs"]
mod case;

use bolster::trend::Wish;
use case::{Case, EVERY, Edges};

#[test]
fn slow_wear_is_found_with_the_strokes_left_and_none_is_found_in_sharp_edges() {
    let folder = tempfile::tempdir().unwrap();
    let wish = Wish { false_alarm_strokes: 1e8 / EVERY, confidence: 0.95, limits: Vec::new() };
    let (mut forecasts, mut covered) = (0, 0);
    for (base, edges) in [("small-press", Edges::All), ("five-station", Edges::Station(4))] {
        let case = Case::new(base, edges, 100, folder.path()).unwrap();
        for seed in 1..=3 {
            let seen = case.run(seed, 125, true, 2, &wish).unwrap();
            let last = seen.last().unwrap();
            assert!(
                last.moving.iter().any(|name| name.starts_with("wear")),
                "{} seed {seed}: {seen:?}",
                case.name
            );
            for (name, [least, likely, most], truth) in &last.left {
                println!("{} {seed}, {name}: {least:?} {likely:?} {most:?}, truth {truth}", case.name);
                forecasts += 1;
                covered += u32::from(
                    least.is_some_and(|least| least <= *truth) && most.is_none_or(|most| *truth <= most),
                );
            }
            for seen in case.run(seed, 125, false, 2, &wish).unwrap() {
                let quiet = seen.moving.is_empty() && seen.changes.is_empty();
                assert!(quiet, "{} seed {seed}: {seen:?}", case.name);
            }
        }
    }
    // Twelve intervals of 95 % at most, in pairs of one die: three or more outside come about once in fifty times.
    assert!(forecasts >= 9 && covered + 2 >= forecasts, "{covered} of {forecasts}");
}
