//! Where the slide is and what the crank can carry: exact crank-slider kinematics.
//!
//! With r = stroke/2, l = rod length and θ from the top of the stroke,
//! h(θ) = r(1 + cos θ) + l − √(l² − r² sin²θ) above the bottom of the stroke and
//! |dh/dθ| = r |sin θ| (1 − r cos θ/√(l² − r² sin²θ)) (standard kinematics of the slider-crank).
//! At constant crank torque the allowed load is rated · |dh/dθ|(rated height) / |dh/dθ|(h),
//! never more than rated; friction is left out, as builders' curves do.
//!
//! [`CrankSlider`] computes in f64, when settings are built and on the host. [`SlideTable`] is its
//! tabulated f32 form for the sample loop: one look-up and one interpolation a frame.

use crate::units::CrankAngle;

/// The slide's kinematics.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CrankSlider {
    radius_mm: f64,
    rod_mm: f64,
}

/// Why a crank was refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum CrankError {
    /// The stroke is not a positive, finite number.
    Stroke,
    /// The rod is not longer than half the stroke: the crank could not turn.
    Rod,
}

impl core::fmt::Display for CrankError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::Stroke => "the stroke must be a positive number of millimetres",
            Self::Rod => "the rod must be longer than half the stroke, or the crank could not turn",
        })
    }
}

impl core::error::Error for CrankError {}

impl CrankSlider {
    /// A crank of this stroke and rod length.
    ///
    /// # Errors
    /// [`CrankError`] unless both are finite and positive and the rod is longer than half the stroke.
    pub fn new(stroke_mm: f64, rod_mm: f64) -> Result<Self, CrankError> {
        if !(stroke_mm.is_finite() && stroke_mm > 0.0) {
            return Err(CrankError::Stroke);
        }
        if !(rod_mm.is_finite() && rod_mm > stroke_mm / 2.0) {
            return Err(CrankError::Rod);
        }
        Ok(Self { radius_mm: stroke_mm / 2.0, rod_mm })
    }

    /// The stroke, mm.
    #[must_use]
    pub fn stroke_mm(&self) -> f64 {
        2.0 * self.radius_mm
    }

    /// Slide height above the bottom of the stroke, mm, at `radians` from the top.
    #[must_use]
    pub fn height_mm(&self, radians: f64) -> f64 {
        let (r, l) = (self.radius_mm, self.rod_mm);
        let sine = libm::sin(radians);
        let half_cosine = libm::cos(radians / 2.0);
        // 1 + cos θ = 2 cos²(θ/2) and l − √(l² − x²) = x²/(l + √(l² − x²)): no cancellation near the bottom.
        let x2 = (r * sine) * (r * sine);
        2.0 * r * half_cosine * half_cosine + x2 / (l + libm::sqrt(l * l - x2))
    }

    /// |dh/dθ| in mm per radian at `radians` from the top.
    #[must_use]
    pub fn rate_mm(&self, radians: f64) -> f64 {
        let (r, l) = (self.radius_mm, self.rod_mm);
        let (sine, cosine) = (libm::sin(radians), libm::cos(radians));
        let root = libm::sqrt(l * l - (r * sine) * (r * sine));
        libm::fabs(r * sine * (1.0 - r * cosine / root))
    }

    /// The angle, radians from the top, at which the closing slide is at `height_mm` (clamped to the stroke).
    ///
    /// Bisection: 60 halvings of half a turn, well below f64 resolution of the height.
    #[must_use]
    pub fn closing_radians_at(&self, height_mm: f64) -> f64 {
        let (mut above, mut below) = (0.0, core::f64::consts::PI);
        for _ in 0..60 {
            let middle = 0.5 * (above + below);
            if self.height_mm(middle) > height_mm {
                above = middle;
            } else {
                below = middle;
            }
        }
        0.5 * (above + below)
    }

    /// Allowed load as a fraction of the rating at `height_mm`, with the rating reached at `rated_height_mm`.
    #[must_use]
    pub fn allowed_fraction(&self, height_mm: f64, rated_height_mm: f64) -> f64 {
        if height_mm <= rated_height_mm {
            return 1.0;
        }
        let rated = self.rate_mm(self.closing_radians_at(rated_height_mm));
        let here = self.rate_mm(self.closing_radians_at(height_mm));
        // Near the top the rate falls again and torque would allow more; the cap stays the rating.
        if here > 0.0 { (rated / here).min(1.0) } else { 1.0 }
    }
}

/// Steps of the slide table: one a degree, and the first again at the end so that interpolation needs no wrap.
const STEPS: usize = 360;

/// Slide height and rate by crank angle, tabulated each degree and interpolated linearly.
///
/// The error of interpolation is at most (1°)²/8 of the second derivative: 4·10⁻⁵ of half the stroke.
#[derive(Debug, Clone)]
pub struct SlideTable {
    /// `[degree]`: slide height, mm.
    height_mm: [f32; STEPS + 1],
    /// `[degree]`: |dh/dθ|, mm per radian.
    rate_mm: [f32; STEPS + 1],
}

impl SlideTable {
    /// Tabulates a crank.
    #[must_use]
    pub fn new(crank: &CrankSlider) -> Self {
        let mut table = Self { height_mm: [0.0; STEPS + 1], rate_mm: [0.0; STEPS + 1] };
        let cells = table.height_mm.iter_mut().zip(table.rate_mm.iter_mut());
        for (degree, (height, rate)) in cells.enumerate() {
            let radians = (degree as f64).to_radians();
            *height = crank.height_mm(radians) as f32;
            *rate = crank.rate_mm(radians) as f32;
        }
        table
    }

    /// Slide height, mm, and |dh/dθ|, mm per radian, at this angle.
    #[must_use]
    #[inline]
    pub fn at(&self, angle: CrankAngle) -> (f32, f32) {
        (self.height_mm(angle), self.rate_mm(angle))
    }

    /// Slide height, mm, at this angle.
    #[must_use]
    #[inline]
    pub fn height_mm(&self, angle: CrankAngle) -> f32 {
        interpolate(&self.height_mm, angle)
    }

    /// |dh/dθ|, mm per radian, at this angle.
    #[must_use]
    #[inline]
    pub fn rate_mm(&self, angle: CrankAngle) -> f32 {
        interpolate(&self.rate_mm, angle)
    }
}

/// A table's value at this angle.
#[inline]
fn interpolate(cells: &[f32; STEPS + 1], angle: CrankAngle) -> f32 {
    // 360 · angle / 2³² in 32.32 fixed point: whole degree above, fraction below.
    let scaled = u64::from(angle.0) * STEPS as u64;
    let step = (scaled >> 32) as usize;
    let fraction = (scaled as u32 >> 8) as f32 * (1.0 / 16_777_216.0);
    match cells.get(step..step + 2) {
        Some(&[a, b]) => a + (b - a) * fraction,
        _ => 0.0, // unreachable: step < 360
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::string::ToString;

    /// Stroke 200 mm, rod 500 mm: (degrees before the bottom, height, rate).
    /// Source: plain double-precision evaluation, project reference values §2a.
    const TABLE: [(f64, f64, f64); 10] = [
        (5.0, 0.456497, 10.452320),
        (10.0, 1.820853, 20.787084),
        (15.0, 4.077740, 30.888617),
        (20.0, 7.201887, 40.644982),
        (30.0, 15.903741, 58.703883),
        (45.0, 34.314575, 80.812204),
        (60.0, 57.557110, 95.395696),
        (90.0, 110.102051, 100.0),
        (120.0, 157.557110, 77.809385),
        (150.0, 189.108822, 41.296117),
    ];

    fn crank() -> CrankSlider {
        CrankSlider::new(200.0, 500.0).unwrap()
    }

    #[test]
    fn height_and_rate_follow_the_reference_table() {
        for (before_bottom, height, rate) in TABLE {
            let radians = (180.0 - before_bottom).to_radians();
            assert!((crank().height_mm(radians) - height).abs() < 1e-6, "height at {before_bottom}");
            assert!((crank().rate_mm(radians) - rate).abs() < 1e-6, "rate at {before_bottom}");
        }
    }

    #[test]
    fn table_interpolation_stays_within_its_stated_error() {
        let table = SlideTable::new(&crank());
        let bound = 4e-5 * 100.0 * 1.5; // second derivative reaches r(1 + r/l), plus f32 rounding
        for tenth in 0..3600 {
            let degrees = f64::from(tenth) / 10.0;
            let (height, rate) = table.at(CrankAngle::from_degrees(degrees));
            let exact = crank().height_mm(degrees.to_radians());
            assert!((f64::from(height) - exact).abs() < bound, "height at {degrees}");
            // |sin| has a corner at the top and bottom, but both lie on table steps.
            let exact = crank().rate_mm(degrees.to_radians());
            assert!((f64::from(rate) - exact).abs() < 2.0 * bound, "rate at {degrees}");
        }
    }

    #[test]
    fn allowed_load_follows_the_reference_table() {
        // 1000 kN rated at 6 mm; source: project reference values §2a.
        let rows = [
            (12.0, 720.938),
            (12.7, 702.402),
            (25.0, 522.031),
            (50.0, 405.807),
            (75.0, 370.310),
            (100.0, 366.802),
        ];
        for (height, kn) in rows {
            let allowed = 1000.0 * crank().allowed_fraction(height, 6.0);
            assert!((allowed - kn).abs() < 1e-3, "{height}: {allowed}");
        }
        assert_eq!(crank().allowed_fraction(3.0, 6.0), 1.0);
    }

    #[test]
    fn angle_of_a_height_inverts_the_height() {
        // Degrees before the bottom; source: project reference values §2a (Brent's method).
        for (height, degrees) in
            [(3.0, 12.851519), (6.0, 18.231905), (12.7, 26.715318), (25.0, 37.996954), (50.0, 55.376465)]
        {
            let found = 180.0 - crank().closing_radians_at(height).to_degrees();
            assert!((found - degrees).abs() < 1e-6, "{height}: {found}");
        }
    }

    #[test]
    fn a_crank_keeps_its_stroke_and_says_what_is_wrong_with_it() {
        assert_eq!(crank().stroke_mm(), 200.0);
        assert!((crank().height_mm(0.0) - 200.0).abs() < 1e-9, "all of it, at the top");
        assert!(CrankError::Stroke.to_string().starts_with("the stroke must"));
        assert!(CrankError::Rod.to_string().starts_with("the rod must"));
    }

    #[test]
    fn a_crank_that_could_not_turn_is_refused() {
        assert_eq!(CrankSlider::new(200.0, 100.0), Err(CrankError::Rod));
        assert_eq!(CrankSlider::new(0.0, 100.0), Err(CrankError::Stroke));
        assert_eq!(CrankSlider::new(f64::NAN, 100.0), Err(CrankError::Stroke));
        assert_eq!(CrankSlider::new(100.0, f64::INFINITY), Err(CrankError::Rod));
    }
}
