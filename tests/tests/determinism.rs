//! Claim: the same input gives the same bytes: recordings, truths, verdicts, die cards and pictures.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::path::Path;

use bolster_claims::program::{bolster, names, word};
use bolster_claims::strokes::simulated;

/// Everything in a folder, byte for byte.
fn bytes(folder: &Path) -> Vec<(String, Vec<u8>)> {
    names(folder).into_iter().map(|name| (name.clone(), std::fs::read(folder.join(name)).unwrap())).collect()
}

#[test]
fn a_scenario_and_a_seed_are_a_recording_byte_for_byte() {
    let (first, second) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    for scenario in ["small-press", "brake-two-dies", "five-station-faults"] {
        for folder in [&first, &second] {
            let out = folder.path().join(scenario);
            let words =
                ["simulate", scenario, "--strokes", "12", "--seed", "20", "--time", "--out", word(&out)];
            let _ = bolster(words).well();
        }
        let [a, b] = [&first, &second].map(|folder| bytes(&folder.path().join(scenario)));
        assert!(a.len() >= 3 && a == b, "{scenario}: {:?}", a.iter().map(|file| &file.0).collect::<Vec<_>>());
    }
    let other = tempfile::tempdir().unwrap();
    let words =
        ["simulate", "small-press", "--strokes", "12", "--seed", "21", "--time", "--out", word(other.path())];
    let _ = bolster(words).well();
    let [a, b] = [&first.path().join("small-press"), other.path()]
        .map(|folder| std::fs::read(folder.join("recording.csv")));
    assert_ne!(a.unwrap(), b.unwrap(), "another seed is another recording");
}

#[test]
fn learning_judging_and_drawing_twice_gives_the_same_bytes() {
    let folder = tempfile::tempdir().unwrap();
    let good = simulated(folder.path(), "small-press", 60, &[]);
    let tried = folder.path().join("tried");
    let words = ["simulate", "small-press", "--strokes", "40", "--seed", "5", "--out", word(&tried)];
    let _ = bolster(words).well();
    let recording = tried.join("recording.csv");
    let runs = ["first", "second"].map(|name| {
        let out = folder.path().join(name);
        std::fs::create_dir(&out).unwrap();
        let path = |name: &str| out.join(name).to_str().unwrap().to_owned();
        let press = word(&good.press);
        let (die, outcomes, svg, png) = (path("die.toml"), path("o.jsonl"), path("a.svg"), path("a.png"));
        let mut said = Vec::new();
        for words in [
            &["learn", word(&good.recording), "--press", press, "--die", "a", "--out", &die, "--json"][..],
            &["replay", word(&recording), "--press", press, "--die", &die, "--jsonl", &outcomes, "--json"],
            &["plot", "signature", word(&recording), "--press", press, "--die", &die, "--out", &svg],
            &["plot", "strokes", word(&recording), "--press", press, "--die", &die, "--out", &png],
        ] {
            said.push(bolster(words).well().replace(word(&out), "OUT"));
        }
        (said, bytes(&out))
    });
    let [first, second] = runs;
    assert_eq!(first.0, second.0);
    assert_eq!(first.1.len(), 4);
    for (a, b) in first.1.iter().zip(&second.1) {
        assert!(a == b, "{} differs", a.0);
    }
}

#[test]
fn a_recording_judged_plain_packed_and_through_a_pipe_gives_the_same_verdicts() {
    use std::io::Write as _;
    let folder = tempfile::tempdir().unwrap();
    let made = simulated(folder.path(), "brake-two-dies", 8, &[]);
    let plain = std::fs::read(&made.recording).unwrap();
    // One gzip stream, many of them one after the other, and bytes that trickle through a pipe.
    let pack = |bytes: &[u8]| {
        let mut encoder = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
        encoder.write_all(bytes).unwrap();
        encoder.finish().unwrap()
    };
    let (packed, members) = (folder.path().join("a.csv.gz"), folder.path().join("b.csv.gz"));
    std::fs::write(&packed, pack(&plain)).unwrap();
    std::fs::write(&members, plain.chunks(9_973).flat_map(pack).collect::<Vec<_>>()).unwrap();
    let judge = |recording: &Path| {
        let out = folder.path().join("o.jsonl");
        let words = ["replay", word(recording), "--press", word(&made.press), "--jsonl", word(&out)];
        let _ = bolster(words).well();
        std::fs::read(out).unwrap()
    };
    let expected = judge(&made.recording);
    assert!(judge(&packed) == expected, "gzip");
    assert!(judge(&members) == expected, "gzip of several members");
    let pipe = folder.path().join("pipe");
    let done = std::process::Command::new("mkfifo").arg(&pipe).status();
    if !done.is_ok_and(|status| status.success()) {
        println!("note: skipped, no pipe can be made here");
        return;
    }
    for chunk in [97, 4_096, 65_537] {
        std::thread::scope(|scope| {
            scope.spawn(|| {
                let mut pipe = std::fs::OpenOptions::new().write(true).open(&pipe).unwrap();
                plain.chunks(chunk).for_each(|bytes| pipe.write_all(bytes).unwrap());
            });
            assert!(judge(&pipe) == expected, "a pipe in chunks of {chunk}");
        });
    }
}
