//! Claim: the program keeps its contract with callers: exit codes, data on standard output and talk on standard
//! error, help with an example, JSON that programs can read, outputs replaced whole.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::process::Stdio;

use bolster_claims::figures::{number, stops, verdict, words};
use bolster_claims::plain;
use bolster_claims::press::{Card, gauges};
use bolster_claims::program::{Done, bolster, command, jsonl, word};
use bolster_claims::strokes::{Reading, simulated, smooth, text};
use serde_json::Value;

/// The commands there are, as the program's own help lists them.
fn commands() -> Vec<String> {
    let help = bolster(["--help"]).well();
    let list = help.split("Commands:\n").nth(1).expect("help lists the commands");
    let list = list.lines().take_while(|line| !line.is_empty());
    // A continued description is indented further than a name.
    let named = list.filter(|line| line.starts_with("  ") && !line.starts_with("   "));
    named
        .filter_map(|line| line.split_whitespace().next())
        .filter(|name| *name != "help")
        .map(str::to_owned)
        .collect()
}

#[test]
fn every_command_has_help_with_an_example_and_refuses_unknown_words_with_2() {
    let commands = commands();
    for wanted in
        ["demo", "simulate", "replay", "learn", "plot", "import", "plan", "calibrate", "spectrum", "trend"]
    {
        assert!(commands.iter().any(|name| name == wanted), "{wanted} is not in {commands:?}");
    }
    for name in &commands {
        let help = bolster([name, "--help"]).well();
        let example = help.split("Example").nth(1).unwrap_or_else(|| panic!("{name} --help has no example"));
        assert!(example.contains(&format!("bolster {name}")), "{name}: {example}");
        let done = bolster([name, "--no-such-option"]);
        assert_eq!((done.code, done.out.as_str()), (2, ""), "{name}: {done:?}");
        assert!(done.err.contains("--no-such-option"), "{name}: {done:?}");
    }
    for bad in
        [&[][..], &["no-such-command"], &["replay"], &["replay", "a.csv"], &["plot", "no-such-picture"]]
    {
        let done = bolster(bad);
        assert_eq!((done.code, done.out.as_str()), (2, ""), "{bad:?}: {done:?}");
        assert!(!done.err.is_empty());
    }
    assert!(bolster(["--version"]).well().starts_with("bolster "));
}

#[test]
fn a_closed_pipe_is_a_quiet_success() {
    let folder = tempfile::tempdir().unwrap();
    let made = simulated(folder.path(), "small-press", 3, &[]);
    let (recording, press) = (word(&made.recording), word(&made.press));
    for words in [
        &["replay", recording, "--press", press][..],
        &["replay", recording, "--press", press, "--json"],
        &["simulate", "--list"],
        &["--help"],
        &["replay", "--help"],
    ] {
        let mut child = command().args(words).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
        // The reader is gone before the program has anything to say.
        drop(child.stdout.take());
        let done = Done::from(child.wait_with_output().unwrap());
        assert_eq!((done.code, done.err.as_str()), (0, ""), "{words:?}");
    }
}

/// Outcomes of a replay of these strokes on the press of [`Card::of`].
fn outcomes(columns: usize, unit: &str, per_kn: f64, strokes: &[Vec<Reading>]) -> Vec<Value> {
    let folder = tempfile::tempdir().unwrap();
    let recording = folder.path().join("made.csv");
    std::fs::write(&recording, text(columns, unit, per_kn, strokes)).unwrap();
    replay(&recording, &Card::of(columns).write(folder.path()), &[])
}

fn replay(recording: &Path, press: &Path, more: &[&str]) -> Vec<Value> {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("out.jsonl");
    let words = ["replay", word(recording), "--press", word(press), "--jsonl", word(&out)];
    let said = bolster(words.iter().chain(more)).well();
    assert!(said.contains("strokes judged"), "{said}");
    jsonl(&out)
}

/// One stroke within every limit, one over the rating, one whose reverse load is over its limit.
fn three_strokes() -> Vec<Vec<Reading>> {
    let scaled =
        |reading: &Reading, factor: f64| Reading { loads: reading.loads.map(|l| l * factor), ..*reading };
    let good = smooth(2000.0, 600.0, [0.25; 4]);
    let over = good.iter().map(|reading| scaled(reading, 1.8)).collect();
    let pulled =
        good.iter().map(|reading| scaled(reading, if reading.loads[0] < 0.0 { 2.0 } else { 1.0 })).collect();
    vec![good, over, pulled]
}

#[test]
fn fail_on_tells_by_exit_code_3_and_the_outputs_are_written_all_the_same() {
    let folder = tempfile::tempdir().unwrap();
    let press = Card::of(4).write(folder.path());
    let write = |name: &str, strokes: &[Vec<Reading>]| {
        let path = folder.path().join(name);
        std::fs::write(&path, text(4, "kn", 1.0, strokes)).unwrap();
        path
    };
    let [good, over, pulled]: [Vec<Reading>; 3] = three_strokes().try_into().unwrap();
    let all = write("all.csv", &[good.clone(), over, pulled]);
    let sound = write("sound.csv", &[good]);
    let out = folder.path().join("out.jsonl");
    let run = |recording: &Path, fail_on: &str| {
        let _ = std::fs::remove_file(&out);
        let words = ["replay", word(recording), "--press", word(&press), "--jsonl", word(&out)];
        let fail: &[&str] = if fail_on.is_empty() { &[] } else { &["--fail-on", fail_on] };
        let done = bolster(words.iter().chain(fail));
        assert_eq!(done.err, "");
        (done.code, jsonl(&out))
    };
    let (code, outcomes) = run(&all, "");
    assert_eq!(code, 0);
    let found: Vec<&str> = outcomes.iter().map(verdict).collect();
    assert_eq!(found[0], "pass");
    assert!(outcomes[1..].iter().all(stops), "{found:?}");
    assert!(words(&outcomes[1], "/reasons").contains(&"peak-over-rating".to_owned()), "{}", outcomes[1]);
    assert_eq!(words(&outcomes[2], "/reasons"), ["reverse-over-limit"], "{}", outcomes[2]);
    for level in ["note", "hold", "trip"] {
        let (code, same) = run(&all, level);
        assert_eq!((code, &same), (3, &outcomes), "--fail-on {level}");
        assert_eq!(run(&sound, level).0, 0, "--fail-on {level}");
    }
    let bad = bolster(["replay", word(&all), "--press", word(&press), "--fail-on", "never"]);
    assert_eq!((bad.code, bad.out.as_str()), (2, ""));
}

/// Checks one outcome against the contract; `columns` gauges.
fn keeps_the_contract(outcome: &Value, columns: usize) {
    let fields = outcome.as_object().expect("an object a line");
    for name in [
        "stroke",
        "verdict",
        "reasons",
        "peak_kn",
        "peak_angle_deg",
        "reverse_kn",
        "work_kj",
        "load_centre_mm",
        "columns",
    ] {
        assert!(fields.contains_key(name), "{name} is missing in {outcome}");
    }
    assert!(outcome["stroke"].is_u64(), "{outcome}");
    assert!(["pass", "note", "hold", "trip"].contains(&verdict(outcome)), "{outcome}");
    for reason in words(outcome, "/reasons") {
        let kebab = reason.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-');
        assert!(kebab && !reason.starts_with('-') && !reason.ends_with('-'), "{reason}");
    }
    let reasons = words(outcome, "/reasons");
    assert_eq!(reasons.iter().collect::<BTreeSet<_>>().len(), reasons.len(), "each reason once: {outcome}");
    assert_eq!(verdict(outcome) == "pass", reasons.is_empty(), "a reason for whatever is no pass: {outcome}");
    assert!(number(outcome, "/peak_kn") >= 0.0 && number(outcome, "/reverse_kn") >= 0.0, "{outcome}");
    match &outcome["peak_angle_deg"] {
        Value::Null => {}
        angle => assert!((0.0..360.0).contains(&angle.as_f64().expect("degrees")), "{outcome}"),
    }
    assert!(outcome["work_kj"].is_null() || outcome["work_kj"].is_f64(), "{outcome}");
    match outcome["load_centre_mm"].as_array() {
        Some(centre) => assert!(centre.len() == 2 && centre.iter().all(Value::is_number), "{outcome}"),
        None => assert!(outcome["load_centre_mm"].is_null(), "{outcome}"),
    }
    let list = outcome["columns"].as_array().expect("a list of columns");
    let names: Vec<&str> = list.iter().map(|column| column["name"].as_str().unwrap()).collect();
    assert_eq!(names, gauges(columns));
    for column in list {
        assert!(number(column, "/peak_kn") >= 0.0 && number(column, "/reverse_kn") >= 0.0, "{outcome}");
    }
}

#[test]
fn jsonl_has_one_object_a_stroke_in_order_with_the_contract_s_fields() {
    let folder = tempfile::tempdir().unwrap();
    for (scenario, columns, strokes) in
        [("small-press", 1, 8), ("brake-two-dies", 2, 5), ("five-station", 4, 5)]
    {
        let made = simulated(folder.path(), scenario, strokes, &[]);
        let found = replay(&made.recording, &made.press, &[]);
        found.iter().for_each(|outcome| keeps_the_contract(outcome, columns));
        let numbers: Vec<u64> = found.iter().map(|outcome| outcome["stroke"].as_u64().unwrap()).collect();
        assert_eq!(numbers, (1..=u64::from(strokes)).collect::<Vec<_>>());
        let centres = found.iter().filter(|outcome| !outcome["load_centre_mm"].is_null()).count();
        assert_eq!(centres > 0, columns > 1, "{scenario}: a load centre needs two columns");
        assert!(found.iter().all(|outcome| outcome["work_kj"].is_f64()));
    }
    // What stops a press, and gaps in the numbers, keep the form as well.
    let strokes = three_strokes();
    outcomes(4, "kn", 1.0, &strokes).iter().for_each(|outcome| keeps_the_contract(outcome, 4));
    let gaps = text(4, "kn", 1.0, &strokes).replace("\n2,", "\n17,").replace("\n3,", "\n400,");
    let recording = folder.path().join("gaps.csv");
    std::fs::write(&recording, gaps).unwrap();
    let found = replay(&recording, &Card::of(4).write(folder.path()), &[]);
    let numbers: Vec<u64> = found.iter().map(|outcome| outcome["stroke"].as_u64().unwrap()).collect();
    assert_eq!(numbers, [1, 17, 400]);
}

#[test]
fn a_load_too_small_for_a_centre_gives_null() {
    let small = smooth(2000.0, 4.0, [0.4, 0.1, 0.4, 0.1]);
    let large = smooth(2000.0, 400.0, [0.3, 0.2, 0.3, 0.2]);
    let found = outcomes(4, "kn", 1.0, &[small, large]);
    assert!(found[0]["load_centre_mm"].is_null(), "{}", found[0]);
    // Left has 0.6 of the load on columns 1200 mm apart: −0.2 · 600 mm; the counts' rounding is below 1e-3 mm.
    let x = number(&found[1], "/load_centre_mm/0");
    assert!((x + 120.0).abs() < 1e-2, "{}", found[1]);
}

#[test]
fn without_a_crank_angle_heights_and_work_are_null_and_no_capacity_is_judged() {
    // 900 kN of 1000 far above the bottom: over the capacity curve, under the rating.
    let high = |angle: bool| -> Vec<Reading> {
        let strokes = smooth(2000.0, 900.0, [0.25; 4]).into_iter().map(|reading| {
            let loads = reading.loads.map(f64::abs);
            let angle_deg = reading.angle_deg.filter(|_| angle).map(|angle| angle - 60.0);
            Reading { angle_deg, loads, ..reading }
        });
        strokes.collect()
    };
    let found = outcomes(4, "kn", 1.0, &[high(true)]);
    assert!(words(&found[0], "/reasons").contains(&"load-over-capacity-curve".to_owned()), "{}", found[0]);
    assert!(found[0]["work_kj"].is_f64() && found[0]["peak_height_mm"].is_f64());
    let found = outcomes(4, "kn", 1.0, &[high(false), high(false)]);
    for outcome in &found {
        keeps_the_contract(outcome, 4);
        for name in ["peak_angle_deg", "work_kj", "peak_height_mm", "reverse_angle_deg", "contact_angle_deg"]
        {
            assert!(outcome[name].is_null(), "{name}: {outcome}");
        }
        assert_eq!((verdict(outcome), words(outcome, "/reasons").len()), ("pass", 0), "{outcome}");
        // Counts of rating / 4 / 2²¹: 1.2e-4 kN a column, rounded to half of it, and f32.
        let peak = high(false).iter().map(|reading| reading.loads.iter().sum()).fold(0.0, f64::max);
        assert!((number(outcome, "/peak_kn") - peak).abs() < 1e-3, "{outcome}");
    }
}

#[test]
fn us_tons_force_are_the_same_loads() {
    // Exact by definition: 2,000 lbf of 4.4482216152605 N.
    let kn_per_tonf = 8.896_443_230_521;
    for columns in [1, 2, 4] {
        let mut shares = [0.4, 0.3, 0.2, 0.1];
        shares[columns..].fill(0.0);
        let strokes: Vec<_> = [300.0, 700.0, 850.0].map(|peak| smooth(2000.0, peak, shares)).to_vec();
        let in_kn = outcomes(columns, "kn", 1.0, &strokes);
        let in_tonf = outcomes(columns, "tonf", 1.0 / kn_per_tonf, &strokes);
        for (kn, tonf) in in_kn.iter().zip(&in_tonf) {
            assert_eq!((verdict(kn), words(kn, "/reasons")), (verdict(tonf), words(tonf, "/reasons")));
            // A load that falls on a rounding edge moves by one count a column: rating / 2²¹ in all.
            for field in ["/peak_kn", "/reverse_kn", "/columns/0/peak_kn"] {
                let (kn, tonf) = (number(kn, field), number(tonf, field));
                assert!((kn - tonf).abs() <= 1000.0 / 2_097_152.0, "{field}: {kn} {tonf}");
            }
        }
        assert_eq!(in_kn.len(), 3);
    }
}

#[test]
fn json_on_request_is_all_that_stands_on_standard_output() {
    let folder = tempfile::tempdir().unwrap();
    let made = simulated(folder.path(), "small-press", 40, &[]);
    let (recording, press) = (word(&made.recording), word(&made.press));
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let (die, out, more) = (path("die.toml"), path("again.csv"), path("more"));
    for words in [
        &["replay", recording, "--press", press, "--json"][..],
        &["learn", recording, "--press", press, "--die", "a", "--out", &die, "--json"],
        &["simulate", "small-press", "--strokes", "2", "--out", &more, "--json"],
        &[
            "import",
            recording,
            "--map",
            "stroke=stroke",
            "--map",
            "angle=angle_deg",
            "--map",
            "total=total_kn:kn",
            "--out",
            &out,
            "--json",
        ],
    ] {
        let said = bolster(words).well();
        let json: Result<Value, _> = serde_json::from_str(&said);
        assert!(json.is_ok(), "{words:?}: {said}");
    }
    let summary: Value =
        serde_json::from_str(&bolster(["replay", recording, "--press", press, "--json"]).well()).unwrap();
    assert_eq!(number(&summary, "/strokes"), 40.0);
}

#[test]
fn an_output_is_replaced_whole_and_a_link_is_written_through() {
    let folder = tempfile::tempdir().unwrap();
    let made = simulated(folder.path(), "small-press", 2, &[]);
    let (real, link) = (folder.path().join("real.jsonl"), folder.path().join("link.jsonl"));
    std::fs::write(&real, "x".repeat(1 << 20)).unwrap();
    std::os::unix::fs::symlink(&real, &link).unwrap();
    for out in [&real, &link] {
        let words = ["replay", word(&made.recording), "--press", word(&made.press), "--jsonl", word(out)];
        let _ = bolster(words).well();
        assert_eq!(jsonl(&real).len(), 2);
        assert!(std::fs::read(&real).unwrap().ends_with(b"\n"));
    }
    assert!(link.symlink_metadata().unwrap().is_symlink());
}

#[test]
fn every_picture_is_drawn_in_every_form() {
    let folder = tempfile::tempdir().unwrap();
    let made = simulated(folder.path(), "five-station", 3, &[]);
    let draw = |what: &str, ending: &str| -> PathBuf {
        let out = folder.path().join(format!("{what}.{ending}"));
        let words = ["plot", what, word(&made.recording), "--press", word(&made.press), "--out", word(&out)];
        let said = bolster(words).well();
        assert!(said.contains(word(&out)), "{said}");
        out
    };
    for what in ["signature", "capacity", "strokes", "centre", "shares"] {
        let svg = std::fs::read_to_string(draw(what, "svg")).unwrap();
        assert!(svg.starts_with("<svg") && svg.trim_end().ends_with("</svg>"), "{what}");
        let png = std::fs::read(draw(what, "png")).unwrap();
        assert!(png.starts_with(b"\x89PNG\r\n\x1a\n") && png.len() > 5_000, "{what}: {} bytes", png.len());
        let table = std::fs::read_to_string(draw(what, "csv")).unwrap();
        assert!(table.lines().count() > 1, "{what}: {table}");
    }
}

#[test]
fn one_and_two_column_presses_give_the_plain_peaks_of_their_recordings() {
    let folder = tempfile::tempdir().unwrap();
    for (scenario, rated_kn, columns) in [("small-press", 250.0, 1), ("brake-two-dies", 1600.0, 2)] {
        let made = simulated(folder.path(), scenario, 6, &[]);
        let found = replay(&made.recording, &made.press, &[]);
        let plain = plain::features(&made.recording, |_| 0.0);
        assert_eq!(found.len(), plain.len());
        for (outcome, plain) in found.iter().zip(&plain) {
            // 1 % of rating: what the low-pass may round off a peak.
            for column in 0..columns {
                let peak = number(outcome, &format!("/columns/{column}/peak_kn"));
                assert!(
                    (peak - plain.columns[column][0]).abs() < 0.01 * rated_kn,
                    "{scenario} {outcome} {plain:?}"
                );
            }
            assert!(
                (number(outcome, "/peak_kn") - plain.total[0]).abs() < 0.01 * rated_kn,
                "{outcome} {plain:?}"
            );
        }
    }
}

#[test]
fn trend_takes_recordings_and_verdict_files_alike_and_refuses_what_is_neither() {
    let folder = tempfile::tempdir().unwrap();
    let made = simulated(folder.path(), "small-press", 60, &[]);
    let (recording, press) = (word(&made.recording), word(&made.press));
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let (die, verdicts, picture) = (path("die.toml"), path("v.jsonl"), path("trend.svg"));
    let _ = bolster(["learn", recording, "--press", press, "--die", "a", "--out", &die]).well();
    let _ = bolster(["replay", recording, "--press", press, "--die", &die, "--jsonl", &verdicts]).well();
    let read = |words: &[&str]| -> Value {
        let all = ["trend"].iter().chain(words).chain(&["--json"]);
        serde_json::from_str(&bolster(all).well()).unwrap()
    };
    // Twice the same strokes: numbers that begin anew are counted on.
    let judged = read(&[recording, recording, "--press", press, "--die", &die, "--picture", &picture]);
    let stored = read(&[&verdicts, &verdicts, "--press", press, "--die", &die]);
    // Numbers written and read again may differ in their last digit.
    for n in 0..judged["quantities"].as_array().unwrap().len() {
        let at = |field: &str| format!("/quantities/{n}/{field}");
        for field in ["quantity", "state", "blocks", "limit"] {
            assert_eq!(judged.pointer(&at(field)), stored.pointer(&at(field)), "{field} of {n}");
        }
        let (a, b) = (number(&judged, &at("now/value")), number(&stored, &at("now/value")));
        assert!((a - b).abs() <= 1e-9 * (1.0 + a.abs()), "{n}: {a} {b}");
    }
    assert_eq!((number(&judged, "/strokes"), number(&judged, "/last_stroke")), (120.0, 120.0));
    let wear = &judged["quantities"][0];
    assert_eq!((wear["quantity"].as_str(), wear["state"].as_str()), (Some("wear-work"), Some("no-trend")));
    assert!(std::fs::read_to_string(&picture).unwrap().starts_with("<svg"));
    // Without a die there is no reference: work at the usual load stands in for it.
    let plain = read(&[recording, "--press", press]);
    assert_eq!(plain["quantities"][0]["quantity"], "work-at-load");
    let text = bolster(["trend", &verdicts, "--limit", "wear-work=9"]).well();
    assert!(text.contains("60 strokes") && text.contains("no safeguard"), "{text}");

    bolster(["trend", recording]).refused(&["recording.csv", "--press"]);
    bolster(["trend", &verdicts, "--limit", "werk=9"]).refused(&["werk", "wear-work"]);
    bolster(["trend", &verdicts, "--limit", "wear-window-2=9"]).refused(&["wear-window-2", "wear-work"]);
    let cut = std::fs::read_to_string(&verdicts).unwrap().replacen("\"verdict\"", "\"vredict\"", 1);
    let bad = path("bad.jsonl");
    std::fs::write(&bad, cut).unwrap();
    bolster(["trend", &verdicts, &bad]).refused(&["bad.jsonl", "line 1", "verdict"]);
    std::fs::write(&bad, "").unwrap();
    bolster(["trend", &bad, "--press", press]).refused(&["bad.jsonl"]);
    let other = simulated(folder.path(), "brake-two-dies", 2, &[]);
    let others = path("o.jsonl");
    let _ =
        bolster(["replay", word(&other.recording), "--press", word(&other.press), "--jsonl", &others]).well();
    bolster(["trend", &verdicts, &others]).refused(&["o.jsonl", "left, right", "total"]);
    for wrong in
        [&["--limit", "9"][..], &["--confidence", "1"], &["--false-alarm", "3"], &["--quantity", "work"]]
    {
        let done = bolster(["trend", &verdicts].iter().chain(wrong));
        assert_eq!((done.code, done.out.as_str()), (2, ""), "{wrong:?}: {done:?}");
    }
}
