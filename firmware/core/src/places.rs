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

/// One of three.
#[inline]
fn nth<T>([first, second, third]: [T; 3], n: u8) -> T {
    match n {
        0 => first,
        1 => second,
        _ => third,
    }
}

impl<const N: usize> Places<N> {
    /// The stroke under way.
    #[inline]
    pub(crate) fn under_way(&mut self) -> &mut StrokeReport<N> {
        nth(self.strokes.each_mut(), self.under_way)
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
        (nth(self.strokes.each_mut(), self.ended), seen)
    }

    /// The stroke judged last.
    pub(crate) fn judged(&self) -> Option<&StrokeReport<N>> {
        self.any.then(|| nth(self.strokes.each_ref(), self.judged))
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
        let ended = nth(self.strokes.each_mut(), self.ended);
        ended.features = crate::features::Features::NOTHING;
        ended.findings.clear();
        let [first, second] = &mut self.seen;
        *(if self.second { first } else { second }) = SeenInside::default();
        self.clean = true;
    }
}
