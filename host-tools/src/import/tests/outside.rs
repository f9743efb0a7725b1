//! Recorded signals of real machines, brought in by options alone.
//!
//! Expected values: computed with pandas 3.1.1 on the same files (means, maxima and minima of
//! columns as said beside each). Skipped with a notice where the recordings are not beside the project.

use std::path::{Path, PathBuf};

use super::super::{Cut, ImportPlan, ImportReport, import};
use super::plan;
use crate::recording::{Header, Reader, Row};

fn real(name: &str) -> Option<PathBuf> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../shared/recordings/real").join(name);
    if !path.exists() {
        println!("skipped: {name} is not beside the project");
        return None;
    }
    Some(path)
}

fn bring(files: &[PathBuf], plan: &ImportPlan) -> (ImportReport, Header, Vec<Row>) {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("rec.csv");
    let report = import(files, plan, &out, &mut |_, _| {}).unwrap();
    let mut reader = Reader::open(&out).unwrap();
    let (mut row, mut rows) = (Row::default(), Vec::new());
    while reader.next(&mut row).unwrap() {
        rows.push(row);
    }
    (report, *reader.header(), rows)
}

/// The expected values are given to six decimals.
fn near(is: f64, expected: f64) -> bool {
    (is - expected).abs() <= 1e-6
}

#[test]
fn impacts_one_a_file_have_the_peaks_pandas_finds() {
    // Zero: mean of the first 1,000 rows. Left and right peak, total peak, total lowest.
    let expected = [
        ("05", 4994.428900, 9123.582350, 8889.351438, -9364.451102),
        ("15", 5096.843226, 9005.431531, 8986.785890, -8643.528741),
        ("25", 5216.168472, 8975.503098, 8849.872655, -8951.616870),
        ("35", 5318.015424, 9171.857186, 9119.804222, -9065.095011),
        ("40", 5258.683788, 9041.830075, 9031.765289, -8855.071029),
        ("45", 5242.819483, 9165.945089, 9152.353192, -9111.072574),
    ];
    let files: Option<Vec<_>> = expected
        .iter()
        .map(|(number, ..)| real(&format!("impact/board-4.3-impact-{number}.lvm.gz")))
        .collect();
    let Some(files) = files else { return };
    let both = ImportPlan { zero_rows: 1000, ..plan(&["time=1", "left=2:raw", "right=3:raw"]) };
    let (report, header, rows) = bring(&files, &both);
    assert_eq!((report.strokes, report.rows_written, report.rows_missing), (6, 120_000, 0));
    assert_eq!(report.rows_ragged, 6, "the first row of each file has a fourth value");
    assert!(header.has_time && !header.has_angle);
    assert_eq!((rows[1].time_s, rows[19_999].time_s, rows[20_000].time_s), (5e-6, 0.099995, 0.0));
    for (stroke, (file, left, right, peak, lowest)) in report.first_strokes.iter().zip(expected) {
        assert!(
            near(stroke.columns_peak[0], left) && near(stroke.columns_peak[1], right),
            "{file}: {stroke:?}"
        );
        assert!(near(stroke.peak, peak) && near(stroke.lowest, lowest), "{file}: {stroke:?}");
    }
    let one = ImportPlan { zero_rows: 1000, ..plan(&["time=1", "total=3:n"]) };
    let (report, _, _) = bring(&files, &one);
    for (stroke, (file, _, right, ..)) in report.first_strokes.iter().zip(expected) {
        assert!((stroke.peak - right / 1000.0).abs() < 1e-9, "{file}: one channel in N is the same in kN");
    }
}

#[test]
fn fatigue_cycles_and_their_peaks_are_those_pandas_groups() {
    let Some(file) = real("fatigue/TST_2020-09_FA_002.csv.gz") else { return };
    // The recording says nothing of time: 100 Hz is made up so that rows have an order.
    let maps = ["stroke=Machine_N_cycles", "total=Machine_Load:kn"];
    let (report, _, rows) = bring(&[file], &ImportPlan { rate_hz: Some(100.0), ..plan(&maps) });
    assert_eq!((report.strokes, report.rows_written, report.rows_missing), (246, 34_421, 0));
    // Cycle, rows in it, highest and lowest load.
    for (cycle, count, peak, lowest) in [
        (1, 141, 16.41290039, 15.35047144),
        (2, 140, 17.51487851, 14.35882896),
        (100, 140, 29.45934236, 2.951549739),
        (200, 140, 29.44685817, 2.928776108),
        (246, 154, 28.75160575, -2.868018486),
    ] {
        let stroke = report.first_strokes.iter().find(|stroke| stroke.stroke == cycle).unwrap();
        assert_eq!((stroke.rows, stroke.peak, stroke.lowest), (count, peak, lowest), "cycle {cycle}");
    }
    assert!(near(report.peaks.mean, 29.073820856666668));
    assert_eq!((report.peaks.lowest, report.peaks.highest), (16.41290039, 29.63787615));
    assert_eq!(rows.last().map(|row| row.stroke), Some(246));
}

#[test]
fn load_cells_in_counts_make_one_stroke_by_level_without_the_converter_s_lost_readings() {
    let Some(file) = real("loadcell/LoadCellCalibrationData.txt") else { return };
    let maps = ["time=1:ms", "left=11:raw:min=-1e5", "right=12:raw:min=-1e5"];
    let by_level = ImportPlan { cut: Some(Cut::Level), level: Some(40_000.0), zero_rows: 20, ..plan(&maps) };
    let (report, header, rows) = bring(std::slice::from_ref(&file), &by_level);
    // Rows where either cell reads below −100,000 counts: 8. Zero: mean of the first 20 others.
    assert_eq!((report.rows_missing, report.rows_read, header.unit.suffix()), (8, 1324, "counts"));
    assert!(near(report.files[0].zero[0], 5778.65) && near(report.files[0].zero[1], 12_453.15));
    assert_eq!((report.strokes, report.rows_before_first_stroke, report.rows_written), (1, 343, 973));
    let stroke = &report.first_strokes[0];
    assert!(near(stroke.peak, 80_406.2) && near(stroke.lowest, -209.8), "{stroke:?}");
    assert!(near(stroke.columns_peak[0], 40_195.35) && near(stroke.columns_peak[1], 40_428.85));
    assert!(rows[0].time_s > 23.682 && rows.last().unwrap().time_s == 155.981);
    // Held-back rows join the stroke that they lead to.
    let led = ImportPlan { lead_rows: 50, ..by_level };
    assert!(bring(&[file], &led).0.rows_written > 973);
}
