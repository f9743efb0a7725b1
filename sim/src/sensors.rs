//! Part sensors: inputs that are on for part of every turn, when the part is where it should be.

use crate::scenario::{SensorData, Watches};
use crate::seed::{Purpose, bounded_normal, stream};
use rand_chacha::ChaCha8Rng;

/// What is wrong with what the sensors watch, each 0 (nothing) to 1 (it does not come at all).
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct SensorChange {
    /// The feed.
    pub feed: f64,
    /// The part's way out.
    pub part_out: f64,
}

/// Angle by which a sensor is late just before it does not come at all, degrees.
const LATEST_DEG: f64 = 30.0;

/// All sensors of a scenario.
#[derive(Debug, Clone)]
pub struct Sensors {
    data: Vec<SensorData>,
    random: ChaCha8Rng,
    /// Input bit, on and off angle in this stroke; off before on where it does not come.
    now: Vec<(u8, f64, f64)>,
}

impl Sensors {
    /// The sensors of a checked scenario.
    #[must_use]
    pub fn new(data: &[SensorData], seed: u64) -> Self {
        Self { data: data.to_vec(), random: stream(seed, Purpose::Sensor), now: Vec::new() }
    }

    /// Draws this stroke's switching angles.
    pub fn start_stroke(&mut self, change: &SensorChange) {
        self.now.clear();
        for sensor in &self.data {
            let mut jitter = || sensor.jitter_deg * bounded_normal(&mut self.random);
            let (mut on, mut off) = (sensor.on_deg + jitter(), sensor.off_deg + jitter());
            let wrong = match sensor.watches {
                Watches::Feed => change.feed,
                Watches::PartOut => change.part_out,
                Watches::Nothing => 0.0,
            };
            if wrong >= 0.5 {
                (on, off) = (1.0, 0.0);
            } else {
                on += 2.0 * wrong * LATEST_DEG;
            }
            self.now.push((1 << (sensor.input.clamp(1, 8) - 1), on, off));
        }
    }

    /// The inputs at a crank angle, degrees; bit 0 is input 1.
    #[must_use]
    #[inline]
    pub fn at(&self, angle_deg: f64) -> u8 {
        let mut bits = 0;
        for (bit, on, off) in &self.now {
            if angle_deg >= *on && angle_deg < *off {
                bits |= bit;
            }
        }
        bits
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sensor_is_late_or_missing_as_its_fault_grows() {
        let data = SensorData {
            name: "feed".to_owned(),
            input: 3,
            on_deg: 100.0,
            off_deg: 200.0,
            jitter_deg: 0.0,
            watches: Watches::Feed,
        };
        let mut sensors = Sensors::new(&[data], 1);
        let first_on = |sensors: &Sensors| (0..360).find(|a| sensors.at(f64::from(*a)) == 4);
        for (wrong, expected) in [(0.0, Some(100)), (0.25, Some(115)), (0.5, None), (1.0, None)] {
            sensors.start_stroke(&SensorChange { feed: wrong, part_out: 1.0 });
            assert_eq!(first_on(&sensors), expected, "fault {wrong}");
            assert_eq!(sensors.at(210.0), 0);
        }
    }
}
