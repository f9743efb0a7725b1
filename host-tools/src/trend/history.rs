//! Histories from files: recordings judged on the way, and verdict files of `replay`, one after the other.

use std::io::{BufRead as _, BufReader};
use std::path::{Path, PathBuf};

use serde::Deserialize;

use super::cells::{Cells, History, Observation};
use super::quantity::{Measured, values};
use crate::card::die::DieCard;
use crate::card::press::PressCard;
use crate::judge::{JudgeError, Shown, judge, put_in};
use crate::recording::Source;
use crate::session::{Outcome, verdict_rank};
use crate::wear::WearReading;

/// Longest line of a verdict file, bytes: a diagnosis makes them long, nothing makes them this long.
const LONGEST: u64 = 4 << 20;

/// Why a history cannot be read.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum HistoryError {
    /// A recording.
    #[error(transparent)]
    Judge(#[from] JudgeError),
    /// A recording without a press card.
    #[error("{}: a recording needs its press card: give --press, or a verdict file that replay --jsonl wrote", .0.display())]
    NoPress(PathBuf),
    /// A file.
    #[error("{}: the file cannot be read: {why}", path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// Why.
        why: String,
    },
    /// A line of a verdict file.
    #[error("{}: line {line}: {why}; verdict files come from replay --jsonl", path.display())]
    Line {
        /// The file.
        path: PathBuf,
        /// Line, from 1.
        line: u64,
        /// What is wrong.
        why: String,
    },
    /// Columns differ.
    #[error("{}: its columns are {found} where the files before it have {before}; one press at a time", path.display())]
    Columns {
        /// The file.
        path: PathBuf,
        /// In this file.
        found: String,
        /// Before.
        before: String,
    },
    /// Nothing in it.
    #[error("{}: no stroke in it", .0.display())]
    Empty(PathBuf),
}

/// What a trend needs of a line of a verdict file.
#[derive(Deserialize)]
struct Line {
    stroke: u64,
    verdict: String,
    peak_kn: f64,
    reverse_kn: f64,
    columns: Vec<LineColumn>,
    #[serde(default)]
    work_kj: Option<f64>,
    #[serde(default)]
    contact_angle_deg: Option<f64>,
    #[serde(default)]
    coil: u64,
    #[serde(default)]
    wear: Option<WearReading>,
}

#[derive(Deserialize)]
struct LineColumn {
    name: String,
    peak_kn: f64,
}

/// Gathers a history file by file.
#[derive(Debug, Clone, Default)]
pub struct Gatherer {
    columns: Vec<String>,
    cells: Option<Cells>,
    /// What is added to a file's stroke numbers, and the last number so far.
    offset: u64,
    last: u64,
}

impl Gatherer {
    /// Nothing yet.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Reads a file: a verdict file if it begins with `{`, else a recording, which needs the press's card. Stroke numbers go
    /// on over files; where a file begins anew they are counted on from the last one.
    ///
    /// # Errors
    /// [`HistoryError`] names file and line.
    pub fn file(
        &mut self,
        path: &Path,
        press: Option<&PressCard>,
        die: Option<&DieCard>,
        shown: Shown<'_>,
    ) -> Result<(), HistoryError> {
        let before = self.last;
        self.offset = 0;
        let unreadable = |why: String| HistoryError::Unreadable { path: path.to_owned(), why };
        let source = Source::open(path, false).map_err(|why| unreadable(why.to_string()))?;
        let mut lines = BufReader::with_capacity(1 << 16, source);
        let verdicts = lines.fill_buf().map_err(|why| unreadable(why.to_string()))?.first() == Some(&b'{');
        if verdicts {
            self.verdicts(path, lines)?;
        } else {
            drop(lines);
            let press = press.ok_or_else(|| HistoryError::NoPress(path.to_owned()))?;
            judge(
                path,
                press,
                |session, header| put_in(die, session, header),
                shown,
                |outcome: &Outcome, _| self.outcome(path, outcome),
            )?;
        }
        if self.last == before { Err(HistoryError::Empty(path.to_owned())) } else { Ok(()) }
    }

    fn verdicts(&mut self, path: &Path, mut lines: impl std::io::BufRead) -> Result<(), HistoryError> {
        let (mut text, mut line) = (String::new(), 0);
        loop {
            line += 1;
            text.clear();
            let bad = |why: String| HistoryError::Line { path: path.to_owned(), line, why };
            let read = std::io::Read::take(&mut lines, LONGEST).read_line(&mut text);
            if read.map_err(|why| bad(why.to_string()))? == 0 {
                return Ok(());
            }
            if text.trim().is_empty() {
                continue;
            }
            self.line(path, line, &text)?;
        }
    }

    /// A judged stroke as one line of JSON, as `replay --jsonl` writes it and the console keeps it. `line` is named in errors.
    ///
    /// # Errors
    /// [`HistoryError::Line`] for what is no judged stroke, [`HistoryError::Columns`].
    pub fn line(&mut self, path: &Path, line: u64, text: &str) -> Result<(), HistoryError> {
        let bad = |why: String| HistoryError::Line { path: path.to_owned(), line, why };
        let one: Line = serde_json::from_str(text).map_err(|why| {
            // Its own line is always the first.
            let why = why.to_string();
            bad(why.split(" at line ").next().unwrap_or_default().to_owned())
        })?;
        let rank =
            verdict_rank(&one.verdict).ok_or_else(|| bad(format!("`{}` is no verdict", one.verdict)))?;
        let measured = Measured {
            peak_kn: one.peak_kn,
            work_kj: one.work_kj,
            reverse_kn: one.reverse_kn,
            contact_angle_deg: one.contact_angle_deg,
            wear: one.wear,
        };
        let values = measured.values(one.columns.iter().map(|column| column.peak_kn));
        let names = one.columns.iter().map(|column| column.name.as_str());
        self.take(path, names, (one.stroke, one.coil, rank >= 2), &values)
    }

    /// Number of the last stroke taken, counted over the whole history; 0 for none yet.
    #[must_use]
    pub fn last(&self) -> u64 {
        self.last
    }

    /// A judged stroke of a file.
    ///
    /// # Errors
    /// [`HistoryError::Columns`].
    pub fn outcome(&mut self, path: &Path, outcome: &Outcome) -> Result<(), HistoryError> {
        let names = outcome.columns.iter().map(|column| column.name);
        let stopped = matches!(outcome.verdict, "hold" | "trip");
        let measured = Measured {
            peak_kn: outcome.peak_kn,
            work_kj: outcome.work_kj,
            reverse_kn: outcome.reverse_kn,
            contact_angle_deg: outcome.contact_angle_deg,
            wear: outcome.wear,
        };
        let values = measured.values(outcome.columns.iter().map(|column| column.peak_kn));
        self.take(path, names, (outcome.stroke, outcome.coil, stopped), &values)
    }

    fn take<'a>(
        &mut self,
        path: &Path,
        names: impl Iterator<Item = &'a str> + Clone,
        (stroke, coil, stopped): (u64, u64, bool),
        values_of: &[f64],
    ) -> Result<(), HistoryError> {
        let cells = self.cells.get_or_insert_with(|| {
            self.columns = names.clone().map(str::to_owned).collect();
            Cells::new(values(self.columns.len()))
        });
        if !names.clone().eq(self.columns.iter().map(String::as_str)) {
            let found = names.collect::<Vec<_>>().join(", ");
            let before = self.columns.join(", ");
            return Err(HistoryError::Columns { path: path.to_owned(), found, before });
        }
        if stroke.saturating_add(self.offset) <= self.last {
            self.offset = (self.last + 1).saturating_sub(stroke);
        }
        self.last = stroke.saturating_add(self.offset);
        cells.take(Observation { stroke: self.last, coil, stopped, values: values_of });
        Ok(())
    }

    /// The history, with the columns' names.
    #[must_use]
    pub fn finish(self) -> (History, Vec<String>) {
        let cells = self.cells.unwrap_or_else(|| Cells::new(0));
        (cells.finish(), self.columns)
    }
}
