//! `bolster import`: files of other data loggers into our recording form.

use clap::Args;

use super::progress::Progress;
use super::{Failure, print};
use crate::import::{ImportArgs, ImportReport, run as import};

/// Bring a data logger's file into the recording form
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  bolster import logger.txt --map time=1:s --map total=2:kn:gain=0.5 --out stroke.csv"
)]
pub struct ImportCommand {
    /// What to import and how.
    #[command(flatten)]
    pub import: ImportArgs,
    /// Print the report as JSON
    #[arg(long)]
    pub json: bool,
}

/// Runs the command.
///
/// # Errors
/// [`Failure`] for files that cannot be understood as told, or an output that cannot be written.
pub fn run(args: &ImportCommand) -> Result<(), Failure> {
    let mut progress = Progress::new("importing");
    let report = import(&args.import, &mut |done, total| progress.show(done, total, done >> 20, "MiB"))?;
    drop(progress);
    if args.json {
        return print(&format!("{}\n", serde_json::to_string_pretty(&report)?));
    }
    print(&text(&report))
}

fn text(report: &ImportReport) -> String {
    let mut text = format!(
        "{}: {} strokes, {} rows of {} read\n",
        report.out.display(),
        report.strokes,
        report.rows_written,
        report.rows_read
    );
    let left_out = [
        (report.rows_missing, "without a number in a mapped column"),
        (report.rows_before_first_stroke, "before the first stroke"),
    ];
    for (rows, why) in left_out.into_iter().filter(|(rows, _)| *rows > 0) {
        text += &format!("  {rows} rows left out: {why}\n");
    }
    if report.rows_ragged > 0 {
        text += &format!("  {} rows with another number of fields than the rest\n", report.rows_ragged);
    }
    let peaks = report.peaks;
    text += &format!(
        "peaks from {:.3} to {:.3} {}, mean {:.3}\n",
        peaks.lowest, peaks.highest, report.unit, peaks.mean
    );
    text
}
