//! `bolster replay`: recorded strokes through the core.

use std::collections::BTreeMap;
use std::io::Write as _;
use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};
use serde::Serialize;

use super::plot::PictureFile;
use super::progress::Progress;
use super::{CAUTION, Failure, diagnosed, diagnoser, press_card, print};
use crate::card::die::{DieCard, Standing};
use crate::card::press::PressCard;
use crate::controller::{Emulator, replay as target};
use crate::diagnose::{self, Diagnoser, Diagnosis};
use crate::judge::{judge, put_in};
use crate::output::Output;
use crate::picture::Caption;
use crate::recording::Header;
use crate::review::{WhatIf, what_if};
use crate::session::{Outcome, SampleRate, Session, verdict_rank};

/// Judge recorded strokes: one JSON object a stroke, in order
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  bolster replay monday.csv.gz --press press-3.toml --die bracket.toml --jsonl monday.jsonl\n  bolster replay monday.csv.gz --press press-3.toml --die bracket.toml --what-if tighter.toml --picture what-if.png\n  bolster replay monday.csv.gz --press press-3.toml --die bracket.toml --on target --compare\n\nStrokes that were noted, held or tripped are diagnosed where the die has learnt signatures: where, what changed,\nand its usual causes with the signs for each (common practice, no source); --job lets stations be named.\n\nWith --on target the recording is fed to an emulated controller, built from the firmware's source, which gives the\nsame verdicts bit for bit; --compare holds it to that.\n\nWithout a die only the machine's limits apply. Exit 3 with --fail-on when a stroke was held or tripped."
)]
pub struct ReplayArgs {
    /// Recording, plain or gzip-compressed CSV
    pub recording: PathBuf,
    /// Press card
    #[arg(long, value_name = "TOML")]
    pub press: PathBuf,
    /// Calibration, for recordings of raw counts
    #[arg(long, value_name = "TOML")]
    pub calibration: Option<PathBuf>,
    /// Die card; a draft judges as well
    #[arg(long, value_name = "TOML")]
    pub die: Option<PathBuf>,
    /// Judge by this die card as well, in the same pass, and show what differs
    #[arg(long, value_name = "TOML")]
    pub what_if: Option<PathBuf>,
    /// Draw what differs: .svg, .png or .csv
    #[arg(long, value_name = "FILE", requires = "what_if")]
    pub picture: Option<PathBuf>,
    /// Job file of the plan: stations can then be named in the diagnosis
    #[arg(long, value_name = "TOML", requires = "die")]
    pub job: Option<PathBuf>,
    /// Hit of the job that this die makes
    #[arg(long, value_name = "N", default_value_t = 1, requires = "job")]
    pub hit: u32,
    /// Where to write one JSON object a stroke
    #[arg(long, value_name = "FILE")]
    pub jsonl: Option<PathBuf>,
    /// Where to judge: here, or on an emulated controller, its verdicts over its line (no diagnosis)
    #[arg(long, value_name = "WHERE", value_enum, default_value_t = On::Host, conflicts_with_all = ["what_if", "job"])]
    pub on: On,
    /// Judge here as well, and fail if the controller says anything else of any stroke
    #[arg(long)]
    pub compare: bool,
    /// Exit 3 if a stroke's verdict was this bad or worse
    #[arg(long, value_name = "VERDICT")]
    pub fail_on: Option<FailOn>,
    /// Print the summary as JSON
    #[arg(long)]
    pub json: bool,
}

/// Where strokes are judged.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum On {
    /// On this machine.
    Host,
    /// On a controller in the emulator, built from the firmware's source.
    Target,
}

/// From which verdict on a replay fails.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum FailOn {
    /// Notes, holds and trips.
    Note,
    /// Holds and trips.
    Hold,
    /// Trips only.
    Trip,
}

impl FailOn {
    fn includes(self, verdict: &str) -> bool {
        let from = match self {
            Self::Note => "note",
            Self::Hold => "hold",
            Self::Trip => "trip",
        };
        verdict_rank(verdict) >= verdict_rank(from)
    }
}

/// What a replay amounts to.
#[derive(Debug, Default, Serialize)]
struct Summary {
    strokes: u64,
    verdicts: BTreeMap<&'static str, u64>,
    reasons: BTreeMap<&'static str, u64>,
    greatest_peak_kn: f64,
    greatest_reverse_kn: f64,
    sample_hz: f64,
    sample_rate_measured: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    die: Option<DieUsed>,
    #[serde(skip_serializing_if = "Option::is_none")]
    what_if: Option<WhatIf>,
    #[serde(skip_serializing_if = "Option::is_none")]
    diagnosis: Option<diagnose::Summary>,
}

/// The die card that judged.
#[derive(Debug, Serialize)]
struct DieUsed {
    name: String,
    standing: Standing,
    says: String,
}

/// A stroke's verdict under the other card, beside the outcome under the card in use.
#[derive(Serialize)]
struct Other<'a> {
    verdict: &'a str,
    reasons: &'a [&'static str],
}

/// One line of the JSONL file.
#[derive(Serialize)]
struct Line<'a> {
    #[serde(flatten)]
    outcome: &'a Outcome,
    #[serde(skip_serializing_if = "Option::is_none")]
    what_if: Option<Other<'a>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    diagnosis: Option<&'a Diagnosis>,
}

impl Summary {
    fn take(&mut self, outcome: &Outcome) {
        self.strokes += 1;
        *self.verdicts.entry(outcome.verdict).or_default() += 1;
        for reason in &outcome.reasons {
            *self.reasons.entry(reason).or_default() += 1;
        }
        self.greatest_peak_kn = self.greatest_peak_kn.max(outcome.peak_kn);
        self.greatest_reverse_kn = self.greatest_reverse_kn.max(outcome.reverse_kn);
    }

    fn text(&self) -> String {
        let mut text = format!("{} strokes judged\n", self.strokes);
        for word in ["pass", "note", "hold", "trip"] {
            text += &format!("  {word:<5}{:>8}\n", self.verdicts.get(word).unwrap_or(&0));
        }
        for (reason, count) in &self.reasons {
            text += &format!("  {reason:<28}{count:>8}\n");
        }
        text += &format!(
            "greatest load {:.1} kN, greatest reverse load {:.1} kN\n",
            self.greatest_peak_kn, self.greatest_reverse_kn
        );
        if let Some(die) = &self.die {
            text += &format!("die {}: {}\n", die.name, die.says);
        }
        if let Some(diagnosis) = &self.diagnosis {
            text += &format!("\n{}", diagnosis.text());
        }
        if let Some(what_if) = &self.what_if {
            text += &format!("\n{}", what_if.text());
        }
        text
    }
}

/// Runs the command.
///
/// # Errors
/// [`Failure`] for bad input, an output that cannot be written, or what `--fail-on` asks for.
pub fn run(args: &ReplayArgs) -> Result<(), Failure> {
    let card = press_card(&args.press, args.calibration.as_deref())?;
    let load = |path: &PathBuf| DieCard::load(path, &card);
    let die = args.die.as_ref().map(load).transpose()?;
    let other = args.what_if.as_ref().map(load).transpose()?;
    let files = [args.die.as_ref(), args.what_if.as_ref(), args.calibration.as_ref(), args.job.as_ref()];
    let inputs: Vec<&Path> = [Some(&args.recording), Some(&args.press)]
        .into_iter()
        .chain(files)
        .flatten()
        .map(PathBuf::as_path)
        .collect();
    let output = args.jsonl.as_deref().map(|path| Output::apart_from(path, &inputs)).transpose()?;
    let picture = args.picture.as_deref().map(|path| PictureFile::create(path, &inputs)).transpose()?;
    if args.compare && args.on == On::Host {
        return Err(Failure::because(
            "--compare sets a controller's verdicts beside this machine's: add --on target",
        ));
    }
    let diagnoser = match args.on {
        On::Host => {
            diagnoser(&args.press, &card, die.as_ref(), args.job.as_deref().map(|job| (job, args.hit)))?
        }
        On::Target => None,
    };
    let mut taken =
        Taken { args, output, summary: Summary::default(), found: false, line: Vec::new(), diagnoser };
    taken.summary.diagnosis = taken.diagnoser.is_some().then(diagnose::Summary::default);
    let mut progress = Progress::new("judging");
    let mut shown = |done, total, strokes| progress.show(done, total, strokes, "strokes");
    let rate = if let Some(other) = &other {
        let dies = [die.as_ref(), Some(other)];
        let name = |path: &Option<PathBuf>| {
            let name = path.as_ref().and_then(|path| path.file_name());
            name.unwrap_or_default().to_string_lossy().into_owned()
        };
        let (file, other_file) = (name(&args.die), name(&args.what_if));
        let files = [file.as_str(), other_file.as_str()];
        let (what_if, rate) =
            what_if(&args.recording, &card, dies, files, &mut shown, |now, other, session| {
                taken.take(
                    now,
                    Some(session),
                    Some(Other { verdict: other.verdict, reasons: &other.reasons }),
                )
            })?;
        taken.summary.what_if = Some(what_if);
        rate
    } else if args.on == On::Target {
        on_target(args, &card, die.as_ref(), &mut taken)?
    } else {
        let set = |session: &mut Session, header: &Header| put_in(die.as_ref(), session, header);
        judge(&args.recording, &card, set, &mut shown, |outcome, session| {
            taken.take(outcome, Some(session), None)
        })?
    };
    drop(progress);
    let Taken { output, mut summary, found, .. } = taken;
    (summary.sample_hz, summary.sample_rate_measured) = (rate.hz, rate.is_measured);
    if let Some(diagnosis) = &mut summary.diagnosis {
        diagnosis.finish();
    }
    summary.die = die.as_ref().map(|die| DieUsed {
        name: die.die.name.clone(),
        standing: die.standing(),
        says: die.standing_says(),
    });
    if let (Some(file), Some(what_if)) = (picture, &summary.what_if) {
        let name = args.recording.file_name().unwrap_or_default().to_string_lossy();
        let figure = what_if.picture(&Caption { subtitle: format!("Press {}, {name}", card.name) });
        file.write(&figure, figure.size())?;
    }
    if let Some(output) = output {
        output.commit()?;
    }
    if args.json {
        print(&format!("{}\n", serde_json::to_string_pretty(&summary)?))?;
    } else {
        print(&format!("{}\n{CAUTION}\n", summary.text()))?;
    }
    if found { Err(Failure::Found) } else { Ok(()) }
}

/// Judges on an emulated controller.
fn on_target(
    args: &ReplayArgs,
    card: &PressCard,
    die: Option<&DieCard>,
    taken: &mut Taken<'_>,
) -> Result<SampleRate, Failure> {
    let program = Emulator::build()?;
    let (mut emulator, line, frames) = Emulator::start(&program)?;
    let job = target::Job { recording: &args.recording, card, die, compare: args.compare };
    let judged = target::judge(job, line, frames, |outcome, host| {
        if args.compare {
            let [here, there] = [host.map(serde_json::to_string), Some(serde_json::to_string(outcome))];
            let (here, there) = (here.transpose()?, there.transpose()?);
            if here != there {
                let text = |json: Option<String>| json.unwrap_or_else(|| "nothing".to_owned());
                return Err(Failure::because(format!(
                    "stroke {}: the controller says\n  {}\nand this machine\n  {}",
                    outcome.stroke,
                    text(there),
                    text(here)
                )));
            }
        }
        taken.take(outcome, None, None)
    });
    // What the emulator itself said is often why.
    judged.map_err(|why: Failure| match (why, emulator.said()) {
        (Failure::Message(message), said) if !said.is_empty() => {
            Failure::because(format!("{message} ({said})"))
        }
        (why, _) => why,
    })
}

/// Where outcomes go.
struct Taken<'a> {
    args: &'a ReplayArgs,
    output: Option<Output>,
    summary: Summary,
    found: bool,
    line: Vec<u8>,
    diagnoser: Option<Diagnoser>,
}

impl Taken<'_> {
    fn take(
        &mut self,
        outcome: &Outcome,
        session: Option<&Session>,
        what_if: Option<Other<'_>>,
    ) -> Result<(), Failure> {
        self.summary.take(outcome);
        let diagnosis = self
            .diagnoser
            .as_mut()
            .zip(session)
            .and_then(|(diagnoser, session)| diagnosed(diagnoser, outcome, session));
        if let (Some(sum), Some(diagnosis)) = (&mut self.summary.diagnosis, &diagnosis) {
            sum.take(outcome, diagnosis);
        }
        self.found |= self.args.fail_on.is_some_and(|from| from.includes(outcome.verdict));
        if let Some(output) = &mut self.output {
            self.line.clear();
            serde_json::to_writer(&mut self.line, &Line { outcome, what_if, diagnosis: diagnosis.as_ref() })?;
            self.line.push(b'\n');
            output.write_all(&self.line)?;
        }
        Ok(())
    }
}
