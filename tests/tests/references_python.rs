//! Claim: filters, peaks, work and cycle counts are those that SciPy, pandas and rainflow compute from the same input.
//!
//! The libraries go into a virtual environment under `target/tmp`. Skipped with a notice where there is no Python or
//! no network; `BOLSTER_REQUIRE_PYTHON=1` makes that a failure.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::path::{Path, PathBuf};

use bolster_claims::figures::number;
use bolster_claims::outside;
use bolster_claims::press::Card;
use bolster_claims::program::{bolster, jsonl, word};
use bolster_claims::python;
use bolster_claims::strokes::simulated;
use bolster_core::filter::{FilterConfig, FilterKind, LowPassState};
use bolster_core::ledger::Rainflow;
use rand::RngExt as _;
use rand::SeedableRng as _;
use rand_chacha::ChaCha8Rng;
use serde_json::{Value, json};

/// Seed of all chance in this file.
const SEED: u64 = 20_260_114;

#[test]
fn the_core_s_low_pass_is_scipy_s() {
    let mut random = ChaCha8Rng::seed_from_u64(SEED);
    // A walk with steps and noise, as loads are: ±1 in all.
    let mut level = 0.3_f32;
    let input: Vec<f32> = (0..4000)
        .map(|n| {
            if n % 97 == 0 {
                level = random.random_range(-0.8..0.8);
            }
            level + random.random_range(-0.2..0.2)
        })
        .collect();
    let mut filters = Vec::new();
    for (kind, name) in [
        (FilterKind::NoOvershoot, "no-overshoot"),
        (FilterKind::Butterworth2, "butter2"),
        (FilterKind::Butterworth4, "butter4"),
    ] {
        for (corner_hz, sample_hz) in
            [(1000.0, 10_000.0), (500.0, 10_000.0), (2000.0, 7285.0), (200.0, 20_000.0)]
        {
            filters.push((FilterConfig { kind, corner_hz, sample_hz }, name));
        }
    }
    let wanted: Vec<Value> = filters
        .iter()
        .map(|(f, name)| json!({ "kind": name, "corner_hz": f.corner_hz, "sample_hz": f.sample_hz }))
        .collect();
    let as_f64: Vec<f64> = input.iter().map(|x| f64::from(*x)).collect();
    let Some(answers) = python::run("filters.py", &json!({ "input": as_f64, "filters": wanted })) else {
        return;
    };
    for ((config, name), answer) in filters.iter().zip(answers.as_array().unwrap()) {
        let filter = config.build().unwrap();
        let mut state = LowPassState::default();
        let mut worst = 0.0_f64;
        for (n, x) in input.iter().enumerate() {
            let found = f64::from(filter.step(&mut state, *x));
            worst = worst.max((found - number(answer, &format!("/output/{n}"))).abs());
        }
        // f32: some five roundings of half an ulp of 1 a section and sample, which the recursion keeps for about
        // fs/(π fc) samples, two sections.
        let tolerance = 2.0 * 5.0 * 6e-8 * (config.sample_hz / config.corner_hz).max(3.0);
        println!("{name} {} Hz at {} Hz: {worst:.1e} of {tolerance:.1e}", config.corner_hz, config.sample_hz);
        assert!(worst < tolerance, "seed {SEED}, {name} {config:?}: {worst} off");
        // Sections share their gains out differently; poles are poles, and may come in another order.
        for section in filter.sections() {
            let near = |row: usize| {
                (0..2).all(|n| {
                    let theirs = number(answer, &format!("/sos/{row}/{}", 4 + n));
                    (f64::from(section.a[n]) - theirs).abs() < 1.2e-7
                })
            };
            assert!(
                (0..filter.sections().len()).any(near),
                "{name} {config:?}: {section:?} is none of {}",
                answer["sos"]
            );
        }
    }
}

/// Outcomes of a recording judged by the machine's limits alone.
fn replay(recording: &Path, press: &Path) -> Vec<Value> {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("o.jsonl");
    let _ = bolster(["replay", word(recording), "--press", word(press), "--jsonl", word(&out)]).well();
    jsonl(&out)
}

/// Compares an outcome with what Python says under `at`, loads to `load_kn`.
fn same_loads(outcome: &Value, theirs: &Value, at: &str, load_kn: f64) {
    let mut pairs = vec![
        ("/peak_kn".to_owned(), format!("{at}/peak")),
        ("/reverse_kn".to_owned(), format!("{at}/reverse")),
    ];
    for n in 0..outcome["columns"].as_array().unwrap().len() {
        pairs.push((format!("/columns/{n}/peak_kn"), format!("{at}/columns_peak/{n}")));
        pairs.push((format!("/columns/{n}/reverse_kn"), format!("{at}/columns_reverse/{n}")));
    }
    for (ours, of) in pairs {
        // A column that never pulled reports no reverse load, not a negative one.
        let (found, expected) = (number(outcome, &ours), number(theirs, &of).max(0.0));
        assert!((found - expected).abs() < load_kn, "{ours}: {found}, {of}: {expected} in {outcome}");
    }
}

/// Strokes of a recording as Python sees them.
fn seen(recording: &Path, card: &Card, share: Option<f64>) -> Option<Vec<Value>> {
    let given = json!({
        "recording": word(recording), "stroke_mm": card.stroke_mm, "rod_mm": card.rod_mm, "share": share,
    });
    python::run("strokes.py", &given).map(|strokes| strokes.as_array().unwrap().clone())
}

#[test]
fn filtered_peaks_of_a_simulated_recording_are_scipy_s_and_unfiltered_ones_are_near() {
    let folder = tempfile::tempdir().unwrap();
    let made = simulated(folder.path(), "five-station", 12, &["--time"]);
    let card = Card { rated_kn: 2000.0, rod_mm: 900.0, bolster_mm: [1800.0, 900.0], ..Card::of(4) };
    // The monitor's default: two equal poles, 3 dB down at 2 kHz, at the recording's 8 kHz.
    let given = json!({ "input": [0.0], "filters": [{ "kind": "no-overshoot", "corner_hz": 2000.0, "sample_hz": 8000.0 }] });
    let Some(filter) = python::run("filters.py", &given) else { return };
    let strokes = seen(&made.recording, &card, Some(number(&filter, "/0/sos/0/0"))).unwrap();
    let found = replay(&made.recording, &made.press);
    assert_eq!((strokes.len(), found.len()), (12, 12));
    for (outcome, theirs) in found.iter().zip(&strokes) {
        // Counts of 500 kN / 2²¹ a column and f32 sums of 1000 kN: below 2e-3 kN together.
        same_loads(outcome, theirs, "/filtered", 2e-3);
        // 1 % of the rating unfiltered.
        same_loads(outcome, theirs, "", 0.01 * card.rated_kn);
        let (work, exact) = (number(outcome, "/work_kj"), number(theirs, "/work"));
        assert!((work / exact - 1.0).abs() < 0.02, "{work} {exact}");
    }
}

#[test]
fn strokes_of_the_recordings_beside_the_project_are_those_pandas_groups() {
    let (Some(recording), Some(press)) =
        (outside::recording("fast-test.csv.gz"), outside::recording("fast-press.toml"))
    else {
        return;
    };
    let card = Card { rated_kn: 800.0, stroke_mm: 40.0, rod_mm: 420.0, ..Card::of(4) };
    let Some(strokes) = seen(&recording, &card, None) else { return };
    let found = replay(&recording, &press);
    assert_eq!(found.len(), strokes.len());
    let most_work = strokes.iter().map(|stroke| number(stroke, "/work")).fold(0.0, f64::max);
    for (outcome, theirs) in found.iter().zip(&strokes) {
        assert_eq!(outcome["stroke"], theirs["stroke"]);
        same_loads(outcome, theirs, "", 0.01 * card.rated_kn);
        let (work, exact) = (number(outcome, "/work_kj"), number(theirs, "/work"));
        assert!((work - exact).abs() < 0.02 * exact.abs().max(0.01 * most_work), "{outcome}: {exact} kJ");
    }
}

/// Cycles of a series by the core, equal ranges together, ranges rising.
fn cycles(series: &[f32]) -> Vec<(f64, f64)> {
    let mut flow = Rainflow::new(0.0);
    let mut all: Vec<(f32, f32)> = Vec::new();
    for load in series {
        flow.step(*load, |range, _, cycles| all.push((range, cycles)));
    }
    flow.residue(|range, _, cycles| all.push((range, cycles)));
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut together: Vec<(f64, f64)> = Vec::new();
    for (range, cycles) in all {
        match together.last_mut() {
            Some(last) if last.0 == f64::from(range) => last.1 += f64::from(cycles),
            _ => together.push((f64::from(range), f64::from(cycles))),
        }
    }
    together
}

#[test]
fn rainflow_cycles_are_the_package_s() {
    let mut random = ChaCha8Rng::seed_from_u64(SEED);
    // ASTM E1049-85's example, then quarters: sums and differences of them are exact in f32.
    let mut all = vec![vec![-2.0, 1.0, -3.0, 5.0, -1.0, 3.0, -4.0, 4.0, -2.0]];
    for length in [3, 10, 100, 3000] {
        all.push((0..length).map(|_| random.random_range(-400_i32..400) as f32 / 4.0).collect());
    }
    let Some(answers) = python::run("cycles.py", &json!(all)) else { return };
    for (series, answer) in all.iter().zip(answers.as_array().unwrap()) {
        let theirs: Vec<(f64, f64)> = serde_json::from_value(answer.clone()).unwrap();
        assert_eq!(cycles(series), theirs, "seed {SEED}, {} readings", series.len());
    }
    // The example's own counts. source: ASTM E1049-85, figure 6 (read).
    assert_eq!(cycles(&all[0]), [(3.0, 0.5), (4.0, 1.5), (6.0, 0.5), (8.0, 1.0), (9.0, 0.5)]);
}

/// Imports files by options alone; gives the report and the recording.
fn imported(folder: &Path, files: &[&Path], options: &[&str]) -> (Value, PathBuf) {
    let out = folder.join("recording.csv");
    let files = files.iter().map(|file| word(file));
    let words = ["import"].into_iter().chain(files).chain(options.iter().copied()).chain([
        "--out",
        word(&out),
        "--json",
    ]);
    (serde_json::from_str(&bolster(words).well()).unwrap(), out)
}

#[test]
fn recorded_signals_of_real_machines_are_imported_by_options_with_the_peaks_and_cycles_pandas_finds() {
    let Some(folder) = outside::recording("real") else { return };
    let impacts: Vec<PathBuf> = ["05", "15", "25", "35", "40", "45"]
        .map(|n| folder.join(format!("impact/board-4.3-impact-{n}.lvm.gz")))
        .to_vec();
    let fatigue = folder.join("fatigue/TST_2020-09_FA_002.csv.gz");
    let loadcell = folder.join("loadcell/LoadCellCalibrationData.txt");
    let given = json!({
        "impact": impacts.iter().map(|file| word(file)).collect::<Vec<_>>(),
        "fatigue": word(&fatigue),
        "loadcell": word(&loadcell),
    });
    let Some(theirs) = python::run("real.py", &given) else { return };
    let scratch = tempfile::tempdir().unwrap();
    // Sums of numbers of 1e4 in f64, in another order: 1e-9 would do.
    let near = |ours: &Value, at: &str, theirs: &Value, of: &str| {
        let (found, expected) = (number(ours, at), number(theirs, of));
        assert!((found - expected).abs() < 1e-6, "{at}: {found}, {of}: {expected}");
    };

    let files: Vec<&Path> = impacts.iter().map(PathBuf::as_path).collect();
    let maps = ["--map", "time=1", "--map", "left=2:raw", "--map", "right=3:raw", "--zero-rows", "1000"];
    let (report, recording) = imported(scratch.path(), &files, &maps);
    let strokes = theirs["impact"].as_array().unwrap();
    assert_eq!(number(&report, "/strokes") as usize, strokes.len());
    for (ours, theirs) in report["first_strokes"].as_array().unwrap().iter().zip(strokes) {
        for (at, of) in [("/rows", "/rows"), ("/peak", "/peak"), ("/lowest", "/lowest")] {
            near(ours, at, theirs, of);
        }
        (0..2).for_each(|n| near(ours, &format!("/columns_peak/{n}"), theirs, &format!("/columns_peak/{n}")));
    }
    let header = std::fs::read_to_string(recording).unwrap();
    assert!(
        header.starts_with("stroke,time_s,left_counts,right_counts\n"),
        "{}",
        header.lines().next().unwrap()
    );

    let maps = ["--map", "stroke=Machine_N_cycles", "--map", "total=Machine_Load:kn", "--rate-hz", "100"];
    let (report, recording) = imported(scratch.path(), &[&fatigue], &maps);
    let cycles = theirs["fatigue"].as_array().unwrap();
    assert_eq!(number(&report, "/strokes") as usize, cycles.len());
    // On through the monitor: 100 readings a second are not filtered, and the recording has no angle.
    let card = Card { rated_kn: 100.0, ..Card::of(1) };
    let outcomes = replay(&recording, &card.write(scratch.path()));
    assert_eq!(outcomes.len(), cycles.len());
    for ((ours, outcome), theirs) in
        report["first_strokes"].as_array().unwrap().iter().zip(&outcomes).zip(cycles)
    {
        for at in ["/stroke", "/rows", "/peak", "/lowest"] {
            near(ours, at, theirs, at);
        }
        // A count is 100 kN / 2²¹, rounded to half of it; f32 of 30 kN is finer.
        for (at, expected) in
            [("/peak_kn", number(theirs, "/peak")), ("/reverse_kn", -number(theirs, "/lowest"))]
        {
            let found = number(outcome, at);
            assert!((found - expected.max(0.0)).abs() < 3e-5, "{at}: {found}, not {expected}");
        }
    }

    let maps = [
        "--map",
        "time=1:ms",
        "--map",
        "left=11:raw:min=-1e5",
        "--map",
        "right=12:raw:min=-1e5",
        "--zero-rows",
        "20",
        "--cut",
        "level",
        "--level",
        "40000",
    ];
    let (report, _) = imported(scratch.path(), &[&loadcell], &maps);
    let theirs = &theirs["loadcell"];
    for (at, of) in [("/rows_read", "/read"), ("/rows_missing", "/missing"), ("/strokes", "/rises")] {
        near(&report, at, theirs, of);
    }
    let stroke = &report["first_strokes"][0];
    near(stroke, "/peak", theirs, "/peak");
    (0..2).for_each(|n| near(stroke, &format!("/columns_peak/{n}"), theirs, &format!("/columns_peak/{n}")));
}
