//! What must be told of each fault: by an encoder, by an index pulse, by load alone; and what a mode leaves out of that.

use bolster_core::mode::Mode;
use bolster_core::stroke::StrokeSource;
use bolster_core::verdict::Reason::{
    self, CrankFault, FramesLost, FramesRepeated, GaugeDrifting, GaugeGain, GaugeHum, GaugeNoisy, GaugeOpen,
    GaugeSaturated, GaugeShort, GaugeStuck, SpeedOutOfRange,
};

use super::rig::{AFTER, Fault, TURN};

/// Ways of telling strokes, in the order of the table's columns.
pub(crate) const SOURCES: [StrokeSource; 3] =
    [StrokeSource::Encoder, StrokeSource::Index, StrokeSource::Load];

/// What must be told, no more and no less.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Reaction {
    /// Bit n for reason number n.
    pub(crate) reasons: u64,
    /// The stroke under way is given up: journalled, and not judged by the die.
    pub(crate) given_up: bool,
    /// The fault's readings look like loads: machine limits may be told beside it.
    pub(crate) seems_load: bool,
    /// The permit is withdrawn so many frames after the fault began, or sooner.
    pub(crate) within: Option<u32>,
    /// One fault may make an odd turn of another's as long as it should be, or unknown: whether a speed is noted beside
    /// both is open.
    pub(crate) speed_is_open: bool,
}

impl Reaction {
    /// The fault cannot be told this way, or does not matter to it.
    pub(crate) const NOTHING: Self =
        Self { reasons: 0, given_up: false, seems_load: false, within: None, speed_is_open: false };

    pub(crate) fn reasons(&self) -> impl Iterator<Item = Reason> {
        Reason::ALL.iter().copied().filter(|reason| self.reasons & (1 << (*reason as u8)) != 0)
    }

    /// What is told of two faults at once. Only what comes in a few frames comes as soon: the others may have to wait
    /// for a load that a press comes to later, which stopped or turned back.
    pub(crate) fn with(self, other: Self) -> Self {
        let soonest = [self.within, other.within].into_iter().flatten().min();
        Self {
            reasons: self.reasons | other.reasons,
            speed_is_open: self.speed_is_open || other.speed_is_open,
            given_up: self.given_up || other.given_up,
            seems_load: self.seems_load || other.seems_load,
            within: soonest.filter(|frames| *frames <= 8),
        }
    }

    /// Whether an odd speed is noted is open.
    pub(crate) fn with_open_speed(self) -> Self {
        Self { speed_is_open: true, ..self.without(SpeedOutOfRange) }
    }

    /// What is left of it where the press is run like this: the stroke rate is judged in continuous running only, and what
    /// strokes usually carry says nothing about inching.
    pub(crate) fn in_mode(self, mode: Mode) -> Self {
        let left = if mode == Mode::Continuous {
            self
        } else {
            Self { speed_is_open: false, ..self.without(SpeedOutOfRange) }
        };
        if mode == Mode::Inch { left.without(GaugeGain) } else { left }
    }

    fn without(self, reason: Reason) -> Self {
        let reasons = self.reasons & !(1 << (reason as u8));
        Self { reasons, within: self.within.filter(|_| reasons != 0), ..self }
    }

    /// Beside it the speed of a stroke is told as odd.
    const fn at_odd_speed(self) -> Self {
        Self { reasons: self.reasons | 1 << (SpeedOutOfRange as u8), ..self }
    }

    const fn given_up(self) -> Self {
        Self { given_up: true, ..self }
    }

    const fn seems_load(self) -> Self {
        Self { seems_load: true, ..self }
    }
}

/// People are told, the press goes on.
const fn told(reason: Reason) -> Reaction {
    Reaction { reasons: 1 << (reason as u8), ..Reaction::NOTHING }
}

/// The permit is withdrawn within so many frames.
const fn trips(reasons: &[Reason], frames: u32) -> Reaction {
    let (mut bits, mut n) = (0, 0);
    while n < reasons.len() {
        bits |= 1 << (reasons[n] as u8);
        n += 1;
    }
    Reaction { reasons: bits, within: Some(frames), ..Reaction::NOTHING }
}

const NOTHING: Reaction = Reaction::NOTHING;

/// A gauge's fault is told alike in every mode.
const fn alike(reaction: Reaction) -> [Reaction; 3] {
    [reaction; 3]
}

/// Each fault alone.
pub(crate) const ALONE: [(Fault, [Reaction; 3]); 20] = [
    // At the rail at once; open once no stroke could hold it there.
    (Fault::Open, alike(trips(&[GaugeSaturated, GaugeOpen], 0).seems_load())),
    // As soon as the other columns have moved by a tenth of their share, and forty frames at least.
    (Fault::Short, alike(trips(&[GaugeShort], 120))),
    (Fault::Saturated, alike(trips(&[GaugeSaturated], 100).seems_load())),
    (Fault::Stuck, alike(trips(&[GaugeStuck], 120))),
    // Heard while there is no load: a running mean over some 256 frames.
    (Fault::Noisy, alike(trips(&[GaugeNoisy], TURN))),
    (Fault::Drifting, alike(trips(&[GaugeDrifting], AFTER * TURN))),
    // Three tenths of a second without load, one in each turn.
    (Fault::Hum, alike(trips(&[GaugeHum], 5 * TURN))),
    // A hold: with the stroke that shows it.
    (Fault::GainLost, alike(trips(&[GaugeGain], 2 * TURN))),
    (Fault::Lost, alike(trips(&[FramesLost], 0))),
    (Fault::Repeated, alike(trips(&[FramesRepeated], 8))),
    // Strokes take no time then; by the pulse that is no turn of a press.
    (
        Fault::Stalled,
        [
            trips(&[FramesRepeated], 4).at_odd_speed(),
            trips(&[FramesRepeated, CrankFault], 4).given_up(),
            trips(&[FramesRepeated], 4),
        ],
    ),
    (Fault::SaysFaulty, [trips(&[CrankFault], 12).given_up(), trips(&[CrankFault], 12).given_up(), NOTHING]),
    (Fault::Silent, [trips(&[CrankFault], 15).given_up(), trips(&[CrankFault], 15).given_up(), NOTHING]),
    // One turn shorter by a ninth may as well be a faster press; the angle is wrong from then on.
    (Fault::Slip, [trips(&[CrankFault], 0).given_up(), NOTHING.seems_load(), NOTHING]),
    // The load comes twice without the encoder moving; nine times without a pulse.
    (
        Fault::Dead,
        [
            trips(&[CrankFault], 2 * TURN).given_up().at_odd_speed(),
            trips(&[CrankFault], 10 * TURN).given_up().at_odd_speed(),
            NOTHING,
        ],
    ),
    (Fault::DoubleIndex, [NOTHING, trips(&[CrankFault], 20).given_up(), NOTHING]),
    // Until the next pulse the angle is held just before the top.
    (
        Fault::MissingIndex,
        [NOTHING, trips(&[CrankFault], 2 * TURN).given_up().at_odd_speed().seems_load(), NOTHING],
    ),
    // A turn that takes twice as long may be one that lacks a pulse; the angle is that of a press that did not stop.
    (
        Fault::Stopped,
        [
            told(SpeedOutOfRange),
            trips(&[CrankFault], 2 * TURN).given_up().at_odd_speed().seems_load(),
            NOTHING,
        ],
    ),
    (Fault::TurnedBack, [told(SpeedOutOfRange), told(SpeedOutOfRange), NOTHING]),
    // Over the index cam backwards, and forwards again soon after.
    (Fault::BackedOut, [NOTHING.given_up(), trips(&[CrankFault], TURN).given_up().at_odd_speed(), NOTHING]),
];

const ENCODER: StrokeSource = StrokeSource::Encoder;
const INDEX: StrokeSource = StrokeSource::Index;
const LOAD: StrokeSource = StrokeSource::Load;

const UNBELIEVED: &str = "no stroke with a gauge that is not believed is compared with others";

/// Faults (the second) that another one (the first) keeps from being told, in these modes, and why that is. The first one
/// has stopped the press by then.
pub(crate) const HIDDEN: [(Fault, Fault, &[StrokeSource], &str); 23] = [
    (Fault::Open, Fault::Noisy, &[ENCODER, INDEX, LOAD], "at the rail the press never seems unloaded"),
    (Fault::Open, Fault::Drifting, &[ENCODER, INDEX, LOAD], "at the rail the press never seems unloaded"),
    (Fault::Open, Fault::Dead, &[ENCODER, INDEX], "at the rail no load comes and goes"),
    (
        Fault::Stuck,
        Fault::Noisy,
        &[ENCODER, INDEX, LOAD],
        "stuck at 2 % of the rating it never seems unloaded",
    ),
    (Fault::Stuck, Fault::Drifting, &[LOAD], "stuck at 2 % of the rating a stroke told by load never ends"),
    (Fault::Stuck, Fault::Dead, &[ENCODER, INDEX], "stuck at 2 % of the rating it never seems to rest"),
    (
        Fault::Noisy,
        Fault::Drifting,
        &[ENCODER, INDEX, LOAD],
        "the noise reaches the onset, and no zero is tracked",
    ),
    (Fault::Noisy, Fault::Dead, &[ENCODER, INDEX], "under the noise the press never seems to rest"),
    (Fault::Stalled, Fault::Drifting, &[LOAD], "without time a stroke told by load never ends"),
    (Fault::Stalled, Fault::Dead, &[ENCODER], "without time the press never rests"),
    (Fault::Drifting, Fault::Dead, &[INDEX], "once the zero may not follow, the press never seems to rest"),
    (Fault::Dead, Fault::Slip, &[ENCODER], "what stands still does not slip"),
    (Fault::Open, Fault::Hum, &[INDEX, LOAD], "at the rail the press never seems unloaded"),
    (Fault::Stuck, Fault::Hum, &[LOAD], "stuck at 2 % of the rating a stroke told by load never ends"),
    (Fault::Noisy, Fault::Hum, &[INDEX, LOAD], "under the noise the press never seems unloaded"),
    (Fault::Stalled, Fault::Hum, &[LOAD], "without time a stroke told by load never ends"),
    (Fault::Dead, Fault::Hum, &[ENCODER], "it stands on its way down, where dies work"),
    (Fault::Open, Fault::GainLost, &SOURCES, UNBELIEVED),
    (Fault::Short, Fault::GainLost, &SOURCES, UNBELIEVED),
    (Fault::Stuck, Fault::GainLost, &SOURCES, UNBELIEVED),
    (Fault::Noisy, Fault::GainLost, &SOURCES, UNBELIEVED),
    (Fault::Stalled, Fault::GainLost, &SOURCES, "no stroke of repeated frames is compared with others"),
    (Fault::Dead, Fault::GainLost, &[ENCODER, INDEX], "no stroke ends, or it is given up"),
];

/// Pairs of which something else is told than of both alone, and why.
pub(crate) const TOGETHER: [(Fault, Fault, StrokeSource, Reaction, &str); 2] = [
    (
        Fault::Stalled,
        Fault::Dead,
        INDEX,
        trips(&[FramesRepeated], 4),
        "no pulse comes that could take no time",
    ),
    (Fault::MissingIndex, Fault::BackedOut, INDEX, NOTHING, "the pulse that is missing is the one too many"),
];

const ALIKE: &str = "no other gauge moves; a die's learned shape says how often a reading may repeat itself";
const HUM_IS_LOAD: &str = "hum worth telling passes the load onset there, or half of it, which ends a stroke";

/// Faults of which nothing is told on presses of so many columns whose strokes are told in these ways, and why.
pub(crate) const UNTOLD: [(Fault, &[usize], &[StrokeSource], &str); 5] = [
    (Fault::Short, &[1], &SOURCES, ALIKE),
    (Fault::Stuck, &[1], &SOURCES, ALIKE),
    (Fault::GainLost, &[1], &SOURCES, "there is no neighbour to compare it with; a die's limits see it"),
    (Fault::Hum, &[1], &[INDEX], HUM_IS_LOAD),
    (Fault::Hum, &[1, 2], &[LOAD], HUM_IS_LOAD),
];
