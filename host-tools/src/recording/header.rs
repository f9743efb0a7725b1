//! The header row: which column is which, in what unit.

use bolster_core::press::Columns;

use super::error::Defect;
use crate::spelling;

/// Unit of the gauge columns in the file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Unit {
    /// Kilonewtons.
    #[default]
    Kilonewtons,
    /// US tons-force; rows are given in kN.
    TonsForce,
    /// Raw converter counts; a calibration is needed before anything can be judged.
    Counts,
}

impl Unit {
    /// Suffix in column names.
    #[must_use]
    pub const fn suffix(self) -> &'static str {
        match self {
            Self::Kilonewtons => "kn",
            Self::TonsForce => "tonf",
            Self::Counts => "counts",
        }
    }
}

/// What a recording's columns are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Header {
    /// Where the gauges sit.
    pub columns: Columns,
    /// Unit of the gauge columns in the file.
    pub unit: Unit,
    /// Whether `angle_deg` is there.
    pub has_angle: bool,
    /// Whether `time_s` is there.
    pub has_time: bool,
    /// Whether `speed_spm` is there.
    pub has_speed: bool,
    /// Whether `coil` is there.
    pub has_coil: bool,
    /// Which sensor columns are there: bit 0 is `s1`, bit 7 is `s8`.
    pub sensors: u8,
}

impl Header {
    /// A header of strokes over crank angle in kN, without optional columns.
    #[must_use]
    pub const fn over_angle(columns: Columns) -> Self {
        Self {
            columns,
            unit: Unit::Kilonewtons,
            has_angle: true,
            has_time: false,
            has_speed: false,
            has_coil: false,
            sensors: 0,
        }
    }

    /// Column names in the order the writer uses.
    #[must_use]
    pub fn names(&self) -> Vec<String> {
        let optional = |there: bool, name: &str| there.then(|| name.to_owned());
        let mut names = vec!["stroke".to_owned()];
        names.extend(optional(self.has_angle, "angle_deg"));
        names.extend(optional(self.has_time, "time_s"));
        names.extend(self.columns.names().iter().map(|place| format!("{place}_{}", self.unit.suffix())));
        names.extend(optional(self.has_speed, "speed_spm"));
        names.extend(optional(self.has_coil, "coil"));
        names.extend((0..8).filter(|bit| self.sensors & (1 << bit) != 0).map(|bit| format!("s{}", bit + 1)));
        names
    }
}

/// Where each field of a row is kept while the row is read: one slot a meaning, whatever the file's order.
pub(super) mod slot {
    pub(crate) const STROKE: usize = 0;
    pub(crate) const ANGLE: usize = 1;
    pub(crate) const TIME: usize = 2;
    pub(crate) const SPEED: usize = 3;
    pub(crate) const COIL: usize = 4;
    pub(crate) const LOAD: usize = 5;
    pub(crate) const SENSOR: usize = 9;
    /// A power of two above the highest slot (16), so that masking an index proves it in range.
    pub(crate) const COUNT: usize = 32;
}

/// A header row understood: the meaning, and per field of the file its slot and name.
#[derive(Debug)]
pub(super) struct Layout {
    pub(super) header: Header,
    pub(super) slots: Vec<u8>,
    pub(super) names: Vec<String>,
}

const KNOWN: [&str; 34] = [
    "stroke",
    "angle_deg",
    "time_s",
    "speed_spm",
    "coil",
    "s1",
    "s2",
    "s3",
    "s4",
    "s5",
    "s6",
    "s7",
    "s8",
    "lf_kn",
    "rf_kn",
    "lr_kn",
    "rr_kn",
    "left_kn",
    "right_kn",
    "total_kn",
    "lf_tonf",
    "rf_tonf",
    "lr_tonf",
    "rr_tonf",
    "left_tonf",
    "right_tonf",
    "total_tonf",
    "lf_counts",
    "rf_counts",
    "lr_counts",
    "rr_counts",
    "left_counts",
    "right_counts",
    "total_counts",
];

const SETS: [Columns; 3] = [Columns::Total, Columns::LeftRight, Columns::Corners];
const UNITS: [Unit; 3] = [Unit::Kilonewtons, Unit::TonsForce, Unit::Counts];

/// A gauge column name taken apart: set, channel and unit.
fn gauge(name: &str) -> Option<(Columns, usize, Unit)> {
    let (place, suffix) = name.rsplit_once('_')?;
    let unit = UNITS.into_iter().find(|unit| unit.suffix() == suffix)?;
    SETS.into_iter().find_map(|set| {
        let channel = set.names().iter().position(|known| *known == place)?;
        Some((set, channel, unit))
    })
}

fn plain(name: &str) -> Option<usize> {
    match name {
        "stroke" => Some(slot::STROKE),
        "angle_deg" => Some(slot::ANGLE),
        "time_s" => Some(slot::TIME),
        "speed_spm" => Some(slot::SPEED),
        "coil" => Some(slot::COIL),
        _ => {
            let number: usize = name.strip_prefix('s').filter(|digit| digit.len() == 1)?.parse().ok()?;
            (1..=8).contains(&number).then(|| slot::SENSOR + number - 1)
        }
    }
}

impl Layout {
    /// Understands the fields of a header row.
    ///
    /// # Errors
    /// The defect and, where one column is to blame, its name.
    pub(super) fn parse(fields: &[String]) -> Result<Self, (Defect, Option<String>)> {
        let mut slots = Vec::with_capacity(fields.len());
        let mut names: Vec<String> = Vec::with_capacity(fields.len());
        let mut seen = 0_u32;
        let mut first_gauge: Option<(Columns, Unit, String)> = None;
        for field in fields {
            let name = field.trim();
            let of_column = |defect| (defect, Some(name.chars().take(60).collect()));
            if names.iter().any(|other| other == name) {
                return Err(of_column(Defect::DuplicateColumn));
            }
            let slot = if let Some(slot) = plain(name) {
                slot
            } else if let Some((set, channel, unit)) = gauge(name) {
                let (first_set, first_unit, first_name) =
                    first_gauge.get_or_insert_with(|| (set, unit, name.to_owned()));
                if *first_unit != unit {
                    return Err((Defect::MixedUnits(first_name.clone(), name.to_owned()), None));
                }
                if *first_set != set {
                    return Err((Defect::MixedPlaces(first_name.clone(), name.to_owned()), None));
                }
                slot::LOAD + channel
            } else {
                return Err(of_column(Defect::UnknownColumn(spelling::nearest(name, &KNOWN))));
            };
            seen |= 1 << slot;
            slots.push(slot as u8);
            names.push(name.to_owned());
        }
        let has = |slot: usize| seen & (1 << slot) != 0;
        if !has(slot::STROKE) {
            return Err((Defect::NoStroke, None));
        }
        if !has(slot::ANGLE) && !has(slot::TIME) {
            return Err((Defect::NoPosition, None));
        }
        let Some((columns, unit, _)) = first_gauge else {
            return Err((Defect::NoGauge, None));
        };
        for (channel, place) in columns.names().iter().enumerate() {
            if !has(slot::LOAD + channel) {
                return Err((Defect::MissingGauge(format!("{place}_{}", unit.suffix())), None));
            }
        }
        let header = Header {
            columns,
            unit,
            has_angle: has(slot::ANGLE),
            has_time: has(slot::TIME),
            has_speed: has(slot::SPEED),
            has_coil: has(slot::COIL),
            sensors: (seen >> slot::SENSOR) as u8,
        };
        Ok(Self { header, slots, names })
    }
}
