//! A calibration run (CSV): a reference load cell and counts, reading by reading.
//!
//! Columns: `reference_kn` (or `_tonf`, `_tonnef`, `_lbf`), and `counts` for one gauge or one a column of the
//! press: `left_counts,right_counts` or `lf_counts,rf_counts,lr_counts,rr_counts`. Optional: `x_mm`, `y_mm` (where
//! the reference stood), `series` (number; 0 marks a preload, which is not fitted), `spread_counts` (how much the
//! reading wavered), `temperature_c`, and `lf_reference_kn` … where each column had a reference of its own.

use std::path::{Path, PathBuf};

use bolster_core::press::Columns;
use bolster_core::units::{KN_PER_TONNE_F, KN_PER_US_TONF};

use crate::spelling;

/// Why a run was refused: one line with the file and the line.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{}{}: {problem}", path.display(), line.map(|n| format!(", line {n}")).unwrap_or_default())]
pub struct RunError {
    path: PathBuf,
    line: Option<u64>,
    problem: String,
}

/// One reading.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// Line in the file, from 1; 0 where there is none.
    pub line: u64,
    /// Load by the reference, kN.
    pub reference_kn: f64,
    /// `[gauge]`: counts.
    pub counts: Vec<f64>,
    /// Where the reference stood, mm from the bolster's middle.
    pub place_mm: Option<[f64; 2]>,
    /// Number of its series, where the file says; 0 is a preload.
    pub series: Option<u32>,
    /// How much the reading wavered, counts.
    pub spread_counts: Option<f64>,
    /// Temperature, °C.
    pub temperature_c: Option<f64>,
    /// `[gauge]`: load of each column by a reference of its own, kN.
    pub columns_kn: Option<Vec<f64>>,
}

/// A run.
#[derive(Debug, Clone, PartialEq)]
pub struct Run {
    /// Gauges and where they sit.
    pub columns: Columns,
    /// Readings in the order taken.
    pub readings: Vec<Reading>,
}

/// Readings a run may have: more is a recording, not a run.
const MOST_READINGS: usize = 1_000_000;

struct Layout {
    columns: Columns,
    reference: (usize, f64),
    counts: Vec<usize>,
    own: Option<Vec<(usize, f64)>>,
    place: [Option<usize>; 2],
    series: Option<usize>,
    spread: Option<usize>,
    temperature: Option<usize>,
}

const UNITS: [(&str, f64); 4] =
    [("_kn", 1.0), ("_tonf", KN_PER_US_TONF), ("_tonnef", KN_PER_TONNE_F), ("_lbf", KN_PER_US_TONF / 2000.0)];

impl Run {
    /// Reads a run.
    ///
    /// # Errors
    /// [`RunError`] names the file, the line and what cannot be.
    pub fn load(path: &Path) -> Result<Self, RunError> {
        let fail = |problem: String| RunError { path: path.to_owned(), line: None, problem };
        let bytes = std::fs::read(path).map_err(|why| {
            fail(if path.is_dir() {
                "is a folder, not a run; name the file in it".to_owned()
            } else {
                format!("cannot be read ({why}); check that it exists and that you may read it")
            })
        })?;
        Self::parse(&bytes, path)
    }

    /// Understands the bytes of a run; `path` is only for messages.
    ///
    /// # Errors
    /// As [`Run::load`].
    pub fn parse(bytes: &[u8], path: &Path) -> Result<Self, RunError> {
        let fail = |line: Option<u64>, problem: String| RunError { path: path.to_owned(), line, problem };
        let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
        let mut reader =
            csv::ReaderBuilder::new().comment(Some(b'#')).trim(csv::Trim::All).from_reader(bytes);
        let headers = reader.headers().map_err(|why| fail(Some(1), said(&why)))?.clone();
        let names: Vec<String> = headers.iter().map(str::to_ascii_lowercase).collect();
        let layout = layout(&names).map_err(|problem| fail(Some(1), problem))?;
        let mut readings = Vec::new();
        for record in reader.records() {
            let record = record.map_err(|why| fail(why.position().map(csv::Position::line), said(&why)))?;
            let line = record.position().map(csv::Position::line);
            let number = |place: usize| {
                let text = record.get(place).unwrap_or_default();
                text.parse::<f64>().ok().filter(|n| n.is_finite()).ok_or_else(|| {
                    let name = names.get(place).map_or("?", String::as_str);
                    let shown: String = text.chars().take(40).flat_map(char::escape_debug).collect();
                    fail(line, format!("column {name}: \"{shown}\" is not a number"))
                })
            };
            let optional = |place: Option<usize>| place.map(number).transpose();
            let series = match optional(layout.series)? {
                None => None,
                Some(n) if n >= 0.0 && n.fract() == 0.0 && n < 1e6 => Some(n as u32),
                Some(n) => {
                    return Err(fail(line, format!("column series: must be a whole number from 0, not {n}")));
                }
            };
            let x = optional(layout.place[0])?;
            let y = optional(layout.place[1])?;
            let own = layout.own.as_ref().map(|own| {
                own.iter()
                    .map(|(place, factor)| number(*place).map(|n| n * factor))
                    .collect::<Result<Vec<_>, _>>()
            });
            readings.push(Reading {
                line: line.unwrap_or(0),
                reference_kn: number(layout.reference.0)? * layout.reference.1,
                counts: layout.counts.iter().map(|place| number(*place)).collect::<Result<_, _>>()?,
                place_mm: x.or(y).map(|_| [x.unwrap_or(0.0), y.unwrap_or(0.0)]),
                series,
                spread_counts: optional(layout.spread)?,
                temperature_c: optional(layout.temperature)?,
                columns_kn: own.transpose()?,
            });
            if readings.len() > MOST_READINGS {
                return Err(fail(
                    line,
                    format!("more than {MOST_READINGS} readings; this is no calibration run"),
                ));
            }
        }
        if readings.is_empty() {
            return Err(fail(None, "has no readings".to_owned()));
        }
        Ok(Self { columns: layout.columns, readings })
    }
}

fn said(why: &csv::Error) -> String {
    why.to_string().split_whitespace().collect::<Vec<_>>().join(" ")
}

fn layout(names: &[String]) -> Result<Layout, String> {
    let find = |name: &str| names.iter().position(|n| n == name);
    let load = |stem: &str| {
        UNITS
            .iter()
            .find_map(|(ending, factor)| find(&format!("{stem}{ending}")).map(|place| (place, *factor)))
    };
    refuse_strangers(names)?;
    let reference =
        load("reference").ok_or("column reference_kn is missing: the load by the reference load cell")?;
    let gauges = |columns: Columns| {
        columns.names().iter().map(|name| find(&format!("{name}_counts"))).collect::<Option<Vec<_>>>()
    };
    let sets = [Columns::Corners, Columns::LeftRight, Columns::Total];
    let found = sets.into_iter().find_map(|columns| gauges(columns).map(|places| (columns, places)));
    let (columns, counts) = match found.or_else(|| find("counts").map(|place| (Columns::Total, vec![place])))
    {
        Some(found) => found,
        None => {
            return Err(
                "no counts: needs `counts`, or left_counts and right_counts, or lf_counts, rf_counts, \
                        lr_counts and rr_counts"
                    .to_owned(),
            );
        }
    };
    let own =
        columns.names().iter().map(|name| load(&format!("{name}_reference"))).collect::<Option<Vec<_>>>();
    Ok(Layout {
        columns,
        reference,
        counts,
        own,
        place: [find("x_mm"), find("y_mm")],
        series: find("series"),
        spread: find("spread_counts"),
        temperature: find("temperature_c"),
    })
}

/// Refuses a column that means nothing here: it would be left out unseen.
fn refuse_strangers(names: &[String]) -> Result<(), String> {
    let mut known: Vec<String> =
        ["counts", "x_mm", "y_mm", "series", "spread_counts", "temperature_c"].map(str::to_owned).to_vec();
    for columns in [Columns::Total, Columns::LeftRight, Columns::Corners] {
        for name in columns.names() {
            known.push(format!("{name}_counts"));
            known.extend(UNITS.iter().map(|(ending, _)| format!("{name}_reference{ending}")));
        }
    }
    known.extend(UNITS.iter().map(|(ending, _)| format!("reference{ending}")));
    let Some(stranger) = names.iter().find(|name| !known.contains(name)) else { return Ok(()) };
    let list: Vec<&str> = known.iter().map(String::as_str).collect();
    let shown: String = stranger.chars().take(40).flat_map(char::escape_debug).collect();
    Err(match spelling::nearest(stranger, &list) {
        Some(near) => format!("column \"{shown}\" is unknown; did you mean `{near}`?"),
        None => format!("column \"{shown}\" is unknown; remove it or see `bolster calibrate --help`"),
    })
}
