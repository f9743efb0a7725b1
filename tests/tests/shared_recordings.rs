//! Claim: on recordings of a press model that shares no code with this project, learnt and judged by the commands as
//! written in the contract, features agree with a plain computation and faults are found while good strokes run.
//!
//! Skipped with a notice where the recordings are not beside the project.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::collections::BTreeMap;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use bolster_claims::figures::{number, stops, words};
use bolster_claims::outside;
use bolster_claims::plain;
use bolster_claims::press::Card;
use bolster_claims::program::{bolster, jsonl, word};
use serde_json::Value;

/// The press of the recordings, as its card says.
const PRESS: Card = Card {
    columns: 4,
    rated_kn: 800.0,
    rated_height_mm: 3.0,
    stroke_mm: 40.0,
    rod_mm: 420.0,
    bolster_mm: [1000.0, 600.0],
};

struct Files {
    train: PathBuf,
    test: PathBuf,
    truth: PathBuf,
    press: PathBuf,
}

fn files() -> Option<Files> {
    let file = |name: &str| outside::recording(&format!("fast-{name}"));
    Some(Files {
        train: file("train.csv.gz")?,
        test: file("test.csv.gz")?,
        truth: file("test.truth.csv")?,
        press: file("press.toml")?,
    })
}

/// Learns from one recording and judges another by the contract's commands.
fn judged(train: &Path, test: &Path, press: &Path) -> Vec<Value> {
    let folder = tempfile::tempdir().unwrap();
    let (die, out) = (folder.path().join("die.toml"), folder.path().join("out.jsonl"));
    let learn = ["learn", word(train), "--press", word(press), "--die", "progressive", "--out", word(&die)];
    let _ = bolster(learn).well();
    let replay = ["replay", word(test), "--press", word(press), "--die", word(&die), "--jsonl", word(&out)];
    let _ = bolster(replay).well();
    jsonl(&out)
}

/// Outcomes of the test recording with coil changes marked.
fn marked() -> Option<&'static [Value]> {
    static OUTCOMES: OnceLock<Option<Vec<Value>>> = OnceLock::new();
    let outcomes =
        OUTCOMES.get_or_init(|| files().map(|files| judged(&files.train, &files.test, &files.press)));
    outcomes.as_deref()
}

/// A recording without its coil column, packed again.
fn without_coils(recording: &Path, into: PathBuf) -> PathBuf {
    let text = plain::text_of(recording);
    assert!(text.lines().next().unwrap().ends_with(",coil"));
    let file = std::fs::File::create(&into).unwrap();
    let mut out = flate2::write::GzEncoder::new(file, flate2::Compression::fast());
    for line in text.lines() {
        writeln!(out, "{}", line.rsplit_once(',').unwrap().0).unwrap();
    }
    out.finish().unwrap();
    into
}

#[test]
fn peaks_reverse_loads_and_work_agree_with_a_plain_computation_on_the_unfiltered_recording() {
    let (Some(files), Some(outcomes)) = (files(), marked()) else { return };
    let plain = plain::features(&files.test, |angle| PRESS.height_mm(angle));
    assert_eq!(outcomes.len(), plain.len());
    let most_work = plain.iter().map(|stroke| stroke.work_kj).fold(0.0, f64::max);
    let mut worst = BTreeMap::new();
    for (outcome, plain) in outcomes.iter().zip(&plain) {
        assert_eq!(outcome["stroke"].as_u64(), Some(plain.stroke));
        let columns = plain.columns.iter().enumerate();
        let places = columns.map(|(n, column)| (format!("/columns/{n}"), column));
        for (place, [greatest, least]) in places.chain([(String::new(), &plain.total)]) {
            for (what, exact) in [("peak_kn", *greatest), ("reverse_kn", -least)] {
                let off = (number(outcome, &format!("{place}/{what}")) - exact).abs() / PRESS.rated_kn;
                let worst: &mut f64 =
                    worst.entry((what, if place.is_empty() { "total" } else { "column" })).or_default();
                *worst = worst.max(off);
                // The claim: 1 % of the rating, for every stroke, good or faulty.
                assert!(
                    off < 0.01,
                    "{what} of {place} in stroke {}: {off} of rating, {outcome}",
                    plain.stroke
                );
            }
        }
        let off = (number(outcome, "/work_kj") - plain.work_kj).abs();
        let of_itself = off / plain.work_kj.abs();
        let worst = worst.entry(("work_kj", "of itself")).or_default();
        *worst = worst.max(of_itself);
        // The claim: 2 %; of the stroke's own work, or of a hundredth of the greatest where almost none is done.
        assert!(off < 0.02 * plain.work_kj.abs().max(0.01 * most_work), "work: {off} of {plain:?}");
    }
    for ((what, of), off) in worst {
        println!("note: {what} ({of}): at most {:.3} % off", 100.0 * off);
    }
}

#[test]
fn what_is_wrong_is_called_by_its_name_though_no_job_names_the_stations() {
    let (Some(files), Some(outcomes)) = (files(), marked()) else { return };
    let truth = std::fs::read_to_string(&files.truth).unwrap();
    // Slide height, misfeed and a dull punch are left out: without a plan the first two cannot be told from what they
    // do at single stations, and the third is not found.
    let wanted = [
        ("broken", "broken-punch"),
        ("double", "double-thickness"),
        ("no_strip", "strip-missing"),
        ("slug", "slug-on-die"),
        ("loose_rod", "loose-tie-rod"),
        ("gauge_stuck", "gauge-or-cable-fault"),
        ("gauge_gain", "gauge-gain-changed"),
    ];
    for (kind, code) in wanted {
        let (mut strokes, mut named, mut places) = (0, 0, BTreeMap::<String, u32>::new());
        for (line, outcome) in truth.lines().skip(1).zip(outcomes) {
            let fields: Vec<&str> = line.split(',').collect();
            if fields[1] != kind || !fields[2].starts_with("0.5") {
                continue;
            }
            strokes += 1;
            named +=
                u32::from(outcome.pointer("/diagnosis/causes/0/code").is_some_and(|first| first == code));
            let place = outcome.pointer("/diagnosis/places/0/name").and_then(Value::as_str).unwrap_or("none");
            *places.entry(place.to_owned()).or_default() += 1;
        }
        println!("note: {kind} at 50 %: {named} of {strokes} called {code}; places {places:?}");
        assert_eq!(strokes, 8);
        assert!(named >= 6, "{kind}: {named} of {strokes} called {code}");
        // Each kind of fault acts at one place of that press.
        assert!(places.values().any(|strokes| *strokes >= 6), "{kind}: {places:?}");
    }
}

/// Prints what was found and gives the shares of good strokes stopped and faulty strokes stopped.
fn found(outcomes: &[Value], truth: &Path, title: &str) -> (f64, f64) {
    let truth = std::fs::read_to_string(truth).unwrap();
    let mut table: BTreeMap<(String, String), [u32; 2]> = BTreeMap::new();
    let mut rows = 0;
    for (line, outcome) in truth.lines().skip(1).zip(outcomes) {
        let fields: Vec<&str> = line.split(',').collect();
        assert_eq!(outcome["stroke"].as_u64(), fields[0].parse().ok());
        rows += 1;
        let cell = table.entry((fields[1].to_owned(), fields[2].to_owned())).or_default();
        cell[1] += 1;
        cell[0] += u32::from(stops(outcome));
        if stops(outcome) && fields[1] == "good" {
            println!("note: {title}: good stroke {} stopped: {:?}", fields[0], words(outcome, "/reasons"));
        }
    }
    assert_eq!((rows, truth.lines().count()), (outcomes.len(), rows + 1));
    let share = |good: bool| {
        let cells = table.iter().filter(|((kind, _), _)| (kind == "good") == good);
        let [stopped, all] = cells.fold([0, 0], |sum, (_, cell)| [sum[0] + cell[0], sum[1] + cell[1]]);
        (f64::from(stopped) / f64::from(all), stopped, all)
    };
    let (good, faulty) = (share(true), share(false));
    println!("note: {title}: {} of {} good strokes stopped ({:.2} %)", good.1, good.2, 100.0 * good.0);
    println!(
        "note: {title}: {} of {} faulty strokes stopped ({:.1} %)",
        faulty.1,
        faulty.2,
        100.0 * faulty.0
    );
    let kinds: Vec<&String> = table.keys().map(|(kind, _)| kind).filter(|kind| *kind != "good").collect();
    let mut last = "";
    for kind in kinds {
        if kind == last {
            continue;
        }
        last = kind;
        let cells = table.iter().filter(|((name, _), _)| name == kind);
        let cells: Vec<String> =
            cells.map(|((_, severity), [found, all])| format!("{severity}: {found}/{all}")).collect();
        println!("note: {title}:   {kind:<12} {}", cells.join("  "));
    }
    (good.0, faulty.0)
}

#[test]
fn with_coil_changes_marked_four_faulty_strokes_of_five_are_stopped_and_hardly_a_good_one() {
    let (Some(files), Some(outcomes)) = (files(), marked()) else { return };
    let (false_stops, found) = found(outcomes, &files.truth, "coils marked");
    // The bar: at most 0.3 % of good strokes stopped, at least 80 % of faulty ones, no hindsight.
    assert!(false_stops <= 0.003, "{false_stops}");
    assert!(found >= 0.80, "{found}");
}

#[test]
fn without_coil_marks_good_strokes_run_and_most_faulty_ones_are_stopped() {
    let Some(files) = files() else { return };
    let folder = tempfile::tempdir().unwrap();
    let train = without_coils(&files.train, folder.path().join("train.csv.gz"));
    let test = without_coils(&files.test, folder.path().join("test.csv.gz"));
    let outcomes = judged(&train, &test, &files.press);
    let (false_stops, found) = found(&outcomes, &files.truth, "coils not marked");
    // A floor, not the aim: a general-purpose peer finds 71 % of them, and that with hindsight.
    assert!(false_stops <= 0.003, "{false_stops}");
    assert!(found >= 0.71, "{found}");
}
