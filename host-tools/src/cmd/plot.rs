//! `bolster plot`: pictures of recorded strokes.

use std::io::Write as _;
use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};

use super::progress::Progress;
use super::{Failure, diagnosed, diagnoser, press_card, print};
use crate::card::die::DieCard;
use crate::figure::{Figure, LoadUnit, Size, png};
use crate::judge::{judge, put_in, rows_of};
use crate::output::Output;
use crate::picture::{
    Caption, LearntBand, StrokeCauses, StrokeReadings, capacity, diagnosed_signature, load_centres,
    over_strokes, shares, signature,
};
use crate::session::{Outcome, verdict_rank};

/// Draw recorded strokes: SVG or PNG by the output's ending, CSV for the numbers behind a picture
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  bolster plot signature monday.csv.gz --press press-3.toml --die bracket.toml --stroke 18204 --out stop.png\n\nWithout --stroke the first stroke with the worst verdict is drawn."
)]
pub struct PlotArgs {
    /// What to draw
    #[arg(value_enum)]
    pub what: What,
    /// Recording, plain or gzip-compressed CSV
    pub recording: PathBuf,
    /// Press card
    #[arg(long, value_name = "TOML")]
    pub press: PathBuf,
    /// Calibration, for recordings of raw counts
    #[arg(long, value_name = "TOML")]
    pub calibration: Option<PathBuf>,
    /// Die card
    #[arg(long, value_name = "TOML")]
    pub die: Option<PathBuf>,
    /// Job file of the plan: stations can then be named in the diagnosis
    #[arg(long, value_name = "TOML", requires = "die")]
    pub job: Option<PathBuf>,
    /// Hit of the job that this die makes
    #[arg(long, value_name = "N", default_value_t = 1, requires = "job")]
    pub hit: u32,
    /// Stroke to draw (signature, capacity)
    #[arg(long)]
    pub stroke: Option<u64>,
    /// Picture to write: .svg, .png or .csv
    #[arg(long, value_name = "FILE")]
    pub out: PathBuf,
    /// Unit of load
    #[arg(long, value_enum, default_value = "kn")]
    pub unit: Unit,
    /// Width and height in pixels
    #[arg(long, value_name = "WxH", value_parser = size)]
    pub size: Option<Size>,
}

/// Pictures there are.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum What {
    /// One stroke's signatures over the die's envelope
    Signature,
    /// One stroke's load against slide height under the capacity curve
    Capacity,
    /// Peaks, reverse loads and verdicts over strokes
    Strokes,
    /// Load centres on the bolster plate
    Centre,
    /// Column shares over strokes
    Shares,
}

/// Units of load a picture can be printed in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Unit {
    /// Kilonewtons
    Kn,
    /// US tons-force
    Tonf,
    /// Tonnes-force
    Tonne,
}

impl From<Unit> for LoadUnit {
    fn from(unit: Unit) -> Self {
        match unit {
            Unit::Kn => Self::Kn,
            Unit::Tonf => Self::UsTonf,
            Unit::Tonne => Self::TonneForce,
        }
    }
}

fn size(text: &str) -> Result<Size, String> {
    let whole = |part: &str| part.parse::<u32>().map_err(|_| format!("`{text}` is no size such as 1200x700"));
    let (width, height) = text.split_once('x').ok_or(format!("`{text}` is no size such as 1200x700"))?;
    Ok(Size::new(whole(width)?, whole(height)?))
}

/// A picture's file, opened before the work whose result it takes.
pub struct PictureFile {
    output: Output,
    form: Form,
}

/// Forms a picture can be written in.
#[derive(Debug, Clone, Copy)]
enum Form {
    Svg,
    Png,
    Csv,
}

impl PictureFile {
    /// Opens the file; its ending says the form. It may not be one of the files that the run reads.
    ///
    /// # Errors
    /// [`Failure`] for an unknown ending or an output that cannot be written.
    pub fn create(path: &Path, inputs: &[&Path]) -> Result<Self, Failure> {
        let ending = path.extension().and_then(|ending| ending.to_str()).unwrap_or("").to_ascii_lowercase();
        let form = match ending.as_str() {
            "svg" => Form::Svg,
            "png" => Form::Png,
            "csv" => Form::Csv,
            _ => {
                let why =
                    format!("{}: name the picture .svg or .png, or .csv for its numbers", path.display());
                return Err(Failure::because(why));
            }
        };
        Ok(Self { output: Output::apart_from(path, inputs)?, form })
    }

    /// Writes the figure, whole.
    ///
    /// # Errors
    /// [`Failure`] for data that cannot be drawn, or an output that cannot be written.
    pub fn write(mut self, figure: &dyn Figure, size: Size) -> Result<(), Failure> {
        match self.form {
            Form::Svg => self.output.write_all(figure.draw(size)?.as_bytes())?,
            Form::Png => self.output.write_all(&png(&figure.draw(size)?)?)?,
            Form::Csv => self.output.write_all(figure.table().to_csv().as_bytes())?,
        }
        Ok(self.output.commit()?)
    }
}

/// Runs the command.
///
/// # Errors
/// [`Failure`] for bad input or an output that cannot be written.
pub fn run(args: &PlotArgs) -> Result<(), Failure> {
    let card = press_card(&args.press, args.calibration.as_deref())?;
    let die = args.die.as_deref().map(|path| DieCard::load(path, &card)).transpose()?;
    let files = [args.die.as_ref(), args.calibration.as_ref(), args.job.as_ref()];
    let inputs = [Some(&args.recording), Some(&args.press)].into_iter().chain(files);
    let inputs: Vec<&Path> = inputs.flatten().map(PathBuf::as_path).collect();
    let job = args.job.as_deref().map(|job| (job, args.hit));
    let file = PictureFile::create(&args.out, &inputs)?;
    let unit = args.unit.into();
    let size = args.size.unwrap_or(Size::NORMAL);
    let diagnoses = matches!(args.what, What::Signature | What::Strokes);
    let mut diagnoser = diagnoser(&args.press, &card, die.as_ref(), job)?.filter(|_| diagnoses);
    let mut outcomes = Vec::new();
    let mut causes = StrokeCauses::default();
    let mut diagnosis = None;
    let mut progress = Progress::new("judging");
    let mut shown = |done, total, strokes| progress.show(done, total, strokes, "strokes");
    let mut band = None;
    let mut worst = None;
    judge(
        &args.recording,
        &card,
        |session, header| put_in(die.as_ref(), session, header),
        &mut shown,
        |outcome, session| {
            let drawn = args
                .stroke
                .map_or_else(|| verdict_rank(outcome.verdict) > worst, |stroke| stroke == outcome.stroke);
            let found = diagnoser.as_mut().and_then(|diagnoser| diagnosed(diagnoser, outcome, session));
            if let Some(found) = &found {
                causes.take(outcome, found);
            }
            if drawn {
                diagnosis = found;
                worst = verdict_rank(outcome.verdict);
                let learnt = session.baseline().zip(die.as_ref().and_then(|die| die.shape.as_ref()));
                band = learnt.map(|((baseline, edges), shape)| LearntBand::new(&baseline, &edges, shape));
            }
            outcomes.push(outcome.clone());
            Ok::<(), Failure>(())
        },
    )?;
    drop(progress);
    let name = args.recording.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    let die_name = die.as_ref().map(|die| format!(", die {}", die.die.name)).unwrap_or_default();
    let caption = Caption { subtitle: format!("Press {}{die_name}, {name}", card.name) };
    match args.what {
        What::Strokes => file.write(&causes.mark(over_strokes(&outcomes, &card, unit, &caption)), size)?,
        What::Centre => file.write(&load_centres(&outcomes, &card, &caption), size)?,
        What::Shares => file.write(&shares(&outcomes, &card, &caption), size)?,
        What::Signature | What::Capacity => {
            let outcome = chosen(&outcomes, &args.recording, args.stroke)?;
            let readings = StrokeReadings { rows: rows_of(&args.recording, &card, outcome.stroke)? };
            if args.what == What::Signature {
                let figure = signature(&readings, outcome, band.as_ref(), &card, unit, &caption);
                file.write(&diagnosed_signature(figure, diagnosis.as_ref()), size)?;
            } else {
                let figure = capacity(&readings, outcome, &card, unit, &caption);
                let figure = figure.ok_or(Failure::because(
                    "the recording has no crank angle on the way down, so there is no slide height to draw against",
                ))?;
                file.write(&figure, size)?;
            }
        }
    }
    print(&format!("{}\n", args.out.display()))
}

/// The stroke asked for, or the first of those with the worst verdict.
fn chosen<'a>(
    outcomes: &'a [Outcome],
    recording: &Path,
    stroke: Option<u64>,
) -> Result<&'a Outcome, Failure> {
    let found = match stroke {
        Some(number) => outcomes.iter().find(|outcome| outcome.stroke == number),
        None => {
            let worst = outcomes.iter().map(|outcome| verdict_rank(outcome.verdict)).max().flatten();
            outcomes.iter().find(|outcome| verdict_rank(outcome.verdict) == worst)
        }
    };
    let asked = stroke.map_or_else(|| "any stroke".to_owned(), |number| format!("stroke {number}"));
    found.ok_or_else(|| {
        Failure::because(format!("{}: the recording does not hold {asked}", recording.display()))
    })
}
