//! Claim: a report is one file that needs nothing beside it, says what its sources say and what they are, and prints
//! whole on A4 and Letter.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use bolster_claims::program::{bolster, jsonl, word};
use serde_json::Value;
use sha2::{Digest as _, Sha256};

fn sample(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../sample-signatures").join(name)
}

fn read(path: &Path) -> String {
    std::fs::read_to_string(path).unwrap()
}

fn sha256(path: &Path) -> String {
    Sha256::digest(std::fs::read(path).unwrap()).iter().map(|byte| format!("{byte:02x}")).collect()
}

/// Recording, press card and die card of a sample.
struct Sample {
    recording: PathBuf,
    press: PathBuf,
    die: PathBuf,
}

fn faulty() -> Sample {
    Sample {
        recording: sample("faulty/five-station-slug.csv"),
        press: sample("presses/five-station.toml"),
        die: sample("dies/five-station.toml"),
    }
}

impl Sample {
    fn words<'a>(&'a self, what: &'a str, out: &'a Path) -> Vec<&'a str> {
        let (press, die) = (word(&self.press), word(&self.die));
        vec!["report", what, word(&self.recording), "--press", press, "--die", die, "--out", word(out)]
    }
}

/// Nothing is fetched and nothing runs: no address but the SVG's own name, no script, no frame, no picture file.
fn stands_alone(html: &str) {
    let plain = html.replace("http://www.w3.org/2000/svg", "");
    for bad in [
        "http:",
        "https:",
        "<script",
        "<iframe",
        "<img",
        "<link",
        "@import",
        "url(",
        "javascript:",
        " onload",
    ] {
        assert!(!plain.contains(bad), "{bad}");
    }
    assert!(plain.starts_with("<!DOCTYPE html>") && plain.ends_with("</html>"));
    assert!(plain.contains("no safeguard") && plain.contains("Keep hands out of the"));
    assert!(plain.contains("Report made"));
}

#[test]
fn a_shift_and_a_stop_say_what_replay_says_and_what_they_rest_on() {
    let folder = tempfile::tempdir().unwrap();
    let of = faulty();
    let (shift, stop, verdicts) =
        (folder.path().join("shift.html"), folder.path().join("stop.html"), folder.path().join("v.jsonl"));
    let replay = ["replay", word(&of.recording), "--press", word(&of.press), "--die", word(&of.die)];
    let _ = bolster(replay.iter().copied().chain(["--jsonl", word(&verdicts)])).well();
    let judged = jsonl(&verdicts);
    assert_eq!(bolster(of.words("shift", &shift)).well().trim(), word(&shift));
    let _ = bolster(of.words("stop", &stop)).well();
    let (shift, stop) = (read(&shift), read(&stop));
    for html in [&shift, &stop] {
        stands_alone(html);
        for path in [&of.recording, &of.press, &of.die] {
            assert!(html.contains(&sha256(path)), "{}", path.display());
        }
        assert!(html.matches("<svg").count() > 3 && html.matches("<table").count() >= 4);
    }
    let verdict = |stroke: &Value| stroke["verdict"].as_str().unwrap().to_owned();
    for found in ["pass", "note", "hold", "trip"] {
        let count = judged.iter().filter(|stroke| verdict(stroke) == found).count();
        assert!(shift.contains(&format!("<b>{count}</b> <span class=\"lamp {found}\">")), "{found}: {count}");
    }
    let rank = |stroke: &Value| ["pass", "note", "hold", "trip"].iter().position(|v| *v == verdict(stroke));
    let worst = judged.iter().map(rank).max().unwrap();
    let first = judged.iter().find(|stroke| rank(stroke) == worst).unwrap();
    assert!(worst >= Some(2), "the sample has a stopped stroke");
    assert!(stop.contains(&format!("<h1>Stroke {} of press", first["stroke"])));
    for finding in first["findings"].as_array().unwrap() {
        assert!(stop.contains(&format!("<code>{}</code>", finding["reason"].as_str().unwrap())));
    }
    for cause in first["diagnosis"]["causes"].as_array().unwrap() {
        assert!(stop.contains(&format!("<code>{}</code>", cause["code"].as_str().unwrap())), "{cause}");
    }
    // The verdict file alone gives the same tables; only what needs the readings is missing.
    let from_file = folder.path().join("file.html");
    let words = ["report", "stop", "--verdicts", word(&verdicts), "--press", word(&of.press)];
    let _ = bolster(words.iter().copied().chain(["--out", word(&from_file)])).well();
    let from_file = read(&from_file);
    stands_alone(&from_file);
    let findings = |html: &str| {
        let from = html.find("aria-label=\"Findings\"").unwrap();
        html[from..from + html[from..].find("</table>").unwrap()].to_owned()
    };
    assert_eq!(findings(&from_file), findings(&stop));
    assert!(
        from_file.contains("readings of this stroke are not at hand")
            && from_file.contains(&sha256(&verdicts))
    );
}

#[test]
fn a_die_says_its_limits_its_evidence_and_who_accepted_it() {
    let folder = tempfile::tempdir().unwrap();
    let of = faulty();
    let (card, out) = (folder.path().join("die.toml"), folder.path().join("die.html"));
    std::fs::copy(&of.die, &card).unwrap();
    let accept = [
        "accept",
        word(&card),
        "--by",
        "A. <b>Engineer</b>",
        "--reason",
        "seen & found good",
        "--unreviewed",
    ];
    let done = bolster(accept);
    assert_eq!(done.code, 0, "{done:?}");
    let words = ["report", "die", word(&of.recording), "--press", word(&of.press), "--die", word(&card)];
    let _ = bolster(words.iter().copied().chain(["--out", word(&out), "--unit", "tonf"])).well();
    let html = read(&out);
    stands_alone(&html);
    assert!(html.contains("A. &lt;b&gt;Engineer&lt;/b&gt;") && html.contains("seen &amp; found good"));
    assert!(!html.contains("<b>Engineer"));
    let card: toml_like::Card = toml_like::Card::of(&read(&card));
    let [low, high] = card.peak_kn;
    // 1 US tonf = 8.896443230521 kN (exact by definition of the pound-force).
    for kn in [low, high] {
        let tonf = kn / 8.896_443_230_521;
        let decimals = if tonf >= 100.0 { 1 } else { 2 };
        assert!(html.contains(&format!("{tonf:.decimals$}")), "{tonf}");
    }
    assert!(html.contains("US tonf") && html.contains(&card.learnt_from));
}

/// What is needed of a die card's text, read without the program's own types.
mod toml_like {
    pub(super) struct Card {
        pub(super) peak_kn: [f64; 2],
        pub(super) learnt_from: String,
    }

    impl Card {
        pub(super) fn of(text: &str) -> Self {
            let value = |key: &str| {
                let line = text.lines().find(|line| line.starts_with(&format!("{key} = "))).unwrap();
                line.split_once(" = ").unwrap().1.to_owned()
            };
            let band = value("peak_kn");
            let mut ends = band.trim_matches(['[', ']']).split(',').map(|end| end.trim().parse().unwrap());
            Self {
                peak_kn: [ends.next().unwrap(), ends.next().unwrap()],
                learnt_from: value("sha256").trim_matches('"').to_owned(),
            }
        }
    }
}

#[test]
fn a_calibration_shows_the_run_it_was_made_from_and_refuses_another() {
    let folder = tempfile::tempdir().unwrap();
    let (run, other) = (folder.path().join("run.csv"), folder.path().join("other.csv"));
    let (file, out) = (folder.path().join("cal.toml"), folder.path().join("cal.html"));
    let text = |gain: f64| {
        let mut text = "reference_kn,counts,series,spread_counts\n".to_owned();
        for preload in 0..3 {
            writeln!(text, "1000,{},0,2", gain * 1000.0 + f64::from(preload)).unwrap();
        }
        for series in 1..=3 {
            for step in (0..=10).chain((0..10).rev()) {
                let kn = 100.0 * f64::from(step);
                let counts = (150.0 + gain * kn + f64::from((step * 7 + series * 3) % 5)).round();
                writeln!(text, "{kn},{counts},{series},2").unwrap();
            }
        }
        text
    };
    std::fs::write(&run, text(2000.0)).unwrap();
    std::fs::write(&other, text(2003.0)).unwrap();
    let made = bolster(["calibrate", word(&run), "--out", word(&file), "--without-claim"]);
    assert_eq!(made.code, 0, "{made:?}");
    let report =
        |run: &Path| bolster(["report", "calibration", word(&file), "--run", word(run), "--out", word(&out)]);
    let _ = report(&run).well();
    let html = read(&out);
    stands_alone(&html);
    for path in [&run, &file] {
        assert!(html.contains(&sha256(path)));
    }
    assert!(html.contains("statement about slow loads") && html.contains("(not given, no source)"));
    assert!(html.contains("<h2>The run</h2>") && html.contains("<svg role=\"img\""));
    report(&other).refused(&["other.csv", "gives other zeros or gains than"]);
    assert_eq!(read(&out), html, "a refused report leaves the old one");
    let _ = bolster(["report", "calibration", word(&file), "--out", word(&out)]).well();
    assert!(!read(&out).contains("<h2>The run</h2>"));
}

#[test]
fn what_no_report_can_be_made_of_is_one_line() {
    let folder = tempfile::tempdir().unwrap();
    let of = faulty();
    let out = folder.path().join("r.html");
    let bad = folder.path().join("bad.jsonl");
    std::fs::write(&bad, "{\"stroke\": 1}\n").unwrap();
    let (press, die) = (word(&of.press), word(&of.die));
    let recording = word(&of.recording);
    let two = sample("presses/brake-two-dies.toml");
    for (words, says) in [
        (&["shift", "--out", word(&out)][..], "name a recording"),
        (&["shift", "--verdicts", word(&bad), "--press", press, "--out", word(&out)], "bad.jsonl: line 1"),
        (&["shift", "gone.csv", "--press", press, "--out", word(&out)], "gone.csv"),
        (&["shift", recording, "--press", word(&two), "--out", word(&out)], "five-station-slug.csv"),
        (&["stop", recording, "--press", press, "--stroke", "99999", "--out", word(&out)], "stroke 99999"),
        (&["die", "--press", press, "--out", word(&out)], "--die"),
        (&["stop", recording, "--press", press, "--out", recording], "five-station-slug.csv"),
        (&["shift", recording, "--press", press, "--die", die, "--out", "no/such/folder.html"], "folder"),
        (&["calibration", press, "--out", word(&out)], "five-station.toml"),
        (&["shift", "--data", "no-such-data", "--out", word(&out)], "no-such-data"),
    ] {
        bolster(["report"].iter().chain(words)).refused(&[says]);
        assert!(!out.exists(), "{words:?}");
    }
}

/// Prints with a browser on this size of paper; gives the text of the pages with where each word stands.
fn printed(html: &Path, size: &str) -> Option<String> {
    let browser = ["chromium", "chromium-browser", "google-chrome"]
        .into_iter()
        .find(|name| Command::new(name).arg("--version").output().is_ok_and(|done| done.status.success()))?;
    Command::new("pdftotext").arg("-v").output().ok()?;
    let folder = tempfile::tempdir().unwrap();
    let (page, pdf) = (folder.path().join("page.html"), folder.path().join("page.pdf"));
    let text = read(html).replacen("@page {", &format!("@page {{ size: {size};"), 1);
    std::fs::write(&page, text).unwrap();
    let quiet = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"];
    let more = ["--disable-background-networking", "--disable-component-update", "--disable-sync"];
    let done = Command::new(browser)
        .args(quiet)
        .args(more)
        .arg("--no-pdf-header-footer")
        .arg(format!("--user-data-dir={}", folder.path().join("profile").display()))
        .arg(format!("--print-to-pdf={}", pdf.display()))
        .arg(format!("file://{}", page.display()))
        .stdin(Stdio::null())
        .output()
        .unwrap();
    assert!(pdf.exists(), "{}", String::from_utf8_lossy(&done.stderr));
    let words = Command::new("pdftotext").arg("-bbox").arg(&pdf).arg("-").output().unwrap();
    assert!(words.status.success());
    Some(String::from_utf8(words.stdout).unwrap())
}

#[test]
fn reports_print_on_a4_and_letter_with_no_word_cut_off() {
    let folder = tempfile::tempdir().unwrap();
    let of = faulty();
    let out = folder.path().join("stop.html");
    let _ = bolster(of.words("stop", &out)).well();
    // Sizes in points of 1/72 inch: 210 × 297 mm and 8.5 × 11 inches.
    for (size, [wide, high]) in [("A4", [595.3, 841.9]), ("letter", [612.0, 792.0])] {
        let Some(words) = printed(&out, size) else {
            println!("note: skipped, no chromium with pdftotext here to print reports");
            return;
        };
        let attribute = |line: &str, name: &str| -> f64 {
            let from = line.split_once(&format!("{name}=\"")).unwrap().1;
            from.split_once('"').unwrap().0.parse().unwrap()
        };
        let pages: Vec<&str> = words.lines().filter(|line| line.contains("<page ")).collect();
        assert!((3..=12).contains(&pages.len()), "{} pages", pages.len());
        for page in &pages {
            let found = [attribute(page, "width"), attribute(page, "height")];
            assert!((found[0] - wide).abs() < 1.5 && (found[1] - high).abs() < 1.5, "{size}: {found:?}");
        }
        // Margins of 14 mm at the sides; a hair's breadth for the letters' own side bearings.
        let margin = 14.0 / 25.4 * 72.0 - 3.0;
        for line in words.lines().filter(|line| line.contains("<word ")) {
            let (left, right) = (attribute(line, "xMin"), attribute(line, "xMax"));
            assert!(left >= margin && right <= wide - margin, "{size}: cut off: {line}");
        }
        for says in ["safeguard", "SHA-256", &format!(">{}<", pages.len())] {
            assert!(words.contains(says), "{size}: {says}");
        }
    }
}
