//! One seed, many independent streams of random numbers, each with a name.
//!
//! Every source of chance draws from its own ChaCha stream, so that switching one off, or letting it
//! draw more often, leaves all the others as they were: two runs that differ in a fault meet the same coils.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use rand_distr::{Distribution, StandardNormal};

/// What a stream of chance is for. The number is the ChaCha stream and must never change.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Purpose {
    /// Coil to coil: thickness, strength, wedge.
    Coil = 1,
    /// Stroke to stroke within a coil.
    Strip = 2,
    /// Speed of the drive.
    Drive = 3,
    /// Which strokes are faulty.
    FaultTime = 4,
    /// What a fault does on its stroke.
    FaultKind = 5,
    /// Gauge zero and gain as installed.
    Installation = 6,
    /// Amplifier noise.
    Noise = 7,
    /// Part sensors' timing.
    Sensor = 8,
    /// Spikes and other disturbance on the signal.
    Disturbance = 9,
    /// Encoder and frame losses.
    Encoder = 10,
}

/// The stream of `seed` for this purpose.
#[must_use]
pub fn stream(seed: u64, purpose: Purpose) -> ChaCha8Rng {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    random.set_stream(purpose as u64);
    random
}

/// A standard normal number.
#[must_use]
pub fn normal(random: &mut ChaCha8Rng) -> f64 {
    StandardNormal.sample(random)
}

/// A normal number no further than three standard deviations out: mills and setters reject the rest.
#[must_use]
pub fn bounded_normal(random: &mut ChaCha8Rng) -> f64 {
    normal(random).clamp(-3.0, 3.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn streams_of_one_seed_are_independent_and_repeatable() {
        let draw = |seed, purpose| {
            let mut random = stream(seed, purpose);
            (0..2000).map(|_| normal(&mut random)).collect::<Vec<_>>()
        };
        let (coil, strip) = (draw(7, Purpose::Coil), draw(7, Purpose::Strip));
        assert_eq!(coil, draw(7, Purpose::Coil));
        assert_ne!(coil, draw(8, Purpose::Coil));
        // Correlation of 2000 independent pairs has standard deviation 1/√2000 = 0.022; four of them.
        let correlation = coil.iter().zip(&strip).map(|(a, b)| a * b).sum::<f64>() / 2000.0;
        assert!(correlation.abs() < 0.09, "seed 7: correlation {correlation}");
    }
}
