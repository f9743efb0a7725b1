//! One way in which a frame rings: how fast, and how fast it dies away, in the forms that people give it.

use std::f64::consts::TAU;

use serde::Serialize;

/// A damped oscillation, e^(−σt)·cos(2πft + φ).
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Mode {
    /// Ringing frequency f, Hz: what is seen and heard, a little below the undamped one.
    pub hz: f64,
    /// Damping ratio ζ; 1 is critical, where nothing rings any more.
    pub damping: f64,
}

impl Mode {
    /// From the ringing frequency, Hz, and the rate σ at which the envelope dies, 1/s: ζ = σ/√(σ² + (2πf)²).
    #[must_use]
    pub fn of_rates(hz: f64, decay_per_s: f64) -> Self {
        Self { hz, damping: decay_per_s / decay_per_s.hypot(TAU * hz) }
    }

    /// Rate at which the envelope dies, 1/s.
    #[must_use]
    pub fn decay_per_s(&self) -> f64 {
        TAU * self.hz * self.damping / f64::sqrt(1.0 - self.damping * self.damping)
    }

    /// Frequency without damping, Hz: f/√(1 − ζ²).
    #[must_use]
    pub fn natural_hz(&self) -> f64 {
        self.hz / f64::sqrt(1.0 - self.damping * self.damping)
    }

    /// Logarithmic decrement, the logarithm of the ratio of two crests one period apart: δ = 2πζ/√(1 − ζ²).
    #[must_use]
    pub fn decrement(&self) -> f64 {
        self.decay_per_s() / self.hz
    }
}

/// Damping ratio of a logarithmic decrement: ζ = δ/√(4π² + δ²).
#[must_use]
pub fn damping_of_decrement(decrement: f64) -> f64 {
    decrement / decrement.hypot(TAU)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn decrements_and_damping_ratios_are_the_textbooks() {
        // Closed forms of any vibration textbook (from memory), worked out with NumPy 2.4.6 (computed).
        for (from, to, cycles, decrement, damping) in
            [(10.0_f64, 6.0, 1.0, 0.510_825_6, 0.081_033_1), (10.0, 2.0, 5.0, 0.321_887_6, 0.051_162_9)]
        {
            let found = f64::ln(from / to) / cycles;
            assert!((found - decrement).abs() < 1e-7, "{found}");
            assert!((damping_of_decrement(found) - damping).abs() < 1e-7, "{}", damping_of_decrement(found));
        }
        // Computed likewise: damping ratio, decrement, ratio of crests one period apart.
        for (damping, decrement, ratio) in [
            (0.01, 0.062_835_0, 1.064_851_1),
            (0.02, 0.125_688_8, 1.133_929_3),
            (0.05, 0.314_552_7, 1.369_646_5),
            (0.10, 0.631_483_9, 1.880_398_8),
            (0.20, 1.282_549_8, 3.605_822_2),
        ] {
            let mode = Mode { hz: 100.0, damping };
            assert!((mode.decrement() - decrement).abs() < 1e-7, "{}", mode.decrement());
            assert!((mode.decrement().exp() - ratio).abs() < 1e-7);
            assert!((damping_of_decrement(mode.decrement()) - damping).abs() < 1e-15);
        }
    }

    #[test]
    fn frequencies_with_and_without_damping_are_the_textbooks() {
        // 120 Hz undamped at 5 %: 119.849 906 Hz, half the amplitude after 2.203 596 periods (computed).
        let mode = Mode { hz: 119.849_906, damping: 0.05 };
        assert!((mode.natural_hz() - 120.0).abs() < 1e-6);
        assert!((f64::ln(2.0) / mode.decrement() - 2.203_596).abs() < 1e-6);
        let again = Mode::of_rates(mode.hz, mode.decay_per_s());
        assert!((again.damping - 0.05).abs() < 1e-12);
    }
}
