//! Claim: whatever is wrong with an input, `replay`, `learn` and `plot` end with exit code 1 and one line that names
//! the file, and the line and column where there is one; nothing is written, nothing is left behind, nothing panics.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::Command;

use bolster_claims::outside::sample;
use bolster_claims::press::Card;
use bolster_claims::program::{Done, bolster, names, word};
use bolster_claims::strokes::{simulated, smooth, text};

/// A folder for inputs and one for outputs, with outputs of an earlier run in it.
struct Bench {
    folder: tempfile::TempDir,
    press: PathBuf,
}

/// What stands in an output before the run.
const OLD: &str = "made by an earlier run";

impl Bench {
    fn new(columns: usize) -> Self {
        let folder = tempfile::tempdir().unwrap();
        std::fs::create_dir(folder.path().join("out")).unwrap();
        let press = Card::of(columns).write(folder.path());
        let bench = Self { folder, press };
        for name in bench.outputs() {
            std::fs::write(bench.out(name), OLD).unwrap();
        }
        bench
    }

    fn outputs(&self) -> [&'static str; 3] {
        ["old.jsonl", "old.svg", "old.toml"]
    }

    fn out(&self, name: &str) -> PathBuf {
        self.folder.path().join("out").join(name)
    }

    fn give(&self, name: &str, bytes: impl AsRef<[u8]>) -> PathBuf {
        let path = self.folder.path().join(name);
        std::fs::write(&path, bytes).unwrap();
        path
    }

    /// Every command that reads a recording, with outputs that exist and outputs that do not.
    fn commands(&self, recording: &Path, press: &Path) -> Vec<Vec<String>> {
        let mut all = Vec::new();
        for age in ["old", "new"] {
            let out = |ending: &str| self.out(&format!("{age}.{ending}"));
            let line = |head: &[&str], tail: &[&str], out: &Path| -> Vec<String> {
                let shared = [word(recording), "--press", word(press)];
                let words = head.iter().chain(&shared).chain(tail).copied().chain([word(out)]);
                words.map(str::to_owned).collect()
            };
            all.push(line(&["replay"], &["--jsonl"], &out("jsonl")));
            all.push(line(&["learn"], &["--die", "a", "--out"], &out("toml")));
            for what in ["signature", "strokes"] {
                all.push(line(&["plot", what], &["--out"], &out("svg")));
            }
        }
        all
    }

    /// Every command refuses this recording, or this press card, naming `says`; the outputs stay as they were.
    fn refuses(&self, recording: &Path, press: &Path, says: &[&str]) {
        for words in self.commands(recording, press) {
            bolster(&words).refused(says);
            self.untouched(&words.join(" "));
        }
    }

    fn untouched(&self, after: &str) {
        assert_eq!(names(&self.folder.path().join("out")), self.outputs(), "left behind by: {after}");
        for name in self.outputs() {
            assert_eq!(std::fs::read_to_string(self.out(name)).unwrap(), OLD, "{name} after: {after}");
        }
    }
}

const FOUR: &str = "stroke,angle_deg,lf_kn,rf_kn,lr_kn,rr_kn";

/// A sound four-column recording whose line `line` is `row` instead.
fn four_with(line: usize, row: &str) -> String {
    let rows = (0..40).map(|n| format!("{},{},1,2,3,4", 1 + n / 20, 150 + n % 20));
    let mut lines: Vec<String> = std::iter::once(FOUR.to_owned()).chain(rows).collect();
    row.clone_into(&mut lines[line - 1]);
    lines.join("\n") + "\n"
}

/// One place in a file: line, column.
fn at(line: usize, column: &str) -> Vec<String> {
    vec![format!("line {line}"), format!("`{column}`")]
}

#[test]
fn a_bad_recording_is_refused_at_its_place_by_every_command() {
    let bench = Bench::new(4);
    let none = Vec::new;
    let cases: [(&str, String, Vec<String>); 26] = [
        ("empty.csv", String::new(), none()),
        ("blank-lines-only.csv", "\n\n\n".to_owned(), none()),
        ("header-only.csv", format!("{FOUR}\n"), none()),
        ("header-without-line-end.csv", FOUR.to_owned(), none()),
        ("no-rr.csv", "stroke,angle_deg,lf_kn,rf_kn,lr_kn\n1,150,1,2,3\n".to_owned(), at(1, "rr_kn")),
        ("unknown.csv", format!("{FOUR},colour\n1,150,1,2,3,4,5\n"), at(1, "colour")),
        ("text.csv", four_with(4, "1,152,1,2,three,4"), at(4, "lr_kn")),
        ("hexadecimal.csv", four_with(4, "1,152,1,2,0x10,4"), at(4, "lr_kn")),
        ("nothing.csv", four_with(4, "1,152,1,2,,4"), at(4, "lr_kn")),
        ("nan.csv", four_with(5, "1,153,NaN,2,3,4"), at(5, "lf_kn")),
        ("nan-angle.csv", four_with(5, "1,nan,1,2,3,4"), at(5, "angle_deg")),
        ("infinite.csv", four_with(6, "1,154,1,inf,3,4"), at(6, "rf_kn")),
        ("minus-infinity.csv", four_with(6, "1,154,1,-Infinity,3,4"), at(6, "rf_kn")),
        ("beyond-any-number.csv", four_with(6, "1,154,1,1e999,3,4"), at(6, "rf_kn")),
        ("backwards.csv", four_with(7, "1,152.9,1,2,3,4"), at(7, "angle_deg")),
        ("beyond-the-turn.csv", four_with(8, "1,360,1,2,3,4"), at(8, "angle_deg")),
        ("below-the-turn.csv", four_with(8, "1,-0.5,1,2,3,4"), at(8, "angle_deg")),
        ("stroke-down.csv", four_with(23, "0,151,1,2,3,4"), vec!["line 23".to_owned()]),
        ("half-a-stroke.csv", four_with(23, "1.5,151,1,2,3,4"), at(23, "stroke")),
        ("short-row.csv", four_with(9, "1,157,1,2,3"), vec!["line 9".to_owned()]),
        ("long-row.csv", four_with(9, "1,157,1,2,3,4,5"), vec!["line 9".to_owned()]),
        ("cut-in-the-last-row.csv", four_with(41, "2,169,1"), vec!["line 41".to_owned()]),
        ("two-columns.csv", "stroke,angle_deg,left_kn,right_kn\n1,150,1,2\n".to_owned(), none()),
        ("one-column.csv", "stroke,angle_deg,total_kn\n1,150,1\n".to_owned(), none()),
        ("twice.csv", format!("{FOUR},lf_kn\n1,150,1,2,3,4,5\n"), at(1, "lf_kn")),
        ("counts.csv", FOUR.replace("kn", "counts") + "\n1,150,1,2,3,4\n", none()),
    ];
    for (name, content, place) in cases {
        let path = bench.give(name, content);
        let says: Vec<&str> = std::iter::once(name).chain(place.iter().map(String::as_str)).collect();
        bench.refuses(&path, &bench.press, &says);
    }
}

#[test]
fn a_defect_after_much_good_is_found_as_well() {
    let bench = Bench::new(1);
    // Far beyond the rows that are read ahead, so that outcomes were already on their way out.
    let strokes = vec![smooth(8000.0, 300.0, [1.0, 0.0, 0.0, 0.0]); 30];
    let good = text(1, "kn", 1.0, &strokes);
    let lines = good.lines().count();
    let late = good + "31,100,0,oops\n";
    let path = bench.give("late.csv", &late);
    bench.refuses(
        &path,
        &bench.press,
        &["late.csv", &format!("line {}", lines + 1), "`total_kn`", "stroke 31"],
    );
}

#[test]
fn damaged_gzip_is_refused() {
    let bench = Bench::new(1);
    let good = text(1, "kn", 1.0, &vec![smooth(8000.0, 300.0, [1.0, 0.0, 0.0, 0.0]); 30]);
    let mut encoder = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::default());
    encoder.write_all(good.as_bytes()).unwrap();
    let packed = encoder.finish().unwrap();
    let mut flipped = packed.clone();
    let middle = flipped.len() / 2;
    flipped[middle] ^= 0x55;
    let mut wrong_sum = packed.clone();
    let sum = wrong_sum.len() - 6;
    wrong_sum[sum] ^= 1;
    for (name, bytes) in [
        ("half.csv.gz", &packed[..packed.len() / 2]),
        ("without-its-end.csv.gz", &packed[..packed.len() - 4]),
        ("magic-only.csv.gz", &packed[..2]),
        ("flipped.csv.gz", &flipped),
        ("wrong-sum.csv.gz", &wrong_sum),
    ] {
        let path = bench.give(name, bytes);
        bench.refuses(&path, &bench.press, &[name]);
    }
}

#[test]
fn a_folder_a_missing_file_and_a_device_are_no_recordings_and_no_cards() {
    let bench = Bench::new(1);
    let folder = bench.folder.path().join("some-folder");
    std::fs::create_dir(&folder).unwrap();
    let missing = bench.folder.path().join("missing.csv");
    let good = bench.give("good.csv", text(1, "kn", 1.0, &[smooth(2000.0, 300.0, [1.0; 4])]));
    bench.refuses(&folder, &bench.press, &["some-folder", "folder"]);
    bench.refuses(&missing, &bench.press, &["missing.csv"]);
    bench.refuses(Path::new("/dev/null"), &bench.press, &["/dev/null"]);
    bench.refuses(Path::new("/dev/zero"), &bench.press, &["/dev/zero"]);
    bench.refuses(&good, &folder, &["some-folder"]);
    bench.refuses(&good, &missing, &["missing.csv"]);
    for die in [&folder, &missing] {
        for words in die_commands(&bench, &good, &bench.press, die) {
            bolster(&words).refused(&[word(die)]);
            bench.untouched(&words.join(" "));
        }
    }
}

/// Runs the program as somebody with no rights of root; `None` if that cannot be arranged.
fn as_nobody(folder: &Path, words: &[String]) -> Option<Done> {
    use std::os::unix::fs::PermissionsExt as _;
    use std::os::unix::process::CommandExt as _;
    if !root() {
        return Some(bolster(words));
    }
    // The program is copied to where nobody may run it.
    let program = folder.join("program");
    if !program.exists() {
        std::fs::copy(bolster_claims::program::path(), &program).ok()?;
        std::fs::set_permissions(&program, std::fs::Permissions::from_mode(0o755)).ok()?;
    }
    Some(Command::new(program).args(words).uid(65_534).gid(65_534).output().ok()?.into())
}

fn root() -> bool {
    Command::new("id").arg("-u").output().is_ok_and(|done| done.stdout == b"0\n")
}

#[test]
fn a_file_without_read_rights_and_a_folder_without_write_rights_are_named() {
    use std::os::unix::fs::PermissionsExt as _;
    let bench = Bench::new(1);
    let rights = |path: &Path, mode| {
        std::fs::set_permissions(path, std::fs::Permissions::from_mode(mode)).unwrap();
    };
    rights(bench.folder.path(), 0o755);
    let good = bench.give("good.csv", text(1, "kn", 1.0, &[smooth(2000.0, 300.0, [1.0; 4])]));
    let secret = bench.give("secret.csv", std::fs::read(&good).unwrap());
    let secret_press = bench.give("secret.toml", std::fs::read(&bench.press).unwrap());
    rights(&secret, 0);
    rights(&secret_press, 0);
    let out = bench.folder.path().join("out");
    // Outputs may be written while inputs are tried.
    rights(&out, 0o777);
    bench.outputs().iter().for_each(|name| rights(&bench.out(name), 0o666));
    for (recording, press, name) in
        [(&secret, &bench.press, "secret.csv"), (&good, &secret_press, "secret.toml")]
    {
        for words in bench.commands(recording, press) {
            let Some(done) = as_nobody(bench.folder.path(), &words) else {
                println!("note: skipped, no process of another user can be started here");
                return;
            };
            done.refused(&[name, "ermission"]);
            bench.untouched(&words.join(" "));
        }
    }
    // Then the outputs' folder: even a recording that is never reached does not matter any more.
    rights(&out, 0o555);
    for words in bench.commands(&good, &bench.press) {
        let done = as_nobody(bench.folder.path(), &words).unwrap();
        done.refused(&[words.last().unwrap(), "ermission"]);
        bench.untouched(&words.join(" "));
    }
    rights(&out, 0o755);
}

#[test]
fn an_output_that_cannot_be_written_is_an_error_before_the_recording_is_read() {
    let bench = Bench::new(1);
    // Were it read first, the error would be the recording's.
    let bad = bench.give("bad.csv", "no recording at all\n");
    let file = bench.give("file", "");
    for (out, says) in [
        (bench.folder.path().join("none/x.svg"), "none"),
        (file.join("x.svg"), "file"),
        (bench.folder.path().join("out"), "out"),
    ] {
        for (head, tail) in [
            (&["replay"][..], &["--jsonl"][..]),
            (&["learn"], &["--die", "a", "--out"]),
            (&["plot", "signature"], &["--out"]),
            (&["plot", "centre"], &["--out"]),
        ] {
            let shared = [word(&bad), "--press", word(&bench.press)];
            let words = head.iter().chain(&shared).chain(tail).copied().chain([word(&out)]);
            let done = bolster(words);
            done.refused(&[says]);
            assert!(!done.err.contains("bad.csv"), "{head:?} read the recording first: {}", done.err);
            bench.untouched(head[0]);
        }
    }
}

#[test]
fn every_malformed_sample_is_refused_by_every_command() {
    let mut tried = 0;
    let benches = [1, 2, 4].map(Bench::new);
    let good = |bench: &Bench, columns| {
        bench.give("good.csv", text(columns, "kn", 1.0, &[smooth(2000.0, 300.0, [0.25; 4])]))
    };
    for name in names(&sample("malformed")) {
        let path = sample("malformed").join(&name);
        if name == "README.md" || name.starts_with("die-") {
            continue;
        }
        tried += 1;
        if name.starts_with("press-") {
            let bench = &benches[2];
            bench.refuses(&good(bench, 4), &path, &[&name]);
            continue;
        }
        let bytes = std::fs::read(&path).unwrap();
        let header = String::from_utf8_lossy(&bytes).lines().next().unwrap_or_default().to_owned();
        // `two-columns-for-four` is a sound recording of another press.
        let columns = match &header {
            _ if name == "two-columns-for-four.csv" => 4,
            header if header.contains("total") => 1,
            header if header.contains("left") => 2,
            _ => 4,
        };
        let bench = &benches[[1, 2, 4].iter().position(|n| *n == columns).unwrap()];
        bench.refuses(&path, &bench.press, &[&name]);
    }
    assert!(tried >= 40, "only {tried} malformed samples: is the folder whole?");
}

#[test]
fn a_bad_press_card_is_refused_at_its_line_by_every_command() {
    let bench = Bench::new(4);
    let good = bench.give("good.csv", four_with(2, "1,150,1,2,3,4"));
    let card = Card::of(4).text();
    let line_of = |key: &str| 1 + card.lines().position(|line| line.starts_with(key)).unwrap();
    let with = |key: &str, line: &str| {
        let changed = card.lines().map(|old| if old.starts_with(key) { line } else { old });
        changed.collect::<Vec<_>>().join("\n")
    };
    for (name, text, says, key) in [
        ("no-rating.toml", with("rated_kn", ""), "rated_kn", None),
        ("no-limit.toml", with("reverse_percent", ""), "reverse_percent", None),
        ("no-limits.toml", card.split("[limits]").next().unwrap().to_owned(), "limits", None),
        ("empty.toml", String::new(), "press", None),
        ("text-rating.toml", with("rated_kn", "rated_kn = \"1000\""), "rated_kn", Some("rated_kn")),
        ("list-rating.toml", with("rated_kn", "rated_kn = [1000.0]"), "rated_kn", Some("rated_kn")),
        ("half-columns.toml", with("columns", "columns = 2.5"), "columns", Some("columns")),
        ("three-columns.toml", with("columns", "columns = 3"), "columns", Some("columns")),
        ("negative-rating.toml", with("rated_kn", "rated_kn = -1000.0"), "rated_kn", Some("rated_kn")),
        ("no-load.toml", with("rated_kn", "rated_kn = 0.0"), "rated_kn", Some("rated_kn")),
        ("nan-rating.toml", with("rated_kn", "rated_kn = nan"), "rated_kn", Some("rated_kn")),
        ("infinite-rod.toml", with("rod_mm", "rod_mm = inf"), "rod_mm", Some("rod_mm")),
        ("short-rod.toml", with("rod_mm", "rod_mm = 99.0"), "rod_mm", Some("rod_mm")),
        (
            "above.toml",
            with("rated_height", "rated_height_mm = 200.5"),
            "rated_height_mm",
            Some("rated_height"),
        ),
        ("misspelt.toml", with("rated_kn", "rated_kN = 1000.0"), "rated_kN", None),
        ("not-toml.toml", with("rated_kn", "rated_kn 1000"), "not TOML", Some("rated_kn")),
    ] {
        let path = bench.give(name, text);
        let line = key.map(|key| format!("line {}", line_of(key)));
        let says: Vec<&str> = [name, says].into_iter().chain(line.as_deref()).collect();
        bench.refuses(&good, &path, &says);
    }
}

/// Every command that takes a die card.
fn die_commands(bench: &Bench, recording: &Path, press: &Path, die: &Path) -> Vec<Vec<String>> {
    let mut all = Vec::new();
    for words in bench.commands(recording, press) {
        if words[0] != "learn" {
            all.push(words.into_iter().chain(["--die".to_owned(), word(die).to_owned()]).collect());
        }
    }
    all
}

#[test]
fn a_bad_die_card_and_one_of_another_press_are_refused_by_every_command() {
    let bench = Bench::new(1);
    let made = simulated(bench.folder.path(), "small-press", 40, &[]);
    let die = bench.folder.path().join("die.toml");
    let recording = word(&made.recording);
    let learn = ["learn", recording, "--press", word(&made.press), "--die", "washer", "--out", word(&die)];
    let _ = bolster(learn).well();
    let card = std::fs::read_to_string(&die).unwrap();
    let press = std::fs::read_to_string(&made.press).unwrap();
    let other = bench.give("other-press.toml", press.replace("rated_kn = 250.0", "rated_kn = 300.0"));
    assert_ne!(std::fs::read_to_string(&other).unwrap(), press);
    for words in die_commands(&bench, &made.recording, &other, &die) {
        bolster(&words).refused(&["die.toml", "learnt on press", "rated_kn"]);
        bench.untouched(&words.join(" "));
    }
    // The first number of the first list is not a number any more; a table is gone; the file is cut short.
    let (before, after) = card.split_once("edges").expect("the shape has edges");
    let (_, after) = after.split_once('[').unwrap();
    let (_, rest) = after.split_once(',').unwrap();
    let cases = [
        ("nan-edge.toml", format!("{before}edges = [nan,{rest}")),
        ("text-edge.toml", format!("{before}edges = [\"one\",{rest}")),
        ("fewer-edges.toml", format!("{before}edges = [{rest}")),
        ("no-limits.toml", card.replace("[limits]", "[limitless]")),
        ("no-head.toml", card.split_once("[provenance]").unwrap().1.to_owned()),
        ("empty-card.toml", String::new()),
        ("cut-short.toml", card[..card.len() / 2].to_owned()),
        ("press-card.toml", press.clone()),
        ("no-text.toml", "\u{0}\u{1}\u{2}".to_owned()),
    ];
    for (name, text) in cases {
        let path = bench.give(name, text);
        for words in die_commands(&bench, &made.recording, &made.press, &path) {
            bolster(&words).refused(&[name]);
            bench.untouched(&words.join(" "));
        }
    }
}

/// A small file system of its own; taken away again when dropped.
struct Small(tempfile::TempDir);

impl Small {
    fn mount(size: &str) -> Option<Self> {
        let folder = tempfile::tempdir().unwrap();
        let mounted = Command::new("mount")
            .args(["-t", "tmpfs", "-o", &format!("size={size}"), "tmpfs"])
            .arg(folder.path())
            .output()
            .is_ok_and(|done| done.status.success());
        if !mounted {
            println!("note: skipped, no small file system can be mounted here");
        }
        mounted.then_some(Self(folder))
    }
}

impl Drop for Small {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg("-l").arg(self.0.path()).status();
    }
}

#[test]
fn a_disk_that_is_full_or_fills_up_keeps_the_old_file_and_nothing_else() {
    let Some(small) = Small::mount("48k") else { return };
    let bench = Bench::new(1);
    let made = simulated(bench.folder.path(), "small-press", 150, &[]);
    for name in bench.outputs() {
        std::fs::write(small.0.path().join(name), OLD).unwrap();
    }
    let unharmed = |after: &str| {
        assert_eq!(names(small.0.path()), bench.outputs(), "left behind by {after}");
        for name in bench.outputs() {
            assert_eq!(
                std::fs::read_to_string(small.0.path().join(name)).unwrap(),
                OLD,
                "{name} after {after}"
            );
        }
    };
    // Room for a start, not for 150 outcomes of half a kilobyte each; then a picture, then a card.
    let (recording, press) = (word(&made.recording), word(&made.press));
    let out = |name: &str| word(&small.0.path().join(name)).to_owned();
    let (jsonl, svg, toml) = (out("old.jsonl"), out("old.svg"), out("old.toml"));
    bolster(["replay", recording, "--press", press, "--jsonl", &jsonl]).refused(&["old.jsonl", "space"]);
    unharmed("replay");
    let simulated = out("");
    bolster(["simulate", "five-station", "--strokes", "2", "--out", &simulated])
        .refused(&["recording.csv", "space"]);
    unharmed("simulate");
    let import = [
        "import",
        recording,
        "--map",
        "stroke=stroke",
        "--map",
        "angle=angle_deg",
        "--map",
        "total=total_kn:kn",
    ];
    let foreign = out("rec.csv");
    bolster(import.iter().copied().chain(["--out", foreign.as_str()])).refused(&["rec.csv", "space"]);
    unharmed("import");
    // Not even a start: whatever the size of the result, the error comes before the work.
    let fill = small.0.path().join("fill");
    let _ = std::fs::write(&fill, vec![0; 1 << 20]);
    let full = ["replay", recording, "--press", press, "--jsonl", &jsonl];
    let (learn, plot) = (
        ["learn", recording, "--press", press, "--die", "a", "--out", &toml],
        ["plot", "strokes", recording, "--press", press, "--out", &svg],
    );
    let words = [full.to_vec(), learn.to_vec(), plot.to_vec()];
    let done: Vec<Done> = words.iter().map(bolster).collect();
    std::fs::remove_file(&fill).unwrap();
    for (words, done) in words.iter().zip(done) {
        done.refused(&[words.last().unwrap(), "space"]);
        unharmed(words[0]);
    }
}
