//! The commands, one file each, and what they share: exit codes, the caution, progress.
//!
//! Exit codes: 0 done, 1 bad input or failure (one message on stderr), 2 bad usage, 3 a finding that the
//! caller asked to be told of. Results go to stdout, talk to stderr; a closed pipe is no failure.

pub mod accept;
pub mod calibrate;
pub mod demo;
pub mod import;
pub mod learn;
#[cfg(feature = "console")]
pub mod password;
pub mod plan;
pub mod plot;
pub mod progress;
pub mod replay;
pub mod report;
#[cfg(feature = "console")]
pub mod serve;
pub mod simulate;
pub mod spectrum;
pub mod sweep;
pub mod trend;

use std::error::Error;
use std::fmt::Write as _;
use std::io;
use std::path::Path;
use std::process::ExitCode;

use clap::{Parser, Subcommand};

use crate::card::die::DieCard;
use crate::card::press::PressCard;
use crate::diagnose::{Diagnoser, Diagnosis, JudgedStroke};
use crate::material::Materials;
use crate::plan::job::Job;
use crate::plan::press::Candidate;
use crate::session::{Outcome, Session};

/// Printed by every command that sets, changes or proposes limits, and in every report.
pub const CAUTION: &str = "\
Bolster warns and can withhold a run signal. It is no safeguard and replaces no guard, light
curtain, two-hand control, anti-repeat or overload device, die block or lock-out. Ratings and
allowed reverse loads come from the press builder. Set limits with qualified people and follow
local codes. Keep hands out of the die.";

/// See the force in the press: plan, learn, watch, diagnose, replay.
#[derive(Debug, Parser)]
#[command(name = "bolster", version, about, after_help = CAUTION, max_term_width = 100)]
struct Program {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    Accept(accept::AcceptArgs),
    Calibrate(calibrate::CalibrateArgs),
    Demo(demo::DemoArgs),
    Import(import::ImportCommand),
    Learn(learn::LearnArgs),
    #[cfg(feature = "console")]
    Password(password::PasswordArgs),
    Plan(plan::PlanArgs),
    Plot(plot::PlotArgs),
    Replay(replay::ReplayArgs),
    Report(report::ReportArgs),
    #[cfg(feature = "console")]
    Serve(serve::ServeArgs),
    Simulate(simulate::SimulateArgs),
    Spectrum(spectrum::SpectrumArgs),
    Sweep(sweep::SweepArgs),
    Trend(trend::TrendArgs),
}

/// Why a command ends otherwise than well.
#[derive(Debug)]
pub enum Failure {
    /// Bad input or failure; the message says what happened, where and what to do.
    Message(String),
    /// The command ran; what it found is what the caller asked to be told of (exit 3).
    Found,
}

impl Failure {
    /// A failure with this message.
    pub fn because(message: impl Into<String>) -> Self {
        Self::Message(message.into())
    }
}

impl<E: Error + 'static> From<E> for Failure {
    /// The error and everything beneath it on one line, nothing said twice.
    fn from(error: E) -> Self {
        let mut message = error.to_string();
        let mut cause = error.source();
        while let Some(beneath) = cause {
            let text = beneath.to_string();
            if !message.contains(&text) {
                let _ = write!(message, ": {text}");
            }
            cause = beneath.source();
        }
        Self::Message(message)
    }
}

/// Runs the program with the process's arguments.
#[must_use]
pub fn main() -> ExitCode {
    let done = match Program::parse().command {
        Command::Accept(args) => accept::run(&args),
        Command::Calibrate(args) => calibrate::run(&args),
        Command::Demo(args) => demo::run(&args),
        Command::Import(args) => import::run(&args),
        Command::Learn(args) => learn::run(&args),
        #[cfg(feature = "console")]
        Command::Password(args) => password::run(&args),
        Command::Plan(args) => plan::run(&args),
        Command::Plot(args) => plot::run(&args),
        Command::Replay(args) => replay::run(&args),
        Command::Report(args) => report::run(&args),
        #[cfg(feature = "console")]
        Command::Serve(args) => serve::run(&args),
        Command::Simulate(args) => simulate::run(&args),
        Command::Spectrum(args) => spectrum::run(&args),
        Command::Sweep(args) => sweep::run(&args),
        Command::Trend(args) => trend::run(&args),
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(Failure::Found) => ExitCode::from(3),
        Err(Failure::Message(message)) => {
            eprintln!("bolster: {message}");
            ExitCode::from(1)
        }
    }
}

/// Reads a press card, and its calibration where one is given.
///
/// # Errors
/// [`Failure`] if either cannot be read or they do not go together.
pub fn press_card(path: &Path, calibration: Option<&Path>) -> Result<PressCard, Failure> {
    let mut card = PressCard::load(path)?;
    if let Some(calibration) = calibration {
        card.calibrate_by(calibration)?;
    }
    Ok(card)
}

/// What diagnoses strokes judged by a die; none without one, or where it has no learnt signatures. The press's frame
/// is that beside its card (`press.plan.toml`) where there is one.
///
/// # Errors
/// [`Failure`] for a job file or a press that cannot be read, or a job of other hits.
pub fn diagnoser(
    path: &Path,
    press: &PressCard,
    die: Option<&DieCard>,
    job: Option<(&Path, u32)>,
) -> Result<Option<Diagnoser>, Failure> {
    let job = job
        .map(|(path, hit)| Ok::<_, Failure>((Job::load(path, &Materials::built_in()?)?, hit)))
        .transpose()?;
    let Some(die) = die.filter(|die| die.shape.is_some()) else { return Ok(None) };
    // Without a file beside it a card gives one candidate; gears differ in speed only.
    let candidate = crate::plan::press::load(path)?.into_iter().next();
    let candidate = candidate.ok_or_else(|| Failure::because(format!("{}: no press", path.display())))?;
    let candidate = Candidate { spec: press.spec, ..candidate };
    Ok(Some(Diagnoser::new(&candidate, die, job.as_ref().map(|(job, hit)| (job, *hit)))?))
}

/// The diagnosis of the stroke whose outcome came last.
pub fn diagnosed(diagnoser: &mut Diagnoser, outcome: &Outcome, session: &Session) -> Option<Diagnosis> {
    let signature = session.signature();
    let stroke = JudgedStroke { outcome, signature: signature.as_deref(), expected: session.expected() };
    diagnoser.stroke(stroke)
}

/// Prints to stdout; a reader that has gone away (a closed pipe) ends the program quietly.
///
/// # Errors
/// [`Failure`] if stdout cannot be written for another reason.
pub fn print(text: &str) -> Result<(), Failure> {
    match io::Write::write_all(&mut io::stdout().lock(), text.as_bytes()) {
        Err(why) if why.kind() == io::ErrorKind::BrokenPipe => std::process::exit(0),
        Err(why) => Err(Failure::because(format!("standard output cannot be written: {why}"))),
        Ok(()) => Ok(()),
    }
}
