//! Three places for strokes: the one under way, the one being judged and the one judged last. A stroke stays where it was
//! gathered until it has been read; the places change their parts, so that no frame pays for carrying a stroke over.

use crate::die::{SENSOR_WINDOWS, WATCH_WINDOWS};
use crate::monitor::StrokeReport;
use crate::windows::{Seen, SensorSeen};

/// What the windows of a die have seen in one stroke.
#[derive(Debug, Clone, Default)]
pub(crate) struct SeenInside {
    pub(crate) watch: [Seen; WATCH_WINDOWS],
    pub(crate) sensors: [SensorSeen; SENSOR_WINDOWS],
}

/// The places, and which part each has.
#[derive(Debug, Clone)]
#[repr(C)]
pub(crate) struct Places<const N: usize> {
    under_way: u8,
    /// Being judged, or free.
    ended: u8,
    judged: u8,
    /// What the windows see goes to the second of their two places.
    second: bool,
    /// The free places hold nothing yet.
    clean: bool,
    /// A stroke has been judged.
    any: bool,
    seen: [SeenInside; 2],
    strokes: [StrokeReport<N>; 3],
}

impl<const N: usize> Default for Places<N> {
    fn default() -> Self {
        Self {
            under_way: 0,
            ended: 1,
            judged: 2,
            second: false,
            clean: true,
            any: false,
            seen: Default::default(),
            strokes: [const { StrokeReport::NOTHING }; 3],
        }
    }
}

impl<const N: usize> Places<N> {
    #[inline]
    fn place(&mut self, n: u8) -> &mut StrokeReport<N> {
        let [first, second, third] = &mut self.strokes;
        match n {
            0 => first,
            1 => second,
            _ => third,
        }
    }

    /// The stroke under way.
    #[inline]
    pub(crate) fn under_way(&mut self) -> &mut StrokeReport<N> {
        self.place(self.under_way)
    }

    /// What the windows have seen in it.
    #[inline]
    pub(crate) fn seen(&mut self) -> &mut SeenInside {
        let [first, second] = &mut self.seen;
        if self.second { second } else { first }
    }

    /// The stroke that ended and is being judged, and what the windows saw in it.
    pub(crate) fn ended(&mut self) -> (&mut StrokeReport<N>, &SeenInside) {
        let [first, second] = &self.seen;
        let seen = if self.second { first } else { second };
        let [one, two, three] = &mut self.strokes;
        let ended = match self.ended {
            0 => one,
            1 => two,
            _ => three,
        };
        (ended, seen)
    }

    /// The stroke judged last.
    pub(crate) fn judged(&self) -> Option<&StrokeReport<N>> {
        self.any.then(|| {
            let [first, second, third] = &self.strokes;
            match self.judged {
                0 => first,
                1 => second,
                _ => third,
            }
        })
    }

    /// The stroke under way is over; the next one begins in a place that holds nothing.
    pub(crate) fn end(&mut self) {
        self.clean();
        core::mem::swap(&mut self.under_way, &mut self.ended);
        self.second = !self.second;
        self.clean = false;
    }

    /// The stroke that ended has been judged, and the one judged before it is no longer needed.
    pub(crate) fn publish(&mut self) {
        core::mem::swap(&mut self.ended, &mut self.judged);
        self.any = true;
    }

    /// Empties the free places; to be called when no stroke is being judged. At once where nothing is to be done.
    #[inline]
    pub(crate) fn clean(&mut self) {
        if !self.clean {
            self.clean_up();
        }
    }

    #[inline(never)]
    fn clean_up(&mut self) {
        let ended = self.place(self.ended);
        ended.features = crate::features::Features::NOTHING;
        ended.findings.clear();
        let [first, second] = &mut self.seen;
        *(if self.second { first } else { second }) = SeenInside::default();
        self.clean = true;
    }
}
