//! The slide's height and speed over the turn, fast enough to ask at every step.
//!
//! [`SlideCurve`] tabulates [`CrankSlider`] (the one place where kinematics are written) and interpolates
//! by cubic Hermite between nodes a quarter of a degree apart. The error is at most (Δθ)⁴/384 of the fourth
//! derivative, below 10⁻¹¹ of half the stroke for the height.

use bolster_core::crank::CrankSlider;

/// Nodes in a turn.
const NODES: usize = 1440;

/// Slide height and its rate against crank angle.
#[derive(Debug, Clone)]
pub struct SlideCurve {
    /// Height above bottom (mm) and signed dh/dθ (mm a radian) at each node; one more closes the turn.
    nodes: Vec<(f64, f64)>,
}

impl SlideCurve {
    /// Tabulates a crank.
    #[must_use]
    pub fn new(crank: &CrankSlider) -> Self {
        let node = |i: usize| {
            let radians = core::f64::consts::TAU * i as f64 / NODES as f64;
            // The slide falls over the first half turn and rises over the second.
            let sign = if i <= NODES / 2 { -1.0 } else { 1.0 };
            (crank.height_mm(radians), sign * crank.rate_mm(radians))
        };
        Self { nodes: (0..=NODES).map(node).collect() }
    }

    /// Height above the bottom of the stroke, mm, and dh/dθ, mm a radian (negative while closing), at an angle
    /// in radians from the top. Any finite angle is taken; whole turns do not matter.
    #[must_use]
    #[inline]
    pub fn at(&self, radians: f64) -> (f64, f64) {
        const TURN: f64 = NODES as f64;
        let mut place = radians * (TURN / core::f64::consts::TAU);
        if !(0.0..TURN).contains(&place) {
            place -= f64::floor(place / TURN) * TURN;
        }
        let node = (place as usize).min(NODES - 1);
        let t = place - node as f64;
        let (Some(&(h0, d0)), Some(&(h1, d1))) = (self.nodes.get(node), self.nodes.get(node + 1)) else {
            return (0.0, 0.0); // unreachable: node < NODES
        };
        let step = core::f64::consts::TAU / NODES as f64;
        let (m0, m1) = (d0 * step, d1 * step);
        // Hermite in Horner form and its derivative.
        let c2 = 3.0 * (h1 - h0) - 2.0 * m0 - m1;
        let c3 = 2.0 * (h0 - h1) + m0 + m1;
        let height = h0 + t * (m0 + t * (c2 + t * c3));
        let rate = (m0 + t * (2.0 * c2 + t * 3.0 * c3)) / step;
        (height, rate)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_curve_follows_the_exact_crank() {
        let crank = CrankSlider::new(200.0, 500.0).unwrap();
        let curve = SlideCurve::new(&crank);
        for i in 0..7919 {
            let radians = core::f64::consts::TAU * f64::from(i) / 7919.0;
            let (height, rate) = curve.at(radians);
            // (0.25°)⁴/384 · 1.5 r = 1.4e-10 mm; the rate's error is three orders of Δθ: 3e-7 mm/rad.
            assert!((height - crank.height_mm(radians)).abs() < 1e-9, "height at {radians}");
            assert!((rate.abs() - crank.rate_mm(radians)).abs() < 1e-6, "rate at {radians}");
            let opening = radians > core::f64::consts::PI;
            assert!(i == 0 || (rate > 0.0) == opening, "sign at {radians}");
        }
    }

    #[test]
    fn slide_speed_follows_the_table() {
        // Stroke 200, rod 500, 60 strokes/min, mm/s at a height.
        // source: computed, plain double precision of the exact crank-slider.
        let crank = CrankSlider::new(200.0, 500.0).unwrap();
        let curve = SlideCurve::new(&crank);
        for (height, speed) in [(6.0, 233.9934), (12.7, 333.1333), (25.0, 448.2365), (50.0, 576.6127)] {
            let (_, rate) = curve.at(crank.closing_radians_at(height));
            let found = -rate * core::f64::consts::TAU;
            assert!((found - speed).abs() < 1e-4, "{height} mm: {found}");
        }
    }
}
