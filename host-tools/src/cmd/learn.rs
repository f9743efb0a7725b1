//! `bolster learn`: a die's envelope from good strokes.

use std::io::Write as _;
use std::path::{Path, PathBuf};

use clap::Args;
use serde::Serialize;

use super::plot::PictureFile;
use super::progress::Progress;
use super::{CAUTION, Failure, press_card, print};
use crate::card::die::{DieCard, Head, LimitsCard, Provenance, Standing};
use crate::card::press::PressCard;
use crate::learn::{Part, Wish, learn_part};
use crate::output::Output;
use crate::picture::Caption;
use crate::review::Review;

/// Learn a die's envelope from a recording of good strokes: a draft die card
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  bolster learn good.csv.gz --press press-3.toml --die bracket --out bracket.toml --false-stop 1e-4\n  bolster learn --draft bracket.toml --press press-3.toml --review monday.csv.gz tuesday.csv.gz --picture review.png\n\nA hundred good strokes over three coils or more are worth having. The card is a draft: --review shows what its limits\nwould have done to recorded strokes, which strokes each would have stopped and how close the rest came, and notes in\nthe card that they were shown. A named engineer then accepts the card with bolster accept."
)]
pub struct LearnArgs {
    /// Recording of good strokes, plain or gzip-compressed CSV
    #[arg(required_unless_present = "draft")]
    pub recording: Option<PathBuf>,
    /// Press card
    #[arg(long, value_name = "TOML")]
    pub press: PathBuf,
    /// Calibration, for recordings of raw counts
    #[arg(long, value_name = "TOML")]
    pub calibration: Option<PathBuf>,
    /// Name of the die
    #[arg(long, value_name = "NAME", required_unless_present = "draft")]
    pub die: Option<String>,
    /// Die card to write
    #[arg(long, value_name = "TOML", required_unless_present = "draft")]
    pub out: Option<PathBuf>,
    /// Learn nothing: review this die card, and note the review in it
    #[arg(long, value_name = "TOML", requires = "review",
          conflicts_with_all = ["recording", "die", "out", "false_stop", "first", "ignore_coils"])]
    pub draft: Option<PathBuf>,
    /// Show what the card's limits would have done to these recordings
    #[arg(long, value_name = "REC", num_args = 1..)]
    pub review: Vec<PathBuf>,
    /// Draw the review: .svg, .png or .csv
    #[arg(long, value_name = "FILE", requires = "review")]
    pub picture: Option<PathBuf>,
    /// Tolerated false stops a stroke
    #[arg(long, value_name = "RATE", default_value_t = 1e-4, value_parser = rate)]
    pub false_stop: f64,
    /// Learn from the first so many whole strokes only
    #[arg(long, value_name = "STROKES")]
    pub first: Option<u64>,
    /// Learn as if the recording marked no coils
    #[arg(long)]
    pub ignore_coils: bool,
    /// Print what was learnt as JSON
    #[arg(long)]
    pub json: bool,
}

/// What the command prints as JSON.
#[derive(Serialize)]
struct Json<'a> {
    die: &'a Head,
    standing: Standing,
    provenance: &'a Option<Provenance>,
    limits: &'a LimitsCard,
    #[serde(skip_serializing_if = "Option::is_none")]
    review: Option<&'a Review>,
}

/// Runs the command.
///
/// # Errors
/// [`Failure`] for bad input, too few strokes, or an output that cannot be written.
pub fn run(args: &LearnArgs) -> Result<(), Failure> {
    let press = press_card(&args.press, args.calibration.as_deref())?;
    let inputs: Vec<&Path> = [args.recording.as_ref(), Some(&args.press), args.calibration.as_ref()]
        .into_iter()
        .flatten()
        .chain(&args.review)
        .map(PathBuf::as_path)
        .collect();
    let Some(out) = args.out.as_ref().or(args.draft.as_ref()) else {
        return Err(Failure::because("name the die card to write with --out"));
    };
    let mut output = Output::apart_from(out, &inputs)?;
    let apart: Vec<&Path> = inputs.iter().copied().chain([out.as_path()]).collect();
    let picture = args.picture.as_deref().map(|path| PictureFile::create(path, &apart)).transpose()?;
    let mut card = match (&args.draft, &args.recording, &args.die) {
        (Some(draft), ..) => DieCard::load(draft, &press)?,
        (None, Some(recording), Some(die)) => learnt(args, recording, die, &press)?,
        _ => return Err(Failure::because("name a recording and a die to learn, or a card with --draft")),
    };
    let mut review = None;
    if !args.review.is_empty() {
        let mut progress = Progress::new("reviewing");
        let mut shown = |done, total, strokes| progress.show(done, total, strokes, "strokes");
        let found = crate::review::review(&args.review, &press, &card, &mut shown)?;
        drop(progress);
        card.note_reviews(found.recordings.clone());
        if let Some(file) = picture {
            let names: Vec<&str> = found.recordings.iter().map(|one| one.recording.as_str()).collect();
            let subtitle = format!("Press {}, {}: {}", press.name, card.standing_says(), names.join(", "));
            let figure = found.picture(&card, &Caption { subtitle });
            file.write(&figure, figure.size())?;
        }
        review = Some(found);
    }
    output.write_all(card.to_toml()?.as_bytes())?;
    output.commit()?;
    if args.json {
        let json = Json {
            die: &card.die,
            standing: card.standing(),
            provenance: &card.provenance,
            limits: &card.limits,
            review: review.as_ref(),
        };
        return print(&format!("{}\n", serde_json::to_string_pretty(&json)?));
    }
    let review = review.map(|review| format!("\n{}", review.text())).unwrap_or_default();
    print(&format!("{}{review}\nwritten: {}\n\n{CAUTION}\n", summary(&card), out.display()))
}

fn learnt(args: &LearnArgs, recording: &Path, die: &str, press: &PressCard) -> Result<DieCard, Failure> {
    let mut progress = Progress::new("learning");
    let mut shown = |done, total, strokes| progress.show(done, total, strokes, "strokes");
    let wish = Wish { die: die.to_owned(), false_stop: args.false_stop };
    let part = Part { first: args.first, ignore_coils: args.ignore_coils };
    Ok(learn_part(recording, press, &wish, part, &mut shown)?)
}

/// What was learnt, in words.
#[must_use]
pub fn summary(card: &DieCard) -> String {
    let Some(from) = &card.provenance else {
        return format!("die {} on press {}: not learnt yet\n", card.die.name, card.die.press.name);
    };
    let mut text = format!(
        "die {} on press {}: {} from {} of {} strokes, {} coil(s){}\n",
        card.die.name,
        card.die.press.name,
        if card.standing() == Standing::Accepted { "learnt" } else { "draft" },
        from.strokes_used,
        from.strokes_seen,
        from.coils,
        if from.coil_changes_marked { " as marked" } else { " as found from the strokes" },
    );
    if !from.strokes_left_out.is_empty() {
        let list: Vec<String> = from.strokes_left_out.iter().map(ToString::to_string).collect();
        text += &format!(
            "left out as unlike the rest (look at them; they may be rare good ones): {}\n",
            list.join(", ")
        );
    }
    text += &format!("evidence:\n  {}\n", from.evidence.replace("; ", ";\n  "));
    text
}

fn rate(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(rate) if (1e-9..=0.1).contains(&rate) => Ok(rate),
        _ => Err("a share of strokes between 1e-9 and 0.1, such as 1e-4".to_owned()),
    }
}
