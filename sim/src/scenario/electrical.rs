//! The front end's table in a scenario file.

use serde::Deserialize;

/// How the gauges of a column are wired.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum BridgeKind {
    /// Full bridge, two gauges along and two across.
    Poisson,
    /// Full bridge, four gauges active in bending.
    Bending,
    /// One gauge.
    Quarter,
}

/// Gauges, amplifier and converter; the same for each column.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct FrontEndData {
    /// How the gauges are wired.
    pub bridge: BridgeKind,
    /// Strain of a column at rating / columns, µm/m.
    pub strain_at_rated: f64,
    /// Gauge factor.
    pub gauge_factor: f64,
    /// Poisson's number of the column.
    pub poisson: f64,
    /// Bridge excitation, V.
    pub excitation_v: f64,
    /// Amplifier gain before the converter.
    pub gain: f64,
    /// Converter's reference: full scale either way, V.
    pub reference_v: f64,
    /// Corner of the amplifier's second-order low-pass before the converter, Hz.
    pub bandwidth_hz: f64,
    /// Order of the converter's averaging filter: 1 settles in one conversion, 3 in three.
    pub settling: u32,
    /// Part of every other column's load that a gauge also sees, percent.
    pub crosstalk_percent: f64,
    /// Noise at the amplifier's input, µV root mean square at this sample rate.
    pub noise_uv: f64,
    /// Mains hum at the amplifier's input, µV amplitude.
    pub hum_uv: f64,
    /// Mains frequency, Hz.
    pub mains_hz: f64,
    /// Standard deviation of the channels' gain error left by calibration, percent.
    pub gain_error_percent: f64,
    /// Standard deviation of the bridges' zero as installed, mV/V.
    pub zero_mv_per_v: f64,
    /// Drift of zero when warm, percent of a column's rating, standard deviation; two thirds come in half an hour.
    pub drift_percent: f64,
    /// Steps of the crank encoder in a turn.
    pub encoder_steps: u32,
}

impl Default for FrontEndData {
    fn default() -> Self {
        Self {
            bridge: BridgeKind::Poisson,
            strain_at_rated: 250.0,
            gauge_factor: 2.1,
            poisson: 0.285,
            excitation_v: 5.0,
            gain: 128.0,
            reference_v: 2.5,
            bandwidth_hz: 1500.0,
            settling: 3,
            crosstalk_percent: 0.0,
            noise_uv: 1.2,
            hum_uv: 0.3,
            mains_hz: 50.0,
            gain_error_percent: 0.3,
            zero_mv_per_v: 0.05,
            drift_percent: 0.2,
            encoder_steps: 16384,
        }
    }
}
