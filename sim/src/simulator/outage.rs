//! A supply that fails for a while at any instant of a stroke, and what the converter gives when it is back.
//!
//! Readings are ratios to the same supply, so they stay true until they stop. Afterwards amplifier and averaging start
//! from zero and settle as after any power-up: the first readings are wrong by the filter's own step answer.

use crate::faults::Changes;
use crate::front_end::FrontEnd;
use crate::scenario::Scenario;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::Rng as _;

/// An outage of one stroke, or none.
pub(super) struct Outage {
    /// Crank angle at which it begins, radians; beyond every angle for none.
    from: f64,
    /// Readings still lost.
    left: u32,
}

impl Outage {
    /// The outage of a stroke, at any angle of its recorded part.
    pub(super) fn new(changes: &Changes, scenario: &Scenario, chance: &mut ChaCha8Rng) -> Self {
        if changes.outage_s == 0.0 {
            return Self { from: f64::INFINITY, left: 0 };
        }
        let part = f64::from(chance.next_u32()) / 4_294_967_296.0;
        let [first, last] = [scenario.angle_from_deg, scenario.angle_to_deg].map(f64::to_radians);
        let left = f64::ceil(changes.outage_s * scenario.sample_hz) as u32;
        Self { from: first + part * (last - first), left }
    }

    /// One reading at a crank angle: whether it reaches the controller.
    #[inline]
    pub(super) fn is_over_at(&mut self, angle: f64, front_end: &mut FrontEnd) -> bool {
        if self.left == 0 || angle < self.from {
            return true;
        }
        self.left -= 1;
        if self.left == 0 {
            front_end.power_up();
        }
        false
    }
}
