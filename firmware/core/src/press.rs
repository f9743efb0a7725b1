//! What the press is and may carry, as the core needs it: checked once, then only read.

use crate::crank::{CrankError, CrankSlider};

/// Where the gauges sit, by how many there are.
///
/// Order of columns everywhere: one `total`; two `left, right`; four `lf, rf, lr, rr`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Columns {
    /// One channel that sees the whole load; no place can be told.
    Total,
    /// Left and right of a two-column press.
    LeftRight,
    /// Left front, right front, left rear, right rear.
    Corners,
}

impl Columns {
    /// How many channels.
    #[must_use]
    pub const fn count(self) -> usize {
        match self {
            Self::Total => 1,
            Self::LeftRight => 2,
            Self::Corners => 4,
        }
    }

    /// From a channel count; only 1, 2 and 4 exist.
    #[must_use]
    pub const fn from_count(count: usize) -> Option<Self> {
        match count {
            1 => Some(Self::Total),
            2 => Some(Self::LeftRight),
            4 => Some(Self::Corners),
            _ => None,
        }
    }

    /// Short names in channel order, as recordings spell them.
    #[must_use]
    pub const fn names(self) -> &'static [&'static str] {
        match self {
            Self::Total => &["total"],
            Self::LeftRight => &["left", "right"],
            Self::Corners => &["lf", "rf", "lr", "rr"],
        }
    }

    /// Side of each channel: +1 right, −1 left, 0 where it cannot be told.
    #[must_use]
    pub const fn side_x(self) -> &'static [f32] {
        match self {
            Self::Total => &[0.0],
            Self::LeftRight => &[-1.0, 1.0],
            Self::Corners => &[-1.0, 1.0, -1.0, 1.0],
        }
    }

    /// Side of each channel: +1 front, −1 rear, 0 where it cannot be told.
    #[must_use]
    pub const fn side_y(self) -> &'static [f32] {
        match self {
            Self::Total => &[0.0],
            Self::LeftRight => &[0.0, 0.0],
            Self::Corners => &[1.0, 1.0, -1.0, -1.0],
        }
    }
}

/// The press as its builder rated it and its owner limited it. Unchecked; see [`PressSpec::check`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PressSpec {
    /// Gauge places.
    pub columns: Columns,
    /// Rated load, kN.
    pub rated_kn: f64,
    /// Height above the bottom down to which the rating holds, mm.
    pub rated_height_mm: f64,
    /// Stroke, mm.
    pub stroke_mm: f64,
    /// Connecting rod length, mm.
    pub rod_mm: f64,
    /// Slowest and fastest strokes a minute.
    pub speed_spm: [f64; 2],
    /// Distance between gauge centres left-right and front-rear, mm.
    pub bolster_mm: [f64; 2],
    /// Work one stroke may take from the flywheel, kJ; none where the builder gives none.
    pub usable_energy_kj: Option<f64>,
    /// Allowed reverse load, percent of rating.
    pub reverse_percent: f64,
    /// Allowed load of one column, percent of rating / columns.
    pub column_percent: f64,
    /// Allowed left-right and front-rear difference, percent of rating.
    pub imbalance_percent: f64,
    /// Load the press may carry with its centre as far out as the gauges, percent of rating; none where the builder
    /// gives none. Between the middle and there see [`crate::machine`].
    pub off_centre_percent: Option<f64>,
}

/// Why a press was refused; names the field.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub enum PressError {
    /// The field must be finite and above zero.
    NotPositive(&'static str, f64),
    /// The rated height is not below the stroke.
    RatedHeightAboveStroke,
    /// The slowest speed is above the fastest.
    SpeedRange,
    /// More than the rating would be allowed off the middle.
    OffCentre(f64),
    /// The crank could not turn.
    Crank(CrankError),
}

impl core::fmt::Display for PressError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::NotPositive(field, value) => write!(f, "{field} must be a positive number, not {value}"),
            Self::RatedHeightAboveStroke => f.write_str("rated_height_mm must be below stroke_mm"),
            Self::SpeedRange => f.write_str("speed_spm must be [slowest, fastest]"),
            Self::OffCentre(value) => {
                write!(f, "off_centre_percent must not be above 100, the rating, as {value} is")
            }
            Self::Crank(why) => write!(f, "stroke_mm and rod_mm: {why}"),
        }
    }
}

impl core::error::Error for PressError {}

impl PressSpec {
    /// Checks every field and gives the crank.
    ///
    /// # Errors
    /// [`PressError`] names the first field that cannot be.
    pub fn check(&self) -> Result<CrankSlider, PressError> {
        let positive = [
            ("rated_kn", self.rated_kn),
            ("rated_height_mm", self.rated_height_mm),
            ("stroke_mm", self.stroke_mm),
            ("rod_mm", self.rod_mm),
            ("speed_spm", self.speed_spm[0]),
            ("speed_spm", self.speed_spm[1]),
            ("bolster_mm", self.bolster_mm[0]),
            ("bolster_mm", self.bolster_mm[1]),
            ("usable_energy_kj", self.usable_energy_kj.unwrap_or(1.0)),
            ("reverse_percent", self.reverse_percent),
            ("column_percent", self.column_percent),
            ("imbalance_percent", self.imbalance_percent),
            ("off_centre_percent", self.off_centre_percent.unwrap_or(100.0)),
        ];
        for (field, value) in positive {
            // The sample loop is f32: a value it cannot hold is no rating either.
            if !(value > 0.0 && value <= 1e9) {
                return Err(PressError::NotPositive(field, value));
            }
        }
        if self.rated_height_mm >= self.stroke_mm {
            return Err(PressError::RatedHeightAboveStroke);
        }
        if self.speed_spm[0] > self.speed_spm[1] {
            return Err(PressError::SpeedRange);
        }
        if let Some(percent) = self.off_centre_percent.filter(|percent| *percent > 100.0) {
            return Err(PressError::OffCentre(percent));
        }
        CrankSlider::new(self.stroke_mm, self.rod_mm).map_err(PressError::Crank)
    }
}
