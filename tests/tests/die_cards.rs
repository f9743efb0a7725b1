//! Claim: a die card goes from draft to accepted in the open: its limits are shown against recorded strokes, an engineer
//! accepts it by name, an edit makes it a draft again, and another card can be tried over the same strokes.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::path::{Path, PathBuf};

use bolster_claims::figures::{stops, verdict, words};
use bolster_claims::program::{Done, bolster, jsonl, names, word};
use serde_json::Value;
use tempfile::TempDir;

/// Good strokes, strokes with faults among them, and a draft learnt from the good ones.
struct Shop {
    folder: TempDir,
    press: PathBuf,
    faulty: PathBuf,
    die: PathBuf,
}

impl Shop {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let made = |name: &str, scenario: &str| {
            let out = folder.path().join(name);
            let _ = bolster(["simulate", scenario, "--strokes", "60", "--out", word(&out)]).well();
            out
        };
        let good = made("good", "small-press");
        let scenario = folder.path().join("faults.toml");
        let fault = |kind: &str, severity: f64, stroke: u32| {
            format!("[[fault]]\nkind = \"{kind}\"\nseverity = {severity}\nfrom = {stroke}\nto = {stroke}\n")
        };
        let text = format!(
            "base = \"small-press\"\nname = \"faults\"\nabout = \"Invented: small press with faults\"\nseed = 12\nstrokes = 60\n{}{}{}",
            fault("double", 0.5, 30),
            fault("no_strip", 1.0, 40),
            fault("broken", 0.1, 50)
        );
        std::fs::write(&scenario, text).unwrap();
        let faulty = made("faulty", word(&scenario)).join("recording.csv");
        let (press, die) = (good.join("press.toml"), folder.path().join("die.toml"));
        let recording = good.join("recording.csv");
        let _ = bolster([
            "learn",
            word(&recording),
            "--press",
            word(&press),
            "--die",
            "washers",
            "--out",
            word(&die),
        ])
        .well();
        Self { folder, press, faulty, die }
    }

    fn at(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn replay(&self, die: Option<&Path>, more: &[&str]) -> (Value, Vec<Value>) {
        let out = self.at("replayed.jsonl");
        let mut all =
            vec!["replay", word(&self.faulty), "--press", word(&self.press), "--json", "--jsonl", word(&out)];
        if let Some(die) = die {
            all.extend(["--die", word(die)]);
        }
        all.extend(more);
        let summary = serde_json::from_str(&bolster(all).well()).unwrap();
        (summary, jsonl(&out))
    }

    fn review(&self, more: &[&str]) -> Done {
        let all = [
            "learn",
            "--draft",
            word(&self.die),
            "--press",
            word(&self.press),
            "--review",
            word(&self.faulty),
        ];
        bolster(all.iter().chain(more))
    }

    fn accept(&self, more: &[&str]) -> Done {
        let all = ["accept", word(&self.die), "--by", "A. Engineer", "--reason", "seen against a shift"];
        bolster(all.iter().chain(more))
    }
}

#[test]
fn a_review_tells_the_strokes_that_replay_stops_and_how_close_the_rest_came() {
    let shop = Shop::new();
    let picture = shop.at("review.svg");
    let found: Value =
        serde_json::from_str(&shop.review(&["--json", "--picture", word(&picture)]).well()).unwrap();
    let (_, outcomes) = shop.replay(Some(&shop.die), &[]);
    let wanted: Vec<&Value> = outcomes.iter().filter(|outcome| stops(outcome)).collect();
    assert!((2..10).contains(&wanted.len()), "{} strokes stopped", wanted.len());
    let stopped = found["review"]["stopped"].as_array().unwrap();
    assert_eq!(stopped.len(), wanted.len());
    for (told, outcome) in stopped.iter().zip(wanted) {
        assert_eq!(told["stroke"], outcome["stroke"]);
        assert_eq!(told["verdict"], outcome["verdict"]);
        assert_eq!(told["reasons"], outcome["reasons"]);
        let used = told["limits"][0][1].as_f64();
        assert!(used.is_some_and(|used| used >= 1.0), "{told}");
    }
    let limits = found["review"]["limits"].as_array().unwrap();
    assert_eq!(limits.len(), 11, "seven of the shape, both ends of peak and work");
    for limit in limits {
        let closest = limit["closest"]["used"].as_f64().unwrap();
        assert!(closest > 0.0 && closest < 1.0, "{limit}");
        let [stopped, alone] = ["stopped", "stopped_alone"].map(|name| limit[name].as_u64().unwrap());
        assert!(alone <= stopped, "{limit}");
    }
    // What a plain limit's closest stroke used can be told from the outcomes alone.
    let limit = limits.iter().find(|limit| limit["limit"] == "peak-over-die-limit").unwrap();
    let high = found["limits"]["peak_kn"][1].as_f64().unwrap();
    let peaks = outcomes.iter().map(|outcome| outcome["peak_kn"].as_f64().unwrap());
    let wanted = peaks.map(|peak| peak / high).filter(|used| *used <= 1.0).fold(0.0, f64::max);
    assert!((limit["closest"]["used"].as_f64().unwrap() - wanted).abs() < 1e-12, "{limit} {wanted}");
    let strokes: Vec<u64> = stopped.iter().map(|told| told["stroke"].as_u64().unwrap()).collect();
    assert!(strokes.contains(&30) && strokes.contains(&40), "{strokes:?}");
    assert!(std::fs::read_to_string(&picture).unwrap().contains("shape-residual"));
    let text = shop.review(&[]).well();
    assert!(text.contains("Review of 60 strokes") && text.contains("no safeguard"), "{text}");
    let card = std::fs::read_to_string(&shop.die).unwrap();
    assert!(
        card.contains("[[review]]") && card.contains("strokes = 60"),
        "the card does not tell of its review"
    );
}

#[test]
fn a_card_learnt_and_reviewed_in_one_run_is_the_card_learnt_alone_with_its_review() {
    let shop = Shop::new();
    let both = shop.at("both.toml");
    let good = shop.at("good").join("recording.csv");
    let _ = bolster([
        "learn",
        word(&good),
        "--press",
        word(&shop.press),
        "--die",
        "washers",
        "--out",
        word(&both),
        "--review",
        word(&good),
        word(&shop.faulty),
    ])
    .well();
    let read = |path: &Path| without_reviews(&std::fs::read_to_string(path).unwrap());
    let (alone, both) = (read(&shop.die), read(&both));
    assert_eq!(alone.0, both.0);
    assert_eq!((alone.1, both.1), (0, 2));
}

/// A card's text without its reviews, and their number.
fn without_reviews(text: &str) -> (String, usize) {
    let (mut rest, mut reviews, mut within) = (String::new(), 0, false);
    for line in text.lines() {
        if line.starts_with('[') {
            within = line == "[[review]]";
            reviews += usize::from(within);
        }
        if !within {
            rest += line;
            rest.push('\n');
        }
    }
    (rest, reviews)
}

#[test]
fn a_card_is_accepted_by_name_after_a_review_and_an_edit_makes_it_a_draft_again() {
    let shop = Shop::new();
    let standing = |shop: &Shop| shop.replay(Some(&shop.die), &[]).0["die"]["standing"].clone();
    let (_, draft) = shop.replay(Some(&shop.die), &[]);
    assert_eq!(standing(&shop), "draft");
    let before = std::fs::read(&shop.die).unwrap();
    shop.accept(&[]).refused(&["die.toml", "--review", "--unreviewed"]);
    assert_eq!(std::fs::read(&shop.die).unwrap(), before, "a refusal changed the card");
    let _ = shop.review(&[]).well();
    let text = shop.accept(&[]).well();
    assert!(text.contains("accepted by A. Engineer on 2") && text.contains("60 strokes"), "{text}");
    assert!(text.contains("no safeguard"), "{text}");
    assert_eq!(standing(&shop), "accepted");
    let (_, accepted) = shop.replay(Some(&shop.die), &[]);
    assert_eq!(draft, accepted, "acceptance changes no verdict");

    let card = std::fs::read_to_string(&shop.die).unwrap();
    let line = card.lines().find(|line| line.starts_with("peak_kn")).expect("a plain limit");
    std::fs::write(&shop.die, card.replace("[limits]", "# a remark\n[limits]")).unwrap();
    assert_eq!(standing(&shop), "accepted", "a remark is no change");
    std::fs::write(&shop.die, card.replace(line, "peak_kn = [1.0, 240.0]")).unwrap();
    assert_eq!(standing(&shop), "edited");
    let said =
        bolster(["replay", word(&shop.faulty), "--press", word(&shop.press), "--die", word(&shop.die)])
            .well();
    assert!(said.contains("a draft again") && said.contains("A. Engineer"), "{said}");
    // The old review was of the old limits.
    shop.accept(&[]).refused(&["--review"]);
    let json: Value = serde_json::from_str(&shop.accept(&["--unreviewed", "--json"]).well()).unwrap();
    assert_eq!(json["standing"], "accepted");
    assert_eq!(json["reviews"], Value::Array(Vec::new()));
    assert_eq!(json["acceptance"]["reason"], "seen against a shift");
    assert_eq!(standing(&shop), "accepted");
}

#[test]
fn what_cannot_be_accepted_or_reviewed_is_refused_and_leaves_everything_as_it_was() {
    let shop = Shop::new();
    let before = (std::fs::read(&shop.die).unwrap(), names(shop.folder.path()));
    for by in ["", "  ", "two\nlines"] {
        let done = bolster(["accept", word(&shop.die), "--by", by, "--reason", "r"]);
        assert_eq!((done.code, done.out.as_str()), (2, ""), "{by:?}: {done:?}");
    }
    let samples = Path::new(env!("CARGO_MANIFEST_DIR")).join("../sample-signatures/malformed");
    let accept = |card: &Path| bolster(["accept", word(card), "--by", "A", "--reason", "r", "--unreviewed"]);
    accept(&samples.join("die-not-toml.toml")).refused(&["die-not-toml.toml", "line 7"]);
    accept(&samples.join("die-short-reference.toml"))
        .refused(&["die-short-reference.toml", "reference holds"]);
    accept(&shop.at("no-such.toml")).refused(&["no-such.toml"]);
    let nowhere = shop.at("none").join("review.svg");
    shop.review(&["--picture", word(&nowhere)]).refused(&["review.svg", "create its folder first"]);
    shop.review(&["--picture", word(&shop.die)]).refused(&["die.toml"]);
    shop.review(&[word(&samples.join("nan.csv"))]).refused(&["nan.csv"]);
    let press = word(&shop.press);
    for bad in [
        &["learn", "--draft", word(&shop.die), "--press", press][..],
        &[
            "learn",
            word(&shop.faulty),
            "--draft",
            word(&shop.die),
            "--press",
            press,
            "--review",
            word(&shop.faulty),
        ],
        &["learn", "--press", press],
        &["replay", word(&shop.faulty), "--press", press, "--picture", "a.svg"],
    ] {
        let done = bolster(bad);
        assert_eq!((done.code, done.out.as_str()), (2, ""), "{bad:?}: {done:?}");
    }
    assert_eq!((std::fs::read(&shop.die).unwrap(), names(shop.folder.path())), before);
}

#[test]
fn what_if_tells_exactly_what_two_replays_differ_in() {
    let shop = Shop::new();
    let other = shop.at("other.toml");
    let card = std::fs::read_to_string(&shop.die).unwrap();
    let line = card.lines().find(|line| line.starts_with("peak_kn")).expect("a plain limit");
    let (_, now) = shop.replay(Some(&shop.die), &[]);
    // A limit in the middle of the good strokes' peaks stops about half of them.
    let mut peaks: Vec<f64> = now.iter().map(|outcome| outcome["peak_kn"].as_f64().unwrap()).collect();
    peaks.sort_by(f64::total_cmp);
    std::fs::write(&other, card.replace(line, &format!("peak_kn = [1.0, {}]", peaks[30]))).unwrap();
    let (_, then) = shop.replay(Some(&other), &[]);
    let picture = shop.at("what-if.svg");
    let (summary, lines) =
        shop.replay(Some(&shop.die), &["--what-if", word(&other), "--picture", word(&picture)]);
    assert_eq!(lines.len(), now.len());
    let mut wanted = Vec::new();
    for ((line, now), then) in lines.iter().zip(&now).zip(&then) {
        assert_eq!(line["what_if"]["verdict"], then["verdict"], "{line}");
        assert_eq!(line["what_if"]["reasons"], then["reasons"], "{line}");
        let mut plain = line.clone();
        plain.as_object_mut().unwrap().remove("what_if");
        assert_eq!(&plain, now, "the other card changed what this one says");
        if now["verdict"] != then["verdict"] || now["reasons"] != then["reasons"] {
            wanted.push(now["stroke"].clone());
        }
    }
    let found = &summary["what_if"];
    let changed: Vec<Value> =
        found["changed"].as_array().unwrap().iter().map(|one| one["stroke"].clone()).collect();
    assert_eq!(changed, wanted);
    assert!((20..60).contains(&wanted.len()), "{} strokes differ", wanted.len());
    let count = |all: &[Value], code: &str| {
        all.iter().filter(|one| words(one, "/reasons").contains(&code.to_owned())).count() as u64
    };
    for (code, counts) in found["reasons"].as_object().unwrap() {
        assert_eq!(counts["now"].as_u64(), Some(count(&now, code)), "{code}");
        assert_eq!(counts["other"].as_u64(), Some(count(&then, code)), "{code}");
    }
    let verdicts = |all: &[Value], word: &str| all.iter().filter(|one| verdict(one) == word).count() as u64;
    for word in ["pass", "note", "hold", "trip"] {
        assert_eq!(found["other_verdicts"][word].as_u64().unwrap_or(0), verdicts(&then, word), "{word}");
    }
    assert!(std::fs::read_to_string(&picture).unwrap().contains("peak-over-die-limit"));
    // The same card twice: nothing differs. Without a card in use, the other is all there is.
    let same = shop.replay(Some(&shop.die), &["--what-if", word(&shop.die)]).0;
    assert_eq!(same["what_if"]["changed"], Value::Array(Vec::new()));
    let bare = shop.replay(None, &["--what-if", word(&shop.die)]).0;
    assert_eq!(bare["what_if"]["other_verdicts"], same["what_if"]["verdicts"]);
    let bad =
        bolster(["replay", word(&shop.faulty), "--press", word(&shop.press), "--what-if", word(&shop.press)]);
    bad.refused(&["press.toml", "die card"]);
}
