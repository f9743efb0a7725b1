//! Chance for this module's tests.

use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;

pub(super) struct Chance(ChaCha8Rng);

impl Chance {
    pub(super) fn new(seed: u64) -> Self {
        Self(ChaCha8Rng::seed_from_u64(seed))
    }

    /// A standard normal number, by Box and Muller.
    pub(super) fn normal(&mut self) -> f64 {
        let (u, v): (f64, f64) = (self.0.random_range(1e-300..1.0), self.0.random_range(0.0..1.0));
        (-2.0 * u.ln()).sqrt() * (std::f64::consts::TAU * v).cos()
    }
}
