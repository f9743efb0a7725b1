//! Claim: an output takes no place but its own: a command never overwrites what it reads, and a pipe or a device stays
//! what it is.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::process::{Command, Stdio};

use bolster_claims::program::{Done, bolster, command, names, word};
use bolster_claims::strokes::simulated;

#[test]
fn a_command_that_would_overwrite_its_own_input_is_refused_and_the_input_is_whole() {
    let folder = tempfile::tempdir().unwrap();
    let made = simulated(folder.path(), "small-press", 40, &[]);
    let die = folder.path().join("die.toml");
    let (recording, press, card) = (word(&made.recording), word(&made.press), word(&die));
    let _ = bolster(["learn", recording, "--press", press, "--die", "a", "--out", card]).well();
    // The same file by another name is the same file.
    let link = folder.path().join("link");
    std::os::unix::fs::symlink(&made.recording, &link).unwrap();
    let inputs = [&made.recording, &made.press, &die];
    let before = inputs.map(|path| std::fs::read(path).unwrap());
    let svg = folder.path().join("svg.svg");
    std::fs::copy(&made.recording, &svg).unwrap();
    for words in [
        &["replay", recording, "--press", press, "--jsonl", recording][..],
        &["replay", recording, "--press", press, "--jsonl", word(&link)],
        &["replay", recording, "--press", press, "--jsonl", press],
        &["replay", recording, "--press", press, "--die", card, "--jsonl", card],
        &["learn", recording, "--press", press, "--die", "a", "--out", recording],
        &["learn", recording, "--press", press, "--die", "a", "--out", press],
        &["plot", "strokes", word(&svg), "--press", press, "--out", word(&svg)],
        &[
            "import",
            recording,
            "--map",
            "stroke=stroke",
            "--map",
            "total=total_kn:kn",
            "--rate-hz",
            "10",
            "--out",
            recording,
        ],
    ] {
        let done = bolster(words);
        assert_eq!(inputs.map(|path| std::fs::read(path).unwrap()), before, "{words:?} changed an input");
        done.refused(&[words.last().unwrap()]);
    }
    assert!(std::fs::read(&svg).unwrap() == before[0], "plot changed its input");
}

#[test]
fn a_pipe_named_as_output_stays_a_pipe() {
    use std::os::unix::fs::FileTypeExt as _;
    let folder = tempfile::tempdir().unwrap();
    let made = simulated(folder.path(), "small-press", 2, &[]);
    let out = folder.path().join("out");
    std::fs::create_dir(&out).unwrap();
    let pipe = out.join("pipe.jsonl");
    if !Command::new("mkfifo").arg(&pipe).status().is_ok_and(|status| status.success()) {
        println!("note: skipped, no pipe can be made here");
        return;
    }
    // Somebody listens, so that writing into the pipe would be fine as well.
    let mut listener = Command::new("cat").arg(&pipe).stdout(Stdio::piped()).spawn().unwrap();
    let words = ["replay", word(&made.recording), "--press", word(&made.press), "--jsonl", word(&pipe)];
    let done = bolster(words);
    let still = pipe.symlink_metadata().unwrap().file_type().is_fifo();
    if done.code != 0 {
        // Nobody will write: the listener would wait for ever. Otherwise it ends by itself, when it has heard all.
        let _ = listener.kill();
    }
    let heard = listener.wait_with_output().unwrap().stdout;
    assert!(still, "the pipe was replaced by a file");
    assert_eq!(names(&out), ["pipe.jsonl"]);
    if done.code == 0 {
        assert_eq!(heard.iter().filter(|byte| **byte == b'\n').count(), 2, "{done:?}");
    } else {
        done.refused(&["pipe.jsonl"]);
    }
}

#[test]
fn an_interrupted_run_leaves_the_old_output() {
    let folder = tempfile::tempdir().unwrap();
    let made = simulated(folder.path(), "small-press", 2, &[]);
    let out = folder.path().join("o.jsonl");
    std::fs::write(&out, "old").unwrap();
    // The recording never ends: a pipe that nobody closes. The run is killed once it has begun its output.
    let pipe = folder.path().join("endless.csv");
    if !Command::new("mkfifo").arg(&pipe).status().is_ok_and(|status| status.success()) {
        println!("note: skipped, no pipe can be made here");
        return;
    }
    // Open for both, so that neither end waits for the other; less than a pipe holds.
    let mut kept_open = std::fs::OpenOptions::new().read(true).write(true).open(&pipe).unwrap();
    let recording = std::fs::read(&made.recording).unwrap();
    std::io::Write::write_all(&mut kept_open, &recording[..32_768]).unwrap();
    let mut child = command()
        .args(["replay", word(&pipe), "--press", word(&made.press), "--jsonl", word(&out)])
        .stdout(Stdio::null())
        .spawn()
        .unwrap();
    // The scenario's folder, the output, the pipe, and what the output is gathered in.
    while names(folder.path()).len() < 4 && child.try_wait().unwrap().is_none() {
        std::thread::sleep(std::time::Duration::from_millis(1));
    }
    assert!(child.try_wait().unwrap().is_none(), "the run ended by itself: {:?}", names(folder.path()));
    child.kill().unwrap();
    child.wait().unwrap();
    assert_eq!(std::fs::read_to_string(&out).unwrap(), "old");
}

#[test]
fn what_other_commands_cannot_read_is_one_line_that_names_the_file() {
    let folder = tempfile::tempdir().unwrap();
    let made = simulated(folder.path(), "small-press", 2, &[]);
    let (recording, press) = (word(&made.recording), word(&made.press));
    let give = |name: &str, text: &str| -> String {
        let path = folder.path().join(name);
        std::fs::write(&path, text).unwrap();
        word(&path).to_owned()
    };
    let path = |name: &str| word(&folder.path().join(name)).to_owned();
    let out = path("new");
    let half = give("half.toml", "name = \"half\"\nstrokes = \n");
    let other = give("other.toml", "name = \"x\"\nno_such_key = 1\n");
    let text = give("text.csv", "a,b\nx,y\n");
    for (words, says) in [
        (&["simulate", &half, "--out", &out][..], "half.toml"),
        (&["simulate", &other, "--out", &out], "other.toml"),
        (&["simulate", press, "--out", &out], "press.toml"),
        (&["simulate", &path("gone.toml"), "--out", &out], "gone.toml"),
        (&["simulate", "no-such-scenario", "--out", &out], "no-such-scenario"),
        (&["import", &text, "--map", "total=b:kn", "--rate-hz", "10", "--out", &out], "text.csv"),
        (&["import", &text, "--map", "total=c:kn", "--rate-hz", "10", "--out", &out], "`c`"),
        (&["import", &path("gone.csv"), "--map", "total=b:kn", "--rate-hz", "10", "--out", &out], "gone.csv"),
        (&["plan", "--press", press, "--job", &half], "half.toml"),
        (&["plan", "--press", press, "--job", &path("gone.toml")], "gone.toml"),
        (&["plan", "--press", &half, "--job", &half], "half.toml"),
        (&["calibrate", &text, "--out", &out], "text.csv"),
        (&["calibrate", &path("gone.csv"), "--out", &out], "gone.csv"),
        (
            &["plot", "signature", recording, "--press", press, "--stroke", "99", "--out", &path("new.svg")],
            "recording.csv",
        ),
    ] {
        let done: Done = bolster(words);
        done.refused(&[says]);
        for name in ["new", "new.svg"] {
            assert!(!folder.path().join(name).exists(), "{words:?} left {name} behind");
        }
    }
}

#[test]
fn a_standard_output_that_cannot_be_written_is_an_error() {
    let folder = tempfile::tempdir().unwrap();
    let made = simulated(folder.path(), "small-press", 2, &[]);
    let Ok(full) = std::fs::OpenOptions::new().write(true).open("/dev/full") else {
        println!("note: skipped, there is no /dev/full");
        return;
    };
    let words = ["replay", word(&made.recording), "--press", word(&made.press)];
    Done::from(command().args(words).stdout(full).output().unwrap()).refused(&["standard output"]);
}
