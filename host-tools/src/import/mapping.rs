//! What a foreign column means: `TARGET=COLUMN[:OPTION]...`, one string a column.

use std::fmt;
use std::str::FromStr;

use bolster_core::press::Columns;
use serde::{Deserialize, Serialize};

use super::error::ImportError;
use crate::recording::KN_PER_TONF;
use crate::spelling;

/// Where a column goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Target {
    /// The stroke (cycle) number, whole, never falling; gaps are normal.
    Stroke,
    /// The crank angle.
    Angle,
    /// Time.
    Time,
    /// Strokes a minute.
    Speed,
    /// The coil number, whole.
    Coil,
    /// A pulse that starts a stroke; it is not written.
    Index,
    /// Sensor input, 0 for `s1` to 7 for `s8`.
    Sensor(u8),
    /// A gauge: the set it belongs to and its channel in it.
    Load(Columns, usize),
}

const TARGETS: [&str; 21] = [
    "stroke", "angle", "time", "speed", "coil", "index", "s1", "s2", "s3", "s4", "s5", "s6", "s7", "s8",
    "total", "left", "right", "lf", "rf", "lr", "rr",
];

impl Target {
    fn parse(name: &str) -> Option<Self> {
        Some(match name {
            "stroke" => Self::Stroke,
            "angle" => Self::Angle,
            "time" => Self::Time,
            "speed" => Self::Speed,
            "coil" => Self::Coil,
            "index" => Self::Index,
            _ => {
                for set in [Columns::Total, Columns::LeftRight, Columns::Corners] {
                    if let Some(channel) = set.names().iter().position(|known| *known == name) {
                        return Some(Self::Load(set, channel));
                    }
                }
                let number: u8 = name.strip_prefix('s').filter(|digit| digit.len() == 1)?.parse().ok()?;
                return (1..=8).contains(&number).then(|| Self::Sensor(number - 1));
            }
        })
    }
}

impl fmt::Display for Target {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Stroke => f.write_str("stroke"),
            Self::Angle => f.write_str("angle"),
            Self::Time => f.write_str("time"),
            Self::Speed => f.write_str("speed"),
            Self::Coil => f.write_str("coil"),
            Self::Index => f.write_str("index"),
            Self::Sensor(bit) => write!(f, "s{}", bit + 1),
            Self::Load(set, channel) => f.write_str(set.names().get(*channel).copied().unwrap_or("total")),
        }
    }
}

/// A column of the foreign file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Column {
    /// By place, from 1.
    Number(usize),
    /// By its name in the header row.
    Name(String),
}

/// Unit of a foreign column.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Unit {
    /// A load: kN in one of it.
    Force(f64, &'static str),
    /// Raw counts or volts: stays as it is, and the recording is one of counts.
    Raw,
    /// A time: seconds in one of it.
    Time(f64, &'static str),
    /// An angle: degrees in one of it.
    Angle(f64, &'static str),
    /// Encoder counts, this many a turn.
    CountsPerTurn(f64),
    /// None is needed.
    Plain,
}

/// A pound-force in kN (exact by definition).
const KN_PER_LBF: f64 = 0.004_448_221_615_260_5;
/// A tonne-force in kN: 1,000 kg at standard gravity (exact by definition).
const KN_PER_TONNE: f64 = 9.806_65;

const UNITS: [Unit; 10] = [
    Unit::Force(1.0, "kn"),
    Unit::Force(0.001, "n"),
    Unit::Force(KN_PER_TONF, "tonf"),
    Unit::Force(KN_PER_TONNE, "tonne"),
    Unit::Force(KN_PER_LBF, "lbf"),
    Unit::Time(1.0, "s"),
    Unit::Time(1e-3, "ms"),
    Unit::Time(1e-6, "us"),
    Unit::Angle(1.0, "deg"),
    Unit::Angle(180.0 / std::f64::consts::PI, "rad"),
];

impl Unit {
    fn parse(text: &str) -> Option<Self> {
        if text == "raw" {
            return Some(Self::Raw);
        }
        if let Some(counts) = text.strip_prefix("counts/") {
            let per_turn: f64 = counts.parse().ok()?;
            return (per_turn.is_finite() && per_turn > 0.0).then_some(Self::CountsPerTurn(per_turn));
        }
        UNITS.into_iter().find(|unit| unit.to_string() == text)
    }

    /// Factor into the recording's unit: kN, s, degrees.
    pub(super) fn factor(self) -> f64 {
        match self {
            Self::Force(factor, _) | Self::Time(factor, _) | Self::Angle(factor, _) => factor,
            Self::CountsPerTurn(per_turn) => 360.0 / per_turn,
            Self::Raw | Self::Plain => 1.0,
        }
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Force(_, name) | Self::Time(_, name) | Self::Angle(_, name) => f.write_str(name),
            Self::Raw => f.write_str("raw"),
            Self::CountsPerTurn(per_turn) => write!(f, "counts/{per_turn}"),
            Self::Plain => Ok(()),
        }
    }
}

/// One foreign column, where it goes and how its values are understood:
/// `(value + offset) · gain`, in `unit`, its sign turned where `negate`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Mapping {
    /// Where it goes.
    pub target: Target,
    /// Where it comes from.
    pub column: Column,
    /// Its unit after gain and offset.
    pub unit: Unit,
    /// Multiplies the value; 1 if not given.
    pub gain: f64,
    /// Added before the gain, in the file's own unit; 0 if not given.
    pub offset: f64,
    /// Whether the sign is turned.
    pub negate: bool,
    /// Lowest value, in the file's own unit, that is a reading: a lower one counts as missing.
    pub min: Option<f64>,
    /// Highest value that is a reading.
    pub max: Option<f64>,
}

impl Mapping {
    /// Whether a value of the file can be a reading, as [`Mapping::min`] and [`Mapping::max`] tell.
    #[must_use]
    pub fn holds(&self, value: f64) -> bool {
        self.min.is_none_or(|min| value >= min) && self.max.is_none_or(|max| value <= max)
    }

    /// The value in the recording's unit.
    #[must_use]
    pub fn apply(&self, value: f64) -> f64 {
        let sized = (value + self.offset) * self.gain * self.unit.factor();
        if self.negate { -sized } else { sized }
    }
}

impl FromStr for Mapping {
    type Err = ImportError;

    fn from_str(text: &str) -> Result<Self, ImportError> {
        let wrong = |why: String| ImportError::Map { text: text.to_owned(), why };
        let (name, rest) = text
            .split_once('=')
            .ok_or_else(|| wrong("write it as TARGET=COLUMN, such as total=2:kn".into()))?;
        let target = Target::parse(name.trim()).ok_or_else(|| {
            let hint = spelling::nearest(name, &TARGETS).map(|near| format!("; did you mean `{near}`?"));
            wrong(format!(
                "`{name}` is no target; they are {}{}",
                TARGETS.join(", "),
                hint.unwrap_or_default()
            ))
        })?;
        let (column, options) = if let Some(quoted) = rest.strip_prefix('"') {
            let (name, options) = quoted
                .split_once('"')
                .ok_or_else(|| wrong("the quote around the column name is not closed".into()))?;
            (Column::Name(name.to_owned()), options)
        } else {
            let (name, options) = rest.find(':').map_or((rest, ""), |at| rest.split_at(at));
            let column = match name.trim().parse::<usize>() {
                Ok(0) => return Err(wrong("columns are counted from 1".into())),
                Ok(number) => Column::Number(number),
                Err(_) => Column::Name(name.trim().to_owned()),
            };
            (column, options)
        };
        if column == Column::Name(String::new()) {
            return Err(wrong("the column is missing: give its number or its name".into()));
        }
        if !options.is_empty() && !options.starts_with(':') {
            return Err(wrong("options follow the column after a colon".into()));
        }
        let mut mapping = Self {
            target,
            column,
            unit: Unit::Plain,
            gain: 1.0,
            offset: 0.0,
            negate: false,
            min: None,
            max: None,
        };
        for option in options.split(':').skip(1) {
            let number = |value: &str| {
                let value: f64 = value.parse().map_err(|_| wrong(format!("`{option}` has no number")))?;
                if value.is_finite() { Ok(value) } else { Err(wrong(format!("`{option}` is not finite"))) }
            };
            if option == "neg" {
                mapping.negate = true;
            } else if let Some(value) = option.strip_prefix("gain=") {
                mapping.gain = number(value)?;
            } else if let Some(value) = option.strip_prefix("offset=") {
                mapping.offset = number(value)?;
            } else if let Some(value) = option.strip_prefix("min=") {
                mapping.min = Some(number(value)?);
            } else if let Some(value) = option.strip_prefix("max=") {
                mapping.max = Some(number(value)?);
            } else if let Some(unit) = Unit::parse(option) {
                mapping.unit = unit;
            } else {
                return Err(wrong(format!(
                    "`{option}` is no option; they are a unit, gain=, offset=, neg, min= and max="
                )));
            }
        }
        mapping.unit = match (target, mapping.unit) {
            (Target::Load(..), unit @ (Unit::Force(..) | Unit::Raw)) => unit,
            (Target::Load(..), Unit::Plain) => {
                return Err(wrong("give the gauge's unit: :kn, :n, :tonf, :tonne, :lbf or :raw".into()));
            }
            (Target::Time, unit @ Unit::Time(..)) => unit,
            (Target::Time, Unit::Plain) => Unit::Time(1.0, "s"),
            (Target::Angle, unit @ (Unit::Angle(..) | Unit::CountsPerTurn(_))) => unit,
            (Target::Angle, Unit::Plain) => Unit::Angle(1.0, "deg"),
            (Target::Load(..) | Target::Time | Target::Angle, other) => {
                return Err(wrong(format!("`{other}` is not a unit of `{target}`")));
            }
            (_, Unit::Plain) => Unit::Plain,
            (_, other) => return Err(wrong(format!("`{target}` takes no unit, and `{other}` is one"))),
        };
        if mapping.gain == 0.0 {
            return Err(wrong("a gain of 0 would lose the reading".into()));
        }
        Ok(mapping)
    }
}

impl fmt::Display for Mapping {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.column {
            Column::Number(number) => write!(f, "{}={number}", self.target)?,
            Column::Name(name) => write!(f, "{}=\"{name}\"", self.target)?,
        }
        if self.unit != Unit::Plain {
            write!(f, ":{}", self.unit)?;
        }
        if self.gain != 1.0 {
            write!(f, ":gain={}", self.gain)?;
        }
        if self.offset != 0.0 {
            write!(f, ":offset={}", self.offset)?;
        }
        if self.negate {
            f.write_str(":neg")?;
        }
        for (name, limit) in [("min", self.min), ("max", self.max)] {
            if let Some(limit) = limit {
                write!(f, ":{name}={limit}")?;
            }
        }
        Ok(())
    }
}

impl TryFrom<String> for Mapping {
    type Error = ImportError;
    fn try_from(text: String) -> Result<Self, ImportError> {
        text.parse()
    }
}

impl From<Mapping> for String {
    fn from(mapping: Mapping) -> Self {
        mapping.to_string()
    }
}
