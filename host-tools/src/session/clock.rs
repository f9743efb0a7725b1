//! The sample clock of a recording: which tick each of its rows has.
//!
//! Where a recording's times are those of a sample clock, a step of two readings is a frame that was lost and a step of
//! none is one that came twice, and the monitor sees both. Between strokes time may start again, and parts of the turn
//! that were not recorded are nobody's loss: there the clock goes on by one.

use bolster_core::units::Tick;

use super::SampleRate;

/// Ticks of rows.
#[derive(Debug, Clone, Copy)]
pub(super) struct RowClock {
    rate: SampleRate,
    /// Tick of the next row, if nothing is lost.
    next: u32,
    time_s: f64,
}

impl RowClock {
    pub(super) fn new(rate: SampleRate) -> Self {
        Self { rate, next: 0, time_s: f64::NAN }
    }

    /// The tick that is due.
    pub(super) fn tick(&self) -> Tick {
        Tick(self.next)
    }

    /// The tick of a row; `changed` says that it is the first of a stroke.
    #[inline]
    pub(super) fn next(&mut self, changed: bool, time_s: f64) -> Tick {
        if self.rate.is_clock {
            let step = ((time_s - self.time_s) * self.rate.hz).round();
            self.time_s = time_s;
            // A stroke's rows are in order of time; a number that is none is one step.
            if !changed && step != 1.0 && step >= 0.0 {
                // Beyond a million readings it is a loss whatever its size.
                let lost = step.min(1e6) as u32;
                self.next = self.next.wrapping_sub(1).wrapping_add(lost);
            }
        }
        let tick = Tick(self.next);
        self.next = self.next.wrapping_add(1);
        tick
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ticks(is_clock: bool, rows: &[(bool, f64)]) -> Vec<u32> {
        let mut clock = RowClock::new(SampleRate { hz: 1000.0, is_measured: true, is_clock });
        rows.iter().map(|(changed, time_s)| clock.next(*changed, *time_s).0).collect()
    }

    #[test]
    fn lost_and_repeated_rows_show_within_a_stroke_and_nowhere_else() {
        let rows = [(true, 0.0), (false, 0.001), (false, 0.004), (false, 0.004), (false, 0.005), (true, 9.0)];
        assert_eq!(ticks(true, &rows), [0, 1, 4, 4, 5, 6]);
        assert_eq!(ticks(false, &rows), [0, 1, 2, 3, 4, 5]);
        assert_eq!(ticks(true, &[(true, f64::NAN), (false, f64::NAN)]), [0, 1]);
    }
}
