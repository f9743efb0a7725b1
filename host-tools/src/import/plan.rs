//! How a foreign file becomes a recording: everything `bolster import` is told, in one checked value.

use serde::{Deserialize, Serialize};

use super::error::ImportError;
use super::mapping::{Mapping, Target, Unit};
use super::text::Delimiter;
use crate::recording;

/// Where one stroke ends and the next begins.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, clap::ValueEnum)]
#[serde(rename_all = "kebab-case")]
pub enum Cut {
    /// By the column mapped to `stroke`.
    Column,
    /// Where the total load rises over `--level`.
    Level,
    /// Where the column mapped to `index` rises over `--index-level`.
    Index,
    /// Where the angle passes the top of the stroke.
    Angle,
    /// Each file is one stroke.
    File,
}

/// Everything an import is told. The defaults stand for options not given.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct ImportPlan {
    /// What the columns mean; see [`Mapping`].
    pub map: Vec<Mapping>,
    /// What stands between fields.
    pub delimiter: Delimiter,
    /// Whether numbers are written as `1,5`.
    pub decimal_comma: bool,
    /// Whether the first line names the columns; found from that line if not given.
    pub header: Option<bool>,
    /// Lines before the header row (or the first row) to pass over.
    pub skip_lines: u64,
    /// Lines after the header row to pass over, such as a row of units.
    pub skip_after_header: u64,
    /// Whether rows with words where a number belongs are skipped like rows with missing values.
    pub skip_bad: bool,
    /// Samples a second, where no time column is mapped.
    pub rate_hz: Option<f64>,
    /// Rows at the start of each file whose mean is the gauges' zero; 0 for none.
    pub zero_rows: u64,
    /// Where strokes are cut; by the `stroke` column, else the `index` column, else the file, if not given.
    pub cut: Option<Cut>,
    /// Total load that starts a stroke, kN (counts for raw gauges).
    pub level: Option<f64>,
    /// How far below `level` the load must fall before the next stroke can start; half of it if not given.
    pub hysteresis: Option<f64>,
    /// Shortest time between two starts by level, s.
    pub min_gap_s: f64,
    /// Rows before the rise that belong to the stroke it starts.
    pub lead_rows: u64,
    /// Value of the `index` column that counts as a pulse.
    pub index_level: f64,
}

impl Default for ImportPlan {
    fn default() -> Self {
        Self {
            map: Vec::new(),
            delimiter: Delimiter::Auto,
            decimal_comma: false,
            header: None,
            skip_lines: 0,
            skip_after_header: 0,
            skip_bad: false,
            rate_hz: None,
            zero_rows: 0,
            cut: None,
            level: None,
            hysteresis: None,
            min_gap_s: 0.0,
            lead_rows: 0,
            index_level: 0.5,
        }
    }
}

/// Most rows kept back for a zero or a lead: a few hundred megabytes.
const MAX_HELD_ROWS: u64 = 2_000_000;

/// A plan whose parts fit together.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Checked {
    pub(super) header: recording::Header,
    pub(super) cut: Cut,
    /// Start level and re-arm level of [`Cut::Level`].
    pub(super) level: f64,
    pub(super) rearm: f64,
}

impl ImportPlan {
    /// Whether a column is mapped to `target`.
    pub(super) fn maps(&self, target: Target) -> bool {
        self.map.iter().any(|mapping| mapping.target == target)
    }

    /// Checks that the parts fit together.
    ///
    /// # Errors
    /// [`ImportError::Plan`] says what is missing or in conflict.
    pub(super) fn check(&self) -> Result<Checked, ImportError> {
        let wrong = |why: &str| Err(ImportError::Plan(why.to_owned()));
        for (index, mapping) in self.map.iter().enumerate() {
            if self.map.iter().take(index).any(|other| other.target == mapping.target) {
                return Err(ImportError::Plan(format!("`{}` is mapped twice; keep one", mapping.target)));
            }
        }
        let loads = || self.map.iter().filter(|mapping| matches!(mapping.target, Target::Load(..)));
        let Some(Target::Load(columns, _)) = loads().next().map(|mapping| mapping.target) else {
            return wrong(
                "no gauge is mapped; add --map total=COLUMN:UNIT, or left= and right=, or lf= rf= lr= rr=",
            );
        };
        if loads().any(|mapping| !matches!(mapping.target, Target::Load(set, _) if set == columns)) {
            return wrong(
                "the mapped gauges belong to presses with different numbers of columns; map one set",
            );
        }
        if let Some(channel) =
            (0..columns.count()).find(|channel| !self.maps(Target::Load(columns, *channel)))
        {
            let missing = Target::Load(columns, channel);
            return Err(ImportError::Plan(format!(
                "gauge `{missing}` is not mapped; map all columns of the press"
            )));
        }
        let raw = loads().filter(|mapping| mapping.unit == Unit::Raw).count();
        if raw != 0 && raw != columns.count() {
            return wrong("some gauges are raw and some are not; give all a unit, or all raw");
        }
        for (name, value) in [("rate", self.rate_hz), ("level", self.level), ("hysteresis", self.hysteresis)]
        {
            if value.is_some_and(|value| !(value > 0.0 && value.is_finite())) {
                return Err(ImportError::Plan(format!("the {name} must be a positive number")));
            }
        }
        if !(self.min_gap_s >= 0.0 && self.min_gap_s.is_finite() && self.index_level.is_finite()) {
            return wrong("the gap between strokes must not be negative, and levels must be finite");
        }
        if self.zero_rows > MAX_HELD_ROWS || self.lead_rows > MAX_HELD_ROWS {
            return Err(ImportError::Plan(format!("zero and lead may take at most {MAX_HELD_ROWS} rows")));
        }
        let has_time = self.maps(Target::Time) || self.rate_hz.is_some();
        if self.maps(Target::Time) && self.rate_hz.is_some() {
            return wrong("time comes from a column or from --rate, not from both");
        }
        let has_angle = self.maps(Target::Angle);
        if !has_time && !has_angle {
            return wrong("nothing says where in the stroke a row is; map time= or angle=, or give --rate");
        }
        let cut = self.cut.unwrap_or(if self.maps(Target::Stroke) {
            Cut::Column
        } else if self.maps(Target::Index) {
            Cut::Index
        } else {
            Cut::File
        });
        match cut {
            Cut::Column if !self.maps(Target::Stroke) => {
                return wrong("cutting by column needs --map stroke=COLUMN");
            }
            Cut::Index if !self.maps(Target::Index) => {
                return wrong("cutting by index needs --map index=COLUMN");
            }
            Cut::Angle if !has_angle => return wrong("cutting by angle needs --map angle=COLUMN"),
            Cut::Level if self.level.is_none() => return wrong("cutting by level needs --level"),
            Cut::Level if self.min_gap_s > 0.0 && !has_time => {
                return wrong("a gap in seconds needs a time column or --rate");
            }
            _ => {}
        }
        let level = self.level.unwrap_or(0.0);
        let sensors = self.map.iter().fold(0, |mask, mapping| match mapping.target {
            Target::Sensor(bit) => mask | (1 << bit),
            _ => mask,
        });
        let header = recording::Header {
            columns,
            unit: if raw > 0 { recording::Unit::Counts } else { recording::Unit::Kilonewtons },
            has_angle,
            has_time,
            has_speed: self.maps(Target::Speed),
            has_coil: self.maps(Target::Coil),
            sensors,
        };
        let rearm = level - self.hysteresis.unwrap_or(level / 2.0);
        Ok(Checked { header, cut, level, rearm })
    }
}
