//! `bolster demo`: the whole job on an invented press, with everything left in a folder to look at.

use std::collections::BTreeMap;
use std::io::Write as _;
use std::path::{Path, PathBuf};

use bolster_sim::scenario::{FaultData, Scenario};
use bolster_sim::simulator::{SimStroke, Simulator};
use bolster_sim::truth::{Kind, Truth};
use clap::Args;

use super::learn::summary;
use super::plot::PictureFile;
use super::progress::Progress;
use super::simulate::{folder, scenario, write_strokes, write_text};
use super::{CAUTION, Failure, print};
use crate::card::die::DieCard;
use crate::card::press::PressCard;
use crate::figure::{LoadUnit, Size};
use crate::judge::{judge, put_in, rows_of};
use crate::learn::{Wish, learn};
use crate::output::Output;
use crate::picture::{
    Caption, LearntBand, StrokeReadings, capacity, load_centres, over_strokes, shares, signature,
};
use crate::recording::{Header, SimulatedWriter};
use crate::report::{self, Provenance, Shift};
use crate::session::{Outcome, verdict_rank};

/// The whole job on an invented press: simulate, learn, judge a shift with faults, draw
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  bolster demo\n\nEverything it makes is invented and lies in demo-out/.")]
pub struct DemoArgs {
    /// Folder for everything the demo makes
    #[arg(long, value_name = "FOLDER", default_value = "demo-out")]
    pub out: PathBuf,
    /// Seed of the invented strokes
    #[arg(long, default_value_t = 42)]
    pub seed: u64,
}

/// Good strokes to learn from: two coils and the first strokes of a third.
const LEARNING: u32 = 220;
/// Strokes of the shift, over coils not seen in learning.
const SHIFT: u32 = 280;
const PER_COIL: u32 = 110;
/// Faults of the shift, each once at each severity.
const FAULTS: [Kind; 12] = [
    Kind::Dull,
    Kind::Broken,
    Kind::NoStrip,
    Kind::Double,
    Kind::Misfeed,
    Kind::ShutHeight,
    Kind::Slug,
    Kind::LooseRod,
    Kind::HardMaterial,
    Kind::GaugeStuck,
    Kind::GaugeGain,
    Kind::GaugeOpen,
];
const SEVERITIES: [f64; 3] = [0.05, 0.15, 0.5];
/// First faulty stroke of the shift and the distance between faults.
const FIRST_FAULT: u32 = LEARNING + 12;
const FAULT_EVERY: u32 = 7;

/// The demo's scenario: the built-in five-station die, with every fault once at each severity in the shift.
fn shift_scenario(seed: u64) -> Result<Scenario, Failure> {
    let mut scenario = scenario("five-station")?;
    scenario.seed = seed;
    scenario.strokes = LEARNING + SHIFT;
    scenario.strip.strokes_per_coil = PER_COIL;
    let faults =
        SEVERITIES.into_iter().flat_map(|severity| FAULTS.into_iter().map(move |kind| (kind, severity)));
    scenario.faults = (FIRST_FAULT..)
        .step_by(FAULT_EVERY as usize)
        .zip(faults)
        .map(|(stroke, (kind, severity))| FaultData {
            kind,
            severity,
            from: stroke,
            to: Some(stroke),
            probability: None,
            grows: false,
            station: None,
            column: None,
        })
        .collect();
    Ok(scenario)
}

/// Runs the command.
///
/// # Errors
/// [`Failure`] if something cannot be written.
pub fn run(args: &DemoArgs) -> Result<(), Failure> {
    let out = &args.out;
    folder(out)?;
    let at = |name: &str| out.join(name);
    print(&format!(
        "Aldermoor Pressings, press P3, die: solar bracket. All invented; seed {}.\n\n",
        args.seed
    ))?;

    print("1  Simulating good strokes, then a shift with faults that runs on into new coils.\n")?;
    let scenario = shift_scenario(args.seed)?;
    let mut simulator = Simulator::new(&scenario)?;
    let press_path = at("press.toml");
    write_text(&press_path, &bolster_sim::press::card(&scenario))?;
    let press = PressCard::load(&press_path)?;
    let header = Header {
        sensors: SimulatedWriter::sensors(scenario.sensor_inputs()),
        ..SimulatedWriter::header(press.spec.columns)
    };
    let (good, shift) = (at("good-strokes.csv.gz"), at("shift.csv.gz"));
    let (mut recording, mut truth) = (Output::create(&good)?, Output::create(&at("good-strokes.truth.csv"))?);
    let learning = simulator.by_ref().take(LEARNING as usize);
    write_strokes(learning, LEARNING, header, &mut recording, &mut truth)?;
    recording.commit()?;
    truth.commit()?;
    let (mut recording, mut truth) = (Output::create(&shift)?, Output::create(&at("shift.truth.csv"))?);
    let mut truths: BTreeMap<u64, Truth> = BTreeMap::new();
    let kept = simulator.inspect(|stroke: &SimStroke| {
        truths.insert(u64::from(stroke.number), stroke.truth.clone());
    });
    write_strokes(kept, SHIFT, header, &mut recording, &mut truth)?;
    recording.commit()?;
    truth.commit()?;

    print("2  Learning the die's envelope from the good strokes.\n")?;
    let wish = Wish { die: "solar bracket".into(), false_stop: 1e-4 };
    let mut progress = Progress::new("learning");
    let die = learn(&good, &press, &wish, &mut |done, total, n| progress.show(done, total, n, "strokes"))?;
    drop(progress);
    write_text(&at("die.toml"), &die.to_toml()?)?;
    print(&indented(&summary(&die)))?;

    print("3  Judging every stroke of the shift with the core that runs on the controller.\n")?;
    let judged = judge_shift(&shift, &press, &die, &at("verdicts.jsonl"))?;

    print(
        "4  Drawing, and the shift's report: shift-report.html, to be opened in a browser and printed.\n\n",
    )?;
    draw(out, &shift, &press, &judged)?;
    write_report(out, &shift, &press, &die, &judged)?;

    print(&table(&judged.outcomes, &truths))?;
    let mut files: Vec<String> = std::fs::read_dir(out)?
        .filter_map(|entry| entry.ok().map(|entry| entry.path().display().to_string()))
        .collect();
    files.sort();
    print(&format!("\nIn {}:\n  {}\n\n{CAUTION}\n", out.display(), files.join("\n  ")))
}

fn indented(text: &str) -> String {
    text.lines().map(|line| format!("   {line}\n")).collect()
}

/// A judged shift: every outcome, and the band in force at the stroke worth drawing.
struct Judged {
    outcomes: Vec<Outcome>,
    held: Option<(u64, LearntBand)>,
}

fn judge_shift(shift: &Path, press: &PressCard, die: &DieCard, jsonl: &Path) -> Result<Judged, Failure> {
    let mut output = Output::create(jsonl)?;
    let mut progress = Progress::new("judging");
    let mut judged = Judged { outcomes: Vec::new(), held: None };
    judge(
        shift,
        press,
        |session, header| put_in(Some(die), session, header),
        &mut |done, total, strokes| progress.show(done, total, strokes, "strokes"),
        |outcome, session| {
            serde_json::to_writer(&mut output, outcome)?;
            output.write_all(b"\n")?;
            // The first stroke that the learnt shape held is the one to look at.
            let by_shape = outcome.findings.iter().any(|finding| finding.reason.ends_with("off-envelope"));
            if judged.held.is_none() && outcome.verdict == "hold" && by_shape {
                let band = session
                    .baseline()
                    .zip(die.shape.as_ref())
                    .map(|((baseline, edges), shape)| LearntBand::new(&baseline, &edges, shape));
                judged.held = band.map(|band| (outcome.stroke, band));
            }
            judged.outcomes.push(outcome.clone());
            Ok::<(), Failure>(())
        },
    )?;
    output.commit()?;
    Ok(judged)
}

/// The shift as whoever takes over would read it.
fn write_report(
    out: &Path,
    shift: &Path,
    press: &PressCard,
    die: &DieCard,
    judged: &Judged,
) -> Result<(), Failure> {
    let mut provenance = Provenance::now();
    provenance.add("Everything", "invented by bolster demo");
    let unreadable = |why| Failure::because(format!("{}: cannot be read again ({why})", shift.display()));
    provenance.add_file("Recording", shift).map_err(unreadable)?;
    provenance.add_text("Press card", &press.name, &press.to_toml());
    provenance.add_die(die, "die.toml");
    let one = |outcome: &Outcome| report::Judged { outcome: outcome.clone(), at_ms: None, told: None };
    let shift = Shift {
        press: press.clone(),
        dies: vec![format!("die {}, {}", die.die.name, die.standing_says())],
        span: "recording shift.csv.gz (invented)".to_owned(),
        strokes: judged.outcomes.iter().map(one).collect(),
        happenings: Vec::new(),
        unit: LoadUnit::Kn,
        provenance,
    };
    write_text(&out.join("shift-report.html"), &shift.html())
}

fn draw(out: &Path, shift: &Path, press: &PressCard, judged: &Judged) -> Result<(), Failure> {
    let caption = Caption { subtitle: format!("Press {}, die solar bracket, invented", press.name) };
    let both = |figure: &dyn crate::figure::Figure, name: &str| {
        PictureFile::create(&out.join(format!("{name}.svg")), &[])?.write(figure, Size::NORMAL)?;
        PictureFile::create(&out.join(format!("{name}.png")), &[])?.write(figure, Size::NORMAL)
    };
    let unit = LoadUnit::Kn;
    both(&over_strokes(&judged.outcomes, press, unit, &caption), "strokes")?;
    both(&load_centres(&judged.outcomes, press, &caption), "load-centre")?;
    both(&shares(&judged.outcomes, press, &caption), "shares")?;
    let Some((stroke, band)) = &judged.held else { return Ok(()) };
    let Some(outcome) = judged.outcomes.iter().find(|outcome| outcome.stroke == *stroke) else {
        return Ok(());
    };
    let readings = StrokeReadings { rows: rows_of(shift, press, *stroke)? };
    both(&signature(&readings, outcome, Some(band), press, unit, &caption), "held-stroke")?;
    if let Some(figure) = capacity(&readings, outcome, press, unit, &caption) {
        both(&figure, "capacity")?;
    }
    Ok(())
}

/// Verdicts against truth: of each fault, which verdict each severity got; of good strokes, how many were stopped.
fn table(outcomes: &[Outcome], truths: &BTreeMap<u64, Truth>) -> String {
    let mut faults: BTreeMap<(usize, u32), Vec<&Outcome>> = BTreeMap::new();
    let (mut good, mut stopped, mut noted) = (0, 0, 0);
    for outcome in outcomes {
        let Some(truth) = truths.get(&outcome.stroke) else { continue };
        if truth.severity > 0.0 {
            let kind = FAULTS.iter().position(|kind| *kind == truth.kind).unwrap_or(FAULTS.len());
            faults.entry((kind, (truth.severity * 100.0).round() as u32)).or_default().push(outcome);
        } else {
            good += 1;
            noted += u32::from(outcome.verdict == "note");
            stopped += u32::from(verdict_rank(outcome.verdict) >= verdict_rank("hold"));
        }
    }
    let mut text = String::from(
        "Verdicts against truth\n\n  fault            at 5 %   15 %     50 %     main reason at 50 %\n",
    );
    let (mut found, mut all) = (0, 0);
    for (n, kind) in FAULTS.iter().enumerate() {
        text += &format!("  {:<16}", kind.name());
        let mut reason = "-";
        for percent in SEVERITIES.map(|severity| (severity * 100.0).round() as u32) {
            let outcome = faults.get(&(n, percent)).and_then(|strokes| strokes.first());
            text += &format!(" {:<8}", outcome.map_or("-", |outcome| outcome.verdict));
            if let Some(outcome) = outcome {
                all += 1;
                found += u32::from(verdict_rank(outcome.verdict) >= verdict_rank("hold"));
                let worst = outcome.findings.iter().find(|finding| finding.verdict == outcome.verdict);
                reason = worst.map_or("-", |finding| finding.says);
            }
        }
        text += &format!(" {reason}\n");
    }
    text + &format!(
        "\n  {found} of {all} faulty strokes stopped; {stopped} of {good} good strokes stopped, {noted} noted as a change of stock\n"
    )
}
