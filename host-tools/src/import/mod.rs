//! Brings files of other programs into recordings: any delimiter, names, units and ways to cut.
//!
//! Columns are mapped by strings `TARGET=COLUMN[:OPTION]...`, one a column:
//!
//! - `TARGET` is `stroke`, `angle`, `time`, `speed`, `coil`, `index` (a pulse once a turn), `s1` to
//!   `s8`, or a gauge: `total`; `left`, `right`; or `lf`, `rf`, `lr`, `rr`.
//! - `COLUMN` is a number from 1 or a name of the header row; quotes make a name of anything
//!   (`total="2"`, `left="Load: A"`).
//! - `OPTION` is a unit, `gain=G`, `offset=O`, `neg`, `min=A` or `max=B`: the value read is
//!   (value + O) · G in that unit, its sign turned by `neg`; a value below A or above B, as a
//!   converter that lost step gives, counts as missing. Units: `kn`, `n`, `tonf` (US), `tonne`, `lbf` or `raw` (counts, volts;
//!   the recording is then one of counts) for gauges, where one is needed; `s` (default), `ms`, `us`
//!   for time; `deg` (default), `rad` or `counts/N` (encoder counts, N a turn) for the angle.
//!
//! So `--map time=1:ms --map left=11:lbf:gain=0.0009 --map right=12:lbf:gain=0.0009`.
//!
//! Text may be UTF-8, UTF-16 with a byte-order mark, or Latin-1, and gzip-compressed. A line break
//! within quotes is not understood. Rows are streamed; only the rows of a zero or a lead are held.

mod args;
mod convert;
mod cut;
mod error;
mod mapping;
mod plan;
mod report;
mod table;
mod text;

#[cfg(test)]
mod tests;

use std::path::{Path, PathBuf};

pub use args::ImportArgs;
pub use error::ImportError;
pub use mapping::{Column, Mapping, Target, Unit};
pub use plan::{Cut, ImportPlan};
pub use report::{FileReport, ImportReport, LISTED_STROKES, Peaks, StrokeReport};
pub use text::Delimiter;

use crate::output::Output;
use convert::Importer;

/// Does what `bolster import` is told; `progress` gets bytes read and size of the file at work.
///
/// # Errors
/// [`ImportError`] with file, line and column; nothing is then written.
pub fn run(args: &ImportArgs, progress: &mut dyn FnMut(u64, u64)) -> Result<ImportReport, ImportError> {
    import(&args.files, &args.plan()?, &args.out, progress)
}

/// Imports files by a plan into one recording.
///
/// # Errors
/// As [`run`].
pub fn import(
    files: &[PathBuf],
    plan: &ImportPlan,
    out: &Path,
    progress: &mut dyn FnMut(u64, u64),
) -> Result<ImportReport, ImportError> {
    let checked = plan.check()?;
    if files.is_empty() {
        return Err(ImportError::Plan("no file is given; name the files to import".to_owned()));
    }
    let inputs: Vec<&Path> = files.iter().map(PathBuf::as_path).collect();
    let output = Output::apart_from(out, &inputs)?;
    let mut importer = Importer::new(plan, checked, output, out.to_owned())?;
    for file in files {
        importer.file(file, progress)?;
    }
    let (output, report) = importer.finish()?;
    output.commit()?;
    Ok(report)
}
