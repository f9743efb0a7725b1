//! Quantities that must not be confused, each a number with its unit in its type.
//!
//! Only operations that mean something physically are given. The sample loop uses `f32`:
//! the target has a single-precision unit and the host must give the same bits.

use core::ops::{Add, Mul, Neg, Sub};

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default)]
        pub struct $name(pub f32);

        impl $name {
            /// Nothing of it.
            pub const ZERO: Self = Self(0.0);
            /// Its size without its sign.
            #[must_use]
            pub fn abs(self) -> Self {
                Self(self.0.abs())
            }
            /// The larger of two; a NaN loses against a number.
            #[must_use]
            pub fn max(self, other: Self) -> Self {
                Self(self.0.max(other.0))
            }
            /// The smaller of two; a NaN loses against a number.
            #[must_use]
            pub fn min(self, other: Self) -> Self {
                Self(self.0.min(other.0))
            }
        }
        impl Add for $name {
            type Output = Self;
            fn add(self, other: Self) -> Self {
                Self(self.0 + other.0)
            }
        }
        impl Sub for $name {
            type Output = Self;
            fn sub(self, other: Self) -> Self {
                Self(self.0 - other.0)
            }
        }
        impl Neg for $name {
            type Output = Self;
            fn neg(self) -> Self {
                Self(-self.0)
            }
        }
        impl Mul<f32> for $name {
            type Output = Self;
            fn mul(self, factor: f32) -> Self {
                Self(self.0 * factor)
            }
        }
    };
}

quantity! {
    /// A load in kilonewtons; forward (working) load is positive, reverse load negative.
    Kilonewtons
}
quantity! {
    /// A length in millimetres: slide height above the bottom of the stroke, or a place on the bolster plate.
    Millimetres
}
quantity! {
    /// Work in kilojoules (kN·m).
    Kilojoules
}

/// Sample number on the fixed sample clock. It wraps; only differences mean something.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Hash)]
pub struct Tick(pub u32);

impl Tick {
    /// Ticks from `earlier` to `self` on the wrapping clock.
    #[must_use]
    pub fn since(self, earlier: Self) -> u32 {
        self.0.wrapping_sub(earlier.0)
    }
}

/// Crank angle as a binary fraction of a turn: 2³² to the turn, 0 = top of stroke, half = bottom,
/// rising with normal rotation. It wraps where the crank does, so differences need no special case.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Hash)]
pub struct CrankAngle(pub u32);

/// Half a turn, in the units of [`CrankAngle`].
const HALF_TURN: f64 = 2_147_483_648.0;

impl CrankAngle {
    /// Top of the stroke, 0°.
    pub const TOP: Self = Self(0);
    /// Bottom of the stroke, 180°.
    pub const BOTTOM: Self = Self(1 << 31);

    /// From degrees of any size; the resolution is 84 nano-degrees. NaN gives the top.
    #[must_use]
    pub fn from_degrees(degrees: f64) -> Self {
        // 180° is half a turn; rounding half up is enough at this resolution, and the casts wrap.
        let turns = degrees / 180.0 * HALF_TURN;
        let rounded = if turns < 0.0 { turns - 0.5 } else { turns + 0.5 };
        Self(rounded as i64 as u32)
    }

    /// From degrees of 1 to 360 as [`Self::from_degrees`], and to its resolution below 1, without a double unit; anything
    /// else gives the top.
    #[must_use]
    pub fn from_place(degrees: f32) -> Self {
        // In 2⁻²³ degrees, exact from one degree on; 2³²/360 · 2⁻²³ is 64/45. The cast saturates.
        if !(0.0..=360.0).contains(&degrees) {
            return Self::TOP;
        }
        let fine = (degrees * 8_388_608.0) as u32;
        let (whole, rest) = (fine / 45, fine % 45);
        Self(whole.wrapping_mul(64).wrapping_add((rest * 128 + 45) / 90))
    }

    /// In degrees, 0 to just under 360, in single precision throughout: to 2.2e-5 degrees.
    #[must_use]
    #[inline]
    pub fn degrees(self) -> f32 {
        (self.0 >> 8) as f32 * (360.0 / 16_777_216.0)
    }

    /// The signed way from `earlier` to `self`, the short way round: positive with normal rotation.
    #[must_use]
    pub fn advance_from(self, earlier: Self) -> i32 {
        self.0.wrapping_sub(earlier.0) as i32
    }

    /// Whether the slide is on its way down (0° to 180°).
    #[must_use]
    pub fn is_closing(self) -> bool {
        self.0 < Self::BOTTOM.0
    }
}

/// A positive span of crank angle, in the units of [`CrankAngle`].
#[must_use]
pub fn angle_span(degrees: f64) -> u32 {
    let span = degrees / 180.0 * HALF_TURN;
    span as u32
}

/// One US ton-force in kilonewtons (2000 lbf, the pound-force exact by definition).
pub const KN_PER_US_TONF: f64 = 8.896_443_230_521;
/// One tonne-force in kilonewtons (1000 kgf, exact by definition).
pub const KN_PER_TONNE_F: f64 = 9.806_65;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn degrees_survive_the_round_trip() {
        for tenth in 0..3600 {
            let degrees = f64::from(tenth) / 10.0;
            let back = f64::from(CrankAngle::from_degrees(degrees).degrees());
            // One 2⁻²⁴ of a turn cut off, and half an f32 step just under 360.
            assert!((back - degrees).abs() < 2.2e-5 + 1.6e-5, "{degrees} came back as {back}");
        }
    }

    #[test]
    fn a_place_in_single_precision_becomes_the_same_angle_as_by_double_precision() {
        let mut degrees = 1.0_f32;
        while degrees <= 360.0 {
            let double = CrankAngle::from_degrees(f64::from(degrees));
            assert_eq!(CrankAngle::from_place(degrees), double, "{degrees}");
            degrees += 0.001_37;
        }
        for degrees in [0.0, 1e-9, 0.3, 0.999_999, 1.0, 180.0, 359.999_97, 360.0] {
            let [place, double] =
                [CrankAngle::from_place(degrees), CrankAngle::from_degrees(f64::from(degrees))];
            assert!(place.advance_from(double).abs() <= 2, "{degrees}: {place:?} {double:?}");
        }
        for none in [f32::NAN, -1.0, 361.0, f32::INFINITY] {
            assert_eq!(CrankAngle::from_place(none), CrankAngle::TOP);
        }
    }

    #[test]
    fn angles_wrap_at_the_top() {
        let before = CrankAngle::from_degrees(359.0);
        let after = CrankAngle::from_degrees(1.0);
        let way = f64::from(after.advance_from(before)) * 180.0 / HALF_TURN;
        assert!((way - 2.0).abs() < 1e-6, "{way}");
        assert!(before.advance_from(after) < 0);
        assert_eq!(CrankAngle::from_degrees(-1.0), before);
        assert_eq!(CrankAngle::from_degrees(361.0), after);
    }

    #[test]
    fn ticks_wrap() {
        assert_eq!(Tick(3).since(Tick(u32::MAX)), 4);
    }
}
