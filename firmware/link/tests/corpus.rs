//! The committed corpus of the fuzz targets, and seeded mutations of it, with any compiler.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test stops at the first failure")]

#[allow(dead_code, unreachable_pub, clippy::expect_used, clippy::unwrap_used)]
#[path = "../fuzz/src/lib.rs"]
mod targets;

use std::fs;
use std::path::Path;

use bolster_core::press::Columns;
use bolster_core::settings::PressSettings;
use bolster_core::stroke::StrokeSource;
use bolster_link::feed::{Before, Header, TrialDie, encode_record};
use bolster_link::settings::{FIXED_MAX, Fixed};
use bolster_link::trial::{die, invented_press};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// A target and its corpus.
type Target = (&'static str, fn(&[u8]));

const TARGETS: [Target; 4] = [
    ("packets", targets::packets),
    ("station", targets::station),
    ("settings", targets::settings),
    ("feed", targets::feed),
];
/// Mutations of each file of a corpus.
const MUTATIONS: usize = 400;
const SEED: u64 = 20_261_125;

/// What every corpus must hold: each message that `FORMAT.md` pins, settings and feeds of every number of columns.
fn seeds() -> Vec<(&'static str, String, Vec<u8>)> {
    let mut all = Vec::new();
    let format = include_str!("../FORMAT.md");
    for line in format.lines() {
        let parts: Vec<&str> = line.split('`').collect();
        if let ["| request " | "| notice ", name, _, hex, _] = parts.as_slice() {
            let bytes: Result<Vec<u8>, _> = hex.split(' ').map(|byte| u8::from_str_radix(byte, 16)).collect();
            let side = if parts[0].contains("request") { "request" } else { "notice" };
            let name = format!("{side}-{}", name.to_lowercase());
            let bytes = bytes.unwrap();
            all.push(("packets", name.clone(), bytes.clone()));
            if side == "request" {
                all.push(("station", name, bytes));
            }
        }
    }
    let requests: Vec<u8> = all
        .iter()
        .filter(|(target, ..)| *target == "station")
        .flat_map(|(.., bytes)| bytes.clone())
        .collect();
    all.push(("station", "all-requests".into(), requests));
    all.push(("settings", "one-column".into(), settings::<1>(Columns::Total, StrokeSource::Load)));
    all.push(("settings", "two-columns".into(), settings::<2>(Columns::LeftRight, StrokeSource::Index)));
    all.push(("settings", "four-columns".into(), settings::<4>(Columns::Corners, StrokeSource::Encoder)));
    all.push(("feed", "four-columns".into(), feed()));
    all
}

fn settings<const N: usize>(columns: Columns, source: StrokeSource) -> Vec<u8> {
    let press = invented_press(columns);
    let fixed = Fixed {
        press: PressSettings::<N>::usual(press, 10_000.0, 1e-3, source),
        die: Some(die(&press, source)),
        has_shape: false,
        marked: true,
    };
    let mut out = vec![0; FIXED_MAX];
    let len = fixed.encode(&mut out).unwrap();
    out.truncate(len);
    out
}

fn feed() -> Vec<u8> {
    use bolster_core::frame::{CrankReading, Frame};
    use bolster_core::units::{CrankAngle, Tick};
    let header = Header {
        press: invented_press(Columns::Corners),
        source: StrokeSource::Encoder,
        timed: true,
        repeats: false,
        die: TrialDie::Shape,
        records: 3,
        sample_hz: 10_000.0,
        kn_per_count: 1e-3,
    };
    let mut bytes = header.encode().to_vec();
    for (n, crank) in
        (0..).zip([CrankReading::Angle(CrankAngle(1 << 30)), CrankReading::Fault, CrankReading::Index(true)])
    {
        let frame = Frame::<4> { tick: Tick(n), counts: [1, -2, 3, -4], crank, sensors: 5 };
        let (record, len) = encode_record(Before { mark: n == 0, ..Before::default() }, &frame);
        bytes.extend_from_slice(&record[..len]);
    }
    bytes
}

fn folder(target: &str) -> std::path::PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fuzz/corpus").join(target)
}

fn corpus(target: &str) -> Vec<(String, Vec<u8>)> {
    let mut files: Vec<_> = fs::read_dir(folder(target))
        .expect("the corpus is committed")
        .map(|file| file.unwrap().path())
        .map(|path| (path.file_name().unwrap().to_string_lossy().into_owned(), fs::read(&path).unwrap()))
        .collect();
    files.sort();
    files
}

#[test]
fn the_corpus_holds_every_pinned_message_and_settings_and_feeds_of_every_kind() {
    let write = std::env::var_os("WRITE_CORPUS").is_some();
    let all = seeds();
    assert!(all.len() > 40, "only {} seeds", all.len());
    for (target, name, bytes) in all {
        let path = folder(target).join(&name);
        if write {
            fs::create_dir_all(folder(target)).unwrap();
            fs::write(&path, &bytes).unwrap();
        }
        let held = fs::read(&path).unwrap_or_default();
        assert!(held == bytes, "{target}/{name} is old: run this test with WRITE_CORPUS=1");
    }
}

#[test]
fn the_corpus_is_understood_or_refused() {
    for (name, target) in TARGETS {
        for (_, bytes) in corpus(name) {
            target(&bytes);
            // Twice, with the end of one running into the other.
            target(&[bytes.as_slice(), &bytes].concat());
        }
    }
}

#[test]
fn mutations_of_the_corpus_are_understood_or_refused() {
    println!("seed {SEED}");
    let mut rng = ChaCha8Rng::seed_from_u64(SEED);
    for (name, target) in TARGETS {
        let files = corpus(name);
        for (_, bytes) in &files {
            for _ in 0..MUTATIONS {
                let mut bytes = bytes.clone();
                for _ in 0..rng.random_range(1..4) {
                    mutate(&mut rng, &mut bytes, &files);
                }
                target(&bytes);
            }
        }
    }
}

fn mutate(rng: &mut ChaCha8Rng, bytes: &mut Vec<u8>, files: &[(String, Vec<u8>)]) {
    if bytes.is_empty() {
        bytes.push(rng.random());
    }
    let at = rng.random_range(0..bytes.len());
    match rng.random_range(0..7) {
        0 => bytes[at] ^= 1 << rng.random_range(0..8),
        1 => bytes[at] = rng.random(),
        2 => bytes.truncate(at),
        3 => bytes.insert(at, rng.random()),
        4 => {
            bytes.remove(at);
        }
        5 => {
            let again = bytes[at..].to_vec();
            bytes.extend(again);
        }
        _ => {
            let (_, other) = &files[rng.random_range(0..files.len())];
            let from = rng.random_range(0..=other.len());
            bytes.truncate(at);
            bytes.extend_from_slice(&other[from..]);
        }
    }
}
