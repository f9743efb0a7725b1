//! Claim: `bolster spectrum` tells what a frame does, what moved, and says so where it cannot.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::path::Path;

use bolster_claims::figures::number;
use bolster_claims::press::Card;
use bolster_claims::program::{bolster, names, word};
use bolster_claims::strokes::{simulated, smooth, text};
use serde_json::Value;

fn spectrum(recordings: &[&Path], press: &Path) -> Value {
    let words = ["spectrum"].into_iter().chain(recordings.iter().map(|path| word(path)));
    let told = bolster(words.chain(["--press", word(press), "--json"])).well();
    serde_json::from_str(&told).unwrap()
}

/// A five-station recording of 30 strokes whose scenario differs by these lines.
fn made(folder: &Path, name: &str, differs: &str) -> std::path::PathBuf {
    let scenario = folder.join(format!("{name}.toml"));
    let text = format!("base = \"five-station\"\nname = \"{name}\"\nabout = \"invented\"\n{differs}");
    std::fs::write(&scenario, text).unwrap();
    let out = folder.join(name);
    let words = ["simulate", word(&scenario), "--strokes", "30", "--time", "--out", word(&out)];
    let _ = bolster(words).well();
    out
}

#[test]
fn the_ringing_of_a_recording_is_told_drawn_and_compared_with_an_earlier_one() {
    let folder = tempfile::tempdir().unwrap();
    let sound = made(folder.path(), "sound", "");
    let loose = made(
        folder.path(),
        "loose",
        "[[fault]]\nkind = \"loose_rod\"\nseverity = 0.5\nfrom = 1\nto = 30\ncolumn = \"lf\"\n",
    );
    let (first, second, press) =
        (sound.join("recording.csv"), loose.join("recording.csv"), sound.join("press.toml"));
    let told = spectrum(&[&first, &second], &press);
    // The scenario's frame: 2000 kN over 0.9 mm on 5200 kg rings at 104.04 Hz without damping, which is 5 %.
    let total = &told["recordings"][0]["ringing"][4];
    assert_eq!(total["channel"], "total");
    assert!((number(total, "/modes/0/natural_hz") / 104.04 - 1.0).abs() < 0.01, "{total}");
    assert!((number(total, "/modes/0/damping") / 0.05 - 1.0).abs() < 0.1, "{total}");
    assert!((number(total, "/modes/0/decrement_damping") / 0.05 - 1.0).abs() < 0.1, "{total}");
    // A loose rod takes stiffness away: the frame rings slower, and its column carries less.
    let shifts = told["shifts"].as_array().unwrap();
    let shift = |quantity: &str, channel: &str| {
        let found = shifts.iter().find(|shift| shift["quantity"] == quantity && shift["channel"] == channel);
        found.unwrap_or_else(|| panic!("{quantity} of {channel} is not in {shifts:?}"))
    };
    let frequency = shift("frequency", "total");
    assert!(
        frequency["sure"] == true && number(frequency, "/last") < 0.99 * number(frequency, "/first"),
        "{frequency}"
    );
    let share = shift("share", "lf");
    assert!(share["sure"] == true && number(share, "/last") < number(share, "/first") - 1.0, "{share}");
    // Each recording's ledger counts for itself, and both together.
    for column in 0..4 {
        let of = |n: usize| number(&told, &format!("/recordings/{n}/weighted_cycles/{column}"));
        let both = number(&told, &format!("/weighted_cycles/{column}"));
        assert!(of(0) > 0.0 && (of(0) + of(1) - both).abs() < 1e-9 * both, "{told}");
    }

    let picture = folder.path().join("frame.svg");
    let told = bolster(["spectrum", word(&first), "--press", word(&press), "--out", word(&picture)]).well();
    for wanted in
        ["free vibration from", "total", "damping, %", "by decrement, %", "Fatigue-weighted", "no safeguard"]
    {
        assert!(told.contains(wanted), "{wanted}: {told}");
    }
    let svg = std::fs::read_to_string(&picture).unwrap();
    assert!(svg.starts_with("<svg") && svg.contains("Frequency, Hz") && svg.contains("Time, ms"), "{svg}");
}

#[test]
fn what_cannot_be_told_is_said_and_nothing_is_drawn() {
    let folder = tempfile::tempdir().unwrap();
    // A recording that knows neither time nor speed still has zeros, shares and a ledger.
    let timeless = simulated(folder.path(), "five-station", 3, &[]);
    let words = ["spectrum", word(&timeless.recording), "--press", word(&timeless.press)];
    let told = bolster(words).well();
    assert!(told.contains("record time_s") && told.contains("Fatigue-weighted"), "{told}");
    let picture = folder.path().join("frame.png");
    bolster(words.into_iter().chain(["--out", word(&picture)])).refused(&["tells time", "time_s", "--out"]);
    // Smooth strokes that nothing rings in.
    let recording = folder.path().join("smooth.csv");
    std::fs::write(&recording, text(4, "kn", 1.0, &vec![smooth(2000.0, 600.0, [0.25; 4]); 5])).unwrap();
    let press = Card::of(4).write(folder.path());
    let told = spectrum(&[&recording], &press);
    assert!(told["recordings"][0]["free_part"].is_null(), "{told}");
    assert!(told["recordings"][0]["ringing"][0]["modes"].as_array().unwrap().is_empty(), "{told}");
    let before = names(folder.path());
    let words = ["spectrum", word(&recording), "--press", word(&press)];
    bolster(words.into_iter().chain(["--out", word(&picture)]))
        .refused(&["no recording shows free vibration", "--out"]);
    bolster(words.into_iter().chain(["--from", "200", "--to", "190"])).refused(&[
        "--from 200",
        "--to 190",
        "swap",
    ]);
    bolster(["spectrum", word(&recording), "--press", word(&timeless.press), "--out", word(&recording)])
        .refused(&["smooth.csv"]);
    let two = folder.path().join("two");
    std::fs::create_dir(&two).unwrap();
    bolster(words.into_iter().take(2).chain(["--press", word(&Card::of(2).write(&two))]))
        .refused(&["smooth.csv", "column"]);
    let after: Vec<String> = names(folder.path()).into_iter().filter(|name| name != "two").collect();
    assert_eq!(after, before);
}
