//! `bolster learn`: a die's envelope from good strokes.

use std::io::Write as _;
use std::path::{Path, PathBuf};

use clap::Args;

use super::progress::Progress;
use super::{CAUTION, Failure, press_card, print};
use crate::card::die::DieCard;
use crate::learn::{Part, Wish, learn_part};
use crate::output::Output;

/// Learn a die's envelope from a recording of good strokes: a draft die card
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  bolster learn good.csv.gz --press press-3.toml --die bracket --out bracket.toml --false-stop 1e-4\n\nA hundred good strokes over three coils or more are worth having. The card is a draft: look at what it would\nhave stopped (bolster replay --die) before a named engineer accepts it."
)]
pub struct LearnArgs {
    /// Recording of good strokes, plain or gzip-compressed CSV
    pub recording: PathBuf,
    /// Press card
    #[arg(long, value_name = "TOML")]
    pub press: PathBuf,
    /// Calibration, for recordings of raw counts
    #[arg(long, value_name = "TOML")]
    pub calibration: Option<PathBuf>,
    /// Name of the die
    #[arg(long, value_name = "NAME")]
    pub die: String,
    /// Die card to write
    #[arg(long, value_name = "TOML")]
    pub out: PathBuf,
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

/// Runs the command.
///
/// # Errors
/// [`Failure`] for bad input, too few strokes, or an output that cannot be written.
pub fn run(args: &LearnArgs) -> Result<(), Failure> {
    let press = press_card(&args.press, args.calibration.as_deref())?;
    let inputs: Vec<&Path> = [Some(&args.recording), Some(&args.press), args.calibration.as_ref()]
        .into_iter()
        .flatten()
        .map(PathBuf::as_path)
        .collect();
    let mut output = Output::apart_from(&args.out, &inputs)?;
    let mut progress = Progress::new("learning");
    let mut shown = |done, total, strokes| progress.show(done, total, strokes, "strokes");
    let wish = Wish { die: args.die.clone(), false_stop: args.false_stop };
    let part = Part { first: args.first, ignore_coils: args.ignore_coils };
    let card = learn_part(&args.recording, &press, &wish, part, &mut shown)?;
    drop(progress);
    output.write_all(card.to_toml()?.as_bytes())?;
    output.commit()?;
    if args.json {
        return print(&format!(
            "{}\n",
            serde_json::to_string_pretty(&(&card.die, &card.provenance, &card.limits))?
        ));
    }
    print(&format!("{}\nwritten: {}\n\n{CAUTION}\n", summary(&card), args.out.display()))
}

/// What was learnt, in words.
#[must_use]
pub fn summary(card: &DieCard) -> String {
    let Some(from) = &card.provenance else {
        return format!("die {} on press {}: not learnt yet\n", card.die.name, card.die.press.name);
    };
    let mut text = format!(
        "die {} on press {}: draft from {} of {} strokes, {} coil(s){}\n",
        card.die.name,
        card.die.press.name,
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
    text += &format!("{}\n", from.evidence);
    text
}

fn rate(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(rate) if (1e-9..=0.1).contains(&rate) => Ok(rate),
        _ => Err("a share of strokes between 1e-9 and 0.1, such as 1e-4".to_owned()),
    }
}
