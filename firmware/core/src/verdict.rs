//! Verdicts and the reasons behind them.

use crate::stroke::Position;

/// Per stroke, mildest first; the worst of its findings is a stroke's verdict.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default, Hash)]
pub enum Verdict {
    /// Nothing to say.
    #[default]
    Pass,
    /// Tell people; the press goes on.
    Note,
    /// Stop at the top of the stroke.
    Hold,
    /// Withdraw the run permit now.
    Trip,
}

impl Verdict {
    /// Its word.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Pass => "pass",
            Self::Note => "note",
            Self::Hold => "hold",
            Self::Trip => "trip",
        }
    }
}

macro_rules! reasons {
    ($($(#[$doc:meta])* $name:ident = $code:literal, $says:literal;)*) => {
        /// Why a stroke was not simply passed. Codes are stable.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        #[repr(u8)]
        #[non_exhaustive]
        pub enum Reason {
            $($(#[$doc])* $name,)*
        }

        impl Reason {
            /// Every reason, in order of its number.
            pub const ALL: &'static [Self] = &[$(Self::$name,)*];

            /// Stable code, kebab-case.
            #[must_use]
            pub const fn code(self) -> &'static str {
                match self { $(Self::$name => $code,)* }
            }

            /// What it says, in a few plain words.
            #[must_use]
            pub const fn says(self) -> &'static str {
                match self { $(Self::$name => $says,)* }
            }
        }
    };
}

reasons! {
    /// The total load passed the press's rating.
    PeakOverRating = "peak-over-rating", "total load over the press's rating";
    /// The total load passed what the crank can carry at that slide height.
    LoadOverCapacityCurve = "load-over-capacity-curve", "load over the capacity curve at that slide height";
    /// One column carried more than it may.
    ColumnOverShare = "column-over-share", "one column over its share of the rating";
    /// The total load went further into reverse than the press may.
    ReverseOverLimit = "reverse-over-limit", "reverse load over the press's limit";
    /// Left and right differ by more than the press may.
    ImbalanceLeftRight = "imbalance-left-right", "left and right differ by more than the press's limit";
    /// Front and rear differ by more than the press may.
    ImbalanceFrontRear = "imbalance-front-rear", "front and rear differ by more than the press's limit";
    /// The stroke took more work than the flywheel may give.
    WorkOverEnergy = "work-over-usable-energy", "work over the usable flywheel energy";
    /// The stroke rate is outside the press's range.
    SpeedOutOfRange = "speed-out-of-range", "strokes a minute outside the press's range";
    /// The total peak lies above the die's limit.
    PeakOverDieLimit = "peak-over-die-limit", "peak load over the die's limit";
    /// The total peak lies below the die's limit.
    PeakUnderDieLimit = "peak-under-die-limit", "peak load under the die's limit";
    /// The reverse load lies above the die's limit.
    ReverseOverDieLimit = "reverse-over-die-limit", "reverse load over the die's limit";
    /// The work lies above the die's limit.
    WorkOverDieLimit = "work-over-die-limit", "work over the die's limit";
    /// The work lies below the die's limit.
    WorkUnderDieLimit = "work-under-die-limit", "work under the die's limit";
    /// A watch window's value lies outside its limits.
    WatchWindow = "watch-window-off-limits", "load in a watch window off its limits";
    /// A sensor was not on, or not off, where it must be.
    SensorWindow = "sensor-window-missed", "a sensor was not as it must be in its window";
    /// The shape of the signature left what the die's good strokes do.
    ShapeOffEnvelope = "shape-off-envelope", "signature off the die's envelope";
    /// One column's part of the load changed shape against the others.
    ShareOffEnvelope = "share-off-envelope", "a column's share of the load off the die's envelope";
    /// The signature moved as another coil moves it.
    StockChanged = "stock-changed", "changed as another coil changes it";
    /// The stroke does not cover the signature's bins.
    SignatureIncomplete = "signature-incomplete", "the stroke does not cover the part that is judged";
    /// The signature moved further along the allowed ways than good strokes do.
    ChangeBeyondAllowed = "change-beyond-allowed-ways", "changed further than the stock may change it";
    /// The signature has drifted further from the accepted reference than it may.
    DriftOffReference = "drift-off-reference", "drifted too far from the accepted reference";
    /// A gauge reads its rail: broken wire or bridge.
    GaugeOpen = "gauge-open", "gauge open (reads its rail)";
    /// A gauge reads no load without noise: shorted.
    GaugeShort = "gauge-short", "gauge shorted (no signal, no noise)";
    /// A gauge's reading is at an end of the converter's range.
    GaugeSaturated = "gauge-saturated", "gauge reading at the end of its range";
    /// A gauge repeats one value while the others move.
    GaugeStuck = "gauge-stuck", "gauge stuck at one value";
    /// A gauge is noisier than it may be.
    GaugeNoisy = "gauge-noisy", "gauge noisy";
    /// A gauge's zero has drifted as far as tracking may follow.
    GaugeDrifting = "gauge-drifting", "gauge zero drifted too far";
    /// Frames are missing from the sample clock.
    FramesLost = "frames-lost", "frames lost on the sample clock";
    /// A frame came twice.
    FramesRepeated = "frames-repeated", "frames repeated on the sample clock";
    /// The crank sensor contradicts itself.
    CrankFault = "crank-sensor-fault", "crank sensor contradicts itself";
    /// An internal invariant does not hold.
    Internal = "internal-fault", "internal check failed";
    /// A stroke ended before the one before it was judged, or its learned shape was being changed.
    NotJudged = "not-judged", "the shape could not be judged: the next stroke came too soon, or the die was being changed";
    /// The load stands further from the middle than the press may carry it.
    OffCentre = "load-over-off-centre-allowance", "load over what the press may carry that far off the middle";
    /// The total peak stayed so low that there was nothing in the die.
    NoLoad = "no-load", "no load: nothing in the die";
    /// The total peak was so high that there was twice the stock in the die.
    DoubleLoad = "double-load", "load of twice the stock in the die";
    /// Mains hum on a gauge.
    GaugeHum = "gauge-hum", "mains hum on a gauge";
    /// A gauge reads less than its neighbours say it should.
    GaugeGain = "gauge-gain-lost", "a gauge lost its gain: it alone reads less, in proportion";
}

impl Reason {
    /// The verdict a reason brings unless a card says otherwise.
    ///
    /// Machine limits and failing gauges withdraw the permit at once; what leaves a die's limits stops
    /// the press at the top of the stroke; a wrong speed is told to people.
    #[must_use]
    pub const fn verdict(self) -> Verdict {
        match self {
            Self::PeakOverRating
            | Self::LoadOverCapacityCurve
            | Self::ColumnOverShare
            | Self::ReverseOverLimit
            | Self::ImbalanceLeftRight
            | Self::ImbalanceFrontRear
            | Self::WorkOverEnergy
            | Self::OffCentre
            | Self::GaugeOpen
            | Self::GaugeShort
            | Self::GaugeSaturated
            | Self::GaugeStuck
            | Self::GaugeNoisy
            | Self::GaugeDrifting
            | Self::GaugeHum
            | Self::FramesLost
            | Self::FramesRepeated
            | Self::CrankFault
            | Self::Internal => Verdict::Trip,
            Self::SpeedOutOfRange | Self::StockChanged | Self::DriftOffReference => Verdict::Note,
            _ => Verdict::Hold,
        }
    }

    /// Whether a gauge's reading cannot be believed, so that nothing computed from it can be.
    #[must_use]
    pub const fn is_gauge_fault(self) -> bool {
        matches!(
            self,
            Self::GaugeOpen | Self::GaugeShort | Self::GaugeSaturated | Self::GaugeStuck | Self::GaugeGain
        )
    }

    /// Whether it says that the monitor's own senses, or the monitor itself, cannot be relied on.
    #[must_use]
    pub const fn is_of_health(self) -> bool {
        self.is_of_gauge()
            || matches!(self, Self::FramesLost | Self::FramesRepeated | Self::CrankFault | Self::Internal)
    }

    /// Whether it says that something is wrong with a gauge.
    #[must_use]
    pub const fn is_of_gauge(self) -> bool {
        self.is_gauge_fault() || matches!(self, Self::GaugeNoisy | Self::GaugeDrifting | Self::GaugeHum)
    }

    /// Whether it comes from what the press may carry: no die setting and no bypass lifts it.
    #[must_use]
    pub const fn is_machine_limit(self) -> bool {
        matches!(
            self,
            Self::PeakOverRating
                | Self::LoadOverCapacityCurve
                | Self::ColumnOverShare
                | Self::ReverseOverLimit
                | Self::ImbalanceLeftRight
                | Self::ImbalanceFrontRear
                | Self::WorkOverEnergy
                | Self::OffCentre
        )
    }
}

/// Bits of the reasons of which `$is` holds, found when the core is compiled.
macro_rules! bits_of {
    ($is:ident) => {{
        let (mut bits, mut n) = (0, 0);
        while n < Reason::ALL.len() {
            if Reason::ALL[n].$is() {
                bits |= 1 << n;
            }
            n += 1;
        }
        bits
    }};
}

/// A set of reasons.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct ReasonSet(u64);

const _: () = assert!(Reason::ALL.len() <= 64, "a reason set is 64 bits");

impl ReasonSet {
    /// Of one.
    #[must_use]
    #[inline]
    pub const fn of(reason: Reason) -> Self {
        Self(1 << (reason as u8))
    }

    /// Adds all of another set.
    #[inline]
    pub fn add(&mut self, others: Self) {
        self.0 |= others.0;
    }

    /// Whether a reason is in both.
    #[must_use]
    #[inline]
    pub const fn meets(self, other: Self) -> bool {
        self.0 & other.0 != 0
    }

    /// Adds one; true if it was not in yet.
    pub fn insert(&mut self, reason: Reason) -> bool {
        let bit = 1 << (reason as u8);
        let fresh = self.0 & bit == 0;
        self.0 |= bit;
        fresh
    }

    /// Whether it is in.
    #[must_use]
    pub fn contains(self, reason: Reason) -> bool {
        self.0 & (1 << (reason as u8)) != 0
    }

    /// Whether there is none.
    #[must_use]
    #[inline]
    pub fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// Whether one of them is [`Reason::is_of_health`].
    #[must_use]
    #[inline]
    pub fn any_of_health(self) -> bool {
        const OF_HEALTH: u64 = bits_of!(is_of_health);
        self.0 & OF_HEALTH != 0
    }

    /// Whether one of them is [`Reason::is_machine_limit`].
    #[must_use]
    pub fn any_machine_limit(self) -> bool {
        const MACHINE_LIMITS: u64 = bits_of!(is_machine_limit);
        self.0 & MACHINE_LIMITS != 0
    }

    /// Whether one of them is [`Reason::is_gauge_fault`].
    #[must_use]
    pub fn any_gauge_fault(self) -> bool {
        const GAUGE_FAULTS: u64 = bits_of!(is_gauge_fault);
        self.0 & GAUGE_FAULTS != 0
    }

    /// The reasons, in order of their numbers.
    pub fn iter(self) -> impl Iterator<Item = Reason> {
        Reason::ALL.iter().copied().filter(move |reason| self.contains(*reason))
    }

    /// The set as bits, bit n for reason number n.
    #[must_use]
    pub fn bits(self) -> u64 {
        self.0
    }
}

/// One reason with where it was seen and by how much.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Finding {
    /// Why.
    pub reason: Reason,
    /// How bad.
    pub verdict: Verdict,
    /// Which column, where one can be named.
    pub column: Option<u8>,
    /// Where in the stroke it began, and where it ended if it has an extent.
    pub from: Position,
    /// See `from`.
    pub to: Position,
    /// The value that broke the limit, in the limit's unit.
    pub value: f32,
    /// The limit.
    pub limit: f32,
}

impl Finding {
    /// Of the whole stroke, nowhere in it and of no one column, with the reason's own verdict.
    #[must_use]
    pub const fn of_stroke(reason: Reason, value: f32, limit: f32) -> Self {
        let nowhere = Position::Unknown;
        Self { reason, verdict: reason.verdict(), column: None, from: nowhere, to: nowhere, value, limit }
    }
}

/// Findings one stroke can carry; further ones still count in the reasons and the verdict.
pub const FINDINGS: usize = 12;

/// What was found in one stroke.
#[derive(Debug, Clone, PartialEq)]
pub struct Findings {
    reasons: ReasonSet,
    verdict: Verdict,
    /// `[reason]`: bit n for column n, the last one for none.
    known: [u32; Reason::ALL.len()],
    list: heapless::Vec<Finding, FINDINGS>,
}

impl Default for Findings {
    fn default() -> Self {
        Self::NONE
    }
}

impl Findings {
    /// Nothing found.
    pub(crate) const NONE: Self = Self {
        reasons: ReasonSet(0),
        verdict: Verdict::Pass,
        known: [0; Reason::ALL.len()],
        list: heapless::Vec::new(),
    };

    /// Forgets all.
    pub fn clear(&mut self) {
        self.reasons = ReasonSet::default();
        self.verdict = Verdict::Pass;
        self.known = [0; Reason::ALL.len()];
        self.list.clear();
    }

    /// Adds a finding. Of one reason and column only the first is listed.
    #[inline(never)]
    pub fn add(&mut self, finding: Finding) {
        self.verdict = self.verdict.max(finding.verdict);
        self.reasons.insert(finding.reason);
        let bit = Self::bit(finding.column);
        if let Some(known) = self.known.get_mut(finding.reason as usize)
            && *known & bit == 0
        {
            *known |= bit;
            // A full list loses details only; the reason and the verdict are kept above.
            let _ = self.list.push(finding);
        }
    }

    /// Whether a finding of this reason and column has been added.
    #[must_use]
    #[inline]
    pub fn knows(&self, reason: Reason, column: Option<u8>) -> bool {
        self.known.get(reason as usize).is_some_and(|known| known & Self::bit(column) != 0)
    }

    #[inline]
    fn bit(column: Option<u8>) -> u32 {
        1 << column.map_or(31, |column| column & 31)
    }

    /// The worst verdict so far.
    #[must_use]
    pub fn verdict(&self) -> Verdict {
        self.verdict
    }

    /// All reasons so far.
    #[must_use]
    pub fn reasons(&self) -> ReasonSet {
        self.reasons
    }

    /// The first findings, in the order in which they were made.
    #[must_use]
    pub fn list(&self) -> &[Finding] {
        &self.list
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::vec;
    use std::vec::Vec;

    #[test]
    fn codes_are_kebab_case_and_unique() {
        for (n, reason) in Reason::ALL.iter().enumerate() {
            let code = reason.code();
            assert!(code.bytes().all(|b| b.is_ascii_lowercase() || b == b'-'), "{code}");
            assert!(Reason::ALL.iter().skip(n + 1).all(|other| other.code() != code), "{code} twice");
            assert_eq!(*reason as usize, n);
        }
    }

    #[test]
    fn machine_limits_always_trip() {
        for reason in Reason::ALL.iter().filter(|r| r.is_machine_limit()) {
            assert_eq!(reason.verdict(), Verdict::Trip, "{reason:?}");
        }
    }

    #[test]
    fn verdicts_have_words_and_the_worst_is_the_greatest() {
        let all = [Verdict::Pass, Verdict::Note, Verdict::Hold, Verdict::Trip];
        assert_eq!(all.map(Verdict::word), ["pass", "note", "hold", "trip"]);
        assert!(all.is_sorted());
    }

    #[test]
    fn a_reason_is_new_to_a_set_once_and_its_number_is_its_bit() {
        let mut set = ReasonSet::default();
        for (n, reason) in Reason::ALL.iter().enumerate() {
            assert!(!set.contains(*reason));
            assert_eq!([set.insert(*reason), set.insert(*reason)], [true, false], "{reason:?}");
            assert_eq!(set.bits(), (1 << (n + 1)) - 1);
        }
        assert!(set.iter().eq(Reason::ALL.iter().copied()));
    }

    #[test]
    fn sets_meet_where_a_reason_is_in_both_and_not_elsewhere() {
        let of = |reasons: &[Reason]| {
            let mut set = ReasonSet::default();
            reasons.iter().for_each(|reason| _ = set.insert(*reason));
            set
        };
        let some = of(&[Reason::NoLoad, Reason::WatchWindow]);
        assert!(some.meets(of(&[Reason::WatchWindow, Reason::GaugeStuck])));
        assert!(!some.meets(of(&[Reason::GaugeStuck])));
        assert!(!some.meets(ReasonSet::default()) && !ReasonSet::default().meets(some));
    }

    #[test]
    fn of_one_reason_and_column_the_first_is_listed_and_the_worst_verdict_counts() {
        let of = |reason: Reason, column: u8, value: f32| Finding {
            column: Some(column),
            ..Finding::of_stroke(reason, value, 0.0)
        };
        let mut findings = Findings::default();
        let watch = Reason::WatchWindow;
        for finding in [of(watch, 0, 1.0), of(watch, 1, 2.0), of(watch, 0, 3.0), of(Reason::NoLoad, 0, 4.0)] {
            findings.add(finding);
        }
        findings.add(Finding { verdict: Verdict::Trip, ..of(watch, 1, 5.0) });
        let listed: Vec<_> = findings.list().iter().map(|finding| finding.value).collect();
        assert_eq!((listed, findings.verdict()), (vec![1.0, 2.0, 4.0], Verdict::Trip));
    }

    #[test]
    fn findings_know_what_was_added_of_which_column_also_when_the_list_is_full() {
        let mut findings = Findings::default();
        let stuck =
            |column: Option<u8>| Finding { column, ..Finding::of_stroke(Reason::GaugeStuck, 0.0, 0.0) };
        for column in 0..FINDINGS as u8 + 1 {
            assert!(!findings.knows(Reason::GaugeStuck, Some(column)));
            findings.add(stuck(Some(column)));
            assert!(findings.knows(Reason::GaugeStuck, Some(column)));
        }
        assert!(!findings.knows(Reason::GaugeStuck, None) && !findings.knows(Reason::GaugeShort, Some(0)));
        findings.add(stuck(None));
        assert!(findings.knows(Reason::GaugeStuck, None));
        findings.clear();
        assert!(!findings.knows(Reason::GaugeStuck, None) && !findings.knows(Reason::GaugeStuck, Some(0)));
    }

    #[test]
    fn a_set_tells_whether_it_holds_machine_limits_gauge_faults_or_ill_health() {
        for reason in Reason::ALL {
            // Alone, and beside one that is neither.
            for with in [ReasonSet::default(), ReasonSet::of(Reason::NoLoad)] {
                let mut set = ReasonSet::of(*reason);
                set.add(with);
                let has = [set.any_machine_limit(), set.any_gauge_fault(), set.any_of_health()];
                let wanted = [reason.is_machine_limit(), reason.is_gauge_fault(), reason.is_of_health()];
                assert_eq!(has, wanted, "{reason:?}");
            }
        }
        let none = ReasonSet::default();
        assert!(!none.any_machine_limit() && !none.any_gauge_fault() && !none.any_of_health());
    }

    #[test]
    fn a_full_list_keeps_reasons_and_verdict() {
        let mut findings = Findings::default();
        let blank =
            Finding { verdict: Verdict::Note, ..Finding::of_stroke(Reason::SpeedOutOfRange, 0.0, 0.0) };
        for column in 0..FINDINGS as u8 + 4 {
            findings.add(Finding { column: Some(column), ..blank });
        }
        findings.add(Finding { reason: Reason::GaugeOpen, verdict: Verdict::Trip, ..blank });
        assert_eq!(findings.list().len(), FINDINGS);
        assert_eq!(findings.verdict(), Verdict::Trip);
        assert!(findings.reasons().contains(Reason::GaugeOpen));
    }
}
