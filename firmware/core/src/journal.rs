//! Numbered events in a bounded buffer: old ones make room, the count is never lost.

use crate::mode::Mode;
use crate::units::Tick;
use crate::verdict::{Reason, Verdict};

/// What happened.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum EventKind {
    /// The monitor started.
    PowerUp,
    /// Self-test passed or failed.
    SelfTest(bool),
    /// A stroke was judged something other than pass.
    Judged(Verdict),
    /// The permit was withdrawn.
    PermitWithdrawn,
    /// A person acknowledged and the permit returned.
    Acknowledged,
    /// An acknowledgement was refused.
    AcknowledgeRefused,
    /// A bypass of holds began, for so many ticks.
    BypassBegan(u32),
    /// Press or die settings changed.
    SettingsChanged,
    /// A gauge's health changed; the reason says to what, none means good again.
    GaugeHealth,
    /// A stroke was given up: backed out over the top, or the crank sensor failed.
    StrokeGivenUp,
    /// Another mode took effect.
    ModeChanged(Mode),
}

/// One line of the journal.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Event {
    /// Number since the journal began; gaps in what is read show what was lost.
    pub number: u32,
    /// When.
    pub tick: Tick,
    /// In which stroke, counted since power-up.
    pub stroke: u32,
    /// What.
    pub kind: EventKind,
    /// Why, where there is a reason.
    pub reason: Option<Reason>,
    /// Which column, where one can be named.
    pub column: Option<u8>,
}

/// The last `CAP` events and the count of all.
#[derive(Debug, Clone)]
pub struct Journal<const CAP: usize> {
    events: heapless::Deque<Event, CAP>,
    count: u32,
}

impl<const CAP: usize> Default for Journal<CAP> {
    fn default() -> Self {
        Self { events: heapless::Deque::new(), count: 0 }
    }
}

impl<const CAP: usize> Journal<CAP> {
    /// Writes one event and gives its number.
    pub fn write(
        &mut self,
        tick: Tick,
        stroke: u32,
        kind: EventKind,
        reason: Option<Reason>,
        column: Option<u8>,
    ) -> u32 {
        let number = self.count;
        self.count = self.count.wrapping_add(1);
        if self.events.is_full() {
            self.events.pop_front();
        }
        // Room was made above; only a journal of capacity 0 refuses, and that still counts.
        let _ = self.events.push_back(Event { number, tick, stroke, kind, reason, column });
        number
    }

    /// Events still held, oldest first.
    pub fn iter(&self) -> impl Iterator<Item = &Event> {
        self.events.iter()
    }

    /// All events ever written.
    #[must_use]
    pub fn count(&self) -> u32 {
        self.count
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn old_events_make_room_and_the_count_goes_on() {
        let mut journal = Journal::<4>::default();
        for n in 0..10 {
            assert_eq!(journal.write(Tick(n), n, EventKind::PermitWithdrawn, None, None), n);
        }
        assert_eq!(journal.count(), 10);
        assert!(journal.iter().map(|e| e.number).eq(6..10));
    }
}
