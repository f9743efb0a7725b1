//! Claim: watch windows and sensor windows of a die card stop a press as the card says: with the verdict, after as many
//! strokes, and in no other stroke than those whose recorded loads and sensors leave them, as read plainly here.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::path::{Path, PathBuf};

use bolster_claims::figures::{verdict, words};
use bolster_claims::plain::text_of;
use bolster_claims::program::{bolster, jsonl, word};
use serde_json::Value;
use tempfile::TempDir;

/// Thirty strokes of an invented press; in some the strip is fed short, a part stays in the die, or two sheets overlap in it: none breaks a limit
/// of the press.
const SHORT_FED: [u64; 4] = [9, 15, 16, 22];
const PART_STAYS: [u64; 2] = [12, 25];
const TWO_SHEETS: [u64; 2] = [19, 27];

/// One stroke as the recording has it.
struct Recorded {
    stroke: u64,
    /// Greatest total inside the watch window, and least load of the first column there, kN.
    total_kn: f64,
    least_kn: f64,
    /// Rows inside the first sensor's window, and those in which it was on; rows in which the second one was on in its.
    inside: u32,
    fed: u32,
    out: u32,
}

/// Windows, degrees: of the load, of the feed's sensor, of the sensor that a part passes.
const WATCH: [f64; 2] = [150.0, 200.0];
const FEED: [f64; 2] = [130.0, 225.0];
const OUT: [f64; 2] = [195.0, 245.0];

struct Shop {
    folder: TempDir,
    made: PathBuf,
    recorded: Vec<Recorded>,
}

impl Shop {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let scenario = folder.path().join("scenario.toml");
        let mut text = "base = \"five-station\"\nname = \"windows\"\nabout = \"Invented: feed and part sensors\"\nseed = 77\nstrokes = 30\n".to_owned();
        let all = [
            ("misfeed", 1.0, &SHORT_FED[..]),
            ("part_not_out", 1.0, &PART_STAYS),
            ("double", 0.2, &TWO_SHEETS),
        ];
        for (kind, severity, strokes) in all {
            for at in strokes {
                text += &format!(
                    "[[fault]]\nkind = \"{kind}\"\nseverity = {severity:?}\nfrom = {at}\nto = {at}\n"
                );
            }
        }
        std::fs::write(&scenario, text).unwrap();
        let made = folder.path().join("made");
        let _ = bolster(["simulate", word(&scenario), "--out", word(&made)]).well();
        let recorded = read(&made.join("recording.csv"));
        Self { folder, made, recorded }
    }

    /// A card that knows nothing but these limits, and what replay makes of it.
    fn judged(&self, limits: &str) -> Vec<Value> {
        let die = self.folder.path().join("die.toml");
        let head = "[die]\nname = \"windows\"\nstate = \"draft\"\n[die.press]\nname = \"P3\"\ncolumns = 4\nrated_kn = 2000.0\nstroke_mm = 200.0\nrod_mm = 900.0\nbolster_mm = [1800.0, 900.0]\n[limits]\n";
        std::fs::write(&die, format!("{head}{limits}")).unwrap();
        let out = self.folder.path().join("out.jsonl");
        let [recording, press] = ["recording.csv", "press.toml"].map(|name| self.made.join(name));
        let _ = bolster([
            "replay",
            word(&recording),
            "--press",
            word(&press),
            "--die",
            word(&die),
            "--json",
            "--jsonl",
            word(&out),
        ])
        .well();
        jsonl(&out)
    }

    /// The strokes in which this reason was given, all of them with this verdict, and no other stroke stopped or told.
    fn told(&self, limits: &str, reason: &str, gives: &str) -> Vec<u64> {
        let outcomes = self.judged(limits);
        assert_eq!(outcomes.len(), self.recorded.len());
        let mut told = Vec::new();
        for outcome in &outcomes {
            let stroke = outcome["stroke"].as_u64().unwrap();
            if words(outcome, "/reasons").iter().any(|code| code == reason) {
                assert_eq!(words(outcome, "/reasons"), [reason], "{outcome}");
                assert_eq!(verdict(outcome), gives, "{outcome}");
                told.push(stroke);
            } else {
                assert_eq!(verdict(outcome), "pass", "{outcome}");
            }
        }
        told
    }

    fn strokes(&self, which: impl Fn(&Recorded) -> bool) -> Vec<u64> {
        self.recorded.iter().filter(|stroke| which(stroke)).map(|stroke| stroke.stroke).collect()
    }
}

fn read(path: &Path) -> Vec<Recorded> {
    let text = text_of(path);
    let mut lines = text.lines();
    let head: Vec<&str> = lines.next().unwrap().split(',').collect();
    let place = |name: &str| head.iter().position(|column| *column == name).expect(name);
    let [stroke, angle, first, feed, out] = ["stroke", "angle_deg", "lf_kn", "s1", "s2"].map(place);
    let mut all: Vec<Recorded> = Vec::new();
    for line in lines {
        let values: Vec<f64> = line.split(',').map(|value| value.parse().unwrap_or(f64::NAN)).collect();
        let number = values[stroke] as u64;
        if all.last().is_none_or(|last| last.stroke != number) {
            let empty = Recorded {
                stroke: number,
                total_kn: f64::MIN,
                least_kn: f64::MAX,
                inside: 0,
                fed: 0,
                out: 0,
            };
            all.push(empty);
        }
        let now = all.last_mut().unwrap();
        let within = |[from, to]: [f64; 2]| from <= values[angle] && values[angle] <= to;
        if within(WATCH) {
            now.total_kn = now.total_kn.max(values[first..first + 4].iter().sum());
            now.least_kn = now.least_kn.min(values[first]);
        }
        if within(FEED) {
            now.inside += 1;
            now.fed += u32::from(values[feed] > 0.0);
        }
        now.out += u32::from(within(OUT) && values[out] > 0.0);
    }
    all
}

#[test]
fn windows_of_a_die_card_stop_the_press_as_it_says_and_no_other_stroke() {
    let shop = Shop::new();
    let sensor = |input: u8, [from, to]: [f64; 2], must: &str, more: &str| {
        format!(
            "[[limits.sensor]]\ninput = {input}\nfrom_deg = {from:?}\nto_deg = {to:?}\nmust = \"{must}\"\n{more}\n"
        )
    };
    // The strip must have come forward all through the window: a hold, as the card does not say otherwise.
    let not_fed = shop.strokes(|stroke| stroke.fed < stroke.inside);
    assert_eq!(not_fed, SHORT_FED, "the recording shows the faults that were asked for");
    assert_eq!(shop.told(&sensor(1, FEED, "on-throughout", ""), "sensor-window-missed", "hold"), not_fed);
    // A part must pass out once: a trip, the card says.
    let not_out = shop.strokes(|stroke| stroke.out == 0);
    assert_eq!(not_out, PART_STAYS);
    let card = sensor(2, OUT, "on-once", "verdict = \"trip\"");
    assert_eq!(shop.told(&card, "sensor-window-missed", "trip"), not_out);
    // A sensor that must be off all through: every stroke in which it came.
    let came = shop.strokes(|stroke| stroke.out > 0);
    assert_eq!(
        shop.told(&sensor(2, OUT, "off-throughout", "verdict = \"note\""), "sensor-window-missed", "note"),
        came
    );
    // Two of three strokes: only the second of the two in a row.
    let card = sensor(1, FEED, "on-throughout", "verdict = \"note\"\nstrokes = [2, 3]");
    assert_eq!(shop.told(&card, "sensor-window-missed", "note"), [16]);

    // A watch window with its limit between the good strokes' greatest total and that of two sheets.
    let mut totals: Vec<f64> = shop.recorded.iter().map(|stroke| stroke.total_kn).collect();
    totals.sort_by(f64::total_cmp);
    let [.., good, twice, _] = totals[..] else { panic!("thirty strokes") };
    assert!(twice > 1.1 * good, "two sheets load the die more: {twice} and {good} kN");
    let limit = 0.5 * (good + twice);
    let watch = |load: &str, value: &str, between: [f64; 2], more: &str| {
        let [from, to] = WATCH;
        format!(
            "[[limits.watch]]\nfrom_deg = {from:?}\nto_deg = {to:?}\nload = \"{load}\"\nvalue = \"{value}\"\nbetween_kn = {between:?}\n{more}\n"
        )
    };
    let over = shop.strokes(|stroke| stroke.total_kn > limit);
    assert_eq!(over, TWO_SHEETS);
    let card = watch("total", "greatest", [0.0, limit], "");
    assert_eq!(shop.told(&card, "watch-window-off-limits", "hold"), over);
    // What nothing leaves stops nothing; a limit on the other side stops all the others.
    assert!(
        shop.told(&watch("total", "greatest", [0.0, 2.0 * twice], ""), "watch-window-off-limits", "hold")
            .is_empty()
    );
    let under = shop.strokes(|stroke| stroke.total_kn <= limit);
    assert_eq!(
        shop.told(
            &watch("total", "greatest", [limit, 9e3], "verdict = \"note\""),
            "watch-window-off-limits",
            "note"
        ),
        under
    );
    // One column's least load: a band of a hundred kilonewtons below it leaves every stroke.
    let least = shop.recorded.iter().map(|stroke| stroke.least_kn).fold(f64::MAX, f64::min);
    let card = watch("lf", "least", [least - 200.0, least - 100.0], "verdict = \"note\"");
    assert_eq!(shop.told(&card, "watch-window-off-limits", "note"), shop.strokes(|_| true));

    // Both kinds in one card, each by its own rule.
    let card =
        format!("{}{}", watch("total", "greatest", [0.0, limit], ""), sensor(1, FEED, "on-throughout", ""));
    let stopped: Vec<u64> = shop
        .judged(&card)
        .iter()
        .filter(|outcome| verdict(outcome) == "hold")
        .map(|outcome| outcome["stroke"].as_u64().unwrap())
        .collect();
    let mut wanted = [over, not_fed].concat();
    wanted.sort_unstable();
    assert_eq!(stopped, wanted);
}

#[test]
fn replay_ends_with_a_finding_where_a_window_holds_the_press() {
    let shop = Shop::new();
    let [recording, press, die] =
        ["made/recording.csv", "made/press.toml", "die.toml"].map(|name| shop.folder.path().join(name));
    let _ =
        shop.judged("[[limits.sensor]]\ninput = 2\nfrom_deg = 195.0\nto_deg = 245.0\nmust = \"on-once\"\n");
    let all = ["replay", word(&recording), "--press", word(&press), "--die", word(&die), "--fail-on", "hold"];
    let done = bolster(all);
    assert_eq!(done.code, 3, "{done:?}");
    assert!(done.out.contains("sensor"), "{}", done.out);
    let bare = bolster(&all[..4]);
    assert_eq!(bare.code, 0, "without the card nothing stops: {bare:?}");
}
