//! The binned signature: mean load of each column in equal bins of crank angle (or time from load onset).
//!
//! Between frames the load is taken to run straight, and the straight pieces are integrated over each
//! bin exactly. So neither the sample rate nor where the samples happen to fall shifts a bin's value.

use crate::stroke::Position;
use crate::units::CrankAngle;

/// How bins lie on the stroke.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Layout {
    /// Start of bin 0, in half the units of the position so that differences fit an i32.
    origin: i32,
    /// Bins per such unit.
    scale: f32,
    by_angle: bool,
}

/// A layout needs a positive span of at most one turn that ends before the top.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LayoutError;

impl core::fmt::Display for LayoutError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str("signature bins must span a positive part of one stroke")
    }
}

impl core::error::Error for LayoutError {}

impl Layout {
    /// `bins` equal bins from one crank angle to another, both in degrees from the top.
    ///
    /// # Errors
    /// [`LayoutError`] unless 0 ≤ from < to ≤ 360.
    pub fn by_angle(from_deg: f64, to_deg: f64, bins: usize) -> Result<Self, LayoutError> {
        if !(from_deg >= 0.0 && from_deg < to_deg && to_deg <= 360.0) {
            return Err(LayoutError);
        }
        let half_turns = (to_deg - from_deg) / 360.0 * f64::from(1_u32 << 31);
        Ok(Self {
            origin: half(CrankAngle::from_degrees(from_deg).0),
            scale: (bins as f64 / half_turns) as f32,
            by_angle: true,
        })
    }

    /// `bins` equal bins over `ticks` from load onset.
    ///
    /// # Errors
    /// [`LayoutError`] if `ticks` is zero.
    pub fn by_time(ticks: u32, bins: usize) -> Result<Self, LayoutError> {
        if ticks == 0 {
            return Err(LayoutError);
        }
        Ok(Self { origin: 0, scale: (bins as f64 / (f64::from(ticks) / 2.0)) as f32, by_angle: false })
    }

    /// Whether bins are bins of angle.
    #[must_use]
    pub fn is_by_angle(&self) -> bool {
        self.by_angle
    }

    /// Where a position lies, counted in bins from the start of bin 0; none if it cannot be told.
    #[must_use]
    #[inline]
    pub fn coordinate(&self, position: Position) -> Option<f32> {
        let place = match position {
            Position::Angle(angle) if self.by_angle => angle.0,
            // Doubled: ticks keep their resolution when halved.
            Position::SinceOnset(ticks) if !self.by_angle => ticks,
            _ => return None,
        };
        let way = half(place).wrapping_sub(self.origin);
        let odd = if self.by_angle { 0.0 } else { 0.5 * (place & 1) as f32 };
        Some((way as f32 + odd) * self.scale)
    }

    /// The position at a coordinate counted in bins; the inverse of [`Self::coordinate`].
    #[must_use]
    pub fn position(&self, coordinate: f32) -> Position {
        let way = (coordinate / self.scale) as i32;
        let place = (self.origin.saturating_add(way).max(0) as u32).wrapping_mul(2);
        if self.by_angle { Position::Angle(CrankAngle(place)) } else { Position::SinceOnset(place) }
    }
}

fn half(place: u32) -> i32 {
    (place >> 1) as i32
}

/// A signature being filled, stroke after stroke.
#[derive(Debug, Clone)]
pub struct Signature<const N: usize, const BINS: usize> {
    /// `[bin][column]`: mean load, kN; valid below `filled`.
    bins: [[f32; N]; BINS],
    filled: usize,
    /// Coordinate and loads of the last frame, and what has been gathered of the open bin.
    last: Option<(f32, [f32; N])>,
    open: [f32; N],
    whole: bool,
}

impl<const N: usize, const BINS: usize> Default for Signature<N, BINS> {
    fn default() -> Self {
        Self { bins: [[0.0; N]; BINS], filled: 0, last: None, open: [0.0; N], whole: true }
    }
}

impl<const N: usize, const BINS: usize> Signature<N, BINS> {
    /// Starts a new stroke.
    pub fn restart(&mut self) {
        self.filled = 0;
        self.last = None;
        self.open = [0.0; N];
        self.whole = true;
    }

    /// Takes in one frame. A crank that stands or moves back adds nothing until it is past where it was.
    #[inline]
    pub fn step(&mut self, layout: &Layout, position: Position, loads: &[f32; N]) {
        let Some(here) = layout.coordinate(position) else { return };
        let Some((before, from)) = self.last else {
            // A stroke seen only from inside the bins misses its first ones.
            self.whole = here <= 0.0 || !layout.by_angle;
            self.last = Some((here, *loads));
            return;
        };
        if here <= before {
            return;
        }
        self.last = Some((here, *loads));
        if here <= 0.0 || self.filled >= BINS {
            return;
        }
        let slope = 1.0 / (here - before);
        let at = |u: f32| {
            let mut x = *loads;
            for (x, from) in x.iter_mut().zip(&from) {
                *x = from + (*x - from) * ((u - before) * slope);
            }
            x
        };
        let mut start = before.max(0.0);
        let mut start_loads = if before < 0.0 { at(0.0) } else { from };
        // At most every bin once: a coarse recording may cross several in one frame.
        for _ in 0..BINS {
            let edge = (self.filled + 1) as f32;
            let closes = here >= edge;
            let end = if closes { edge } else { here };
            let end_loads = if here > end { at(end) } else { *loads };
            let width = 0.5 * (end - start);
            for ((open, a), b) in self.open.iter_mut().zip(&start_loads).zip(&end_loads) {
                *open += width * (a + b);
            }
            if !closes {
                break;
            }
            if let Some(bin) = self.bins.get_mut(self.filled) {
                *bin = self.open;
            }
            self.open = [0.0; N];
            self.filled += 1;
            if self.filled >= BINS {
                break;
            }
            start = end;
            start_loads = end_loads;
        }
    }

    /// The stroke ends: bins never reached take the last load seen, if only a few are missing.
    ///
    /// Recordings of a part of the turn end where they end; a bin or two of difference is no fault.
    pub fn finish(&mut self) {
        let missing = BINS - self.filled;
        self.whole &= missing <= BINS / 16;
        if let (true, Some((_, loads))) = (self.whole, self.last) {
            for bin in self.bins.iter_mut().skip(self.filled) {
                *bin = loads;
            }
            self.filled = BINS;
        }
    }

    /// `[bin][column]`, kN, of the bins closed so far.
    #[must_use]
    pub fn bins(&self) -> &[[f32; N]] {
        self.bins.get(..self.filled).unwrap_or(&[])
    }

    /// Whether every bin was filled by the stroke.
    #[must_use]
    pub fn is_whole(&self) -> bool {
        self.whole && self.filled == BINS
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn filled(step_deg: f64, offset_deg: f64) -> Signature<1, 32> {
        let layout = Layout::by_angle(100.0, 260.0, 32).unwrap();
        let mut signature = Signature::default();
        let mut degrees = 90.0 + offset_deg;
        while degrees < 270.0 {
            let load = [(degrees as f32 - 180.0) * 2.0];
            signature.step(&layout, Position::Angle(CrankAngle::from_degrees(degrees)), &load);
            degrees += step_deg;
        }
        signature.finish();
        signature
    }

    #[test]
    fn a_straight_load_fills_bins_with_its_value_at_their_middles_at_any_rate() {
        for step in [0.07, 0.9, 3.7, 11.0] {
            for offset in [0.0, 0.013, 0.4] {
                let signature = filled(step, offset);
                assert!(signature.is_whole());
                for (n, bin) in signature.bins().iter().enumerate() {
                    let wanted = (102.5 + 5.0 * n as f32 - 180.0) * 2.0;
                    // Loads reach 180, over up to 70 additions a bin: 70 · 180 · 2⁻²⁴ is below 1e-3.
                    assert!((bin[0] - wanted).abs() < 1e-3, "step {step} bin {n}: {} {wanted}", bin[0]);
                }
            }
        }
    }

    #[test]
    fn moving_back_adds_nothing() {
        let layout = Layout::by_angle(0.0, 360.0, 36).unwrap();
        let at = |d: f64| Position::Angle(CrankAngle::from_degrees(d));
        let mut steady = Signature::<1, 36>::default();
        let mut rocking = Signature::<1, 36>::default();
        for n in 0..359 {
            let d = f64::from(n) + 0.5;
            steady.step(&layout, at(d), &[d as f32]);
            rocking.step(&layout, at(d), &[d as f32]);
            rocking.step(&layout, at(d - 0.3), &[9999.0]);
        }
        assert_eq!(steady.bins(), rocking.bins());
    }

    #[test]
    fn a_stroke_that_starts_or_ends_inside_is_not_whole() {
        let layout = Layout::by_angle(100.0, 260.0, 32).unwrap();
        for (from, to) in [(110.0, 270.0), (90.0, 200.0)] {
            let mut signature = Signature::<1, 32>::default();
            let mut degrees = from;
            while degrees < to {
                signature.step(&layout, Position::Angle(CrankAngle::from_degrees(degrees)), &[1.0]);
                degrees += 1.0;
            }
            signature.finish();
            assert!(!signature.is_whole(), "{from} to {to}");
        }
    }

    #[test]
    fn time_bins_count_from_onset() {
        let layout = Layout::by_time(64, 16).unwrap();
        let mut signature = Signature::<1, 16>::default();
        signature.step(&layout, Position::Unknown, &[500.0]);
        for tick in 0..=64 {
            signature.step(&layout, Position::SinceOnset(tick), &[tick as f32]);
        }
        signature.finish();
        assert!(signature.is_whole());
        for (n, bin) in signature.bins().iter().enumerate() {
            assert!((bin[0] - (4.0 * n as f32 + 2.0)).abs() < 1e-4, "bin {n}: {}", bin[0]);
        }
    }

    #[test]
    fn coordinates_and_positions_are_inverse() {
        let layout = Layout::by_angle(95.0, 262.0, 167).unwrap();
        for n in 0..167 {
            let there = layout.position(n as f32);
            let back = layout.coordinate(there).unwrap();
            assert!((back - n as f32).abs() < 1e-3, "{n}: {back}");
        }
    }

    #[test]
    fn an_empty_span_is_refused() {
        assert!(Layout::by_angle(200.0, 200.0, 8).is_err());
        assert!(Layout::by_angle(200.0, 361.0, 8).is_err());
        assert!(Layout::by_angle(f64::NAN, 361.0, 8).is_err());
        assert!(Layout::by_time(0, 8).is_err());
    }
}
