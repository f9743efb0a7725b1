//! The binned signature: mean load of each column in bins of crank angle (or of time from load onset).
//!
//! Bins may be narrow where the load changes fast and wide where it does not. Between frames the load is
//! taken to run straight, and the straight pieces are integrated over each bin exactly. So neither the
//! sample rate nor where the samples happen to fall shifts a bin's value.

use crate::stroke::Position;
use crate::units::CrankAngle;

/// Bins of a die's signature, on the host and on the controller.
///
/// Half of them follow the load's changes, so 64 resolve a fracture as finely as 200 equal ones would, and a model of
/// four columns stays under 32 KiB.
pub const SIGNATURE_BINS: usize = 64;

/// How at most `BINS` bins lie on the stroke, in degrees from the top or in ticks from load onset.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Layout<const BINS: usize> {
    by_angle: bool,
    /// `[bin]`: where it starts; from `used` on all are the end.
    starts: [f32; BINS],
    used: usize,
    end: f32,
}

/// There must be 1 to `BINS` bins that start at 0 or later, each ends after it starts, and the last ends at 360° at
/// most (or at a finite tick).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LayoutError;

impl core::fmt::Display for LayoutError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str("signature bins must follow one another within one stroke")
    }
}

impl core::error::Error for LayoutError {}

impl<const BINS: usize> Layout<BINS> {
    /// No bins: a place to be filled.
    pub(crate) const EMPTY: Self = Self { by_angle: false, starts: [0.0; BINS], used: 0, end: 0.0 };

    /// Whether bins are bins of angle, and how many are used.
    pub(crate) fn whole_words(&self) -> [u32; 2] {
        [u32::from(self.by_angle), self.used as u32]
    }

    /// Starts of all `BINS` bins, and the end.
    pub(crate) fn places(&self) -> (&[f32], &f32) {
        (&self.starts, &self.end)
    }

    /// See [`Self::places`]; whoever writes them asks [`Self::is_sound`] before the layout is used.
    pub(crate) fn places_mut(&mut self) -> (&mut [f32], &mut f32) {
        (&mut self.starts, &mut self.end)
    }

    /// See [`Self::places_mut`].
    pub(crate) fn put_by_angle(&mut self, by_angle: bool) {
        self.by_angle = by_angle;
    }

    /// See [`Self::places_mut`].
    pub(crate) fn put_used(&mut self, used: usize) {
        self.used = used;
    }

    /// Whether it is one that [`Self::new`] could have made.
    pub(crate) fn is_sound(&self) -> bool {
        let bound = if self.by_angle { 360.0 } else { f32::MAX };
        let next = self.starts.iter().skip(1).chain(core::iter::once(&self.end));
        let rising = self.starts.iter().zip(next).take(self.used).all(|(a, b)| a < b);
        let rest = self.starts.iter().skip(self.used).all(|start| *start == self.end);
        let from_zero = self.starts.first().is_some_and(|first| *first >= 0.0);
        (1..=BINS).contains(&self.used) && rising && rest && from_zero && self.end <= bound
    }

    /// Bins between these edges, one more than there are bins, in degrees (`by_angle`) or ticks from onset.
    ///
    /// # Errors
    /// [`LayoutError`] unless there are 2 to `BINS` + 1 edges, 0 ≤ the first, rising, the last within the turn.
    pub fn new(by_angle: bool, edges: &[f32]) -> Result<Self, LayoutError> {
        let [inner @ .., end] = edges else { return Err(LayoutError) };
        let mut starts = [*end; BINS];
        for (start, edge) in starts.iter_mut().zip(inner) {
            *start = *edge;
        }
        let layout = Self { by_angle, starts, used: inner.len(), end: *end };
        if layout.is_sound() { Ok(layout) } else { Err(LayoutError) }
    }

    /// Equal bins from one place to another, all `BINS` of them.
    ///
    /// # Errors
    /// As [`Self::new`].
    pub fn equal(by_angle: bool, from: f32, to: f32) -> Result<Self, LayoutError> {
        let mut starts = [0.0; BINS];
        for (n, start) in starts.iter_mut().enumerate() {
            *start = from + (to - from) * (n as f32 / BINS as f32);
        }
        let bound = if by_angle { 360.0 } else { f32::MAX };
        if from >= 0.0 && from < to && to <= bound {
            Ok(Self { by_angle, starts, used: BINS, end: to })
        } else {
            Err(LayoutError)
        }
    }

    /// How many bins there are.
    #[must_use]
    #[inline]
    pub fn used(&self) -> usize {
        self.used
    }

    /// Whether bins are bins of angle.
    #[must_use]
    pub fn is_by_angle(&self) -> bool {
        self.by_angle
    }

    /// Where the last bin ends.
    #[must_use]
    pub fn end(&self) -> f32 {
        self.end
    }

    /// Start and end of a bin; the last one's for a bin that does not exist.
    #[must_use]
    #[inline]
    pub fn edges(&self, bin: usize) -> (f32, f32) {
        let edge = |n: usize| self.starts.get(n).copied().unwrap_or(self.end);
        (edge(bin.min(self.used.saturating_sub(1))), edge(bin + 1))
    }

    /// The place of a position on the bins' axis; none if it cannot be told.
    #[must_use]
    #[inline]
    pub fn place(&self, position: Position) -> Option<f32> {
        match position {
            Position::Angle(angle) if self.by_angle => Some(angle.degrees()),
            Position::SinceOnset(ticks) if !self.by_angle => Some(ticks as f32),
            _ => None,
        }
    }

    /// The position of a place on the bins' axis.
    #[must_use]
    pub fn position(&self, place: f32) -> Position {
        if self.by_angle {
            Position::Angle(CrankAngle::from_place(place))
        } else {
            Position::SinceOnset(place as u32)
        }
    }
}

/// Degrees.
const HALF_TURN: f32 = 180.0;

/// Share of the span that may be missing at a stroke's end; recordings of a part of the turn end where they end.
const MAY_MISS: f32 = 0.05;

/// A signature being filled, stroke after stroke.
#[derive(Debug, Clone)]
pub struct Signature<const N: usize, const BINS: usize> {
    /// `[bin][column]`: mean load, kN; valid below `filled`.
    bins: [[f32; N]; BINS],
    filled: usize,
    /// Place and loads of the last frame, and the integral of the open bin.
    last: Option<(f32, [f32; N])>,
    open: [f32; N],
    whole: bool,
    /// Whether the last frame lies inside the bins, and up to where the next one changes nothing but the open bin
    /// (or nothing at all, outside).
    inside: bool,
    ends: f32,
}

impl<const N: usize, const BINS: usize> Default for Signature<N, BINS> {
    fn default() -> Self {
        Self {
            bins: [[0.0; N]; BINS],
            filled: 0,
            last: None,
            open: [0.0; N],
            whole: true,
            inside: false,
            ends: f32::NEG_INFINITY,
        }
    }
}

impl<const N: usize, const BINS: usize> Signature<N, BINS> {
    /// The stroke under way cannot become whole any more.
    pub(crate) fn spoil(&mut self) {
        self.restart();
        self.last = Some((f32::INFINITY, [0.0; N]));
        self.whole = false;
    }

    /// Starts a new stroke.
    pub fn restart(&mut self) {
        self.filled = 0;
        self.last = None;
        self.open = [0.0; N];
        self.whole = true;
        self.inside = false;
        self.ends = f32::NEG_INFINITY;
    }

    /// Takes in one frame. A crank that stands or moves back adds nothing until it is past where it was.
    #[inline]
    pub fn step(&mut self, layout: &Layout<BINS>, position: Position, loads: &[f32; N]) {
        // Nothing changes a full signature; before the bins and within one of them little is to be done.
        if self.filled >= layout.used {
            return;
        }
        let Some(here) = layout.place(position) else { return };
        match &mut self.last {
            Some((before, from)) if here < self.ends => {
                if here > *before {
                    if self.inside {
                        let width = 0.5 * (here - *before);
                        for ((open, a), b) in self.open.iter_mut().zip(&*from).zip(loads) {
                            *open += width * (a + b);
                        }
                    }
                    *before = here;
                    *from = *loads;
                }
                return;
            }
            // Missed its first bins, and has not come to them again.
            None if !self.whole && here > self.ends => return,
            _ => {}
        }
        self.cross(layout, here, loads);
    }

    /// A frame that is the first, or ends a bin, or begins the first one.
    #[inline(never)]
    fn cross(&mut self, layout: &Layout<BINS>, here: f32, loads: &[f32; N]) {
        let loads = *loads;
        let (first, _) = layout.edges(0);
        let Some((before, from)) = self.last else {
            // A stroke seen only from inside the bins misses its first ones, unless it began before the top and has yet
            // to come to them; time counts from onset and cannot.
            self.whole = here <= first || !layout.by_angle;
            if self.whole {
                self.last = Some((here, loads));
                (self.inside, self.ends) =
                    (here >= first, if here >= first { layout.edges(0).1 } else { first });
            } else {
                self.ends = first;
            }
            return;
        };
        // More than half a turn forward in one frame is a little back, behind the top.
        if here <= before || (layout.by_angle && here - before > HALF_TURN) {
            return;
        }
        self.last = Some((here, loads));
        if here <= first {
            // Exactly where they begin.
            (self.inside, self.ends) = (true, layout.edges(0).1);
            return;
        }
        let slope = 1.0 / (here - before);
        let at = |place: f32| {
            let mut x = loads;
            for (x, from) in x.iter_mut().zip(&from) {
                *x = from + (*x - from) * ((place - before) * slope);
            }
            x
        };
        let mut start = before.max(first);
        let mut start_loads = if before < first { at(first) } else { from };
        // At most every bin once: a coarse recording may cross several in one frame.
        for _ in 0..BINS {
            let (begins, edge) = layout.edges(self.filled);
            let closes = here >= edge;
            let end = if closes { edge } else { here };
            let end_loads = if here > end { at(end) } else { loads };
            let width = 0.5 * (end - start);
            for ((open, a), b) in self.open.iter_mut().zip(&start_loads).zip(&end_loads) {
                *open += width * (a + b);
            }
            if !closes {
                break;
            }
            let per_width = 1.0 / (edge - begins);
            if let Some(bin) = self.bins.get_mut(self.filled) {
                for (bin, open) in bin.iter_mut().zip(&self.open) {
                    *bin = open * per_width;
                }
            }
            self.open = [0.0; N];
            self.filled += 1;
            if self.filled >= layout.used {
                break;
            }
            start = end;
            start_loads = end_loads;
        }
        (self.inside, self.ends) = (true, layout.edges(self.filled).1);
    }

    /// The stroke ends: what was not reached takes the last load seen, if only a little is missing.
    pub fn finish(&mut self, layout: &Layout<BINS>) {
        let (first, _) = layout.edges(0);
        let Some((reached, loads)) = self.last else {
            self.whole = false;
            return;
        };
        self.whole &= self.filled == layout.used || layout.end - reached <= MAY_MISS * (layout.end - first);
        if self.whole {
            // The open bin: what it has, and the last load for the rest of it.
            let (begins, edge) = layout.edges(self.filled);
            let begun = reached > begins && self.filled < layout.used;
            let (rest, per_width) = (edge - reached, 1.0 / (edge - begins));
            for (n, bin) in self.bins.iter_mut().take(layout.used).skip(self.filled).enumerate() {
                *bin = loads;
                if n == 0 && begun {
                    for (bin, open) in bin.iter_mut().zip(&self.open) {
                        *bin = (open + *bin * rest) * per_width;
                    }
                }
            }
            self.filled = layout.used;
        }
    }

    /// `[bin][column]`, kN, of the bins closed so far.
    #[must_use]
    pub fn bins(&self) -> &[[f32; N]] {
        self.bins.get(..self.filled).unwrap_or(&[])
    }

    /// `[bin][column]`, kN, of all `BINS`; those not reached hold zero or an earlier stroke's value.
    #[must_use]
    pub fn field(&self) -> &[[f32; N]; BINS] {
        &self.bins
    }

    /// Whether every bin of the layout was filled by the stroke; true only after [`Self::finish`].
    #[must_use]
    pub fn is_whole(&self, layout: &Layout<BINS>) -> bool {
        self.whole && self.filled == layout.used
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(degrees: f64) -> Position {
        Position::Angle(CrankAngle::from_degrees(degrees))
    }

    /// Bins of uneven width from 100° to 260°.
    fn uneven() -> Layout<32> {
        let mut edges = [0.0; 33];
        for (n, edge) in edges.iter_mut().enumerate() {
            let share = n as f32 / 32.0;
            *edge = 100.0 + 160.0 * share * share;
        }
        Layout::new(true, &edges).unwrap()
    }

    #[test]
    fn a_straight_load_fills_bins_with_its_value_at_their_middles_at_any_rate() {
        for layout in [Layout::<32>::equal(true, 100.0, 260.0).unwrap(), uneven()] {
            for step in [0.07, 0.9, 3.7, 11.0] {
                for offset in [0.0, 0.013, 0.4] {
                    let mut signature = Signature::<1, 32>::default();
                    let mut degrees = 90.0 + offset;
                    while degrees < 275.0 {
                        signature.step(&layout, at(degrees), &[(degrees as f32 - 180.0) * 2.0]);
                        degrees += step;
                    }
                    signature.finish(&layout);
                    assert!(signature.is_whole(&layout));
                    for (n, bin) in signature.bins().iter().enumerate() {
                        let (from, to) = layout.edges(n);
                        let wanted = (0.5 * (from + to) - 180.0) * 2.0;
                        // Places are good to 2.2e-5 degrees; against the narrowest bin, 0.16°, and its loads of
                        // 160 kN that is 0.02 kN.
                        assert!((bin[0] - wanted).abs() < 0.02, "step {step} bin {n}: {} {wanted}", bin[0]);
                    }
                }
            }
        }
    }

    #[test]
    fn moving_back_adds_nothing() {
        let layout = Layout::<36>::equal(true, 0.0, 360.0).unwrap();
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
    fn a_stroke_may_begin_before_the_top_and_rock_there() {
        let layout = Layout::<8>::equal(true, 100.0, 260.0).unwrap();
        let turn = (0..359).map(|n| f64::from(n) + 0.5);
        let fill = |before: &[f64]| {
            let mut signature = Signature::<1, 8>::default();
            for degrees in before.iter().copied().chain(turn.clone()) {
                signature.step(&layout, at(degrees), &[degrees as f32]);
            }
            signature.finish(&layout);
            (signature.bins().to_vec(), signature.is_whole(&layout))
        };
        let steady = fill(&[]);
        assert!(steady.1);
        for before in
            [&[350.0, 355.0][..], &[0.1, 359.9], &[359.9, 0.1, 359.9, 0.2], &[270.0, 300.0, 330.0, 359.0]]
        {
            assert_eq!(fill(before), steady, "{before:?}");
        }
    }

    #[test]
    fn a_stroke_that_starts_or_ends_inside_is_not_whole() {
        let layout = uneven();
        for (from, to, whole) in [(110.0, 270.0, false), (90.0, 200.0, false), (99.0, 256.0, true)] {
            let mut signature = Signature::<1, 32>::default();
            let mut degrees = from;
            while degrees < to {
                signature.step(&layout, at(degrees), &[1.0]);
                degrees += 1.0;
            }
            signature.finish(&layout);
            assert_eq!(signature.is_whole(&layout), whole, "{from} to {to}");
        }
        let mut empty = Signature::<1, 32>::default();
        empty.finish(&layout);
        assert!(!empty.is_whole(&layout));
    }

    #[test]
    fn time_bins_count_from_onset() {
        let layout = Layout::<16>::equal(false, 0.0, 64.0).unwrap();
        let mut signature = Signature::<1, 16>::default();
        signature.step(&layout, Position::Unknown, &[500.0]);
        for tick in 0..=64 {
            signature.step(&layout, Position::SinceOnset(tick), &[tick as f32]);
        }
        signature.finish(&layout);
        assert!(signature.is_whole(&layout));
        for (n, bin) in signature.bins().iter().enumerate() {
            assert!((bin[0] - (4.0 * n as f32 + 2.0)).abs() < 1e-4, "bin {n}: {}", bin[0]);
        }
    }

    #[test]
    fn bins_that_cannot_be_are_refused() {
        assert!(Layout::<8>::equal(true, 200.0, 200.0).is_err());
        assert!(Layout::<8>::equal(true, 200.0, 361.0).is_err());
        assert!(Layout::<8>::equal(true, -1.0, 300.0).is_err());
        assert!(Layout::<8>::equal(true, f32::NAN, 300.0).is_err());
        assert!(Layout::<2>::new(true, &[5.0, 4.0, 6.0]).is_err());
        assert!(Layout::<2>::new(true, &[4.0]).is_err());
        assert!(Layout::<2>::new(true, &[1.0, 2.0, 3.0, 4.0]).is_err());
        assert_eq!(Layout::<8>::new(true, &[1.0, 2.0, 3.0]).map(|l| l.used()), Ok(2));
    }
}
