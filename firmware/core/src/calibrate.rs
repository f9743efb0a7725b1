//! Counts to loads: zero, gain and cross-talk, and a zero that is tracked only while unloaded.
//!
//! load = M · (counts − zero) − offset, with M in kN per count: its diagonal is the gain, the rest
//! what one column's gauge sees of the others. The offset follows slow drift of the zero, at a
//! bounded rate, up to a bounded size; beyond that the gauge is unhealthy, not the press unloaded.

/// What a person or a calibration run gives. Unchecked; see [`CalibrationConfig::build`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CalibrationConfig<const N: usize> {
    /// `[column]`: counts at no load.
    pub zero_counts: [i32; N],
    /// `[load column][gauge column]`: kN per count.
    pub kn_per_count: [[f32; N]; N],
    /// Least and greatest count the converter can give; a reading at either end is saturated.
    pub range_counts: [i32; 2],
    /// Zero tracking; none for signals that are loads already.
    pub zero_tracking: Option<ZeroTracking>,
}

/// How the zero may follow drift.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ZeroTracking {
    /// Share of the present error taken up in each unloaded frame, 0 to 1.
    pub rate: f32,
    /// Greatest offset, kN; a gauge that needs more is drifting.
    pub limit_kn: f32,
}

/// Why a calibration was refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum CalibrationError {
    /// A coefficient is not finite, or a column's own gain is not above zero; names the column.
    Gain(usize),
    /// A zero lies outside the converter's range; names the column.
    Zero(usize),
    /// The range is empty.
    Range,
    /// The tracking rate is outside 0 to 1 or its limit not above zero.
    Tracking,
}

impl core::fmt::Display for CalibrationError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::Gain(column) => {
                write!(f, "column {}: the gain must be a positive number of kN per count", column + 1)
            }
            Self::Zero(column) => {
                write!(f, "column {}: the zero lies outside the converter's range", column + 1)
            }
            Self::Range => f.write_str("the converter's range is empty"),
            Self::Tracking => f.write_str("zero tracking needs a rate from 0 to 1 and a limit above zero"),
        }
    }
}

impl core::error::Error for CalibrationError {}

impl<const N: usize> CalibrationConfig<N> {
    /// Columns that read loads directly at `kn_per_count`, without cross-talk, zero 0, 24-bit range.
    #[must_use]
    pub fn plain(kn_per_count: f32) -> Self {
        let mut matrix = [[0.0; N]; N];
        for (i, row) in matrix.iter_mut().enumerate() {
            for (j, cell) in row.iter_mut().enumerate() {
                if i == j {
                    *cell = kn_per_count;
                }
            }
        }
        Self {
            zero_counts: [0; N],
            kn_per_count: matrix,
            range_counts: [-(1 << 23), (1 << 23) - 1],
            zero_tracking: None,
        }
    }

    /// Checks the values and gives the form the sample loop uses.
    ///
    /// # Errors
    /// [`CalibrationError`] names the first value that cannot be.
    pub fn build(&self) -> Result<Calibration<N>, CalibrationError> {
        let [least, greatest] = self.range_counts;
        if least >= greatest {
            return Err(CalibrationError::Range);
        }
        let mut diagonal = true;
        for (i, row) in self.kn_per_count.iter().enumerate() {
            for (j, cell) in row.iter().enumerate() {
                if !cell.is_finite() || (i == j && *cell <= 0.0) {
                    return Err(CalibrationError::Gain(i));
                }
                diagonal &= i == j || *cell == 0.0;
            }
        }
        for (column, zero) in self.zero_counts.iter().enumerate() {
            if *zero <= least || *zero >= greatest {
                return Err(CalibrationError::Zero(column));
            }
        }
        if let Some(tracking) = self.zero_tracking {
            let sound = (0.0..=1.0).contains(&tracking.rate) && tracking.limit_kn > 0.0;
            if !sound || !tracking.limit_kn.is_finite() {
                return Err(CalibrationError::Tracking);
            }
        }
        Ok(Calibration { config: *self, diagonal })
    }
}

/// A checked calibration.
#[derive(Debug, Clone, Copy)]
pub struct Calibration<const N: usize> {
    config: CalibrationConfig<N>,
    diagonal: bool,
}

impl<const N: usize> Calibration<N> {
    /// Loads in kN, before the tracked offset.
    #[must_use]
    #[inline]
    pub fn loads(&self, counts: &[i32; N]) -> [f32; N] {
        let mut net = [0.0; N];
        for ((net, count), zero) in net.iter_mut().zip(counts).zip(&self.config.zero_counts) {
            // Saturating: a 32-bit converter at its rail minus a large zero must not wrap.
            *net = count.saturating_sub(*zero) as f32;
        }
        let mut loads = [0.0; N];
        for (i, (load, row)) in loads.iter_mut().zip(&self.config.kn_per_count).enumerate() {
            if self.diagonal {
                if let (Some(gain), Some(net)) = (row.get(i), net.get(i)) {
                    *load = gain * net;
                }
            } else {
                for (cell, net) in row.iter().zip(&net) {
                    *load += cell * net;
                }
            }
        }
        loads
    }

    /// Whether this count is at an end of the converter's range.
    #[must_use]
    #[inline]
    pub fn is_saturated(&self, count: i32) -> bool {
        let [least, greatest] = self.config.range_counts;
        count <= least || count >= greatest
    }

    /// Least and greatest count the converter can give.
    #[must_use]
    pub fn range_counts(&self) -> [i32; 2] {
        self.config.range_counts
    }

    /// How the zero may follow drift.
    #[must_use]
    pub fn zero_tracking(&self) -> Option<ZeroTracking> {
        self.config.zero_tracking
    }
}

/// The tracked zero offsets.
#[derive(Debug, Clone, Copy)]
pub struct ZeroState<const N: usize> {
    offset_kn: [f32; N],
    at_limit: [bool; N],
    any_at_limit: bool,
}

impl<const N: usize> Default for ZeroState<N> {
    fn default() -> Self {
        Self { offset_kn: [0.0; N], at_limit: [false; N], any_at_limit: false }
    }
}

impl<const N: usize> ZeroState<N> {
    /// Takes the offsets off the loads.
    #[inline]
    pub fn apply(&self, loads: &mut [f32; N]) {
        for (load, offset) in loads.iter_mut().zip(&self.offset_kn) {
            *load -= offset;
        }
    }

    /// Follows the zero by one frame; to be called only while the press is unloaded, with net loads.
    #[inline]
    pub fn track(&mut self, tracking: ZeroTracking, net_loads: &[f32; N]) {
        let ZeroTracking { rate, limit_kn } = tracking;
        let mut free = !self.any_at_limit;
        let mut wanted = *net_loads;
        for (wanted, offset) in wanted.iter_mut().zip(&self.offset_kn) {
            *wanted = offset + rate * *wanted;
            free &= wanted.abs() <= limit_kn;
        }
        if free {
            self.offset_kn = wanted;
        } else {
            self.limit(limit_kn, &wanted);
        }
    }

    /// Where an offset would pass its limit, or did so before.
    #[inline(never)]
    fn limit(&mut self, limit_kn: f32, wanted: &[f32; N]) {
        for ((offset, at_limit), wanted) in self.offset_kn.iter_mut().zip(&mut self.at_limit).zip(wanted) {
            // Not `clamp`, which could panic on a limit the compiler cannot know to be positive.
            *offset = wanted.max(-limit_kn).min(limit_kn);
            *at_limit = *offset != *wanted;
        }
        self.any_at_limit = self.at_limit.contains(&true);
    }

    /// Whether any column's zero has drifted as far as it may.
    #[must_use]
    #[inline]
    pub fn any_at_limit(&self) -> bool {
        self.any_at_limit
    }

    /// Whether this column's zero has drifted as far as it may.
    #[must_use]
    pub fn at_limit(&self, column: usize) -> bool {
        self.at_limit.get(column).copied().unwrap_or(false)
    }

    /// `[column]`: the offsets, kN.
    #[must_use]
    pub fn offsets_kn(&self) -> [f32; N] {
        self.offset_kn
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn gain_zero_and_cross_talk_are_the_matrix_product() {
        let config = CalibrationConfig::<2> {
            zero_counts: [100, -100],
            kn_per_count: [[0.5, 0.25], [-0.125, 2.0]],
            ..CalibrationConfig::plain(1.0)
        };
        let loads = config.build().unwrap().loads(&[108, -96]);
        assert_eq!(loads, [8.0 * 0.5 + 4.0 * 0.25, -8.0 * 0.125 + 4.0 * 2.0]);
    }

    #[test]
    fn a_rail_minus_a_large_zero_saturates() {
        let mut config = CalibrationConfig::<1>::plain(1.0);
        config.range_counts = [i32::MIN, i32::MAX];
        config.zero_counts = [i32::MAX - 1];
        let loads = config.build().unwrap().loads(&[i32::MIN]);
        assert_eq!(loads, [i32::MIN as f32]);
    }

    #[test]
    fn saturation_is_known_by_the_range() {
        let calibration = CalibrationConfig::<1>::plain(1.0).build().unwrap();
        assert!(calibration.is_saturated((1 << 23) - 1));
        assert!(calibration.is_saturated(-(1 << 23)));
        assert!(!calibration.is_saturated((1 << 23) - 2));
    }

    #[test]
    fn zero_follows_drift_and_stops_at_its_limit() {
        let tracking = ZeroTracking { rate: 0.25, limit_kn: 1.0 };
        let mut zero = ZeroState::<1>::default();
        for _ in 0..200 {
            let mut loads = [0.5];
            zero.apply(&mut loads);
            zero.track(tracking, &loads);
        }
        assert!((zero.offsets_kn()[0] - 0.5).abs() < 1e-6);
        assert!(!zero.at_limit(0));
        for _ in 0..200 {
            let mut loads = [3.0];
            zero.apply(&mut loads);
            zero.track(tracking, &loads);
        }
        assert_eq!(zero.offsets_kn(), [1.0]);
        assert!(zero.at_limit(0));
    }

    #[test]
    fn what_cannot_be_is_refused() {
        let good = CalibrationConfig::<1>::plain(1.0);
        let cases = [
            (CalibrationConfig { kn_per_count: [[0.0]], ..good }, CalibrationError::Gain(0)),
            (CalibrationConfig { kn_per_count: [[f32::NAN]], ..good }, CalibrationError::Gain(0)),
            (CalibrationConfig { zero_counts: [1 << 23], ..good }, CalibrationError::Zero(0)),
            (CalibrationConfig { range_counts: [5, 5], ..good }, CalibrationError::Range),
            (
                CalibrationConfig { zero_tracking: Some(ZeroTracking { rate: 2.0, limit_kn: 1.0 }), ..good },
                CalibrationError::Tracking,
            ),
        ];
        for (config, error) in cases {
            assert_eq!(config.build().err(), Some(error));
        }
    }
}
