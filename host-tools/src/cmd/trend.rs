//! `bolster trend`: wear and drift over recordings or verdict files.

use std::path::{Path, PathBuf};

use clap::Args;

use super::plot::PictureFile;
use super::progress::Progress;
use super::{CAUTION, Failure, press_card, print};
use crate::card::die::DieCard;
use crate::figure::Size;
use crate::picture::{Caption, trend as picture};
use crate::trend::{Analysis, CONFIDENCE, FALSE_ALARM_STROKES, Gatherer, Trend, Wish, of_cards};

/// Find wear and drift over many strokes: slopes, changes, strokes left before a limit
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  bolster trend week-*.csv.gz --press press-3.toml --die bracket.toml --limit wear-work=12 --picture wear.png\n  bolster trend monday.jsonl tuesday.jsonl --json\n\nFiles are read in the order given, recordings and verdict files (replay --jsonl) alike. With a learnt die card wear is measured against its frozen reference (wear-work, wear-return); without one as work at the usual peak load (work-at-load).\n\nAll strokes of a coil share its thickness and strength and count as one value, so mark coil changes; a trend takes 8 coils.\n\nLimits of a die card and a press card count where they are given; --limit adds others. wear-work has none of its own: what it read when the die was last due for a regrind is a good one."
)]
pub struct TrendArgs {
    /// Recordings or verdict files, oldest first
    #[arg(required = true, value_name = "FILE")]
    pub files: Vec<PathBuf>,
    /// Press card
    #[arg(long, value_name = "TOML")]
    pub press: Option<PathBuf>,
    /// Calibration, for recordings of raw counts
    #[arg(long, value_name = "TOML", requires = "press")]
    pub calibration: Option<PathBuf>,
    /// Die card
    #[arg(long, value_name = "TOML", requires = "press")]
    pub die: Option<PathBuf>,
    /// Limit of a quantity by its name, such as wear-work=12
    #[arg(long = "limit", value_name = "NAME=VALUE", value_parser = limit)]
    pub limits: Vec<(String, f64)>,
    /// Quantity to draw; by default the first with a trend
    #[arg(long, value_name = "NAME", requires = "picture")]
    pub quantity: Option<String>,
    /// Strokes in which one false alarm is tolerated, all quantities together
    #[arg(long, value_name = "STROKES", default_value_t = FALSE_ALARM_STROKES, value_parser = strokes)]
    pub false_alarm: f64,
    /// Confidence of intervals, a share
    #[arg(long, value_name = "SHARE", default_value_t = CONFIDENCE, value_parser = confidence)]
    pub confidence: f64,
    /// Draw a quantity over strokes: .svg, .png or .csv
    #[arg(long, value_name = "FILE")]
    pub picture: Option<PathBuf>,
    /// Print JSON
    #[arg(long)]
    pub json: bool,
}

fn limit(text: &str) -> Result<(String, f64), String> {
    let what = || format!("`{text}` is no limit such as wear-work=12");
    let (name, value) = text.split_once('=').ok_or_else(what)?;
    let value: f64 = value.parse().map_err(|_| what())?;
    if value.is_finite() && !name.is_empty() { Ok((name.to_owned(), value)) } else { Err(what()) }
}

fn within(text: &str, least: f64, most: f64) -> Result<f64, String> {
    let value: Result<f64, _> = text.parse();
    value
        .ok()
        .filter(|value| (least..=most).contains(value))
        .ok_or_else(|| format!("`{text}` is no number between {least} and {most}"))
}

fn strokes(text: &str) -> Result<f64, String> {
    within(text, 1e4, 1e10)
}

fn confidence(text: &str) -> Result<f64, String> {
    within(text, 0.5, 0.999)
}

/// Runs the command.
///
/// # Errors
/// [`Failure`] for bad input, or an output that cannot be written.
pub fn run(args: &TrendArgs) -> Result<(), Failure> {
    let press =
        args.press.as_deref().map(|path| press_card(path, args.calibration.as_deref())).transpose()?;
    let die = match (&args.die, &press) {
        (Some(path), Some(press)) => Some(DieCard::load(path, press)?),
        _ => None,
    };
    let cards = [args.press.as_ref(), args.die.as_ref(), args.calibration.as_ref()].into_iter().flatten();
    let inputs: Vec<&Path> = args.files.iter().chain(cards).map(PathBuf::as_path).collect();
    let file = args.picture.as_deref().map(|path| PictureFile::create(path, &inputs)).transpose()?;
    let mut gatherer = Gatherer::new();
    let mut progress = Progress::new("judging");
    for path in &args.files {
        let mut shown = |done, total, strokes| progress.show(done, total, strokes, "strokes");
        gatherer.file(path, press.as_ref(), die.as_ref(), &mut shown)?;
    }
    drop(progress);
    let (history, columns) = gatherer.finish();
    let mut limits = args.limits.clone();
    // What is asked for counts before what the cards say.
    limits.extend(press.iter().flat_map(|press| of_cards(press, die.as_ref(), &columns)));
    let wish = Wish { false_alarm_strokes: args.false_alarm, confidence: args.confidence, limits };
    let analysis = Analysis::of(&history, &columns, &wish);
    for (name, _) in &args.limits {
        if !named(&analysis, name)?.foretells {
            return Err(Failure::because(format!(
                "{name} shows where an edge dulls and not how far it is: give its limit to wear-work or wear-return"
            )));
        }
    }
    let drawn = match &args.quantity {
        Some(name) => Some(named(&analysis, name)?),
        None => analysis.foremost(),
    };
    if let (Some(file), Some(trend)) = (file, drawn) {
        let name = |path: &Path| path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        let files: Vec<String> = args.files.iter().map(|path| name(path)).collect();
        let files = match files.as_slice() {
            [first, .., last] => format!("{first} to {last}"),
            _ => files.concat(),
        };
        let press = press.as_ref().map(|press| format!("Press {}, ", press.name)).unwrap_or_default();
        let die = die.as_ref().map(|die| format!("die {}, ", die.die.name)).unwrap_or_default();
        let figure = picture(&analysis, trend, &Caption { subtitle: format!("{press}{die}{files}") });
        file.write(&figure, Size::NORMAL)?;
    }
    if args.json {
        print(&format!("{}\n", serde_json::to_string_pretty(&analysis)?))
    } else {
        print(&format!("{}\n{CAUTION}\n", analysis.text()))
    }
}

fn named<'a>(analysis: &'a Analysis, name: &str) -> Result<&'a Trend, Failure> {
    analysis.quantities.iter().find(|trend| trend.quantity == name).ok_or_else(|| {
        let names: Vec<&str> = analysis.quantities.iter().map(|trend| trend.quantity.as_str()).collect();
        Failure::because(format!("no quantity is called {name} here; there are {}", names.join(", ")))
    })
}
