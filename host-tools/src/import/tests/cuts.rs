//! Where strokes begin and end.

use super::super::{Cut, ImportPlan};
use super::{Bench, plan, said};

fn strokes(text: &str, plan: &ImportPlan) -> Vec<u64> {
    Bench::of(&[text.as_bytes()]).run(plan).unwrap().2.iter().map(|row| row.stroke).collect()
}

fn lines(loads: &[i32]) -> String {
    loads.iter().enumerate().map(|(at, load)| format!("{at} {load}\n")).collect()
}

#[test]
fn a_level_starts_a_stroke_once_until_the_load_has_fallen_far_enough() {
    let by_level = ImportPlan { cut: Some(Cut::Level), level: Some(10.0), ..plan(&["time=1", "total=2:kn"]) };
    let text = lines(&[0, 4, 10, 20, 9, 11, 4, 0, 12, 0]);
    // Half the level is the hysteresis: 9 and 11 are no new stroke, 12 after 4 is.
    assert_eq!(strokes(&text, &by_level), [1, 1, 1, 1, 1, 1, 2, 2]);
    let eager = ImportPlan { hysteresis: Some(0.5), ..by_level.clone() };
    assert_eq!(strokes(&text, &eager), [1, 1, 1, 2, 2, 2, 3, 3]);
    let apart = ImportPlan { hysteresis: Some(0.5), min_gap_s: 4.0, ..by_level.clone() };
    assert_eq!(strokes(&text, &apart), [1, 1, 1, 1, 1, 1, 2, 2]);
    let led = ImportPlan { lead_rows: 2, ..by_level.clone() };
    assert_eq!(strokes(&text, &led), [1, 1, 1, 1, 1, 1, 2, 2, 2, 2], "rows before the rise belong to it");
    let long = ImportPlan { lead_rows: 5, ..by_level.clone() };
    assert_eq!(
        strokes(&text, &long),
        [1, 1, 1, 1, 1, 1, 2, 2, 2, 2],
        "but none that bore load in the stroke before"
    );
    let loaded = lines(&[30, 20, 30, 0, 30]);
    assert_eq!(strokes(&loaded, &by_level), [1], "a file that starts under load starts with no stroke");
    assert!(said(&[lines(&[0, 9, 0]).as_bytes()], &by_level).contains("never rises over the level"));
}

#[test]
fn an_index_pulse_starts_a_stroke_at_its_rise() {
    let text = "0 1 5\n1 0 5\n2 1 5\n3 1 5\n4 0 5\n5 1 5\n";
    let by_index = plan(&["time=1", "index=2", "total=3:kn"]);
    assert_eq!(strokes(text, &by_index), [1, 1, 1, 2]);
}

#[test]
fn the_top_of_the_stroke_cuts_and_jitter_there_does_not() {
    let text = "350\n359.9\n0.1\n359.8\n0.2\n90\n300\n359\n2\n";
    let text: String = text.lines().map(|angle| format!("{angle} 1\n")).collect();
    let by_angle = ImportPlan { cut: Some(Cut::Angle), ..plan(&["angle=1", "total=2:kn"]) };
    assert_eq!(strokes(&text, &by_angle), [1, 1, 2, 2, 2, 2, 2, 2, 3]);
    // Part of the turn only: the fall back to its start cuts.
    assert_eq!(strokes("95 1\n260 2\n95 1\n200 1\n96 0\n", &by_angle), [1, 1, 2, 2, 3]);
}

#[test]
fn files_are_strokes_with_a_zero_of_their_own() {
    let bench = Bench::of(&[b"10\n12\n111\n", b"-3\n-5\n96\n"]);
    let plan = ImportPlan { rate_hz: Some(2.0), zero_rows: 2, ..plan(&["total=1:kn"]) };
    let (report, _, rows) = bench.run(&plan).unwrap();
    let seen: Vec<_> = rows.iter().map(|row| (row.stroke, row.time_s, row.loads[0])).collect();
    assert_eq!(
        seen,
        [(1, 0.0, -1.0), (1, 0.5, 1.0), (1, 1.0, 100.0), (2, 0.0, 1.0), (2, 0.5, -1.0), (2, 1.0, 100.0)]
    );
    assert_eq!((report.files[0].zero[0], report.files[1].zero[0], report.strokes), (11.0, -4.0, 2));
    assert_eq!((report.peaks.lowest, report.peaks.mean, report.peaks.highest), (100.0, 100.0, 100.0));
}

#[test]
fn a_cycle_column_keeps_its_numbers_and_gaps_over_files() {
    let bench = Bench::of(&[b"c,f,s1\n3,1,0\n3,2,1\n", b"c,f,s1\n9,3,0\n"]);
    let plan = ImportPlan { rate_hz: Some(1.0), ..plan(&["stroke=c", "total=f:kn", "s3=s1"]) };
    let (report, header, rows) = bench.run(&plan).unwrap();
    let seen: Vec<_> = rows.iter().map(|row| (row.stroke, row.time_s, row.sensors)).collect();
    assert_eq!(seen, [(3, 0.0, 0), (3, 1.0, 4), (9, 2.0, 0)]);
    assert_eq!((header.sensors, report.strokes), (4, 2));
    let why = said(&[b"c,f,s1\n3,1,0\n2,2,1\n"], &plan);
    assert!(why.contains("line 3") && why.contains("goes down from 3 to 2"), "{why}");
}
