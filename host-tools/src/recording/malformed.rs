//! The malformed sample files, recordings and press cards: each gives its own error, at its own place.

use std::path::{Path, PathBuf};

use bolster_core::press::Columns;

use super::{Reader, Row};
use crate::card::press::PressCard;

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../sample-signatures/malformed")
}

/// File, defect, line, column.
const RECORDINGS: [(&str, &str, Option<u64>, Option<&str>); 33] = [
    ("empty-file.csv", "empty-file", None, None),
    ("header-only.csv", "header-only", None, None),
    ("utf-16-text.csv", "not-text", Some(1), None),
    ("truncated-gzip.csv.gz", "truncated-gzip", Some(2), None),
    ("corrupt-gzip.csv.gz", "corrupt-gzip", Some(8), None),
    ("no-stroke-column.csv", "no-stroke-column", Some(1), None),
    ("no-angle-or-time.csv", "no-angle-or-time", Some(1), None),
    ("no-gauge-column.csv", "no-gauge-column", Some(1), None),
    ("missing-gauge-column.csv", "missing-gauge-column", Some(1), None),
    ("unknown-column.csv", "unknown-column", Some(1), Some("colour")),
    ("misspelt-column.csv", "unknown-column", Some(1), Some("angel_deg")),
    ("duplicate-column.csv", "duplicate-column", Some(1), Some("total_kn")),
    ("mixed-units.csv", "mixed-units", Some(1), None),
    ("mixed-column-sets.csv", "mixed-column-sets", Some(1), None),
    ("semicolons.csv", "unknown-column", Some(1), Some("stroke;angle_deg;left_kn;right_kn;coil;s1")),
    ("row-too-short.csv", "wrong-field-count", Some(4), None),
    ("row-too-long.csv", "wrong-field-count", Some(4), None),
    ("text-for-number.csv", "text-for-number", Some(4), Some("left_kn")),
    ("empty-field.csv", "text-for-number", Some(4), Some("left_kn")),
    ("nan.csv", "not-finite", Some(4), Some("right_kn")),
    ("infinite.csv", "not-finite", Some(4), Some("left_kn")),
    ("number-beyond-range.csv", "not-finite", Some(4), Some("left_kn")),
    ("stroke-not-whole.csv", "not-an-integer", Some(5), Some("stroke")),
    ("stroke-negative.csv", "not-an-integer", Some(2), Some("stroke")),
    ("coil-not-whole.csv", "not-an-integer", Some(6), Some("coil")),
    ("sensor-not-0-or-1.csv", "sensor-not-0-or-1", Some(6), Some("s1")),
    ("angle-out-of-range.csv", "angle-out-of-range", Some(7), Some("angle_deg")),
    ("angle-negative.csv", "angle-out-of-range", Some(2), Some("angle_deg")),
    ("angle-runs-backwards.csv", "angle-runs-backwards", Some(4), Some("angle_deg")),
    ("angle-wraps-twice.csv", "angle-wraps-twice", Some(6), Some("angle_deg")),
    ("time-runs-backwards.csv", "time-runs-backwards", Some(4), Some("time_s")),
    ("stroke-goes-down.csv", "stroke-goes-down", Some(3), Some("stroke")),
    ("two-columns-for-four.csv", "other-press", None, None),
];

/// File, defect, line.
const CARDS: [(&str, &str, Option<usize>); 14] = [
    ("press-missing-key.toml", "missing-key", None),
    ("press-missing-limit.toml", "missing-key", None),
    ("press-missing-table.toml", "missing-table", None),
    ("press-wrong-type.toml", "wrong-type", Some(5)),
    ("press-negative-rating.toml", "impossible-value", Some(5)),
    ("press-rating-not-finite.toml", "impossible-value", Some(5)),
    ("press-height-above-stroke.toml", "impossible-value", Some(6)),
    ("press-unknown-key.toml", "unknown-key", Some(10)),
    ("press-three-columns.toml", "wrong-column-count", Some(4)),
    ("press-speed-range-turned.toml", "impossible-value", Some(9)),
    ("press-one-speed.toml", "wrong-type", Some(9)),
    ("press-rod-shorter-than-crank.toml", "impossible-value", Some(8)),
    ("press-not-toml.toml", "not-toml", Some(8)),
    ("press-off-centre-above-rating.toml", "impossible-value", Some(15)),
];

#[test]
fn each_malformed_recording_gives_its_own_error_at_its_own_place() {
    for (name, code, line, column) in RECORDINGS {
        let read = || {
            let mut reader = Reader::open(&folder().join(name))?;
            let mut row = Row::default();
            while reader.next(&mut row)? {}
            reader.expect_columns(Columns::Corners)
        };
        let why = read().expect_err(name);
        let place = why.place();
        assert_eq!(
            (why.defect().code(), place.line, place.column.as_deref()),
            (code, line, column),
            "{name}: {why}"
        );
        let text = why.to_string();
        assert!(text.contains(name) && text.lines().count() == 1, "{text}");
    }
}

#[test]
fn each_malformed_press_card_gives_its_own_error_at_its_own_line() {
    for (name, code, line) in CARDS {
        let why = PressCard::load(&folder().join(name)).expect_err(name);
        assert_eq!((why.code(), why.line()), (code, line), "{name}: {why}");
        let text = why.to_string();
        assert!(text.contains(name) && text.lines().count() == 1, "{text}");
    }
}

#[test]
fn no_malformed_file_is_unlisted() {
    let listed: Vec<&str> = RECORDINGS
        .iter()
        .map(|row| row.0)
        .chain(CARDS.iter().map(|row| row.0))
        .chain(["README.md"])
        .collect();
    for entry in std::fs::read_dir(folder()).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        // Die cards are checked beside the die card's own module.
        assert!(listed.contains(&name.as_str()) || name.starts_with("die-"), "{name} is in no table");
    }
}
