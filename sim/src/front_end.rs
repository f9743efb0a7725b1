//! From column load to converter counts, as an installed gauge channel gives them.
//!
//! Load → strain (proportional, with cross-talk) → bridge, exact ([`crate::bridge`]) → excitation → amplifier
//! noise and mains hum → low-pass and averaging ([`crate::conditioner`]) → gain → 24-bit counts.
//! The scale back to kN uses the bridge's linear form, as a calibration would: the bridge's non-linearity
//! (0.07 % at 1000 µm/m) and each channel's gain error stay in the signal.
//! Left out: lead resistance, self-heating, hysteresis and creep of the gauges.

use crate::bridge;
use crate::conditioner::Conditioner;
use crate::faults::GaugeChange;
use crate::scenario::FrontEndData;
use crate::seed::{Purpose, bounded_normal, normal, stream};
use bolster_core::press::PressSpec;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::Rng as _;

/// Time in which two thirds of the warming drift come, s.
const WARMING_S: f64 = 1800.0;
/// Largest reading of the converter either way.
pub const FULL_SCALE: f64 = 8_388_607.0;

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
    /// Drift of zero when warm, and how much of it has come, V.
    drift_v: [f64; 4],
    drifted_v: [f64; 4],
    channels: [Conditioner; 4],
    /// Whether the filters have settled on a first input.
    settled: bool,
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
    pub fn new(press: &PressSpec, data: &FrontEndData, sample_hz: f64, seed: u64) -> Self {
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
            drift_v: [0.0; 4],
            drifted_v: [0.0; 4],
            channels: [Conditioner::new(data.bandwidth_hz, data.settling, 1.0 / sample_hz); 4],
            settled: false,
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
            front_end.drift_v[i] = data.drift_percent / 100.0 * full * bounded_normal(&mut installed);
            front_end.scale[i].zero_counts = f64::round(front_end.zero_v[i] * counts_per_volt);
        }
        front_end
    }

    /// Calibration of each channel.
    #[must_use]
    pub fn scale(&self) -> &[ChannelScale; 4] {
        &self.scale
    }

    /// Starts a stroke at `time_s`: the recorded part before it is over, so filters settle anew; the frame warms
    /// on; disturbances that keep their phase over a stroke draw it here.
    pub fn start_stroke(&mut self, time_s: f64) {
        self.settled = false;
        let warm = 1.0 - libm::exp(-time_s / WARMING_S);
        for (now, whole) in self.drifted_v.iter_mut().zip(self.drift_v) {
            *now = whole * warm;
        }
        self.hum_phase = core::f64::consts::TAU * unit(&mut self.disturbance);
    }

    /// Power is back: amplifier and averaging begin at zero.
    pub fn power_up(&mut self) {
        self.channels.iter_mut().for_each(|channel| channel.settle(0.0));
        self.held = [0; 4];
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
        let cross = self.data.crosstalk_percent / 100.0;
        let all: f64 = loads.iter().take(self.columns).sum();
        let mains = libm::sin(core::f64::consts::TAU * self.data.mains_hz * time_s);
        for i in 0..self.columns {
            let seen = loads[i] * (1.0 - cross) + cross * all;
            let data = &self.data;
            let strain = seen * self.strain_per_kn;
            let output =
                bridge::output(data.bridge, data.gauge_factor, data.poisson, strain) * data.excitation_v;
            let noise = normal(&mut self.noise) * self.data.noise_uv * 1e-6;
            let hum = mains * self.data.hum_uv * 1e-6;
            let mut volts = output * self.gain[i] + self.zero_v[i] + self.drifted_v[i] + noise + hum;
            let change = &changes[i];
            if !change.is_neutral() {
                volts = self.disturbed(i, volts, noise, time_s, change, near_bottom);
            }
            // The amplifier's output stops a little beyond the converter's range.
            let rail = 1.02 * (FULL_SCALE + 1.0) / self.counts_per_volt;
            let volts = volts.clamp(-rail, rail);
            if !self.settled {
                self.channels[i].settle(volts);
            }
            let volts = self.channels[i].next(volts);
            let reading = whole(volts * self.counts_per_volt).clamp(-FULL_SCALE - 1.0, FULL_SCALE) as i32;
            let reading = if change.stuck_span > near_bottom { self.held[i] } else { reading };
            self.held[i] = reading;
            counts[i] = reading;
            kn[i] = (f64::from(reading) - self.scale[i].zero_counts) * self.scale[i].kn_per_count;
        }
        self.settled = true;
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

/// To the nearest whole number, halves to even, for what is below 2⁵¹: the sum has no bits left for a fraction.
/// Without special instructions the library's own is a call, four times a sample.
#[inline]
fn whole(value: f64) -> f64 {
    const NO_FRACTION: f64 = 6_755_399_441_055_744.0;
    (value + NO_FRACTION) - NO_FRACTION
}

/// A number from 0 up to but not including 1.
fn unit(random: &mut ChaCha8Rng) -> f64 {
    (random.next_u64() >> 11) as f64 * (1.0 / 9_007_199_254_740_992.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use bolster_core::press::Columns;

    fn press() -> PressSpec {
        PressSpec {
            columns: Columns::LeftRight,
            rated_kn: 1000.0,
            rated_height_mm: 6.0,
            stroke_mm: 200.0,
            rod_mm: 900.0,
            speed_spm: [30.0, 60.0],
            bolster_mm: [1200.0, 800.0],
            usable_energy_kj: None,
            reverse_percent: 10.0,
            column_percent: 110.0,
            imbalance_percent: 30.0,
            off_centre_percent: None,
        }
    }

    fn ideal() -> FrontEndData {
        FrontEndData {
            noise_uv: 0.0,
            hum_uv: 0.0,
            gain_error_percent: 0.0,
            drift_percent: 0.0,
            ..Default::default()
        }
    }

    #[test]
    fn whole_numbers_are_the_nearest_with_halves_to_even() {
        for i in -40_000..40_000 {
            for value in [f64::from(i) * 0.25, f64::from(i) * 213.37] {
                assert_eq!(whole(value), value.round_ties_even(), "{value}");
            }
        }
    }

    #[test]
    fn a_steady_load_reads_true_but_for_the_bridge_curve() {
        let mut front_end = FrontEnd::new(&press(), &ideal(), 1e4, 5);
        front_end.start_stroke(0.0);
        let mut kn = [0.0; 4];
        for _ in 0..50 {
            kn = front_end.read(0.0, &[500.0, -500.0, 0.0, 0.0], &[GaugeChange::NONE; 4], 0.5).1;
        }
        // e(1−ν)/2 with e = 2.1 · 250e-6 and ν = 0.285: reads 0.0188 % low in tension, high in compression.
        let curve = 2.1 * 250e-6 * (1.0 - 0.285) / 2.0;
        let count = front_end.scale()[0].kn_per_count;
        assert!((kn[0] - 500.0 / (1.0 + curve)).abs() < count, "{kn:?}");
        assert!((kn[1] + 500.0 / (1.0 - curve)).abs() < count, "{kn:?}");
    }

    #[test]
    fn noise_has_the_stated_size() {
        let data = FrontEndData { noise_uv: 2.0, settling: 1, bandwidth_hz: 1e5, ..ideal() };
        let mut front_end = FrontEnd::new(&press(), &data, 1e4, 6);
        front_end.start_stroke(0.0);
        let read: Vec<f64> =
            (0..4000).map(|_| front_end.read(0.0, &[0.0; 4], &[GaugeChange::NONE; 4], 0.5).1[0]).collect();
        let deviation = f64::sqrt(read.iter().map(|v| v * v).sum::<f64>() / 4000.0);
        // 500 kN are 250 µm/m · 2.1 · 1.285/2 · 5 V = 1.6866 mV, so 2 µV are 0.593 kN. A wide amplifier still
        // takes a little off; the deviation of a deviation is 1/√8000 = 1.1 %.
        assert!((deviation / 0.593 - 1.0).abs() < 0.06, "seed 6: {deviation}");
    }

    #[test]
    fn cross_talk_adds_a_share_of_the_other_column() {
        let data = FrontEndData { crosstalk_percent: 2.0, ..ideal() };
        let mut front_end = FrontEnd::new(&press(), &data, 1e4, 5);
        front_end.start_stroke(0.0);
        let mut kn = [0.0; 4];
        for _ in 0..50 {
            kn = front_end.read(0.0, &[400.0, 0.0, 0.0, 0.0], &[GaugeChange::NONE; 4], 0.5).1;
        }
        assert!((kn[1] - 8.0).abs() < 0.01, "{kn:?}");
    }
}
