//! Rows of a recording as the frames that a converter, a crank sensor and a sample clock would have given.
//!
//! The host's own monitor and a controller's are fed alike from here.

use bolster_core::calibrate::ZeroTracking;
use bolster_core::filter::{FilterConfig, FilterKind};
use bolster_core::frame::{CrankReading, Frame};
use bolster_core::settings::PressSettings;
use bolster_core::stroke::StrokeSource;
use bolster_core::units::{CrankAngle, Tick};
use bolster_link::feed::Before;

use super::clock::RowClock;
use super::{SampleRate, SessionError};
use crate::card::press::PressCard;
use crate::recording::Row;

/// One count of the converter, as a share of the column's rated share: full scale is four times that share, so a
/// recorded overload of any believable size still fits.
const COUNTS_PER_SHARE: f64 = 2_097_152.0;

/// Time constant with which an unloaded gauge's zero is followed, s, and how far, as a share of the rated share.
const ZERO_SECONDS: f64 = 2.0;
const ZERO_SHARE: f64 = 0.02;

/// Turns rows of a press with `N` columns into frames.
#[derive(Debug, Clone)]
pub struct Framer<const N: usize> {
    counts_per_kn: f64,
    clock: RowClock,
    stroke: Option<u64>,
    coil: u64,
}

impl<const N: usize> Framer<N> {
    /// What a monitor of recorded strokes of this press is set to, and what makes its frames; `counts` says that rows
    /// hold raw counts.
    ///
    /// # Errors
    /// [`SessionError::Settings`] if the card's figures do not go together.
    pub fn new(
        card: &PressCard,
        counts: bool,
        rate: SampleRate,
    ) -> Result<(Self, PressSettings<N>), SessionError> {
        let nominal = COUNTS_PER_SHARE * N as f64 / card.spec.rated_kn;
        let calibration = card.calibration.as_ref().filter(|_| counts);
        let counts_per_kn = if counts { 1.0 } else { nominal };
        let mut settings =
            PressSettings::usual(card.spec, rate.hz, (1.0 / nominal) as f32, StrokeSource::Marked);
        settings.timed = rate.is_measured;
        // Loads in a recording may be rounded, so that a press at rest repeats itself.
        settings.health.repeat_frames = u32::MAX;
        if let Some(stored) = calibration {
            let problem =
                || SessionError::Settings("the calibration is for another number of columns".to_owned());
            settings.calibration = stored.config::<N>().ok_or_else(problem)?;
            // Loads that were recorded as loads are taken at their word; a gauge's zero drifts.
            settings.calibration.zero_tracking = Some(ZeroTracking {
                rate: (1.0 / (ZERO_SECONDS * rate.hz)).min(1.0) as f32,
                limit_kn: (ZERO_SHARE * card.spec.rated_kn / N as f64) as f32,
            });
        }
        if let Some(corner_hz) = card.low_pass_hz {
            settings.filter =
                Some(FilterConfig { kind: FilterKind::NoOvershoot, corner_hz, sample_hz: rate.hz });
        }
        let framer = Self { counts_per_kn, clock: RowClock::new(rate), stroke: None, coil: 0 };
        Ok((framer, settings))
    }

    /// The stroke under way and its coil.
    #[must_use]
    pub fn under_way(&self) -> Option<(u64, u64)> {
        self.stroke.map(|stroke| (stroke, self.coil))
    }

    /// The recording has ended: gives the stroke that was under way.
    pub fn end(&mut self) -> Option<(u64, u64)> {
        self.stroke.take().map(|stroke| (stroke, self.coil))
    }

    /// The tick that is due.
    #[must_use]
    pub fn tick(&self) -> Tick {
        self.clock.tick()
    }

    /// The frame of a row, and what comes with it. The first row of a stroke marks it; the stroke before is then judged
    /// to its end, for a recording need not wait for frames to judge in, and a coarse one has not enough of them.
    pub fn next(&mut self, row: &Row) -> (Before, Frame<N>) {
        let changed = self.stroke != Some(row.stroke);
        let new_coil = changed && self.stroke.is_some() && self.coil != row.coil;
        if changed {
            self.stroke = Some(row.stroke);
            self.coil = row.coil;
        }
        let mut counts = [0; N];
        for (count, load) in counts.iter_mut().zip(&row.loads) {
            // Saturating, as a converter does; the range's ends then show as saturation.
            // Of raw counts the factor is one.
            *count = (load * self.counts_per_kn).round() as i32;
            *count = (*count).clamp(-(1 << 23), (1 << 23) - 1);
        }
        let crank = if row.angle_deg.is_nan() {
            CrankReading::Absent
        } else {
            CrankReading::Angle(CrankAngle::from_degrees(row.angle_deg))
        };
        let tick = self.clock.next(changed, row.time_s);
        let before = Before { mark: changed, new_coil, finish: changed, ..Before::default() };
        (before, Frame { tick, counts, crank, sensors: row.sensors })
    }
}
