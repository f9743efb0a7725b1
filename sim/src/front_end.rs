//! From column load to converter counts, as an installed gauge channel gives them.
//!
//! Load → strain (proportional) → full bridge with two axial and two transverse gauges, exact:
//! Vo/Vex = GF·ε(1+ν)/(2 + GF·ε(1−ν)) → excitation → amplifier noise and mains hum → gain → 24-bit counts.
//! The scale back to kN uses the bridge's linear form, GF·ε(1+ν)/2, as a calibration would: the bridge's
//! non-linearity (0.07 % at 1000 µm/m) and each channel's gain error stay in the signal.
//! Left out: lead resistance, self-heating, cross-talk between columns.

use crate::faults::GaugeChange;
use crate::scenario::FrontEndData;
use crate::seed::{Purpose, bounded_normal, normal, stream};
use bolster_core::press::PressSpec;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::Rng as _;

/// Largest reading of the converter either way.
pub const FULL_SCALE: f64 = 8_388_607.0;

/// Output of a full bridge with two axial and two transverse gauges, V/V, at `strain` (m/m).
#[must_use]
#[inline]
pub fn bridge(gauge_factor: f64, poisson: f64, strain: f64) -> f64 {
    let e = gauge_factor * strain;
    e * (1.0 + poisson) / (2.0 + e * (1.0 - poisson))
}

/// What calibration knows of a channel: kN = (counts − zero) · kn_per_count.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ChannelScale {
    /// Counts of the unloaded column as installed.
    pub zero_counts: f64,
    /// kN a count.
    pub kn_per_count: f64,
}

/// All channels.
#[derive(Debug, Clone)]
pub struct FrontEnd {
    data: FrontEndData,
    columns: usize,
    /// Strain a kN.
    strain_per_kn: f64,
    counts_per_volt: f64,
    gain: [f64; 4],
    /// Zero as installed, V at the amplifier's input.
    zero_v: [f64; 4],
    drift_v_per_s: [f64; 4],
    scale: [ChannelScale; 4],
    column_rated_kn: f64,
    noise: ChaCha8Rng,
    disturbance: ChaCha8Rng,
    held: [i32; 4],
    hum_phase: f64,
}

impl FrontEnd {
    /// The channels of `press`.
    #[must_use]
    pub fn new(press: &PressSpec, data: &FrontEndData, seed: u64) -> Self {
        let columns = press.columns.count();
        let column_rated_kn = press.rated_kn / columns as f64;
        let strain_per_kn = data.strain_at_rated * 1e-6 / column_rated_kn;
        let counts_per_volt = data.gain * (FULL_SCALE + 1.0) / data.reference_v;
        let volts_per_kn = data.gauge_factor * strain_per_kn * (1.0 + data.poisson) / 2.0 * data.excitation_v;
        let mut installed = stream(seed, Purpose::Installation);
        let mut front_end = Self {
            data: data.clone(),
            columns,
            strain_per_kn,
            counts_per_volt,
            gain: [1.0; 4],
            zero_v: [0.0; 4],
            drift_v_per_s: [0.0; 4],
            scale: [ChannelScale { zero_counts: 0.0, kn_per_count: 1.0 / (volts_per_kn * counts_per_volt) };
                4],
            column_rated_kn,
            noise: stream(seed, Purpose::Noise),
            disturbance: stream(seed, Purpose::Disturbance),
            held: [0; 4],
            hum_phase: 0.0,
        };
        for i in 0..4 {
            front_end.gain[i] = 1.0 + data.gain_error_percent / 100.0 * bounded_normal(&mut installed);
            front_end.zero_v[i] =
                data.zero_mv_per_v * 1e-3 * data.excitation_v * bounded_normal(&mut installed);
            let full = column_rated_kn * volts_per_kn;
            front_end.drift_v_per_s[i] =
                data.drift_percent_per_hour / 100.0 * full / 3600.0 * bounded_normal(&mut installed);
            front_end.scale[i].zero_counts = libm::round(front_end.zero_v[i] * counts_per_volt);
        }
        front_end
    }

    /// Calibration of each channel.
    #[must_use]
    pub fn scale(&self) -> &[ChannelScale; 4] {
        &self.scale
    }

    /// Starts a stroke: disturbances that keep their phase over it draw it here.
    pub fn start_stroke(&mut self) {
        self.hum_phase = core::f64::consts::TAU * unit(&mut self.disturbance);
    }

    /// Counts and indicated kN at `time_s` of these column loads. `near_bottom` is how close the crank is to the
    /// bottom: 0 there, 1 at the ends of the recorded part.
    #[inline]
    pub fn read(
        &mut self,
        time_s: f64,
        loads: &[f64; 4],
        changes: &[GaugeChange; 4],
        near_bottom: f64,
    ) -> ([i32; 4], [f64; 4]) {
        let mut counts = [0; 4];
        let mut kn = [0.0; 4];
        let mains = libm::sin(core::f64::consts::TAU * self.data.mains_hz * time_s);
        for i in 0..self.columns {
            let strain = loads[i] * self.strain_per_kn;
            let output = bridge(self.data.gauge_factor, self.data.poisson, strain) * self.data.excitation_v;
            let noise = normal(&mut self.noise) * self.data.noise_uv * 1e-6;
            let hum = mains * self.data.hum_uv * 1e-6;
            let mut volts =
                output * self.gain[i] + self.zero_v[i] + self.drift_v_per_s[i] * time_s + noise + hum;
            let change = &changes[i];
            if !change.is_neutral() {
                volts = self.disturbed(i, volts, noise, time_s, change, near_bottom);
            }
            let reading =
                libm::rint(volts * self.counts_per_volt).clamp(-FULL_SCALE - 1.0, FULL_SCALE) as i32;
            let reading = if change.stuck_span > near_bottom { self.held[i] } else { reading };
            self.held[i] = reading;
            counts[i] = reading;
            kn[i] = (f64::from(reading) - self.scale[i].zero_counts) * self.scale[i].kn_per_count;
        }
        (counts, kn)
    }

    /// The input voltage of a channel that something is wrong with.
    fn disturbed(
        &mut self,
        channel: usize,
        volts: f64,
        noise: f64,
        time_s: f64,
        change: &GaugeChange,
        near_bottom: f64,
    ) -> f64 {
        if change.open_span > near_bottom {
            // The input floats up to the supply; the converter saturates.
            return self.data.excitation_v;
        }
        if change.short_span > near_bottom {
            return noise;
        }
        let zero = self.zero_v[channel];
        let per_kn = 1.0 / (self.scale[channel].kn_per_count * self.counts_per_volt);
        let column = self.column_rated_kn * per_kn;
        let mut out = zero + (volts - zero) * change.gain + change.offset * column;
        if change.hum > 0.0 {
            let turns = core::f64::consts::TAU * self.data.mains_hz * time_s + self.hum_phase;
            // Pick-up is rich in the third harmonic.
            out += change.hum * column * (libm::sin(turns) + 0.3 * libm::sin(3.0 * turns));
        }
        if change.spike_chance > 0.0 && unit(&mut self.disturbance) < change.spike_chance {
            out += column * change.spike * (2.0 * unit(&mut self.disturbance) - 1.0);
        }
        out
    }
}

/// A number from 0 up to but not including 1.
fn unit(random: &mut ChaCha8Rng) -> f64 {
    (random.next_u64() >> 11) as f64 * (1.0 / 9_007_199_254_740_992.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_bridge_gives_the_reference_outputs() {
        // 1000 µm/m, gauge factor 2; source: computed.
        assert!((bridge(2.0, 0.30, 1e-3) * 1e3 - 1.299091).abs() < 1e-6);
        assert!((bridge(2.0, 0.285, 1e-3) * 1e3 - 1.284082).abs() < 1e-6);
    }
}
