//! Where in the stroke the press is: start, end, position, direction, speed.
//!
//! Four sources. An encoder gives the angle of every frame; an index input gives one pulse a turn and
//! the angle between pulses is estimated from the last turn; with neither, a stroke is what lies between
//! load onset and rest; and a recording marks its strokes itself ([`StrokeSource::Marked`]), with or
//! without angles, possibly of a part of the turn only.

use crate::frame::CrankReading;
use crate::units::{CrankAngle, Tick, angle_span};

/// What tells strokes apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StrokeSource {
    /// The angle of every frame; a stroke runs from top to top.
    Encoder,
    /// One pulse a turn at the top.
    Index,
    /// Load alone.
    Load,
    /// The source of the frames calls [`Tracker::mark`] between strokes.
    Marked,
}

/// What a person chooses. Unchecked; see [`StrokeConfig::build`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StrokeConfig {
    /// What tells strokes apart.
    pub source: StrokeSource,
    /// Sample rate, Hz.
    pub sample_hz: f32,
    /// Fastest stroke rate of the press, strokes a minute.
    pub top_speed_spm: f32,
    /// Total load at which a stroke begins where only load tells, and from which time is counted, kN.
    pub onset_kn: f32,
    /// Time below half the onset load after which a stroke told by load alone is over, s.
    pub rest_s: f32,
}

/// A field of [`StrokeConfig`] is not a positive, finite number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct StrokeConfigError(pub &'static str);

impl core::fmt::Display for StrokeConfigError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        write!(f, "stroke tracking: {} must be a positive number", self.0)
    }
}

impl core::error::Error for StrokeConfigError {}

/// Position within the stroke.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Position {
    /// Crank angle.
    Angle(CrankAngle),
    /// Ticks since the load rose over the onset.
    SinceOnset(u32),
    /// Not known (yet).
    Unknown,
}

impl Position {
    /// The angle, where it is known.
    #[must_use]
    pub fn angle(self) -> Option<CrankAngle> {
        match self {
            Self::Angle(angle) => Some(angle),
            _ => None,
        }
    }
}

/// What one frame says about the stroke.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Place {
    /// Position of this frame.
    pub position: Position,
    /// The stroke under way ended with the frame before this one.
    pub ended: bool,
    /// This frame is the first of a stroke.
    pub started: bool,
    /// Whether a stroke is under way.
    pub in_stroke: bool,
    /// The crank turned against its normal rotation by more than jitter.
    pub reversed: bool,
    /// The crank sensor contradicts itself: an impossible jump, a lost or doubled pulse, its own fault; or it stands
    /// still while loads come and go.
    pub crank_fault: bool,
    /// The press has carried next to nothing for a while; told by encoder and index only.
    pub rested: bool,
}

/// Backward steps up to this are encoder jitter or gear backlash, not reversal.
const JITTER_DEGREES: f64 = 2.0;
/// A step is believed up to this multiple of what the top speed allows, plus jitter.
const SLIP_FACTOR: f32 = 3.0;
/// An index period may differ from the last by this factor before a pulse counts as lost or doubled.
const INDEX_RATIO: f32 = 1.6;
/// Loads, each after a rest, that may come while an encoder stands still: one may be a last station of the stroke in
/// which the press stopped. What loads a standing press twice is a press that runs, with an encoder that does not.
const LOADS_STANDING: u8 = 1;
/// Loads, each after a rest, that may come between two index pulses: a slow stroke has some, one a station.
const LOADS_A_TURN: u8 = 8;

/// The checked form of [`StrokeConfig`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StrokeRules {
    source: StrokeSource,
    max_step: u32,
    jitter: u32,
    shortest_turn: u32,
    onset_kn: f32,
    /// Half of it: less is rest.
    rest_kn: f32,
    rest_ticks: u32,
    /// Ticks of rest between two loads that count as two.
    pause_ticks: u32,
}

impl StrokeConfig {
    /// Checks the values and turns them into ticks and angle steps.
    ///
    /// # Errors
    /// [`StrokeConfigError`] names the first field that is not a positive, finite number.
    pub fn build(&self) -> Result<StrokeRules, StrokeConfigError> {
        let fields = [
            ("sample_hz", self.sample_hz),
            ("top_speed_spm", self.top_speed_spm),
            ("onset_kn", self.onset_kn),
            ("rest_s", self.rest_s),
        ];
        for (name, value) in fields {
            if !(value.is_finite() && value > 0.0) {
                return Err(StrokeConfigError(name));
            }
        }
        let turn_ticks = 60.0 * self.sample_hz / self.top_speed_spm;
        let step_degrees = SLIP_FACTOR * 360.0 / turn_ticks;
        let shortest_turn = (turn_ticks / INDEX_RATIO) as u32;
        let rest_ticks = ((self.rest_s * self.sample_hz) as u32).max(1);
        Ok(StrokeRules {
            source: self.source,
            // Never more than a third of a turn: beyond, direction would be a guess.
            max_step: angle_span((f64::from(step_degrees) + JITTER_DEGREES).min(120.0)),
            jitter: angle_span(JITTER_DEGREES),
            shortest_turn,
            onset_kn: self.onset_kn,
            rest_kn: 0.5 * self.onset_kn,
            rest_ticks,
            // A fast press does not rest that long between strokes.
            pause_ticks: rest_ticks.min(shortest_turn / 4).max(1),
        })
    }
}

/// The tracker's state.
#[derive(Debug, Clone, Copy, Default)]
pub struct Tracker {
    in_stroke: bool,
    marked: bool,
    /// Furthest angle reached and the tick of the last frame.
    last: Option<CrankAngle>,
    /// The crank has been through the lower half since the last top, so the next top ends a stroke.
    through_bottom: bool,
    index_level: bool,
    index_tick: Option<Tick>,
    turn_ticks: Option<u32>,
    onset: Option<Tick>,
    below_since: Option<Tick>,
    /// Where the encoder stood when it was last seen to have moved.
    stood: CrankAngle,
    /// The press has rested since the last load; loads since the crank sensor last moved.
    rested: bool,
    loads: u8,
}

impl Tracker {
    /// The source says: what follows is another stroke ([`StrokeSource::Marked`]).
    pub fn mark(&mut self) {
        self.marked = true;
    }

    /// The source says: the stroke under way is complete and nothing follows for now. True if there was one.
    pub fn close(&mut self) -> bool {
        core::mem::take(self).in_stroke
    }

    /// One frame: what it says about the stroke. `total_kn` is the total load after the filter.
    #[must_use]
    pub fn step(&mut self, rules: &StrokeRules, tick: Tick, crank: CrankReading, total_kn: f32) -> Place {
        match rules.source {
            StrokeSource::Encoder => self.by_encoder(rules, tick, crank, total_kn),
            StrokeSource::Index => self.by_index(rules, tick, crank, total_kn),
            StrokeSource::Load => self.by_load(rules, tick, total_kn),
            StrokeSource::Marked => self.by_mark(rules, tick, crank, total_kn),
        }
    }

    /// As [`Self::step`], for a frame whose angle goes on in normal rotation and neither begins nor ends anything (with an
    /// encoder neither over the top nor through the bottom): nearly all are such, and nothing but the position and
    /// [`Self::rested`] changes. None for every other one, which [`Self::step`] must then be asked about.
    #[must_use]
    #[inline]
    pub fn go_on(
        &mut self,
        rules: &StrokeRules,
        tick: Tick,
        crank: CrankReading,
        total_kn: f32,
    ) -> Option<CrankAngle> {
        let (CrankReading::Angle(angle), Some(last)) = (crank, self.last) else {
            return None;
        };
        let step = angle.0.wrapping_sub(last.0);
        match rules.source {
            StrokeSource::Encoder => {
                if step > rules.max_step || angle.is_closing() != last.is_closing() {
                    return None;
                }
                self.see_standing(rules, angle);
                if self.count_loads(rules, tick, total_kn) > LOADS_STANDING {
                    return None;
                }
            }
            // Forward, or not known to be back.
            StrokeSource::Marked if self.in_stroke && !self.marked && step <= i32::MAX as u32 => {}
            _ => return None,
        }
        self.last = Some(angle);
        Some(angle)
    }

    /// Whether the press has carried next to nothing for a while.
    #[must_use]
    #[inline]
    pub fn rested(&self) -> bool {
        self.rested
    }

    /// An encoder that has moved since it was last seen to is not dead.
    #[inline]
    fn see_standing(&mut self, rules: &StrokeRules, angle: CrankAngle) {
        if angle.advance_from(self.stood).unsigned_abs() > rules.jitter {
            (self.stood, self.loads) = (angle, 0);
        }
    }

    fn place(&self, position: Position) -> Place {
        Place {
            position,
            ended: false,
            started: false,
            in_stroke: self.in_stroke,
            reversed: false,
            crank_fault: false,
            rested: self.rested,
        }
    }

    /// The angle lost its meaning: the stroke under way is given up and the next top starts afresh.
    fn lost(&mut self) -> Place {
        let ended = self.in_stroke;
        *self = Self { index_level: self.index_level, ..Self::default() };
        Place { ended, crank_fault: true, ..self.place(Position::Unknown) }
    }

    /// Loads that came, each after a rest, since the crank sensor last moved: how a dead sensor shows.
    #[inline]
    fn count_loads(&mut self, rules: &StrokeRules, tick: Tick, total_kn: f32) -> u8 {
        if total_kn.abs() < rules.rest_kn {
            if !self.rested {
                let since = *self.below_since.get_or_insert(tick);
                self.rested = tick.since(since) >= rules.pause_ticks;
            }
        } else {
            self.below_since = None;
            if self.rested && total_kn >= rules.onset_kn {
                self.rested = false;
                self.loads = self.loads.saturating_add(1);
            }
        }
        self.loads
    }

    fn by_encoder(&mut self, rules: &StrokeRules, tick: Tick, crank: CrankReading, total_kn: f32) -> Place {
        let CrankReading::Angle(angle) = crank else { return self.lost() };
        self.see_standing(rules, angle);
        if self.count_loads(rules, tick, total_kn) > LOADS_STANDING {
            return self.lost();
        }
        let Some(last) = self.last else {
            self.last = Some(angle);
            return self.place(Position::Angle(angle));
        };
        let advance = angle.advance_from(last);
        if advance.unsigned_abs() > rules.max_step {
            let mut place = self.lost();
            self.last = Some(angle);
            place.position = Position::Angle(angle);
            return place;
        }
        if advance < 0 {
            // The furthest angle stays the mark until the crank turns back for real.
            let behind_top = last.is_closing() && !angle.is_closing();
            let turned_back = advance.unsigned_abs() > rules.jitter;
            // What rocks back behind the top that began the stroke stands at the top: it has not come to 359° yet.
            let here = if behind_top && !turned_back { CrankAngle::TOP } else { angle };
            let mut place = self.place(Position::Angle(here));
            if turned_back {
                place.reversed = true;
                self.last = Some(angle);
                if behind_top {
                    // Backed out over the top: whatever comes next is not this stroke.
                    place.ended = self.in_stroke;
                    self.in_stroke = false;
                    self.through_bottom = false;
                    place.in_stroke = false;
                }
            }
            return place;
        }
        self.last = Some(angle);
        let over_top = !last.is_closing() && angle.is_closing();
        self.through_bottom |= last.is_closing() && !angle.is_closing();
        let mut place = self.place(Position::Angle(angle));
        if over_top {
            place.ended = self.in_stroke && self.through_bottom;
            place.started = place.ended || !self.in_stroke;
            self.in_stroke = true;
            self.through_bottom = false;
            place.in_stroke = true;
        }
        place
    }

    fn by_index(&mut self, rules: &StrokeRules, tick: Tick, crank: CrankReading, total_kn: f32) -> Place {
        let CrankReading::Index(level) = crank else { return self.lost() };
        let rising = level && !self.index_level;
        self.index_level = level;
        if rising {
            self.loads = 0;
        }
        if self.count_loads(rules, tick, total_kn) > LOADS_A_TURN {
            return self.lost();
        }
        let mut fault = false;
        if rising {
            let turn = self.index_tick.map(|before| tick.since(before));
            if let Some(turn) = turn {
                let odd = self.turn_ticks.is_some_and(|before| {
                    let ratio = turn as f32 / before.max(1) as f32;
                    !(1.0 / INDEX_RATIO..=INDEX_RATIO).contains(&ratio)
                });
                fault = odd || turn < rules.shortest_turn;
                // A doubled pulse must not become the new turn; a stop may well.
                if turn >= rules.shortest_turn {
                    self.turn_ticks = Some(turn);
                }
            }
            self.index_tick = Some(tick);
        }
        let position = match (self.index_tick, self.turn_ticks) {
            (Some(top), Some(turn)) => {
                // Held just below a full turn until the pulse comes, should the press have slowed.
                let gone = (u64::from(tick.since(top)) << 32) / u64::from(turn.max(1));
                Position::Angle(CrankAngle(gone.min(u64::from(u32::MAX)) as u32))
            }
            _ => Position::Unknown,
        };
        let ended = rising && self.in_stroke;
        self.in_stroke |= rising;
        Place { ended, started: rising, crank_fault: fault, ..self.place(position) }
    }

    fn by_load(&mut self, rules: &StrokeRules, tick: Tick, total_kn: f32) -> Place {
        let started = !self.in_stroke && total_kn >= rules.onset_kn;
        if started {
            *self = Self { in_stroke: true, onset: Some(tick), ..*self };
        }
        let resting = total_kn.abs() < rules.rest_kn;
        let mut ended = false;
        if self.in_stroke && resting {
            let since = *self.below_since.get_or_insert(tick);
            ended = tick.since(since) >= rules.rest_ticks;
        } else {
            self.below_since = None;
        }
        if ended {
            self.in_stroke = false;
            self.onset = None;
            self.below_since = None;
        }
        Place { ended, started, ..self.place(self.since_onset(tick)) }
    }

    fn by_mark(&mut self, rules: &StrokeRules, tick: Tick, crank: CrankReading, total_kn: f32) -> Place {
        let marked = core::mem::take(&mut self.marked) || !self.in_stroke;
        let ended = marked && self.in_stroke;
        if marked {
            *self = Self { in_stroke: true, ..Self::default() };
        }
        let mut fault = false;
        let position = match crank {
            CrankReading::Angle(angle) => {
                let step = self.last.map_or(0, |last| angle.advance_from(last));
                // Only a jump back counts: a recording may leave out parts of the turn.
                fault = step < 0 && step.unsigned_abs() > rules.max_step;
                self.last = Some(angle);
                Position::Angle(angle)
            }
            CrankReading::Fault => {
                fault = true;
                Position::Unknown
            }
            CrankReading::Index(_) | CrankReading::Absent => {
                if self.onset.is_none() && total_kn >= rules.onset_kn {
                    self.onset = Some(tick);
                }
                self.since_onset(tick)
            }
        };
        Place { ended, started: marked, crank_fault: fault, ..self.place(position) }
    }

    fn since_onset(&self, tick: Tick) -> Position {
        self.onset.map_or(Position::Unknown, |onset| Position::SinceOnset(tick.since(onset)))
    }
}

#[cfg(test)]
mod tests;
