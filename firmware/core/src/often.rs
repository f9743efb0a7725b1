//! How often a die's limit must be left before that means anything: m of the last n strokes.

/// So many of the last so many strokes. Unchecked; see [`MofN::is_sound`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct MofN {
    /// Strokes that must have left the limit, this one among them.
    pub m: u8,
    /// Strokes looked back over, this one among them.
    pub n: u8,
}

impl Default for MofN {
    fn default() -> Self {
        Self::FIRST
    }
}

impl MofN {
    /// The first stroke that leaves the limit counts.
    pub const FIRST: Self = Self { m: 1, n: 1 };
    /// Strokes that can be looked back over.
    pub const MOST: u8 = 32;

    /// Whether 1 ≤ m ≤ n ≤ [`Self::MOST`].
    #[must_use]
    pub const fn is_sound(self) -> bool {
        1 <= self.m && self.m <= self.n && self.n <= Self::MOST
    }
}

/// Which of the last 32 strokes left one limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Breaks(u32);

impl Breaks {
    /// Takes in one stroke; true if it left the limit and, with it, enough of the last ones did.
    pub fn push(&mut self, left: bool, rule: MofN) -> bool {
        self.0 = self.0 << 1 | u32::from(left);
        // Nearly always nothing was left, or the first one counts.
        left && (rule.m <= 1 || self.within(rule.n) >= u32::from(rule.m))
    }

    fn within(self, n: u8) -> u32 {
        let unseen = u32::from(MofN::MOST.saturating_sub(n)).min(31);
        (self.0 << unseen).count_ones()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::vec::Vec;

    #[test]
    fn a_rule_counts_the_last_n_strokes_and_no_others() {
        // Against plain counting, over every pattern of twelve strokes.
        for (m, n) in [(1, 1), (1, 3), (2, 2), (2, 3), (3, 5), (5, 5), (4, 12)] {
            for pattern in 0..1_u32 << 12 {
                let left: Vec<bool> = (0..12).map(|k| pattern & 1 << k != 0).collect();
                let mut breaks = Breaks::default();
                for (k, now) in left.iter().enumerate() {
                    let recent = &left[(k + 1).saturating_sub(n)..=k];
                    let wanted = *now && recent.iter().filter(|left| **left).count() >= m;
                    let rule = MofN { m: m as u8, n: n as u8 };
                    assert_eq!(breaks.push(*now, rule), wanted, "{m} of {n}, {pattern:b} at {k}");
                }
            }
        }
    }

    #[test]
    fn a_rule_of_all_thirty_two_strokes_counts_them_all() {
        let mut breaks = Breaks::default();
        let rule = MofN { m: 32, n: 32 };
        assert!((0..31).all(|_| !breaks.push(true, rule)));
        assert!(breaks.push(true, rule));
        assert!(!breaks.push(false, rule) && !breaks.push(true, rule));
    }

    #[test]
    fn rules_that_cannot_be_are_known() {
        for (m, n, sound) in [(1, 1, true), (32, 32, true), (0, 1, false), (2, 1, false), (1, 33, false)] {
            assert_eq!(MofN { m, n }.is_sound(), sound, "{m} of {n}");
        }
    }
}
