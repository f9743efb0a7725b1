//! The sample recordings: what each one is, and how it is made again byte for byte.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use bolster::card::die::DieCard;
use bolster::card::press::PressCard;
use bolster::judge::{JudgeError, judge, put_in};
use bolster::learn::{Wish, learn};
use bolster::recording::SimulatedWriter;
use bolster_sim::scenario::{FaultData, Scenario, find};
use bolster_sim::simulator::Simulator;
use bolster_sim::truth::Kind;

/// One sample recording.
struct Sample {
    /// Path below `sample-signatures`, without its ending.
    name: &'static str,
    scenario: &'static str,
    strokes: u32,
    /// What is wrong with which stroke, how badly.
    fault: Option<(Kind, f64)>,
}

/// The faulty stroke of a faulty sample.
const FAULTY: u32 = 5;
/// Samples are small: eight strokes or fewer, sampled slowly.
const SAMPLE_HZ: f64 = 1000.0;
/// Strokes the sample die cards are learnt from; those recordings are not kept.
const LEARNING: u32 = 120;

const SAMPLES: [Sample; 12] = [
    Sample { name: "good/small-press", scenario: "small-press", strokes: 8, fault: None },
    Sample { name: "good/brake-two-dies", scenario: "brake-two-dies", strokes: 6, fault: None },
    Sample { name: "good/five-station", scenario: "five-station", strokes: 6, fault: None },
    Sample { name: "good/forty-station", scenario: "forty-station", strokes: 6, fault: None },
    Sample {
        name: "faulty/small-press-double",
        scenario: "small-press",
        strokes: 8,
        fault: Some((Kind::Double, 1.0)),
    },
    Sample {
        name: "faulty/brake-loose-rod",
        scenario: "brake-two-dies",
        strokes: 6,
        fault: Some((Kind::LooseRod, 0.5)),
    },
    Sample {
        name: "faulty/five-station-slug",
        scenario: "five-station",
        strokes: 6,
        fault: Some((Kind::Slug, 0.5)),
    },
    Sample {
        name: "faulty/five-station-broken",
        scenario: "five-station",
        strokes: 6,
        fault: Some((Kind::Broken, 0.5)),
    },
    Sample {
        name: "faulty/five-station-no-strip",
        scenario: "five-station",
        strokes: 6,
        fault: Some((Kind::NoStrip, 1.0)),
    },
    Sample {
        name: "faulty/five-station-gauge-open",
        scenario: "five-station",
        strokes: 6,
        fault: Some((Kind::GaugeOpen, 1.0)),
    },
    Sample {
        name: "faulty/five-station-gauge-stuck",
        scenario: "five-station",
        strokes: 6,
        fault: Some((Kind::GaugeStuck, 1.0)),
    },
    Sample {
        name: "faulty/forty-station-shut-height",
        scenario: "forty-station",
        strokes: 6,
        fault: Some((Kind::ShutHeight, 0.5)),
    },
];

/// The folder of the samples.
#[must_use]
pub fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../sample-signatures")
}

fn scenario(name: &str) -> Scenario {
    let mut scenario = Scenario::from_toml(find(name).unwrap()).unwrap();
    // A quick press needs more readings a second for as many a stroke.
    scenario.sample_hz = SAMPLE_HZ * (scenario.drive.speed_spm / 60.0).max(1.0);
    scenario.faults.clear();
    scenario
}

fn recording(scenario: &Scenario, skip: u32) -> String {
    let simulator = Simulator::new(scenario).unwrap();
    let header = SimulatedWriter::header(simulator.press().columns);
    let mut writer = SimulatedWriter::new(Vec::new(), header).unwrap();
    for stroke in simulator.skip(skip as usize) {
        writer.write(&stroke).unwrap();
    }
    String::from_utf8(writer.finish().unwrap()).unwrap()
}

/// Every file of the sample folder that is made, by its path in it: press cards, die cards, recordings, manifest.
///
/// `scratch` is a folder for the recordings that the die cards are learnt from.
#[must_use]
pub fn make(scratch: &Path) -> BTreeMap<String, String> {
    let mut files = BTreeMap::new();
    for sample in &SAMPLES {
        let press = format!("presses/{}.toml", sample.scenario);
        let die = format!("dies/{}.toml", sample.scenario);
        if !files.contains_key(&die) {
            let mut learning = scenario(sample.scenario);
            learning.strokes = LEARNING;
            files.insert(press.clone(), bolster_sim::press::card(&learning));
            let card = PressCard::parse(&bolster_sim::press::card(&learning), Path::new(&press)).unwrap();
            let path = scratch.join(format!("{}-learning.csv", sample.scenario));
            std::fs::write(&path, recording(&learning, 0)).unwrap();
            let wish = Wish { die: format!("{} (invented)", sample.scenario), false_stop: 1e-4 };
            let learnt = learn(&path, &card, &wish, &mut |_, _, _| {}).unwrap();
            files.insert(die.clone(), learnt.to_toml().unwrap());
        }
        // The sample goes on where the learning ended, on the same coil.
        let mut made = scenario(sample.scenario);
        made.strokes = LEARNING + sample.strokes;
        made.faults = sample
            .fault
            .map(|(kind, severity)| FaultData {
                kind,
                severity,
                from: LEARNING + FAULTY,
                to: Some(LEARNING + FAULTY),
                probability: None,
                grows: false,
                station: None,
                column: None,
            })
            .into_iter()
            .collect();
        files.insert(format!("{}.csv", sample.name), recording(&made, LEARNING));
    }
    let manifest = manifest(&files, scratch);
    files.insert("MANIFEST.toml".to_owned(), manifest);
    files
}

fn manifest(files: &BTreeMap<String, String>, scratch: &Path) -> String {
    let mut text = String::from(
        "# Sample recordings: all invented, made by `cargo run --release -p bolster-claims --example samples -- --write`.\n",
    );
    for sample in &SAMPLES {
        let file = format!("{}.csv", sample.name);
        let of = |name: String| files.get(&name).unwrap();
        let press = format!("presses/{}.toml", sample.scenario);
        let die = format!("dies/{}.toml", sample.scenario);
        let paths = [
            ("sample.csv", of(file.clone())),
            ("press.toml", of(press.clone())),
            ("die.toml", of(die.clone())),
        ]
        .map(|(name, text)| {
            std::fs::write(scratch.join(name), text).unwrap();
            scratch.join(name)
        });
        let [recording, press_path, die_path] = &paths;
        let verdicts = verdicts(recording, press_path, die_path);
        let seed = scenario(sample.scenario).seed;
        let fault = sample.fault.map_or_else(
            || "none".to_owned(),
            |(kind, severity)| format!("{} {severity} at stroke {}", kind.name(), LEARNING + FAULTY),
        );
        let _ = write!(
            text,
            "\n[[sample]]\nfile = \"{file}\"\nsha256 = \"{}\"\nscenario = \"{}\"\nseed = {seed}\npress = \"{press}\"\n\
             die = \"{die}\"\nfault = \"{fault}\"\nverdicts = [{}]\n",
            sha256(of(file.clone())),
            sample.scenario,
            verdicts.iter().map(|v| format!("\"{v}\"")).collect::<Vec<_>>().join(", "),
        );
    }
    text
}

/// Each stroke's verdict, by the program's own library.
fn verdicts(recording: &Path, press: &Path, die: &Path) -> Vec<String> {
    let press = PressCard::load(press).unwrap();
    let die = DieCard::load(die, &press).unwrap();
    let mut verdicts = Vec::new();
    let judged = judge(
        recording,
        &press,
        |session, header| put_in(Some(&die), session, header),
        &mut |_, _, _| {},
        |outcome, _| {
            let reasons = outcome.reasons.join(" ");
            verdicts.push(format!("{} {reasons}", outcome.verdict).trim_end().to_owned());
            Ok::<(), JudgeError>(())
        },
    );
    judged.unwrap();
    verdicts
}

/// SHA-256 of a text, in hexadecimal.
#[must_use]
pub fn sha256(text: &str) -> String {
    use sha2::Digest as _;
    sha2::Sha256::digest(text.as_bytes()).iter().map(|byte| format!("{byte:02x}")).collect()
}
