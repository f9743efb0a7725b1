//! What turns the crank.

use crate::scenario::DriveData;
use crate::seed::{Purpose, bounded_normal, stream};
use rand_chacha::ChaCha8Rng;

/// The drive: constant speed within a stroke, small changes from stroke to stroke.
#[derive(Debug, Clone)]
pub struct Drive {
    data: DriveData,
    random: ChaCha8Rng,
    slow: f64,
}

impl Drive {
    /// The drive of a checked scenario.
    #[must_use]
    pub fn new(data: &DriveData, seed: u64) -> Self {
        Self { data: data.clone(), random: stream(seed, Purpose::Drive), slow: 0.0 }
    }

    /// Strokes a minute of the next stroke.
    pub fn next_speed(&mut self) -> f64 {
        // Belts and mains wander slowly: nine tenths of a deviation stay for the next stroke.
        self.slow = 0.9 * self.slow + bounded_normal(&mut self.random) * libm::sqrt(1.0 - 0.81);
        self.data.speed_spm * (1.0 + self.data.scatter_percent / 100.0 * self.slow)
    }
}
