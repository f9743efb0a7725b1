//! Numbered things on their way to the host: the last few are held, and what had to make room is told.
//!
//! Putting one in never waits. A host that was away asks for them again by number; what is no longer there is
//! answered by the gap's first and last number, so that nothing is missing silently.

/// The last `CAP` of a numbered sequence, and how far it has been sent.
#[derive(Debug, Clone)]
pub struct Outbox<T, const CAP: usize> {
    held: heapless::Deque<T, CAP>,
    /// Number of the next one to be put in.
    next_in: u32,
    /// Number of the next one to be sent.
    next_out: u32,
}

/// What to send next.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Out<T> {
    /// This one.
    Item(T),
    /// From the first to before the second number, none is held any more.
    Lost(u32, u32),
}

impl<T, const CAP: usize> Default for Outbox<T, CAP> {
    fn default() -> Self {
        Self { held: heapless::Deque::new(), next_in: 0, next_out: 0 }
    }
}

impl<T: Copy, const CAP: usize> Outbox<T, CAP> {
    /// Puts one in; the oldest makes room if it must.
    pub fn put(&mut self, item: T) {
        if self.held.is_full() {
            self.held.pop_front();
        }
        // Only an outbox of capacity 0 refuses, and then the number still counts.
        let _ = self.held.push_back(item);
        self.next_in = self.next_in.wrapping_add(1);
    }

    /// Puts one in under its own number; numbers before it that never came are told as lost with those that are held.
    pub fn put_as(&mut self, number: u32, item: T) {
        if number != self.next_in {
            self.held.clear();
            self.next_in = number;
        }
        self.put(item);
    }

    /// Number of the next one to be put in.
    #[must_use]
    pub fn next_number(&self) -> u32 {
        self.next_in
    }

    /// How many are held and have not been sent.
    #[must_use]
    pub fn waiting(&self) -> usize {
        (self.next_in.wrapping_sub(self.next_out) as usize).min(self.held.len())
    }

    /// What to send next, without taking it out.
    #[must_use]
    pub fn peek(&self) -> Option<Out<T>> {
        let waiting = self.next_in.wrapping_sub(self.next_out);
        let held = self.held.len() as u32;
        if waiting == 0 {
            return None;
        }
        if waiting > held {
            return Some(Out::Lost(self.next_out, self.next_in.wrapping_sub(held)));
        }
        self.held.iter().nth((held - waiting) as usize).map(|item| Out::Item(*item))
    }

    /// What [`Self::peek`] gave has been sent.
    pub fn sent(&mut self, out: &Out<T>) {
        self.next_out = match out {
            Out::Item(_) => self.next_out.wrapping_add(1),
            Out::Lost(_, to) => *to,
        };
    }

    /// Sends again from this number on; a number still to come changes nothing.
    pub fn rewind(&mut self, number: u32) {
        // Within half the range behind: the numbers go round.
        if self.next_in.wrapping_sub(number) <= u32::MAX / 2 {
            self.next_out = number;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::vec::Vec;

    fn drain(outbox: &mut Outbox<u32, 4>) -> Vec<Out<u32>> {
        let mut all = Vec::new();
        while let Some(out) = outbox.peek() {
            outbox.sent(&out);
            all.push(out);
        }
        all
    }

    #[test]
    fn what_had_to_make_room_is_told_before_what_is_left() {
        let mut outbox = Outbox::<u32, 4>::default();
        (0..10).for_each(|n| outbox.put(n));
        assert_eq!(
            drain(&mut outbox),
            [Out::Lost(0, 6), Out::Item(6), Out::Item(7), Out::Item(8), Out::Item(9)]
        );
        outbox.rewind(8);
        assert_eq!(drain(&mut outbox), [Out::Item(8), Out::Item(9)]);
        outbox.rewind(99);
        assert_eq!(drain(&mut outbox), []);
    }

    #[test]
    fn numbers_that_never_came_are_told_as_lost() {
        let mut outbox = Outbox::<u32, 4>::default();
        [0, 1, 2, 7, 8].into_iter().for_each(|n| outbox.put_as(n, n));
        assert_eq!(drain(&mut outbox), [Out::Lost(0, 7), Out::Item(7), Out::Item(8)]);
        outbox.put_as(9, 9);
        assert_eq!(drain(&mut outbox), [Out::Item(9)]);
    }

    proptest! {
        /// Whatever the order of putting, sending and rewinding, numbers sent or told lost since the last rewind
        /// follow one another without a hole.
        #[test]
        fn no_number_is_missing_silently(steps in proptest::collection::vec(0..12_u8, 1..200)) {
            let mut outbox = Outbox::<u32, 4>::default();
            let (mut put, mut expected) = (0_u32, 0_u32);
            for step in steps {
                match step {
                    0..=5 => { outbox.put(put); put += 1; }
                    6..=10 => if let Some(out) = outbox.peek() {
                        match out {
                            Out::Item(number) => { prop_assert_eq!(number, expected); expected += 1; }
                            Out::Lost(from, to) => { prop_assert_eq!(from, expected); prop_assert!(to > from); expected = to; }
                        }
                        outbox.sent(&out);
                    },
                    _ => { expected = put.saturating_sub(3); outbox.rewind(expected); }
                }
            }
        }
    }
}
