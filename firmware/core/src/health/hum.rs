//! Mains hum on a gauge: amplitude at 50 and at 60 Hz over tenths of a second in which the die does not work.
//!
//! A tenth of a second holds whole periods of both, so that a constant load is seen in neither and one is not taken for
//! the other (Goertzel 1958). A load that starts or ends, or a frame that rings on, has something of every frequency:
//! only an amplitude that stays for [`BLOCKS`] tenths counts. Where the angle is known the upper half of the turn is
//! looked at, whatever the load reads; at more than about 280 strokes a minute that takes less than a tenth, and hum
//! is found while the press stands. Without an angle it is the unloaded press, and hum that passes the load onset is a load.

/// Mains frequencies, Hz.
const MAINS_HZ: [f64; 2] = [50.0, 60.0];
/// Readings a second that are enough to tell them, and a fewest.
const ENOUGH_HZ: f64 = 800.0;
/// See [`ENOUGH_HZ`].
const LEAST_HZ: f64 = 250.0;
/// Seconds of one measurement.
const BLOCK_S: f64 = 0.1;
/// Measurements in a row that must show hum.
pub const BLOCKS: u8 = 3;

/// How hum is measured at one sample rate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HumRules {
    /// One frame in so many is taken.
    stride: u32,
    /// Frames taken in one measurement.
    frames: u32,
    /// Twice the cosine of each frequency's step.
    cosines: [f32; 2],
    /// Square of the recurrence's size at the limit.
    limit: f32,
}

impl HumRules {
    /// For frames that come `sample_hz` a second and an allowed amplitude of `hum_kn`; none where the rate is too low or
    /// nothing is limited.
    #[must_use]
    pub fn new(sample_hz: f64, hum_kn: f32) -> Option<Self> {
        if !((LEAST_HZ..1e9).contains(&sample_hz) && hum_kn.is_finite()) {
            return None;
        }
        let stride = libm::fmax(libm::floor(sample_hz / ENOUGH_HZ), 1.0);
        let taken_hz = sample_hz / stride;
        let frames = libm::round(BLOCK_S * taken_hz);
        let cosine = |hz: f64| (2.0 * libm::cos(core::f64::consts::TAU * hz / taken_hz)) as f32;
        let at_limit = 0.5 * frames as f32 * hum_kn;
        Some(Self {
            stride: stride as u32,
            frames: frames as u32,
            cosines: MAINS_HZ.map(cosine),
            limit: at_limit * at_limit,
        })
    }
}

/// What is known of hum.
#[derive(Debug, Clone, Copy)]
pub(super) struct HumWatch<const N: usize> {
    /// Frames until the next one is taken, and those taken in this measurement.
    wait: u32,
    taken: u32,
    /// `[column][frequency]`: the recurrence's last two values.
    states: [[[f32; 2]; 2]; N],
    /// `[column]`: the measurement's first load, kN: a constant load is taken out before it can leak.
    first_kn: [f32; N],
    /// `[column]`: measurements in a row that showed hum.
    shown: [u8; N],
}

impl<const N: usize> Default for HumWatch<N> {
    fn default() -> Self {
        Self { wait: 0, taken: 0, states: [[[0.0; 2]; 2]; N], first_kn: [0.0; N], shown: [0; N] }
    }
}

impl<const N: usize> HumWatch<N> {
    /// A measurement under way is given up.
    #[inline]
    pub(super) fn give_up(&mut self) {
        self.taken = 0;
        self.wait = 0;
    }

    /// One frame in which the die does not work. True if it completed a measurement.
    #[inline]
    pub(super) fn step(&mut self, rules: &HumRules, loads_kn: &[f32; N]) -> bool {
        if self.wait > 0 {
            self.wait -= 1;
            return false;
        }
        self.take(rules, *loads_kn)
    }

    #[inline(never)]
    fn take(&mut self, rules: &HumRules, loads_kn: [f32; N]) -> bool {
        if self.taken == 0 {
            self.states = [[[0.0; 2]; 2]; N];
            self.first_kn = loads_kn;
        }
        self.wait = rules.stride - 1;
        self.taken += 1;
        for ((states, load), first) in self.states.iter_mut().zip(&loads_kn).zip(&self.first_kn) {
            let change = load - first;
            for ([one, two], cosine) in states.iter_mut().zip(rules.cosines) {
                (*one, *two) = (change + cosine * *one - *two, *one);
            }
        }
        let done = self.taken >= rules.frames;
        if done {
            self.taken = 0;
            for (states, shown) in self.states.iter().zip(&mut self.shown) {
                // Written so that a NaN is not within.
                let within = states
                    .iter()
                    .zip(rules.cosines)
                    .all(|([one, two], cosine)| one * one + two * two - cosine * one * two <= rules.limit);
                *shown = if within { 0 } else { shown.saturating_add(1) };
            }
        }
        done
    }

    /// Whether this column hums.
    pub(super) fn hums(&self, column: usize) -> bool {
        self.shown.get(column).is_some_and(|shown| *shown >= BLOCKS)
    }

    /// Whether any column hums.
    pub(super) fn any(&self) -> bool {
        self.shown.iter().any(|shown| *shown >= BLOCKS)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Measurements until hum is found, in a second of this signal.
    fn found(sample_hz: f64, limit_kn: f32, signal: impl Fn(f64) -> f64) -> bool {
        let rules = HumRules::new(sample_hz, limit_kn).unwrap();
        let mut watch = HumWatch::<1>::default();
        let mut any = false;
        for n in 0..sample_hz as u32 {
            watch.step(&rules, &[signal(f64::from(n) / sample_hz) as f32]);
            any |= watch.any();
        }
        any
    }

    #[test]
    fn an_amplitude_at_either_mains_frequency_is_found_above_its_limit_and_not_below() {
        for sample_hz in [500.0, 2_000.0, 10_000.0, 12_345.0, 20_000.0] {
            for mains in [50.0, 60.0] {
                for phase in [0.0, 1.0, 2.5] {
                    // A tenth holds a whole number of taken frames to half of one in fifty at least: one per cent.
                    let hum = |kn: f64| {
                        move |s: f64| 30.0 + kn * libm::sin(core::f64::consts::TAU * mains * s + phase)
                    };
                    assert!(found(sample_hz, 10.0, hum(11.0)), "{sample_hz} {mains} {phase}");
                    assert!(!found(sample_hz, 10.0, hum(8.5)), "{sample_hz} {mains} {phase}");
                }
            }
        }
    }

    #[test]
    fn a_constant_load_a_drift_a_step_and_a_ringing_frame_are_no_hum() {
        assert!(!found(10_000.0, 1.0, |_| 500.0));
        assert!(!found(10_000.0, 1.0, |s| 20.0 * s));
        assert!(!found(10_000.0, 1.0, |s| if s < 0.45 { 0.0 } else { 100.0 }));
        // 55 Hz, damped by 4 % of critical, from 20 kN.
        let ring =
            |s: f64| 20.0 * libm::exp(-0.04 * core::f64::consts::TAU * 55.0 * s) * libm::sin(345.6 * s);
        assert!(!found(10_000.0, 1.0, ring));
    }

    #[test]
    fn rates_that_cannot_tell_give_no_rules() {
        assert!(HumRules::new(200.0, 1.0).is_none());
        assert!(HumRules::new(f64::NAN, 1.0).is_none());
        assert!(HumRules::new(10_000.0, f32::INFINITY).is_none());
    }
}
