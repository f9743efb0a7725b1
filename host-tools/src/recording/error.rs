//! What can be wrong with a recording, where it is, and what to do about it.

use std::fmt;
use std::path::{Path, PathBuf};

use super::{ANGLE_JITTER_DEG, MAX_LINE};

/// Where in a recording something was found. Parts that do not apply are absent.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Place {
    /// The file.
    pub path: PathBuf,
    /// Line number; the header row is line 1.
    pub line: Option<u64>,
    /// Column name as the header row spells it.
    pub column: Option<String>,
    /// Stroke number of the row, where it could be read.
    pub stroke: Option<u64>,
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.path.display())?;
        if let Some(line) = self.line {
            write!(f, ", line {line}")?;
        }
        if let Some(column) = &self.column {
            write!(f, ", column `{column}`")?;
        }
        if let Some(stroke) = self.stroke {
            write!(f, ", stroke {stroke}")?;
        }
        Ok(())
    }
}

/// One thing wrong with a recording.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Defect {
    /// The operating system would not give the file's bytes.
    #[error("cannot be read ({0}); check that it exists and that you may read it")]
    Unreadable(std::io::Error),
    /// A folder stands where a file belongs.
    #[error("is a folder, not a recording; name the file in it")]
    Directory,
    /// Nothing in the file.
    #[error("is empty; a recording starts with a header row such as stroke,angle_deg,total_kn")]
    Empty,
    /// A header row and nothing after it.
    #[error("has a header row but no readings; check that the recorder finished writing")]
    HeaderOnly,
    /// Bytes that are no plain text.
    #[error("is not plain text in UTF-8; bring files of other programs in with `bolster import`")]
    NotText,
    /// The compressed stream stops before its end.
    #[error("the gzip data ends too early; the file was cut short, copy it again from where it came")]
    TruncatedGzip,
    /// The compressed stream is damaged.
    #[error("the gzip data is damaged ({0}); copy it again from where it came")]
    CorruptGzip(String),
    /// No line end within the allowed length.
    #[error("the line is longer than {MAX_LINE} bytes; this is not a recording, or its line ends are lost")]
    LineTooLong,
    /// The stroke column is missing.
    #[error("there is no `stroke` column; every row must say which stroke it belongs to")]
    NoStroke,
    /// Neither crank angle nor time.
    #[error("there is no `angle_deg` and no `time_s` column; one of them is needed")]
    NoPosition,
    /// No gauge column at all.
    #[error(
        "there is no gauge column; give lf_kn,rf_kn,lr_kn,rr_kn or left_kn,right_kn or total_kn \
         (or the same with _tonf or _counts)"
    )]
    NoGauge,
    /// Some gauge columns, but not the whole set.
    #[error("gauge column `{0}` is missing; all columns of the press must be recorded")]
    MissingGauge(String),
    /// A column name that means nothing here.
    #[error("the column is unknown{}", hint(*.0))]
    UnknownColumn(Option<&'static str>),
    /// A column given twice.
    #[error("the column is given twice; keep one of them")]
    DuplicateColumn,
    /// Gauge columns in more than one unit.
    #[error("mixed units: `{0}` and `{1}`; give all gauges in one unit")]
    MixedUnits(String, String),
    /// Gauge columns of more than one set.
    #[error("`{0}` and `{1}` belong to presses with different numbers of columns; give one set")]
    MixedPlaces(String, String),
    /// A row with too few or too many fields.
    #[error("the row has {found} fields where the header row has {expected}; complete it or remove it")]
    FieldCount {
        /// Fields in the header row.
        expected: usize,
        /// Fields in this row.
        found: usize,
    },
    /// Text, or nothing, where a number belongs.
    #[error("{} where a number belongs; remove the row or give the reading", shown(.0))]
    NotANumber(String),
    /// A number that is not finite.
    #[error("`{0}` is not a finite number; a lost reading must be left out, row and all")]
    NotFinite(String),
    /// A number that must be whole and is not.
    #[error("`{0}` is not a whole number from 0 up")]
    NotAnInteger(String),
    /// A sensor that is neither off nor on.
    #[error("`{0}` is neither 0 (off) nor 1 (on)")]
    NotASwitch(String),
    /// A crank angle outside the circle.
    #[error("angle {0} is outside 0 to under 360 degrees; 0 is the top of the stroke, 180 the bottom")]
    AngleRange(f64),
    /// The crank turned back within a stroke.
    #[error(
        "the angle runs backwards from {from} to {to} degrees (at most {ANGLE_JITTER_DEG} degree of jitter is \
         understood); check the encoder's direction, or give each stroke its own number"
    )]
    AngleBack {
        /// Furthest angle reached in the stroke, degrees.
        from: f64,
        /// Angle of this row, degrees.
        to: f64,
    },
    /// The crank passed the top twice within a stroke.
    #[error("the angle passes 0 a second time within one stroke; give each stroke its own number")]
    SecondWrap,
    /// Time fell within a stroke.
    #[error("time runs backwards from {from} to {to} s within a stroke; sort the rows by time")]
    TimeBack {
        /// Time of the row before, s.
        from: f64,
        /// Time of this row, s.
        to: f64,
    },
    /// The stroke number fell.
    #[error("the stroke number goes down from {from} to {to}; rows must stand in the order they happened")]
    StrokeDown {
        /// Stroke number of the row before.
        from: u64,
        /// Stroke number of this row.
        to: u64,
    },
    /// The recording's gauges are not the press card's.
    #[error("the recording has {} for a {} press; use the press card of the press it came from",
        columns_word(*.recording), columns_adjective(*.press))]
    OtherPress {
        /// Gauge columns in the recording.
        recording: usize,
        /// Gauge columns of the press card.
        press: usize,
    },
}

impl Defect {
    /// Stable kebab-case name of the defect.
    #[must_use]
    pub fn code(&self) -> &'static str {
        match self {
            Self::Unreadable(_) => "unreadable",
            Self::Directory => "directory",
            Self::Empty => "empty-file",
            Self::HeaderOnly => "header-only",
            Self::NotText => "not-text",
            Self::TruncatedGzip => "truncated-gzip",
            Self::CorruptGzip(_) => "corrupt-gzip",
            Self::LineTooLong => "line-too-long",
            Self::NoStroke => "no-stroke-column",
            Self::NoPosition => "no-angle-or-time",
            Self::NoGauge => "no-gauge-column",
            Self::MissingGauge(_) => "missing-gauge-column",
            Self::UnknownColumn(_) => "unknown-column",
            Self::DuplicateColumn => "duplicate-column",
            Self::MixedUnits(..) => "mixed-units",
            Self::MixedPlaces(..) => "mixed-column-sets",
            Self::FieldCount { .. } => "wrong-field-count",
            Self::NotANumber(_) => "text-for-number",
            Self::NotFinite(_) => "not-finite",
            Self::NotAnInteger(_) => "not-an-integer",
            Self::NotASwitch(_) => "sensor-not-0-or-1",
            Self::AngleRange(_) => "angle-out-of-range",
            Self::AngleBack { .. } => "angle-runs-backwards",
            Self::SecondWrap => "angle-wraps-twice",
            Self::TimeBack { .. } => "time-runs-backwards",
            Self::StrokeDown { .. } => "stroke-goes-down",
            Self::OtherPress { .. } => "other-press",
        }
    }
}

fn hint(nearest: Option<&'static str>) -> String {
    match nearest {
        Some(name) => format!("; did you mean `{name}`?"),
        None => {
            "; remove it, or bring the file in with `bolster import` (fields are separated by commas)".into()
        }
    }
}

fn shown(text: &str) -> String {
    if text.is_empty() { "nothing stands".into() } else { format!("`{text}` stands") }
}

fn columns_word(count: usize) -> &'static str {
    match count {
        1 => "one column",
        2 => "two columns",
        _ => "four columns",
    }
}

fn columns_adjective(count: usize) -> &'static str {
    match count {
        1 => "one-column",
        2 => "two-column",
        _ => "four-column",
    }
}

/// One defect of a recording, with its place. One line, ready to show to a person.
#[derive(Debug, thiserror::Error)]
#[error("{}: {}", .0.0, .0.1)]
pub struct RecordingError(Box<(Place, Defect)>);

impl RecordingError {
    /// A defect at a place.
    #[must_use]
    pub fn new(place: Place, defect: Defect) -> Self {
        Self(Box::new((place, defect)))
    }

    /// A defect of the file as a whole.
    pub(crate) fn of_file(path: &Path, defect: Defect) -> Self {
        Self::new(Place { path: path.to_owned(), ..Place::default() }, defect)
    }

    /// Where it is.
    #[must_use]
    pub fn place(&self) -> &Place {
        &self.0.0
    }

    /// What it is.
    #[must_use]
    pub fn defect(&self) -> &Defect {
        &self.0.1
    }
}
