//! Claim: on recorded impacts on a real structure, the frequency told is where NumPy's spectrum of the same part peaks.
//!
//! Needs the recordings beside the project; skipped with a notice where they, Python or a network are not there.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use bolster_claims::figures::number;
use bolster_claims::outside;
use bolster_claims::press::Card;
use bolster_claims::program::{bolster, word};
use bolster_claims::python;
use serde_json::{Value, json};

#[test]
fn the_ringing_of_recorded_impacts_is_where_numpys_spectrum_peaks() {
    let Some(folder) = outside::recording("real/impact") else { return };
    let scratch = tempfile::tempdir().unwrap();
    // Counts of unknown unit taken as kN; the rating is of their size.
    let press = Card { rated_kn: 20_000.0, ..Card::of(2) }.write(scratch.path());
    let files: Vec<_> = ["05", "15", "25", "35", "40", "45"]
        .map(|n| folder.join(format!("board-4.3-impact-{n}.lvm.gz")))
        .to_vec();
    // One recording an impact: the structure works loose from one to the next, so they are no repetitions.
    let recordings: Vec<_> = files
        .iter()
        .enumerate()
        .map(|(n, file)| {
            let out = scratch.path().join(format!("impact-{n}.csv"));
            let maps =
                ["--map", "time=1", "--map", "left=2:kn", "--map", "right=3:kn", "--zero-rows", "1000"];
            let _ =
                bolster(["import", word(file)].into_iter().chain(maps).chain(["--out", word(&out)])).well();
            out
        })
        .collect();
    let words = ["spectrum"].into_iter().chain(recordings.iter().map(|path| word(path)));
    let told = bolster(words.chain(["--press", word(&press), "--json"])).well();
    let told: Value = serde_json::from_str(&told).unwrap();
    let mut found = Vec::new();
    for (recording, file) in told["recordings"].as_array().unwrap().iter().zip(&files) {
        let right = &recording["ringing"][1];
        assert_eq!(right["channel"], "right");
        if let Some(mode) = right["modes"].get(0) {
            let part = &recording["free_part"];
            let asked =
                json!({ "file": word(file), "column": "right", "from": part["from"], "to": part["to"] });
            println!("{}: {mode}", word(file));
            found.push((mode.clone(), asked));
        }
    }
    // Of six, at least four ring straight enough to be told.
    assert!(found.len() >= 4, "{told}");
    let hz: Vec<f64> = found.iter().map(|(mode, _)| number(mode, "/hz")).collect();
    let mean = hz.iter().sum::<f64>() / hz.len() as f64;
    // One structure: its frequency repeats, within what a swing's size does to it.
    assert!(hz.iter().all(|hz| (hz / mean - 1.0).abs() < 0.01), "{hz:?}");
    let asked: Vec<&Value> = found.iter().map(|(_, asked)| asked).collect();
    let Some(theirs) = python::run("ringing.py", &json!(asked)) else { return };
    for (n, hz) in hz.iter().enumerate() {
        let crest = number(&theirs, &format!("/{n}"));
        println!("{hz} Hz, NumPy's crest {crest} Hz");
        assert!((hz / crest - 1.0).abs() < 0.01, "{hz} Hz, NumPy's crest {crest} Hz");
    }
}
