//! Claim: what the console stored can be taken away whole, as CSV, Parquet and reports, and what a stroke usually is
//! stands with it.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::path::Path;
use std::time::{Duration, Instant};

use bolster_claims::program::{bolster, jsonl, word};
use bolster_claims::python;
use bolster_claims::served::Served;
use serde_json::{Value, json};

fn sample(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../sample-signatures").join(name);
    word(&path).to_owned()
}

/// A console that has stored all of a sample's strokes.
fn stored(data: &Path, recording: &str, strokes: usize) -> Served {
    let (press, die) = (sample("presses/five-station.toml"), sample("dies/five-station.toml"));
    let words =
        ["--data", word(data), "--replay", recording, "--press", &press, "--die", &die, "--pace", "0"];
    let console = Served::start(&words);
    let began = Instant::now();
    loop {
        let csv = console.text("/strokes.csv");
        if csv.lines().count() == strokes + 1 {
            return console;
        }
        assert!(began.elapsed() < Duration::from_secs(60), "{} of {strokes} strokes", csv.lines().count());
        std::thread::sleep(Duration::from_millis(50));
    }
}

fn replayed(folder: &Path, recording: &str) -> Vec<Value> {
    let (press, die) = (sample("presses/five-station.toml"), sample("dies/five-station.toml"));
    let out = folder.join("replayed.jsonl");
    let words = ["replay", recording, "--press", &press, "--die", &die, "--jsonl", word(&out)];
    let _ = bolster(words).well();
    jsonl(&out)
}

#[test]
fn csv_and_parquet_hold_the_same_strokes_as_a_replay() {
    let folder = tempfile::tempdir().unwrap();
    let recording = sample("faulty/five-station-slug.csv");
    let wanted = replayed(folder.path(), &recording);
    let console = stored(&folder.path().join("data"), &recording, wanted.len());
    let csv = console.text("/strokes.csv");
    let mut lines = csv.lines();
    let names: Vec<&str> = lines.next().unwrap().split(',').collect();
    let at = |name: &str| names.iter().position(|known| *known == name).unwrap();
    // Newest first.
    for (line, stroke) in lines.zip(wanted.iter().rev()) {
        let cells: Vec<&str> = line.split(',').collect();
        assert_eq!(cells[at("stroke")], stroke["stroke"].to_string());
        assert_eq!(cells[at("verdict")], stroke["verdict"].as_str().unwrap());
        assert_eq!(cells[at("peak_kn")].parse::<f64>().ok(), stroke["peak_kn"].as_f64());
        assert_eq!(cells[at("work_kj")].parse::<f64>().ok(), stroke["work_kj"].as_f64());
    }
    for (name, table) in [("strokes", csv), ("journal", console.text("/journal.csv"))] {
        let (status, bytes) = console.get(&format!("/{name}.parquet"));
        assert_eq!(status, 200);
        let file = folder.path().join(format!("{name}.parquet"));
        std::fs::write(&file, bytes).unwrap();
        let given = json!({ "file": word(&file), "csv": table });
        let Some(found) = python::run_with("pyarrow", "pyarrow", "parquet.py", &given) else { return };
        assert_eq!(found["differences"], json!([]), "{name}");
        assert_eq!(found["rows"].as_u64().unwrap() as usize, found["csv_rows"].as_u64().unwrap() as usize);
        assert_eq!(found["types"]["time_utc"], "timestamp[ms, tz=UTC]");
    }
}

#[test]
fn the_console_diagnoses_as_replay_does_and_its_reports_say_so() {
    let folder = tempfile::tempdir().unwrap();
    let recording = sample("faulty/five-station-slug.csv");
    let wanted = replayed(folder.path(), &recording);
    let data = folder.path().join("data");
    let console = stored(&data, &recording, wanted.len());
    let list: Value = serde_json::from_str(&console.text("/api/strokes?verdict=hold")).unwrap();
    let list = list.as_array().unwrap().clone();
    assert!(!list.is_empty());
    for row in &list {
        let id = row["id"].as_i64().unwrap();
        let one: Value = serde_json::from_str(&console.text(&format!("/api/strokes/{id}"))).unwrap();
        let same = wanted.iter().find(|stroke| stroke["stroke"] == row["stroke"]).unwrap();
        assert_eq!(one["diagnosis"], same["diagnosis"]);
        let page = console.text(&format!("/stroke/{id}"));
        let report = console.text(&format!("/report/stroke/{id}"));
        for cause in same["diagnosis"]["causes"].as_array().unwrap() {
            let code = format!("<code>{}</code>", cause["code"].as_str().unwrap());
            assert!(page.contains(&code) && report.contains(&code), "{code}");
        }
        assert!(report.contains("What it usually is") && report.contains("no safeguard"));
    }
    let press = row_press(&list[0]);
    let shift = console.text(&format!("/report/shift/{press}"));
    assert!(shift.contains(&format!("<dd>{}</dd>", wanted.len())), "every stroke is in the shift's report");
    let die = console
        .text(&format!("/report/die/{press}/{}", list[0]["die"].as_str().unwrap().replace(' ', "%20")));
    assert!(die.contains("<h2>Limits</h2>") && die.contains("<h2>Versions</h2>"));
    assert_eq!(console.get("/report/stroke/999999").0, 404);
    assert_eq!(console.get("/report/shift/nobody").0, 404);
    assert_eq!(console.get(&format!("/report/shift/{press}?from=yesterday")).0, 400);
    console.end();
    // The same from the folder, without a console.
    let out = folder.path().join("shift.html");
    let _ = bolster(["report", "shift", "--data", word(&data), "--out", word(&out)]).well();
    let html = std::fs::read_to_string(&out).unwrap();
    assert!(html.contains(&format!("<dd>{}</dd>", wanted.len())));
    let done = bolster(["report", "shift", "--data", word(&data), "--of", "P9", "--out", word(&out)]);
    done.refused(&["P9", "it has"]);
}

fn row_press(row: &Value) -> String {
    row["press"].as_str().unwrap().to_owned()
}
