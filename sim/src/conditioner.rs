//! One channel's amplifier low-pass and converter averaging, as they shape a signal in time.
//!
//! The amplifier is a second-order Butterworth low-pass, discretised exactly for an input that is linear between
//! samples: x₁ = Φx₀ + Γ₀u₀ + Γ₁u₁ of the two-state filter, so there is no warping of its corner.
//! The converter's averaging of order n over n sample periods settles in n conversions. For an input that holds
//! between conversions the third-order one answers a step with 1/6, 5/6, 1 (the integrated quadratic B-spline):
//! it is the three weights 1/6, 4/6, 1/6. Noise is added before, so it is averaged as well.

/// Filter of one channel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Conditioner {
    phi: [[f64; 2]; 2],
    before: [f64; 2],
    after: [f64; 2],
    weights: [f64; 3],
    state: [f64; 2],
    input: f64,
    recent: [f64; 2],
}

impl Conditioner {
    /// A channel with its corner at `bandwidth_hz`, averaged to order `settling` (1 or 3), a sample each `step_s`.
    #[must_use]
    pub fn new(bandwidth_hz: f64, settling: u32, step_s: f64) -> Self {
        let w = core::f64::consts::TAU * bandwidth_hz;
        // y'' = ω²(u − y) − √2·ω·y'; states y and y'/ω, so that both have the signal's size.
        let (damping, turn) = (core::f64::consts::FRAC_1_SQRT_2, core::f64::consts::FRAC_1_SQRT_2);
        let decay = libm::exp(-damping * w * step_s);
        let (sine, cosine) = (libm::sin(turn * w * step_s), libm::cos(turn * w * step_s));
        // For damping 1/√2 real and imaginary parts of the pole are equal.
        let phi =
            [[decay * (cosine + sine), decay * sine / turn], [-decay * sine / turn, decay * (cosine - sine)]];
        // Γ for a held input is (I − Φ) acting on the steady state [u, 0]; for a ramp the steady state is
        // [u(t) − √2·u'/ω, u'/ω], which gives Γ₁.
        let lag = core::f64::consts::SQRT_2 / (w * step_s);
        let rate = 1.0 / (w * step_s);
        // Response at the step's end to a unit ramp over it, from rest: particular minus its own decay.
        let ramp =
            [1.0 - lag - (phi[0][0] * -lag + phi[0][1] * rate), rate - (phi[1][0] * -lag + phi[1][1] * rate)];
        let held = [1.0 - phi[0][0], -phi[1][0]];
        let weights = if settling >= 3 { [1.0 / 6.0, 4.0 / 6.0, 1.0 / 6.0] } else { [1.0, 0.0, 0.0] };
        Self {
            phi,
            before: [held[0] - ramp[0], held[1] - ramp[1]],
            after: ramp,
            weights,
            state: [0.0; 2],
            input: 0.0,
            recent: [0.0; 2],
        }
    }

    /// Settles at a steady input.
    pub fn settle(&mut self, input: f64) {
        self.state = [input, 0.0];
        self.input = input;
        self.recent = [input; 2];
    }

    /// The next conversion.
    #[inline]
    pub fn next(&mut self, input: f64) -> f64 {
        let [y, v] = self.state;
        self.state = [
            self.phi[0][0] * y + self.phi[0][1] * v + self.before[0] * self.input + self.after[0] * input,
            self.phi[1][0] * y + self.phi[1][1] * v + self.before[1] * self.input + self.after[1] * input,
        ];
        self.input = input;
        let now = self.state[0];
        let out = self.weights[0] * now + self.weights[1] * self.recent[0] + self.weights[2] * self.recent[1];
        self.recent = [now, self.recent[0]];
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_amplifier_has_three_decibels_at_its_corner() {
        // Slow sampling against the corner would alias the test's own interpolation: 400 samples a period.
        let (corner, step_s) = (500.0, 1.0 / 200_000.0);
        let mut channel = Conditioner::new(corner, 1, step_s);
        let mut highest = 0.0_f64;
        for i in 0..20_000 {
            let out = channel.next(libm::sin(core::f64::consts::TAU * corner * f64::from(i) * step_s));
            if i > 10_000 {
                highest = highest.max(out);
            }
        }
        // Interpolating linearly loses (ω·step)²/12 = 2e-5; the sampled crest another (ω·step)²/8 = 3e-5.
        assert!((highest - core::f64::consts::FRAC_1_SQRT_2).abs() < 1e-4, "{highest}");
    }

    #[test]
    fn a_step_overshoots_as_a_second_order_butterworth_does() {
        // exp(−π) = 4.32 % for damping 1/√2; source: closed form.
        let mut channel = Conditioner::new(500.0, 1, 1e-5);
        let highest = (0..1000).map(|_| channel.next(1.0)).fold(0.0, f64::max);
        // The crest is sampled within half a step and the step itself is a ramp of one sample: 1e-4.
        assert!((highest - 1.0 - libm::exp(-core::f64::consts::PI)).abs() < 1e-4, "{highest}");
    }

    #[test]
    fn a_fast_input_step_settles_in_three_conversions() {
        // A corner far above the sample rate leaves the converter's averaging alone.
        let mut channel = Conditioner::new(1e6, 3, 1e-4);
        channel.settle(0.0);
        let out: Vec<f64> = (0..4).map(|_| channel.next(1.0)).collect();
        for (found, expected) in out.iter().zip([1.0 / 6.0, 5.0 / 6.0, 1.0, 1.0]) {
            // The amplifier's own lag is √2/(2π·1e6) of a 1e-4 s step: 2e-3.
            assert!((found - expected).abs() < 5e-3, "{out:?}");
        }
    }
}
