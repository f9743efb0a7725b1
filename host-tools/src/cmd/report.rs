//! `bolster report`: what is handed over, one file.

use std::io::Write as _;
use std::path::{Path, PathBuf};

use clap::{Args, Subcommand};

use super::plan::UnitName;
use super::progress::Progress;
use super::{Failure, diagnoser, press_card, print};
use crate::calibrate::run::Run;
use crate::calibrate::stored::Stored;
use crate::card::die::DieCard;
use crate::card::press::PressCard;
use crate::judge::rows_of;
use crate::output::Output;
use crate::picture::StrokeReadings;
use crate::report::gather::{Gathered, around, from_recording, from_verdicts, up_to};
use crate::report::{BESIDE, Calibration, Die, Evidence, Provenance, Shift, Stop};

/// Strokes shown as load centres beside the one a report is about.
const CENTRES: usize = 200;

/// Write a report to be handed over: one HTML file, made to be printed
#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  bolster report shift monday.csv.gz --press press-3.toml --die bracket.toml --out monday.html\n  bolster report stop monday.csv.gz --press press-3.toml --die bracket.toml --stroke 18204 --out stop.html\n  bolster report die --press press-3.toml --die bracket.toml --verdicts monday.jsonl --out bracket.html\n  bolster report calibration calibration.toml --run run.csv --out calibration.html\n  bolster report shift --data bolster-data --of P3 --from 2026-01-05T06:00 --to 2026-01-05T14:00 --out early.html\n\nThe file needs nothing beside it: pictures are inside, nothing is fetched. Print it from a browser, on A4 or Letter,\nor to PDF."
)]
pub struct ReportArgs {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// What a press did, what stopped it, what was changed meanwhile
    Shift(ShiftArgs),
    /// What a die's strokes may do, what that rests on, what it stopped
    Die(DieArgs),
    /// One stroke: what was found, where it shows, what it usually is
    Stop(StopArgs),
    /// What a calibration gives, what it is worth, what it does not cover
    Calibration(CalibrationArgs),
}

/// Where strokes come from.
#[derive(Debug, Args)]
struct Source {
    /// Recording, plain or gzip-compressed CSV
    #[arg(conflicts_with = "verdicts")]
    recording: Option<PathBuf>,
    /// Verdict file of replay --jsonl, instead of a recording
    #[arg(long, value_name = "JSONL")]
    verdicts: Option<PathBuf>,
    /// Press card
    #[arg(long, value_name = "TOML")]
    press: Option<PathBuf>,
    /// Calibration, for recordings of raw counts
    #[arg(long, value_name = "TOML", requires = "recording")]
    calibration: Option<PathBuf>,
    /// Die card
    #[arg(long, value_name = "TOML", requires = "press")]
    die: Option<PathBuf>,
    /// Job file of the plan: stations can then be named in the diagnosis
    #[arg(long, value_name = "TOML", requires = "die")]
    job: Option<PathBuf>,
    /// Hit of the job that this die makes
    #[arg(long, value_name = "N", default_value_t = 1, requires = "job")]
    hit: u32,
    #[command(flatten)]
    stored: StoredSource,
    #[command(flatten)]
    out: OutArgs,
}

/// The console's database as a source.
#[cfg(feature = "console")]
#[derive(Debug, Args)]
struct StoredSource {
    /// Folder of the console's database, instead of a recording
    #[arg(long, value_name = "FOLDER", conflicts_with_all = ["recording", "verdicts", "press", "die"])]
    data: Option<PathBuf>,
    /// Name of the press in the database
    #[arg(long, value_name = "PRESS", requires = "data")]
    of: Option<String>,
    /// Not before this time, UTC: 2026-01-05 or 2026-01-05T06:00
    #[arg(long, value_name = "TIME", requires = "data", value_parser = moment)]
    from: Option<i64>,
    /// Before this time, UTC
    #[arg(long, value_name = "TIME", requires = "data", value_parser = moment)]
    to: Option<i64>,
}

/// Without the console there is no database.
#[cfg(not(feature = "console"))]
#[derive(Debug, Args)]
struct StoredSource {}

#[cfg(feature = "console")]
fn moment(text: &str) -> Result<i64, String> {
    crate::markup::time_of(text)
        .ok_or_else(|| "a time such as 2026-01-05 or 2026-01-05T06:00, UTC".to_owned())
}

/// What every report takes.
#[derive(Debug, Args)]
struct OutArgs {
    /// Report to write: .html, or .html.gz
    #[arg(long, value_name = "HTML")]
    out: PathBuf,
    /// Unit of loads
    #[arg(long, value_enum, default_value_t = UnitName::Kn)]
    unit: UnitName,
}

#[derive(Debug, Args)]
struct ShiftArgs {
    #[command(flatten)]
    source: Source,
}

#[derive(Debug, Args)]
struct DieArgs {
    #[command(flatten)]
    source: Source,
    /// Name of the die in the database
    #[cfg(feature = "console")]
    #[arg(long, value_name = "NAME", requires = "data")]
    named: Option<String>,
}

#[derive(Debug, Args)]
struct StopArgs {
    #[command(flatten)]
    source: Source,
    /// Stroke of the recording; the first with the worst verdict otherwise
    #[arg(long)]
    stroke: Option<u64>,
    /// Number of the stroke in the database, as its page shows it; the latest stop otherwise
    #[cfg(feature = "console")]
    #[arg(long, value_name = "NUMBER", requires = "data", conflicts_with = "stroke")]
    number: Option<i64>,
}

#[derive(Debug, Args)]
struct CalibrationArgs {
    /// Calibration of bolster calibrate
    calibration: PathBuf,
    /// The run it was made from: readings, errors at each step, a picture
    #[arg(long, value_name = "CSV")]
    run: Option<PathBuf>,
    /// Press card, for the distance between gauges where the reference was moved
    #[arg(long, value_name = "TOML")]
    press: Option<PathBuf>,
    /// Expanded uncertainty (k = 2) of the reference, percent of load, as it was given to calibrate
    #[arg(long, value_name = "PERCENT", requires = "run")]
    reference_percent: Option<f64>,
    #[command(flatten)]
    out: OutArgs,
}

/// Runs the command.
///
/// # Errors
/// [`Failure`] for bad input or a report that cannot be written.
pub fn run(args: &ReportArgs) -> Result<(), Failure> {
    let (out, html) = match &args.what {
        What::Shift(args) => shift(args)?,
        What::Die(args) => die(args)?,
        What::Stop(args) => stop(args)?,
        What::Calibration(args) => calibration(args)?,
    };
    let path = out.path().to_owned();
    write(out, &html)?;
    print(&format!("{}\n", path.display()))
}

fn write(mut out: Output, html: &str) -> Result<(), Failure> {
    out.write_all(html.as_bytes())?;
    Ok(out.commit()?)
}

/// Strokes of files with what they were judged by.
struct Found {
    press: PressCard,
    die: Option<DieCard>,
    gathered: Gathered,
    /// Where they come from, in a few words.
    span: String,
    provenance: Provenance,
}

fn name(path: &Path) -> String {
    path.file_name().unwrap_or(path.as_os_str()).to_string_lossy().into_owned()
}

impl Source {
    fn files(&self) -> Vec<&Path> {
        let all = [&self.recording, &self.verdicts, &self.press, &self.calibration, &self.die, &self.job];
        all.into_iter().flatten().map(PathBuf::as_path).collect()
    }

    /// The report's file, opened before the work whose result it takes.
    fn open(&self) -> Result<Output, Failure> {
        Ok(Output::apart_from(&self.out.out, &self.files())?)
    }

    /// Judges or reads the strokes; `asked` is the stroke the report is about.
    fn found(&self, asked: Option<u64>) -> Result<Found, Failure> {
        let Some(path) = &self.press else {
            return Err(Failure::because(
                "name a recording or --verdicts with its --press, or the console's --data",
            ));
        };
        let press = press_card(path, self.calibration.as_deref())?;
        let die = self.die.as_deref().map(|path| DieCard::load(path, &press)).transpose()?;
        let mut provenance = Provenance::now();
        let (gathered, span) = match (&self.recording, &self.verdicts) {
            (Some(recording), _) => {
                let job = self.job.as_deref().map(|job| (job, self.hit));
                let diagnoser = diagnoser(path, &press, die.as_ref(), job)?;
                let mut progress = Progress::new("judging");
                let mut shown = |done, total, strokes| progress.show(done, total, strokes, "strokes");
                let gathered = from_recording(recording, &press, die.as_ref(), diagnoser, asked, &mut shown)?;
                provenance.add_file("Recording", recording)?;
                if let Some(rate) = gathered.rate {
                    let how = if rate.is_measured { "as measured" } else { "assumed" };
                    provenance.add("Sampled at", format!("{:.0} Hz, {how}", rate.hz));
                }
                (gathered, format!("recording {}", name(recording)))
            }
            (None, Some(verdicts)) => {
                let gathered = from_verdicts(verdicts, &press, asked)?;
                provenance.add_file("Verdicts", verdicts)?;
                (gathered, format!("verdicts {}", name(verdicts)))
            }
            (None, None) => (Gathered::default(), String::new()),
        };
        provenance.add_file("Press card", path)?;
        for (what, path) in
            [("Die card's file", &self.die), ("Calibration", &self.calibration), ("Job", &self.job)]
        {
            if let Some(path) = path {
                provenance.add_file(what, path)?;
            }
        }
        if let Some(die) = &die {
            provenance.add_die(die, "as the file has it");
        }
        Ok(Found { press, die, gathered, span, provenance })
    }
}

impl Found {
    /// The die and what its card is in words.
    fn die_says(&self) -> Option<(String, String)> {
        self.die.as_ref().map(|die| (die.die.name.clone(), die.standing_says()))
    }

    /// # Errors
    /// [`Failure`] if there is no stroke.
    fn some(self, source: &Source) -> Result<Self, Failure> {
        if self.gathered.strokes.is_empty() {
            let what = source.recording.as_ref().or(source.verdicts.as_ref());
            let what = what.map_or_else(|| "the report".to_owned(), |path| path.display().to_string());
            return Err(Failure::because(format!(
                "{what}: there are no strokes to report on; name a recording or a verdict file with some"
            )));
        }
        Ok(self)
    }
}

fn shift(args: &ShiftArgs) -> Result<(Output, String), Failure> {
    let source = &args.source;
    let out = source.open()?;
    let unit = source.out.unit.unit();
    #[cfg(feature = "console")]
    if let Some(data) = &source.stored.data {
        let (store, press) = open_store(data, source.stored.of.as_deref())?;
        return Ok((out, crate::report::stored::shift(&store, &press, &source.stored.span(), unit)?.html()));
    }
    let found = source.found(None)?.some(source)?;
    let dies = found.die_says().into_iter().map(|(die, says)| format!("die {die}, {says}")).collect();
    let Found { press, gathered, span, provenance, .. } = found;
    let strokes = gathered.strokes;
    let shift = Shift { press, dies, span, strokes, happenings: Vec::new(), unit, provenance };
    Ok((out, shift.html()))
}

fn die(args: &DieArgs) -> Result<(Output, String), Failure> {
    let source = &args.source;
    let out = source.open()?;
    let unit = source.out.unit.unit();
    #[cfg(feature = "console")]
    if let Some(data) = &source.stored.data {
        let (store, press) = open_store(data, source.stored.of.as_deref())?;
        let dies: Vec<String> = store.dies(Some(&press))?.into_iter().map(|row| row.die).collect();
        let die = one_of(dies, args.named.as_deref(), "die", "--named")?;
        let report = crate::report::stored::die(&store, &press, &die, &source.stored.span(), unit)?;
        return Ok((out, report.html()));
    }
    if source.die.is_none() {
        return Err(Failure::because("name the die's card with --die and its press with --press"));
    }
    let Found { press, die, gathered, span, provenance } = source.found(None)?;
    let Some(card) = die else { return Err(Failure::because("name the die's card with --die")) };
    let strokes = gathered.strokes;
    let report = Die { press, card, versions: Vec::new(), strokes, span, unit, provenance };
    Ok((out, report.html()))
}

fn stop(args: &StopArgs) -> Result<(Output, String), Failure> {
    let source = &args.source;
    let out = source.open()?;
    let unit = source.out.unit.unit();
    #[cfg(feature = "console")]
    if let Some(data) = &source.stored.data {
        use crate::console::store::{Store, StrokeFilter};
        let store = Store::open_existing(data)?;
        let number = match args.number {
            Some(number) => number,
            None => {
                let (_, press) = open_store(data, source.stored.of.as_deref())?;
                let stops = StrokeFilter { press: Some(press), least: 2, ..StrokeFilter::default() };
                let latest = store.strokes(&stops, 1)?.first().map(|row| row.id);
                latest.ok_or_else(|| Failure::because("no stroke was stopped; name one with --number"))?
            }
        };
        return Ok((out, crate::report::stored::stop(&store, number, unit)?.html()));
    }
    let found = source.found(args.stroke)?.some(source)?;
    let die = found.die_says();
    let Found { press, gathered, span, provenance, .. } = found;
    let chosen = gathered.chosen.and_then(|n| Some((n, gathered.strokes.get(n)?.clone())));
    let Some((at, stroke)) = chosen else {
        let asked = args.stroke.unwrap_or(0);
        return Err(Failure::because(format!("{span} does not hold stroke {asked}")));
    };
    let rows = source
        .recording
        .as_deref()
        .map(|recording| rows_of(recording, &press, stroke.outcome.stroke))
        .transpose()?;
    let report = Stop {
        die,
        source: span,
        readings: rows.map(|rows| StrokeReadings { rows }),
        band: gathered.band,
        beside: around(&gathered.strokes, at, BESIDE),
        before: up_to(&gathered.strokes, at, CENTRES),
        stroke,
        press,
        unit,
        provenance,
    };
    Ok((out, report.html()))
}

fn calibration(args: &CalibrationArgs) -> Result<(Output, String), Failure> {
    let files = [Some(&args.calibration), args.run.as_ref(), args.press.as_ref()];
    let files: Vec<&Path> = files.into_iter().flatten().map(PathBuf::as_path).collect();
    let out = Output::apart_from(&args.out.out, &files)?;
    let reference = args.reference_percent.unwrap_or(super::calibrate::REFERENCE_PERCENT);
    if !(reference > 0.0 && reference <= 100.0) {
        return Err(Failure::because("--reference-percent must be above 0 and at most 100"));
    }
    let stored = Stored::load(&args.calibration)?;
    let card = args.press.as_deref().map(PressCard::load).transpose()?;
    if let Some(card) = &card {
        stored.expect_columns(&args.calibration, card.spec.columns)?;
    }
    let mut provenance = Provenance::now();
    provenance.add_file("Calibration", &args.calibration)?;
    let mut evidence = None;
    if let Some(path) = &args.run {
        let run = Run::load(path)?;
        let found = Evidence::of(run, card.as_ref().map(|card| card.spec.bolster_mm), reference)
            .map_err(|why| Failure::because(format!("{}: {why}", path.display())))?;
        if !found.gives(&stored) {
            return Err(Failure::because(format!(
                "{}: this run gives other zeros or gains than {}; name the run it was made from, and its --press where the reference was moved",
                path.display(),
                args.calibration.display()
            )));
        }
        provenance.add_file("Run", path)?;
        if args.reference_percent.is_none() {
            provenance.add(
                "Assumed",
                format!("expanded uncertainty of the reference {reference} % (not given, no source)"),
            );
        }
        evidence = Some(found);
    }
    if let Some(path) = &args.press {
        provenance.add_file("Press card", path)?;
    }
    let name = match &card {
        Some(card) => format!("of press {}", card.name),
        None => args.calibration.file_stem().unwrap_or_default().to_string_lossy().into_owned(),
    };
    let report = Calibration { name, stored, evidence, unit: args.out.unit.unit(), provenance };
    Ok((out, report.html()))
}

#[cfg(feature = "console")]
impl StoredSource {
    fn span(&self) -> crate::report::stored::Span {
        crate::report::stored::Span { from_ms: self.from, to_ms: self.to }
    }
}

/// The database and the press in it.
#[cfg(feature = "console")]
fn open_store(data: &Path, of: Option<&str>) -> Result<(crate::console::store::Store, String), Failure> {
    let store = crate::console::store::Store::open_existing(data)?;
    let press = one_of(store.presses()?, of, "press", "--of")?;
    Ok((store, press))
}

/// The one asked for, or the only one there is.
#[cfg(feature = "console")]
fn one_of(all: Vec<String>, asked: Option<&str>, what: &str, option: &str) -> Result<String, Failure> {
    match (asked, all.as_slice()) {
        (Some(asked), _) if all.iter().any(|name| name == asked) => Ok(asked.to_owned()),
        (Some(asked), _) => Err(Failure::because(format!(
            "the database has no {what} {asked}; it has {}",
            if all.is_empty() { "none".to_owned() } else { all.join(", ") }
        ))),
        (None, [only]) => Ok(only.clone()),
        (None, []) => Err(Failure::because(format!("the database has no {what} yet"))),
        (None, all) => Err(Failure::because(format!("name the {what} with {option}: {}", all.join(", ")))),
    }
}
