//! Claim: simulated presses reach the monitor whole: sweeps are in the order of seeds whatever the threads and say how
//! to see a failure again, feeds hold what the controller would see, and frames that are lost or repeated are noticed.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::path::Path;

use bolster_claims::figures::words;
use bolster_claims::program::{bolster, jsonl, word};
use bolster_core::frame::{CrankReading, Frame};
use bolster_core::permit::PermitState;
use bolster_core::units::Tick;
use bolster_core::verdict::Reason;
use bolster_link::feed::{HEADER_LEN, Header, TrialDie, decode_record, record_len};
use bolster_link::trial::{TrialMonitor, press};
use serde_json::Value;

#[test]
fn a_sweep_is_in_the_order_of_seeds_and_the_same_bytes_on_any_number_of_threads() {
    let sweep = |jobs: &str, json: &[&str]| {
        let words =
            ["sweep", "small-press", "--seed", "900", "--seeds", "7", "--strokes", "5", "--learn", "0"];
        bolster(words.iter().chain(&["--jobs", jobs]).chain(json)).well()
    };
    let one = sweep("1", &["--json"]);
    for jobs in ["2", "3", "16"] {
        assert!(one == sweep(jobs, &["--json"]), "{jobs} threads change the results");
    }
    assert!(sweep("1", &[]) == sweep("4", &[]), "or what people read");
    let results: Value = serde_json::from_str(&one).unwrap();
    let seeds: Vec<u64> =
        results["seeds"].as_array().unwrap().iter().map(|seed| seed["seed"].as_u64().unwrap()).collect();
    assert_eq!(seeds, (900..907).collect::<Vec<_>>());
}

/// A press too small for its die: good strokes break the machine's own limits, which no sweep may let pass.
const TOO_SMALL: &str = "base = \"small-press\"\nname = \"too small\"\nabout = \"Invented: a press too small for its die\"\n\
                         strokes = 4\n[press]\nrated_kn = 90.0\n";

#[test]
fn a_failing_seed_ends_a_sweep_with_3_and_prints_the_command_that_fails_again() {
    let folder = tempfile::tempdir().unwrap();
    let scenario = folder.path().join("too small.toml");
    std::fs::write(&scenario, TOO_SMALL).unwrap();
    let done = bolster(["sweep", word(&scenario), "--seeds", "2", "--seed", "5", "--learn", "0"]);
    assert_eq!((done.code, done.err.as_str()), (3, ""), "{done:?}");
    for seed in ["seed 5 failed: ", "seed 6 failed: "] {
        let mut lines = done.out.lines().skip_while(|line| !line.starts_with(seed));
        let failure = lines.next().unwrap_or_else(|| panic!("{seed}: {done:?}"));
        let command = lines.next().unwrap().trim();
        // As a shell takes it: the file's name has a space.
        let program = bolster_claims::program::path();
        let shell = command.replacen("bolster", word(program), 1);
        let again = std::process::Command::new("sh").args(["-c", &shell]).output().unwrap();
        let said = String::from_utf8(again.stdout).unwrap();
        assert_eq!(again.status.code(), Some(3), "{command}: {said}");
        assert!(said.lines().any(|line| line == failure), "{command} does not repeat: {failure}\n{said}");
    }
    let json = bolster(["sweep", word(&scenario), "--seeds", "1", "--learn", "0", "--json"]);
    assert_eq!(json.code, 3);
    let result: Value = serde_json::from_str(&json.out).unwrap();
    assert!(result["seeds"][0]["failure"].as_str().unwrap().contains("limit of the machine"), "{result}");
}

/// A small press whose strokes 3 and 5 have something wrong with their frames.
fn scenario(kind: &str) -> String {
    let fault = |stroke: u32| {
        format!("[[fault]]\nkind = \"{kind}\"\nseverity = 0.5\nfrom = {stroke}\nto = {stroke}\n")
    };
    format!(
        "base = \"small-press\"\nname = \"frames\"\nabout = \"Invented: frames that go missing\"\nstrokes = 6\n{}{}",
        fault(3),
        fault(5)
    )
}

#[test]
fn frames_that_do_not_arrive_are_told_from_the_times_of_a_recording() {
    for kind in ["lost_frames", "brown_out"] {
        let folder = tempfile::tempdir().unwrap();
        let (toml, made) = (folder.path().join("s.toml"), folder.path().join("made"));
        std::fs::write(&toml, scenario(kind)).unwrap();
        let _ = bolster(["simulate", word(&toml), "--time", "--out", word(&made)]).well();
        let out = folder.path().join("o.jsonl");
        let (recording, card) = (made.join("recording.csv"), made.join("press.toml"));
        let words_ = ["replay", word(&recording), "--press", word(&card), "--jsonl", word(&out)];
        let _ = bolster(words_).well();
        let lost: Vec<bool> = jsonl(&out)
            .iter()
            .map(|outcome| words(outcome, "/reasons").contains(&"frames-lost".to_owned()))
            .collect();
        assert_eq!(lost, [false, false, true, false, true, false], "{kind}");
    }
}

/// The frames of a feed file.
fn frames(path: &Path) -> (Header, Vec<(bool, Frame<4>)>) {
    let bytes = std::fs::read(path).unwrap();
    let (header, records) = bytes.split_first_chunk::<HEADER_LEN>().unwrap();
    let header = Header::decode(header).unwrap();
    assert_eq!(records.len(), header.records as usize * record_len(4));
    let record = |bytes| decode_record(bytes).map(|(before, frame)| (before.new_coil, frame)).unwrap();
    (header, records.chunks_exact(record_len(4)).map(record).collect())
}

#[test]
fn a_simulated_feed_is_whole_turns_of_an_encoder_on_an_unbroken_clock() {
    let folder = tempfile::tempdir().unwrap();
    let (out, feed) = (folder.path().join("made"), folder.path().join("a.feed"));
    let toml = folder.path().join("s.toml");
    let text = "base = \"five-station\"\nname = \"two coils\"\nabout = \"Invented: two coils and a stop\"\nstrokes = 5\n\
                [strip]\nstrokes_per_coil = 3\n[drive]\nstop_every = 4\nstop_s = 1.0\n";
    std::fs::write(&toml, text).unwrap();
    let words = ["simulate", word(&toml), "--out", word(&out), "--feed", word(&feed)];
    let _ = bolster(words).well();
    let (header, frames) = frames(&feed);
    assert_eq!((header.die, header.timed), (TrialDie::None, true));
    assert!(frames.windows(2).all(|pair| pair[1].1.tick.since(pair[0].1.tick) == 1), "a tick is missing");
    assert_eq!(frames.iter().filter(|(coil, _)| *coil).count(), 1, "one change of coil");
    let degrees = |frame: &Frame<4>| match frame.crank {
        CrankReading::Angle(angle) => angle.degrees(),
        other => panic!("{other:?}"),
    };
    let tops = frames.windows(2).filter(|pair| degrees(&pair[1].1) + 180.0 < degrees(&pair[0].1)).count();
    assert_eq!(tops, 4, "five turns have four tops between them");
    // The core makes of it the strokes that were simulated, none stopped; it needs the first top to begin with.
    let mut monitor = Box::new(TrialMonitor::<4>::new(press(&header).unwrap()));
    monitor.self_test(Tick(0), true);
    let mut peaks = Vec::new();
    for (_, frame) in &frames {
        let step = monitor.step(frame);
        assert!(step.permit, "withdrawn at {frame:?}");
        if step.reported {
            peaks.push(f64::from(monitor.report().unwrap().features.total.peak.value));
        }
    }
    let truth = std::fs::read_to_string(out.join("truth.csv")).unwrap();
    let truth: Vec<f64> =
        truth.lines().skip(1).map(|line| line.split(',').nth(6).unwrap().parse().unwrap()).collect();
    assert!(peaks.len() >= 3, "{peaks:?}");
    for (peak, truth) in peaks.iter().rev().zip(truth.iter().rev().skip(1)) {
        // Gain errors of 0.3 %, three deviations; the filter takes off less than a percent of a peak this wide.
        assert!((peak / truth - 1.0).abs() < 0.02, "{peaks:?} {truth:?}");
    }
}

#[test]
fn a_feed_whose_frames_are_lost_withdraws_the_permit() {
    let folder = tempfile::tempdir().unwrap();
    let (toml, out, feed) =
        (folder.path().join("s.toml"), folder.path().join("made"), folder.path().join("a.feed"));
    std::fs::write(&toml, scenario("brown_out").replace("small-press", "five-station")).unwrap();
    let _ = bolster(["simulate", word(&toml), "--out", word(&out), "--feed", word(&feed)]).well();
    let (header, frames) = frames(&feed);
    let mut monitor = Box::new(TrialMonitor::<4>::new(press(&header).unwrap()));
    monitor.self_test(Tick(0), true);
    let (mut gaps, mut acknowledge) = (0, false);
    for pair in frames.windows(2) {
        let [before, now] = [pair[0].1, pair[1].1];
        let gap = now.tick.since(before.tick) > 1;
        let permit = monitor.step(&now).permit;
        if acknowledge {
            assert!(!permit && monitor.acknowledge(now.tick).is_ok());
            acknowledge = false;
            continue;
        }
        assert_eq!(permit, !gap, "at {now:?} after {before:?}");
        if gap {
            gaps += 1;
            let state = monitor.permit().state();
            let lost = matches!(state, PermitState::Latched(reasons) if reasons.contains(Reason::FramesLost));
            assert!(lost, "{state:?}");
            // A person may acknowledge once a frame has come in time again, and the next gap shows as well.
            acknowledge = true;
        }
    }
    assert_eq!(gaps, 2, "one a faulty stroke");
}
