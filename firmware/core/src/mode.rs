//! How the press is run, and which checks that leaves.
//!
//! The press's own limits, and the health of gauges, clock and crank sensor, are judged in every mode. Inching moves the
//! slide by hand, back and forth and with stops, to set a die up: what a die's strokes do says nothing then. A single
//! stroke starts and stops at the top, so that its mean speed is no stroke rate; all else about it is a stroke.

/// How the press is run.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Hash)]
pub enum Mode {
    /// The slide is moved by hand.
    Inch = 0,
    /// One stroke, then a stop at the top.
    Single = 1,
    /// Stroke after stroke; everything is judged.
    #[default]
    Continuous = 2,
}

impl Mode {
    /// Every mode, in order of its number.
    pub const ALL: [Self; 3] = [Self::Inch, Self::Single, Self::Continuous];

    /// Its word.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Inch => "inch",
            Self::Single => "single",
            Self::Continuous => "continuous",
        }
    }

    /// Whether die limits, windows and the learned shape are judged.
    #[must_use]
    pub const fn judges_die(self) -> bool {
        !matches!(self, Self::Inch)
    }

    /// Whether the stroke rate is judged.
    #[must_use]
    pub const fn judges_speed(self) -> bool {
        matches!(self, Self::Continuous)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn inching_leaves_the_die_out_and_only_continuous_running_has_a_rate() {
        let all = Mode::ALL.map(|mode| (mode.word(), mode.judges_die(), mode.judges_speed()));
        assert_eq!(all, [("inch", false, false), ("single", true, false), ("continuous", true, true)]);
    }
}
