//! `bolster spectrum`: frame health from recorded strokes.

use std::path::{Path, PathBuf};

use clap::Args;

use super::plot::PictureFile;
use super::progress::Progress;
use super::{CAUTION, Failure, press_card, print};
use crate::figure::LoadUnit;
use crate::picture::{Caption, frame_health};
use crate::spectrum::{Wanted, examine};

/// How the frame rings, how its zeros and shares moved, and what it has borne
#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  bolster spectrum monday.csv.gz --press press-3.toml\n  bolster spectrum march.csv.gz june.csv.gz --press press-3.toml --out frame.png\n\nFrequency and damping come from the free vibration after the die has let go, found by itself: where a few decaying oscillations explain every column down to its noise. They are fitted to the unfiltered loads of up to 120 strokes at once; the logarithmic decrement of averaged crests and the spectrum (falling half of a Hann window, zero-padded eight times) stand beside them. What cannot be told to 1 % in frequency and 10 % in damping is not told. Give recordings in order of time: what moved is compared from the first strokes to the last. A recording needs time_s, or speed_spm with the angle. Fatigue weights compare a press with itself; they are no fatigue life."
)]
pub struct SpectrumArgs {
    /// Recordings in order of time, plain or gzip-compressed CSV
    #[arg(required = true)]
    pub recordings: Vec<PathBuf>,
    /// Press card
    #[arg(long, value_name = "TOML")]
    pub press: PathBuf,
    /// Calibration, for recordings of raw counts
    #[arg(long, value_name = "TOML")]
    pub calibration: Option<PathBuf>,
    /// Where free vibration begins, instead of finding it: crank angle in degrees; without angles seconds since the
    /// load last fell through half its peak
    #[arg(long, value_name = "PLACE")]
    pub from: Option<f64>,
    /// Where it ends, likewise
    #[arg(long, value_name = "PLACE")]
    pub to: Option<f64>,
    /// Draw spectra, decays and what moved: .svg, .png, or .csv for the spectra's numbers
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
    /// Print what was found as JSON
    #[arg(long)]
    pub json: bool,
}

/// Runs the command.
///
/// # Errors
/// [`Failure`] for bad input or an output that cannot be written.
pub fn run(args: &SpectrumArgs) -> Result<(), Failure> {
    let card = press_card(&args.press, args.calibration.as_deref())?;
    if let (Some(from), Some(to)) = (args.from, args.to)
        && from >= to
    {
        return Err(Failure::because(format!("--from {from} is not before --to {to}; swap them")));
    }
    let recordings: Vec<&Path> = args.recordings.iter().map(PathBuf::as_path).collect();
    let inputs = recordings.iter().copied().chain([args.press.as_path()]).chain(args.calibration.as_deref());
    let inputs: Vec<&Path> = inputs.collect();
    let picture = args.out.as_deref().map(|path| PictureFile::create(path, &inputs)).transpose()?;
    let mut progress = Progress::new("reading");
    let mut shown = |done, total, strokes| progress.show(done, total, strokes, "strokes");
    let wanted = Wanted { from: args.from, to: args.to };
    let health = examine(&recordings, &card, wanted, &mut shown)?;
    drop(progress);
    if let Some(file) = picture {
        let caption = Caption { subtitle: format!("Press {}", health.press) };
        let Some(figure) = frame_health(&health, LoadUnit::Kn, &caption) else {
            let why = if health.recordings.iter().all(|recording| recording.sample_hz.is_none()) {
                "no recording tells time (it needs time_s, or speed_spm with the angle)"
            } else {
                "no recording shows free vibration"
            };
            return Err(Failure::because(format!(
                "{why}, so there is no spectrum to draw; leave --out away for the rest"
            )));
        };
        file.write(&figure, figure.size())?;
    }
    if args.json {
        print(&format!("{}\n", serde_json::to_string_pretty(&health)?))
    } else {
        print(&format!("{}\n{CAUTION}\n", health.text()))
    }
}
