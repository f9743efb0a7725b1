//! Claim: a replay says of every stroke that it noted, held or tripped where it changed and what that usually is, and
//! the pictures show it; with a job file it names the station.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::path::{Path, PathBuf};

use bolster_claims::figures::verdict;
use bolster_claims::program::{bolster, jsonl, word};
use serde_json::Value;

fn samples() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../sample-signatures")
}

/// A slug at the slots (station 3 of the job) of the five-station die, in stroke 30.
fn slug(folder: &Path) -> PathBuf {
    let scenario = folder.join("slug.toml");
    let text = "base = \"five-station\"\nname = \"slug\"\nabout = \"Invented: a slug\"\nstrokes = 40\n[[fault]]\nkind = \"slug\"\nseverity = 0.6\nfrom = 30\nto = 30\nstation = 3\n";
    std::fs::write(&scenario, text).unwrap();
    let out = folder.join("made");
    let _ = bolster(["simulate", word(&scenario), "--out", word(&out)]).well();
    out.join("recording.csv")
}

#[test]
fn a_slug_is_diagnosed_at_its_station_in_the_jsonl_the_summary_and_the_pictures() {
    let folder = tempfile::tempdir().unwrap();
    let recording = slug(folder.path());
    let (press, die) =
        (samples().join("presses/five-station.toml"), samples().join("dies/five-station.toml"));
    let job = samples().join("jobs/mounting-bracket.toml");
    let out = folder.path().join("out.jsonl");
    let words =
        ["replay", word(&recording), "--press", word(&press), "--die", word(&die), "--jsonl", word(&out)];
    let text = bolster(words.iter().chain(&["--job", word(&job)])).well();
    assert!(text.contains("common practice, no source"), "{text}");
    assert!(text.contains("slug-on-die at slots"), "{text}");
    let outcomes = jsonl(&out);
    for outcome in &outcomes {
        let passed = verdict(outcome) == "pass";
        assert_eq!(outcome.get("diagnosis").is_none(), passed, "{outcome}");
    }
    let held = outcomes.iter().find(|outcome| outcome["stroke"] == 30).unwrap();
    assert_eq!(verdict(held), "hold", "{held}");
    let diagnosis = &held["diagnosis"];
    assert_eq!(diagnosis["basis"], "common practice, no source");
    assert_eq!(diagnosis["places"][0]["name"], "slots", "{diagnosis}");
    assert_eq!(diagnosis["places"][0]["station"], 3);
    assert_eq!(diagnosis["causes"][0]["code"], "slug-on-die", "{diagnosis}");
    assert_eq!(diagnosis["change"]["course"], "sudden");
    assert!(diagnosis["extent"]["greatest_height_mm"].as_f64().unwrap() < 2.5, "{diagnosis}");
    let strengths: Vec<f64> = diagnosis["causes"]
        .as_array()
        .unwrap()
        .iter()
        .map(|cause| cause["strength"].as_f64().unwrap())
        .collect();
    assert!(strengths.is_sorted_by(|a, b| a >= b) && strengths[0] <= 1.0, "{strengths:?}");
    for cause in diagnosis["causes"].as_array().unwrap() {
        assert!(!cause["evidence"].as_array().unwrap().is_empty(), "{cause}");
    }

    let json: Value = serde_json::from_str(&bolster(words.iter().chain(&["--json"])).well()).unwrap();
    assert!(json["diagnosis"]["stopped"].is_array(), "{json}");
    let without_job = jsonl(&out);
    let held = without_job.iter().find(|outcome| outcome["stroke"] == 30).unwrap();
    let places = held["diagnosis"]["places"].as_array().unwrap();
    assert!(places.iter().all(|place| place["kind"] != "station"), "a station was named without a job");
    assert!(held["diagnosis"]["remarks"][0].as_str().unwrap().contains("--job"), "{held}");

    for (what, tells) in [("signature", "slug-on-die at slots"), ("strokes", "1 x slug-on-die at slots")] {
        let picture = folder.path().join(what).with_extension("svg");
        let plot = [
            "plot",
            what,
            word(&recording),
            "--press",
            word(&press),
            "--die",
            word(&die),
            "--job",
            word(&job),
        ];
        let stroke: &[&str] = if what == "signature" { &["--stroke", "30"] } else { &[] };
        let _ = bolster(plot.iter().chain(stroke).chain(&["--out", word(&picture)])).well();
        let svg = std::fs::read_to_string(&picture).unwrap();
        assert!(svg.contains(tells), "{what}");
    }
}

#[test]
fn a_job_that_cannot_be_or_does_not_fit_is_one_error_before_anything_is_written() {
    let folder = tempfile::tempdir().unwrap();
    let recording = samples().join("good/five-station.csv");
    let (press, die) =
        (samples().join("presses/five-station.toml"), samples().join("dies/five-station.toml"));
    let out = folder.path().join("out.jsonl");
    let words =
        ["replay", word(&recording), "--press", word(&press), "--die", word(&die), "--jsonl", word(&out)];
    let run = |more: &[&str]| bolster(words.iter().chain(more));
    run(&["--job", word(&press)]).refused(&["five-station.toml"]);
    run(&["--job", "no-such-job.toml"]).refused(&["no-such-job.toml"]);
    let job = samples().join("jobs/mounting-bracket.toml");
    run(&["--job", word(&job), "--hit", "2"]).refused(&["hit 2", "--hit"]);
    assert!(!out.exists());
    let bare = bolster(["replay", word(&recording), "--press", word(&press), "--job", word(&job)]);
    assert_eq!((bare.code, bare.out.as_str()), (2, ""), "a job without a die: {bare:?}");
}
