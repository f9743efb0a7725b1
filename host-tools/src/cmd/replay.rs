//! `bolster replay`: recorded strokes through the core.

use std::collections::BTreeMap;
use std::io::Write as _;
use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};
use serde::Serialize;

use super::progress::Progress;
use super::{CAUTION, Failure, press_card, print};
use crate::card::die::DieCard;
use crate::judge::{judge, put_in};
use crate::output::Output;
use crate::session::{Outcome, verdict_rank};

/// Judge recorded strokes: one JSON object a stroke, in order
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  bolster replay monday.csv.gz --press press-3.toml --die bracket.toml --jsonl monday.jsonl\n\nWithout a die only the machine's limits apply. Exit 3 with --fail-on when a stroke was held or tripped."
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
    /// Where to write one JSON object a stroke
    #[arg(long, value_name = "FILE")]
    pub jsonl: Option<PathBuf>,
    /// Exit 3 if a stroke's verdict was this bad or worse
    #[arg(long, value_name = "VERDICT")]
    pub fail_on: Option<FailOn>,
    /// Print the summary as JSON
    #[arg(long)]
    pub json: bool,
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
        text
    }
}

/// Runs the command.
///
/// # Errors
/// [`Failure`] for bad input, an output that cannot be written, or what `--fail-on` asks for.
pub fn run(args: &ReplayArgs) -> Result<(), Failure> {
    let card = press_card(&args.press, args.calibration.as_deref())?;
    let die = args.die.as_deref().map(|path| DieCard::load(path, &card)).transpose()?;
    let inputs = [Some(&args.recording), Some(&args.press), args.die.as_ref(), args.calibration.as_ref()];
    let inputs: Vec<&Path> = inputs.into_iter().flatten().map(PathBuf::as_path).collect();
    let mut output = args.jsonl.as_deref().map(|path| Output::apart_from(path, &inputs)).transpose()?;
    let mut summary = Summary::default();
    let mut found = false;
    let mut line = Vec::new();
    let mut progress = Progress::new("judging");
    let mut shown = |done, total, strokes| progress.show(done, total, strokes, "strokes");
    let rate = judge(
        &args.recording,
        &card,
        |session, header| put_in(die.as_ref(), session, header),
        &mut shown,
        |outcome, _| {
            summary.take(outcome);
            found |= args.fail_on.is_some_and(|from| from.includes(outcome.verdict));
            if let Some(output) = &mut output {
                line.clear();
                serde_json::to_writer(&mut line, outcome)?;
                line.push(b'\n');
                output.write_all(&line)?;
            }
            Ok::<(), Failure>(())
        },
    )?;
    drop(progress);
    (summary.sample_hz, summary.sample_rate_measured) = (rate.hz, rate.is_measured);
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
