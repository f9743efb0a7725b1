//! Claim: a recording larger than memory streams: `replay` and `learn` stay under 300 MB resident whatever its size.
//!
//! Ordinarily 200 MB are tried; `BOLSTER_BIG=1` tries 3 GB as well.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::fs::File;
use std::io::{BufWriter, Write as _};
use std::path::{Path, PathBuf};
use std::process::Stdio;
use std::time::Duration;

use bolster_claims::program::{command, word};
use bolster_claims::strokes::simulated;

/// The claim, bytes.
const MOST_RESIDENT: u64 = 300_000_000;

/// Repeats simulated strokes, numbered on, until the file holds `size` bytes; gives the number of strokes.
fn repeated(folder: &Path, size: u64) -> (PathBuf, PathBuf, u64) {
    let made = simulated(folder, "five-station", 40, &[]);
    let text = std::fs::read_to_string(&made.recording).unwrap();
    let (header, rows) = text.split_once('\n').unwrap();
    let mut strokes: Vec<Vec<&str>> = Vec::new();
    let mut last = "";
    for row in rows.lines() {
        let (number, rest) = row.split_once(',').unwrap();
        if number != last {
            strokes.push(Vec::new());
            last = number;
        }
        strokes.last_mut().unwrap().push(rest);
    }
    let path = folder.join("large.csv");
    let mut out = BufWriter::with_capacity(1 << 20, File::create(&path).unwrap());
    writeln!(out, "{header}").unwrap();
    let (mut written, mut number) = (0, 0);
    while written < size {
        let rows = &strokes[number as usize % strokes.len()];
        number += 1;
        let head = format!("{number},");
        for row in rows {
            out.write_all(head.as_bytes()).unwrap();
            out.write_all(row.as_bytes()).unwrap();
            out.write_all(b"\n").unwrap();
            written += (head.len() + row.len() + 1) as u64;
        }
    }
    out.flush().unwrap();
    (path, made.press, number)
}

/// Runs the program; gives its highest resident memory in bytes, as the system last told before it ended, and what
/// it printed.
fn resident(words: &[&str]) -> (u64, String) {
    let mut child = command().args(words).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    let status = format!("/proc/{}/status", child.id());
    let mut most = 0;
    let ended = loop {
        // A high-water mark: what was freed between two looks counts as well.
        let facts = std::fs::read_to_string(&status).unwrap_or_default();
        let line = facts.lines().find_map(|line| line.strip_prefix("VmHWM:"));
        let kib = line.and_then(|line| line.trim().strip_suffix("kB")?.trim().parse::<u64>().ok());
        most = most.max(kib.unwrap_or(0) * 1024);
        if let Some(ended) = child.try_wait().unwrap() {
            break ended;
        }
        std::thread::sleep(Duration::from_millis(2));
    };
    let done = child.wait_with_output().unwrap();
    assert!(ended.success(), "{words:?}: {}", String::from_utf8_lossy(&done.stderr));
    (most, String::from_utf8(done.stdout).unwrap())
}

fn stays_small(size: u64) {
    if !Path::new("/proc/self/status").exists() {
        println!("note: skipped, this system does not tell a process's memory");
        return;
    }
    let folder = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).unwrap();
    let (recording, press, strokes) = repeated(folder.path(), size);
    let out = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let (outcomes, die) = (out("o.jsonl"), out("die.toml"));
    let shared = [word(&recording), "--press", word(&press)];
    let replay = [&["replay"][..], &shared, &["--jsonl", &outcomes]].concat();
    let (most, said) = resident(&replay);
    println!("note: replay of {} MB ({strokes} strokes): {} MB resident", size / 1_000_000, most / 1_000_000);
    assert!(said.contains(&format!("{strokes} strokes judged")), "{said}");
    assert!((1..MOST_RESIDENT).contains(&most), "replay: {most} bytes");
    let learn = [&["learn"][..], &shared, &["--die", "a", "--out", &die]].concat();
    let (most, said) = resident(&learn);
    println!("note: learn from {} MB: {} MB resident", size / 1_000_000, most / 1_000_000);
    assert!(said.contains("die a on press"), "{said}");
    assert!((1..MOST_RESIDENT).contains(&most), "learn: {most} bytes");
}

#[test]
fn two_hundred_megabytes_are_judged_and_learnt_in_less_than_300_mb() {
    stays_small(200_000_000);
}

#[test]
fn three_gigabytes_are_judged_and_learnt_in_less_than_300_mb() {
    if std::env::var("BOLSTER_BIG").is_ok_and(|value| value == "1") {
        stays_small(3_000_000_000);
    } else {
        println!("note: skipped, 3 GB are tried with BOLSTER_BIG=1 only");
    }
}
