//! All that a monitor is set to for one press: what a person gives, checked whole before it takes effect.

use crate::calibrate::{Calibration, CalibrationConfig, CalibrationError};
use crate::crank::SlideTable;
use crate::filter::{FilterConfig, FilterError, FilterKind, LowPass};
use crate::health::{HealthRules, HumRules};
use crate::machine::MachineLimits;
use crate::press::{PressError, PressSpec};
use crate::stroke::{StrokeConfig, StrokeConfigError, StrokeRules, StrokeSource};

/// Settings of one press with `N` columns. Unchecked; see [`PressSettings::build`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PressSettings<const N: usize> {
    /// The press.
    pub press: PressSpec,
    /// Counts to loads.
    pub calibration: CalibrationConfig<N>,
    /// Low-pass; none passes loads as they are.
    pub filter: Option<FilterConfig>,
    /// Greatest believable change of one column in one frame, kN; infinite switches the guard off.
    pub spike_jump_kn: f32,
    /// Stroke tracking.
    pub stroke: StrokeConfig,
    /// Gauge health.
    pub health: HealthRules,
    /// Least total load at which a load centre means something, kN.
    pub centre_least_kn: f32,
    /// Whether ticks are true time, so that a speed can be told and judged.
    pub timed: bool,
}

/// Why settings were refused.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub enum SettingsError {
    /// The press.
    Press(PressError),
    /// The press has another number of columns than this monitor.
    Columns,
    /// The calibration.
    Calibration(CalibrationError),
    /// The low-pass.
    Filter(FilterError),
    /// Stroke tracking.
    Stroke(StrokeConfigError),
    /// A health limit, the spike jump or the least load for a centre is not above zero; names the field.
    NotPositive(&'static str),
}

impl core::fmt::Display for SettingsError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::Press(why) => why.fmt(f),
            Self::Columns => f.write_str("the press has another number of columns than this monitor"),
            Self::Calibration(why) => why.fmt(f),
            Self::Filter(why) => why.fmt(f),
            Self::Stroke(why) => why.fmt(f),
            Self::NotPositive(field) => write!(f, "{field} must be above zero"),
        }
    }
}

impl core::error::Error for SettingsError {}

/// Default corner of the low-pass, Hz: above the ringing of press frames (tens to a few hundred hertz), below
/// what electrical noise fills.
const CORNER_HZ: f64 = 2000.0;
/// Below this multiple of the corner a recording has no band worth taking away, and filtering it would only
/// round its peaks: the default is then no filter, and no spike guard, since one frame may hold a real peak.
const LEAST_RATE: f64 = 2.5;

/// Share of the rating at which the total load counts as contact: above the noise of gauges, below any work.
pub const ONSET_SHARE: f64 = 0.02;

impl<const N: usize> PressSettings<N> {
    /// The usual settings for a press whose frames come at `sample_hz` and whose gauges read
    /// `kn_per_count`, all limits of health relative to the press's rating.
    #[must_use]
    pub fn usual(press: PressSpec, sample_hz: f64, kn_per_count: f32, source: StrokeSource) -> Self {
        let share = (press.rated_kn / N as f64) as f32;
        let frames = |seconds: f64| (seconds * sample_hz) as u32;
        let fast = sample_hz >= LEAST_RATE * CORNER_HZ;
        Self {
            press,
            calibration: CalibrationConfig::plain(kn_per_count),
            filter: fast.then_some(FilterConfig {
                kind: FilterKind::NoOvershoot,
                corner_hz: CORNER_HZ,
                sample_hz,
            }),
            // No press loads a column from nothing to its full share within half a millisecond.
            spike_jump_kn: if fast { share } else { f32::INFINITY },
            stroke: StrokeConfig {
                source,
                sample_hz: sample_hz as f32,
                top_speed_spm: press.speed_spm[1] as f32,
                onset_kn: (ONSET_SHARE * press.rated_kn) as f32,
                rest_s: 0.05,
            },
            health: HealthRules {
                rail_frames: frames(0.05).max(16),
                // A converter that works never repeats a 24-bit reading so often; a coarse recording may, at rest.
                stuck_frames: frames(0.004).max(16),
                stuck_others_kn: 0.1 * share,
                stuck_alone_frames: u32::MAX,
                // A ten-thousandth of a 24-bit converter's span: its own offset, no gauge's zero.
                short_counts: 800,
                noise_kn: 0.1 * share,
                // A third of what noise may be: hum stays in every load, noise averages out.
                hum_kn: 0.03 * share,
                repeat_frames: frames(0.05).max(16),
            },
            centre_least_kn: (0.05 * press.rated_kn) as f32,
            timed: true,
        }
    }

    /// Checks everything and gives the form the monitor uses.
    ///
    /// # Errors
    /// [`SettingsError`] says what cannot be.
    pub fn build(&self) -> Result<Press<N>, SettingsError> {
        let crank = self.press.check().map_err(SettingsError::Press)?;
        if self.press.columns.count() != N {
            return Err(SettingsError::Columns);
        }
        let positive = [
            ("spike_jump_kn", self.spike_jump_kn),
            ("stuck_others_kn", self.health.stuck_others_kn),
            ("noise_kn", self.health.noise_kn),
            ("hum_kn", self.health.hum_kn),
            ("centre_least_kn", self.centre_least_kn),
        ];
        for (field, value) in positive {
            if value.is_nan() || value <= 0.0 {
                return Err(SettingsError::NotPositive(field));
            }
        }
        let place = |sides: &[f32], distance_mm: f64| {
            let mut places = [0.0; N];
            for (place, side) in places.iter_mut().zip(sides) {
                *place = side * (distance_mm / 2.0) as f32;
            }
            places
        };
        let columns = self.press.columns;
        Ok(Press {
            settings: *self,
            slide: SlideTable::new(&crank),
            limits: MachineLimits::new(&self.press, &crank),
            calibration: self.calibration.build().map_err(SettingsError::Calibration)?,
            filter: match self.filter {
                Some(config) => Some(config.build().map_err(SettingsError::Filter)?),
                None => None,
            },
            rules: self.stroke.build().map_err(SettingsError::Stroke)?,
            hum: if self.timed {
                HumRules::new(f64::from(self.stroke.sample_hz), self.health.hum_kn)
            } else {
                None
            },
            x_mm: place(columns.side_x(), self.press.bolster_mm[0]),
            y_mm: place(columns.side_y(), self.press.bolster_mm[1]),
        })
    }
}

/// A checked press, ready for the sample loop.
#[derive(Debug, Clone)]
#[repr(C)]
pub struct Press<const N: usize> {
    /// Counts to loads.
    pub calibration: Calibration<N>,
    /// Low-pass.
    pub filter: Option<LowPass>,
    /// Machine limits.
    pub limits: MachineLimits,
    /// Stroke tracking.
    pub rules: StrokeRules,
    /// How mains hum is looked for; none where it cannot be.
    pub hum: Option<HumRules>,
    /// What it was built from.
    pub settings: PressSettings<N>,
    /// `[column]`: places of the gauges, mm.
    pub x_mm: [f32; N],
    /// See `x_mm`.
    pub y_mm: [f32; N],
    /// Slide kinematics. Last, for it is large: a small processor reaches the others from one register.
    pub slide: SlideTable,
}
