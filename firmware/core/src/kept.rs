//! The kept stroke: the full-rate frames of a stroke that stopped the press, with those around it.
//!
//! Frames go round a ring. A trigger lets a stated number of further frames in and then the ring stands
//! still until it is released, so the frames before the trigger are kept as well.

use crate::frame::Frame;

/// A ring of the last `CAP` frames that can be frozen.
#[derive(Debug, Clone)]
pub struct KeptStroke<const N: usize, const CAP: usize> {
    ring: heapless::Deque<Frame<N>, CAP>,
    /// Frames still to take in before standing still; none while running freely.
    remaining: Option<usize>,
    missed: u32,
}

impl<const N: usize, const CAP: usize> Default for KeptStroke<N, CAP> {
    fn default() -> Self {
        Self { ring: heapless::Deque::new(), remaining: None, missed: 0 }
    }
}

impl<const N: usize, const CAP: usize> KeptStroke<N, CAP> {
    /// Takes in one frame, unless the ring stands still.
    #[inline]
    pub fn step(&mut self, frame: &Frame<N>) {
        match &mut self.remaining {
            Some(0) => return,
            Some(remaining) => *remaining -= 1,
            None => {}
        }
        if self.ring.is_full() {
            self.ring.pop_front();
        }
        let _ = self.ring.push_back(*frame);
    }

    /// Keeps what is there and `after` frames more. A trigger while one is kept is counted, not taken.
    pub fn trigger(&mut self, after: usize) {
        if self.remaining.is_none() {
            self.remaining = Some(after.min(CAP));
        } else {
            self.missed = self.missed.saturating_add(1);
        }
    }

    /// The kept frames, oldest first, once the ring stands still.
    pub fn kept(&self) -> Option<impl Iterator<Item = &Frame<N>>> {
        (self.remaining == Some(0)).then(|| self.ring.iter())
    }

    /// How many there are, once the ring stands still.
    #[must_use]
    pub fn frames(&self) -> Option<usize> {
        (self.remaining == Some(0)).then(|| self.ring.len())
    }

    /// The n-th of them; none beyond the last, or while the ring runs.
    #[must_use]
    pub fn frame(&self, n: usize) -> Option<&Frame<N>> {
        if self.remaining != Some(0) {
            return None;
        }
        let (first, second) = self.ring.as_slices();
        first.get(n).or_else(|| second.get(n.checked_sub(first.len())?))
    }

    /// Triggers that came while a stroke was kept already.
    #[must_use]
    pub fn missed(&self) -> u32 {
        self.missed
    }

    /// The kept stroke has been read out; the ring runs again.
    pub fn release(&mut self) {
        self.remaining = None;
        self.missed = 0;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::CrankReading;
    use crate::units::Tick;

    fn frame(tick: u32) -> Frame<1> {
        Frame { tick: Tick(tick), counts: [0], crank: CrankReading::Absent, sensors: 0 }
    }

    #[test]
    fn frames_before_and_after_the_trigger_are_kept_until_released() {
        let mut kept = KeptStroke::<1, 8>::default();
        (0..20).for_each(|n| kept.step(&frame(n)));
        assert!(kept.kept().is_none());
        kept.trigger(3);
        (20..40).for_each(|n| kept.step(&frame(n)));
        assert!(kept.kept().unwrap().map(|f| f.tick.0).eq(15..23));
        assert!((0..8).all(|n| kept.frame(n).is_some_and(|frame| frame.tick.0 == 15 + n as u32)));
        assert!(kept.frame(8).is_none());
        kept.trigger(3);
        assert_eq!(kept.missed(), 1);
        kept.release();
        kept.step(&frame(99));
        assert!(kept.kept().is_none());
    }
}
