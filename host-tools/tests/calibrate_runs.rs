//! Calibration runs through fit, assessment, file and program.

#![allow(clippy::unwrap_used)] // a test stops where its setup fails

use std::fmt::Write as _;
use std::path::Path;
use std::process::{Command, Output};

use bolster::calibrate::run::Run;
use bolster::calibrate::stored::Stored;
use bolster::calibrate::{CrossTalk, assess, calibrate, claim, series};
use bolster::plan::formula::column_shares;
use bolster_core::press::Columns;

/// NIST StRD Norris, response and predictor.
const NORRIS: &str = "0.1 0.2 338.8 337.4 118.1 118.2 888.0 884.6 9.2 10.1 228.1 226.5 668.5 666.3 998.5 996.3 449.1 448.6 \
    778.9 777.0 559.2 558.2 0.3 0.4 0.1 0.6 778.1 775.5 668.8 666.9 339.3 338.0 448.9 447.5 10.8 11.6 557.7 556.0 \
    228.3 228.1 998.0 995.8 888.8 887.6 119.6 120.2 0.3 0.3 0.6 0.3 557.6 556.8 339.3 339.1 888.0 887.2 998.5 999.0 \
    778.9 779.0 10.2 11.1 117.6 118.3 228.9 229.2 668.4 669.1 449.2 448.9 0.2 0.5";

fn parse(text: &str) -> Run {
    Run::parse(text.as_bytes(), Path::new("run.csv")).unwrap()
}

fn close(found: f64, want: f64, relative: f64) {
    assert!((found / want - 1.0).abs() <= relative, "{found} against {want}");
}

#[test]
fn norris_as_a_calibration_reaches_no_class() {
    let numbers: Vec<f64> = NORRIS.split_whitespace().map(|n| n.parse().unwrap()).collect();
    let mut csv = "reference_kn,counts\n".to_owned();
    for pair in numbers.chunks(2) {
        let _ = writeln!(csv, "{},{}", pair[1], pair[0]);
    }
    let run = parse(&csv);
    let order = series::order(&run.readings);
    let fitted = calibrate(&run, &order, None).unwrap();
    // source: NIST StRD Norris, certified (read): intercept, slope.
    close(fitted.zero_counts[0], -0.262_323_073_774_029, 1e-9);
    close(fitted.kn_per_count[0][0], 1.0 / 1.002_116_818_020_45, 1e-9);
    let found = assess(&run, &order, &fitted, 0.5);
    // source: computed from the certified values: LLF = 2.4 · 0.884796396144373 / slope, floors 2000 and 400 of it.
    close(found.classes.llf_kn, 2.119_025_759, 1e-9);
    close(found.classes.class_aa_from_kn, 4238.05, 1e-6);
    close(found.classes.class_a_from_kn, 847.61, 2e-6);
    // Class A would hold only above 848 of 999, class AA nowhere: neither is reached.
    assert_eq!(found.classes.e74, None);
    let missing = claim::missing(&run, &order);
    assert!(missing.iter().any(|m| m.needed), "a run in no order of load supports no claim");

    // The program shows what was found, claims nothing and writes nothing.
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("norris.csv"), &csv).unwrap();
    let done = bolster(folder.path(), &["calibrate", "norris.csv", "--out", "cal.toml", "--json"]);
    assert_eq!(done.status.code(), Some(1));
    assert!(said(&done).contains("supports no claim") && !folder.path().join("cal.toml").exists());
    let json: serde_json::Value = serde_json::from_slice(&done.stdout).unwrap();
    close(json["counts_per_kn"][0].as_f64().unwrap(), 1.002_116_818_020_45, 1e-9);
    assert_eq!(json["claim"], false);
}

/// Rows of the plateaus and the weights hung on, lbf.
const PLATEAUS: [(usize, usize, f64); 9] = [
    (0, 150, 0.0),
    (170, 310, 10.0),
    (350, 480, 20.0),
    (510, 640, 30.0),
    (665, 755, 40.0),
    (785, 890, 30.0),
    (915, 1020, 20.0),
    (1045, 1125, 10.0),
    (1150, 1320, 0.0),
];

#[test]
fn real_load_cells_agree_with_an_outside_least_squares_to_nine_digits() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../../shared/recordings/real/loadcell/LoadCellCalibrationData.txt");
    let Ok(text) = std::fs::read_to_string(&path) else {
        println!("skipped: {} is not here", path.display());
        return;
    };
    let rows: Vec<Vec<f64>> =
        text.lines().map(|line| line.split(',').map(|n| n.trim().parse().unwrap()).collect()).collect();
    // Zero, counts a kN, residual deviation in counts, readings. computed: NumPy lstsq on the same readings, the
    // converter's bad readings (four and two within these rows) left out.
    for (column, zero, slope, residual, readings) in [
        (10, 5_805.805_716_282_49, 224_154.552_752_706_78, 85.578_781_609_261_38, 1096),
        (11, 12_459.702_807_998_894, 225_745.471_752_833_7, 81.727_021_874_246_59, 1098),
    ] {
        let mut csv = "reference_lbf,counts\n".to_owned();
        for (from, to, lbf) in PLATEAUS {
            for row in &rows[from..to] {
                let _ = writeln!(csv, "{lbf},{}", row[column]);
            }
        }
        let mut run = parse(&csv);
        let spikes = series::take_spikes(&mut run.readings);
        assert_eq!(run.readings.len(), readings, "spikes found: {spikes:?}");
        let order = series::order(&run.readings);
        assert_eq!((order.steps_kn.len(), order.rising_series, order.falling_series), (5, 1, 1));
        let fitted = calibrate(&run, &order, None).unwrap();
        close(fitted.zero_counts[0], zero, 1e-9);
        close(1.0 / fitted.kn_per_count[0][0], slope, 1e-9);
        close(fitted.residual_kn * slope, residual, 1e-9);
        let missing = claim::missing(&run, &order);
        let codes: Vec<&str> = missing.iter().filter(|m| m.needed).map(|m| m.code).collect();
        assert_eq!(codes, ["too-few-steps", "too-few-series"], "one series in four steps supports no claim");
    }
}

/// A press whose gauges see each other: counts = zero + S · column loads.
struct Truth {
    zero: [f64; 4],
    sensitivity: [[f64; 4]; 4],
}

const PLATE: [f64; 2] = [1800.0, 900.0];

impl Truth {
    /// Sensitivities whose twist is what leaves least cross-talk: then places tell everything.
    fn new() -> Self {
        let mut sensitivity = [[0.0; 4]; 4];
        for (gauge, row) in sensitivity.iter_mut().enumerate() {
            for (column, cell) in row.iter_mut().enumerate() {
                *cell = if gauge == column { 4000.0 + 50.0 * gauge as f64 } else { 12.0 };
            }
            // Take the twist out of what the gauge sees of the other columns.
            let twist = [0.5, -0.5, -0.5, 0.5];
            let along: f64 = (0..4).filter(|i| *i != gauge).map(|i| row[i] * twist[i]).sum::<f64>() / 0.75;
            for (i, cell) in row.iter_mut().enumerate() {
                if i != gauge {
                    *cell -= along * twist[i];
                }
            }
        }
        Self { zero: [1200.0, -800.0, 350.0, 40.0], sensitivity }
    }

    fn counts(&self, loads: &[f64]) -> Vec<f64> {
        (0..4)
            .map(|g| self.zero[g] + self.sensitivity[g].iter().zip(loads).map(|(s, l)| s * l).sum::<f64>())
            .collect()
    }
}

/// Three series up and down at five places, wavering by a few counts in a fixed pattern.
fn four_corner_run(noise: f64) -> String {
    let truth = Truth::new();
    let mut csv =
        "reference_kn,x_mm,y_mm,series,spread_counts,temperature_c,lf_counts,rf_counts,lr_counts,rr_counts\n"
            .to_owned();
    let mut number = 0_u32;
    let places = [[0.0, 0.0], [-400.0, 0.0], [400.0, 0.0], [0.0, 200.0], [0.0, -200.0]];
    for preload in [0.0, 1000.0, 0.0, 1000.0, 0.0, 1000.0, 0.0] {
        let loads: Vec<f64> =
            column_shares(Columns::Corners, [0.0; 2], PLATE).iter().map(|s| s * preload).collect();
        let c = truth.counts(&loads);
        let _ = writeln!(csv, "{preload},0,0,0,8,20.5,{},{},{},{}", c[0], c[1], c[2], c[3]);
    }
    let mut series = 0;
    for place in places {
        for _ in 0..3 {
            series += 1;
            let up = [0.0, 200.0, 400.0, 600.0, 800.0, 1000.0];
            for kn in up.into_iter().chain(up.into_iter().rev().skip(1)) {
                let loads: Vec<f64> =
                    column_shares(Columns::Corners, place, PLATE).iter().map(|s| s * kn).collect();
                let c = truth.counts(&loads);
                let waver = |gauge: u32| noise * f64::from((number * 7 + gauge * 3) % 11).mul_add(0.2, -1.0);
                let c: Vec<f64> = (0..4).map(|g| c[g as usize] + waver(g)).collect();
                let _ = writeln!(
                    csv,
                    "{kn},{},{},{series},8,20.5,{},{},{},{}",
                    place[0], place[1], c[0], c[1], c[2], c[3]
                );
                number += 1;
            }
        }
    }
    csv
}

#[test]
fn places_of_one_load_cell_tell_zero_gain_and_cross_talk() {
    let run = parse(&four_corner_run(0.0));
    let order = series::order(&run.readings);
    assert_eq!((order.preloads, order.rising_series, order.falling_series), (3, 15, 15));
    let fitted = calibrate(&run, &order, Some(PLATE)).unwrap();
    assert_eq!(fitted.cross_talk, CrossTalk::ByPlaces);
    let truth = Truth::new();
    // Without noise only rounding is left: the matrix times the truth is the unit matrix.
    for column in 0..4 {
        assert!((fitted.zero_counts[column] - truth.zero[column]).abs() < 1e-6);
        for other in 0..4 {
            let product: f64 =
                (0..4).map(|g| fitted.kn_per_count[column][g] * truth.sensitivity[g][other]).sum();
            let unit = f64::from(u8::from(column == other));
            assert!((product - unit).abs() < 1e-9, "{column} {other}: {product}");
        }
    }
    // And in the core's own single precision: 2⁻²⁴ of the greatest counts, four times over.
    let stored = Stored::new(run.columns, &fitted, &assess(&run, &order, &fitted, 0.5), true);
    let core = stored.config::<4>().unwrap().build().unwrap();
    let loads = [100.0, 300.0, 250.0, 50.0];
    let counts: Vec<i32> = truth.counts(&loads).iter().map(|c| c.round() as i32).collect();
    for (found, want) in core.loads(&counts.try_into().unwrap()).iter().zip(loads) {
        assert!((f64::from(*found) - want).abs() < 1e-3, "{found} against {want}");
    }
}

#[test]
fn a_full_run_reaches_a_class_and_a_lowest_load() {
    let run = parse(&four_corner_run(40.0));
    let order = series::order(&run.readings);
    let fitted = calibrate(&run, &order, Some(PLATE)).unwrap();
    let found = assess(&run, &order, &fitted, 0.3);
    let missing = claim::missing(&run, &order);
    assert!(missing.iter().all(|m| !m.needed), "{missing:?}");
    // Noise of ±40 counts is ±0.01 kN a gauge, at most ±0.04 kN together of 200 kN and more: class 0.5.
    assert_eq!(found.classes.iso_7500, Some("0.5"), "{found:?}");
    assert!(found.residual_kn > 0.002 && found.residual_kn < 0.04, "{}", found.residual_kn);
    let lowest = found.classes.lowest_use_kn.unwrap();
    assert!((199.0..=201.0).contains(&lowest), "not below the first load: {lowest}");
}

#[test]
fn places_without_the_plate_and_gauges_turned_round_are_refused() {
    let run = parse(&four_corner_run(0.0));
    let order = series::order(&run.readings);
    assert!(calibrate(&run, &order, None).unwrap_err().to_string().contains("--press"));
    let run = parse("reference_kn,counts\n0,0\n10,-100\n20,-200\n30,-300\n");
    let order = series::order(&run.readings);
    assert!(calibrate(&run, &order, None).unwrap_err().to_string().contains("polarity"));
}

fn bolster(folder: &Path, args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_bolster")).current_dir(folder).args(args).output().unwrap()
}

fn said(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).unwrap()
}

/// Series as the file gives them, five steps up and down, at the gain given.
fn one_gauge_run(series: u32, steps: u32, gain: f64, zero: f64) -> String {
    let mut csv = "reference_kn,counts,series,spread_counts,temperature_c\n".to_owned();
    for preload in [0.0, 500.0, 0.0, 500.0, 0.0, 500.0, 0.0] {
        let _ = writeln!(csv, "{preload},{},0,4,21", zero + gain * preload);
    }
    for number in 1..=series {
        for step in (0..=steps).chain((0..steps).rev()) {
            let kn = 500.0 * f64::from(step) / f64::from(steps);
            let waver = f64::from((step * 5 + number * 3) % 7) - 3.0;
            let _ = writeln!(csv, "{kn},{},{number},4,21", zero + gain * kn + waver);
        }
    }
    csv
}

#[test]
fn the_program_writes_what_the_core_loads_and_verifies_it_later() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    std::fs::write(at.join("run.csv"), one_gauge_run(3, 5, 900.0, 120.0)).unwrap();
    let done = bolster(
        at,
        &[
            "calibrate",
            "run.csv",
            "--out",
            "cal.toml",
            "--certificate",
            "cert",
            "--shunt-ohm",
            "350",
            "100000",
            "--shunt-counts",
            "5400",
        ],
    );
    assert!(done.status.success(), "{}", said(&done));
    let words = std::fs::read_to_string(at.join("cert.txt")).unwrap();
    for part in
        ["class 0.5", "does not cover", "slow loads", "no safeguard", "Lowest load of use", "0.873471 mV/V"]
    {
        assert!(words.contains(part), "{part}: {words}");
    }
    assert!(std::fs::read(at.join("cert.png")).unwrap().starts_with(b"\x89PNG"));
    let stored = Stored::load(&at.join("cal.toml")).unwrap();
    assert!(stored.evidence.claim);
    let core = stored.config::<1>().unwrap().build().unwrap();
    // 100 kN at 900 counts a kN; a wavering of 3 counts is 0.003 kN.
    assert!((core.loads(&[120 + 90_000])[0] - 100.0).abs() < 0.01);

    std::fs::write(at.join("later.csv"), one_gauge_run(1, 5, 900.0, 150.0)).unwrap();
    let same = bolster(at, &["calibrate", "later.csv", "--verify", "cal.toml"]);
    assert_eq!(same.status.code(), Some(0), "{}", said(&same));
    std::fs::write(at.join("later.csv"), one_gauge_run(1, 5, 880.0, 120.0)).unwrap();
    let moved = bolster(at, &["calibrate", "later.csv", "--verify", "cal.toml", "--json"]);
    assert_eq!(moved.status.code(), Some(3));
    let json: serde_json::Value = serde_json::from_slice(&moved.stdout).unwrap();
    // The gain in kN a count grew by 900/880.
    let percent = json["gain_percent"][0].as_f64().unwrap();
    assert!((percent - 100.0 * (900.0 / 880.0 - 1.0)).abs() < 0.01, "{percent}");
    assert_eq!(json["holds"], false);
}

#[test]
fn what_cannot_support_a_claim_is_refused_and_says_what_is_missing() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let run = |text: &str, more: &[&str]| {
        std::fs::write(at.join("run.csv"), text).unwrap();
        let mut args = vec!["calibrate", "run.csv", "--out", "cal.toml"];
        args.extend(more);
        bolster(at, &args)
    };
    let refused = |text: &str, part: &str| {
        let done = run(text, &[]);
        assert_eq!(done.status.code(), Some(1), "{part}");
        let words = said(&done);
        assert!(words.contains(part) && words.trim().lines().count() == 1, "{part}: {words}");
        assert!(!at.join("cal.toml").exists(), "nothing is left behind");
    };
    refused(&one_gauge_run(1, 5, 900.0, 0.0), "one series cannot show how well it repeats");
    refused(&one_gauge_run(3, 3, 900.0, 0.0), "at least 5 are needed");
    let bent = one_gauge_run(3, 5, 900.0, 0.0).replace("\n300,", "\n300,10");
    let bent: String = bent.lines().map(|l| format!("{l}\n")).collect();
    refused(&bent, "do not rise");
    refused("reference_kn,counts\n0,1\n", "too few readings");
    refused("reference_kn,count\n0,1\n", "did you mean `counts`?");
    refused("reference_kn,counts\n0,1\n5,abc\n", "run.csv, line 3: column counts: \"abc\" is not a number");
    refused("counts\n1\n", "reference_kn is missing");
    refused("reference_kn,counts\n", "has no readings");
    let done = run(&one_gauge_run(1, 5, 900.0, 0.0), &["--without-claim"]);
    assert!(done.status.success());
    assert!(String::from_utf8_lossy(&done.stdout).contains("No class is claimed"));
    assert!(!Stored::load(&at.join("cal.toml")).unwrap().evidence.claim);
}

#[test]
fn a_gain_from_geometry_is_marked_as_an_estimate() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let rods = "[estimate]\ncolumns = 4\ndiameter_mm = 80.0\nmodulus_gpa = 207.0\npoisson = 0.285\ngauge_factor = 2.0\n\
                bridge = \"poisson\"\ncounts_per_mv_v = 2.0e6\n";
    std::fs::write(at.join("rods.toml"), rods).unwrap();
    let done = bolster(at, &["calibrate", "--estimate", "rods.toml", "--out", "first.toml"]);
    assert!(done.status.success(), "{}", said(&done));
    let words = String::from_utf8_lossy(&done.stdout).into_owned();
    assert!(words.contains("ESTIMATE") && words.contains("no safeguard"), "{words}");
    let stored = Stored::load(&at.join("first.toml")).unwrap();
    assert!(stored.evidence.estimate && !stored.evidence.claim);
    // F = E·A·ε: 250 kN is 240.2701 µm/m (computed), 0.3087 mV/V by 1.285 · GF · ε/2, 617 500 counts.
    let kn = 617_494.0 * stored.calibration.kn_per_count[0][0];
    assert!((kn / 250.0 - 1.0).abs() < 5e-4, "{kn}");
}

proptest::proptest! {
    #![proptest_config(proptest::prelude::ProptestConfig { cases: 300, ..Default::default() })]

    #[test]
    fn any_run_of_numbers_never_panics(
        rows in proptest::collection::vec((-1e3..1e3_f64, -1e7..1e7_f64, 0_u32..4), 0..40),
    ) {
        let mut csv = "reference_kn,counts,series\n".to_owned();
        for (kn, counts, series) in &rows {
            let _ = writeln!(csv, "{kn},{counts},{series}");
        }
        if let Ok(mut run) = Run::parse(csv.as_bytes(), Path::new("run.csv")) {
            let _ = series::take_spikes(&mut run.readings);
            let order = series::order(&run.readings);
            let _ = claim::missing(&run, &order);
            if let Ok(fitted) = calibrate(&run, &order, None) {
                proptest::prop_assert!(assess(&run, &order, &fitted, 0.5).residual_kn.is_finite());
            }
        }
    }

    #[test]
    fn any_text_as_a_run_never_panics_and_says_one_line(text in "([a-z_,0-9.-]{0,30}\n|.{0,20}\n){0,8}") {
        if let Err(why) = Run::parse(text.as_bytes(), Path::new("run.csv")) {
            proptest::prop_assert_eq!(why.to_string().lines().count(), 1);
        }
    }
}
