//! The pipeline: the only file that knows the order of the stages.
//!
//! frame → calibrate → filter → stroke → features → judge → verdict → journal
//!
//! Every frame is judged against the machine's limits, and a broken limit withdraws the run permit in that
//! same frame. What a die may do is judged when its stroke is complete, the work spread over frames.
//!
//! Another die or mode takes effect between strokes: when none is under way, or the one under way has come no further
//! than the first half of its way down without meeting a load, and the one before it has been judged. Asked for at
//! another moment it waits.

use crate::calibrate::ZeroState;
use crate::die::{BandHistory, DieLimits, WindowHistory};
use crate::features::{Features, Gatherer, Moment};
use crate::filter::{LowPassState, SpikeGuards};
use crate::frame::Frame;
use crate::health::{ClockWatch, GainWatch, GaugeHealth, GaugeWatch};
use crate::journal::{EventKind, Journal};
use crate::kept::KeptStroke;
use crate::ledger::Ledger;
use crate::mode::Mode;
use crate::permit::{PermitState, RunPermit};
use crate::places::Places;
use crate::settings::Press;
use crate::shape::{Progress, ShapeJudge};
use crate::still::Still;
use crate::stroke::{Place, Position, Tracker};
use crate::units::Tick;
use crate::verdict::{Findings, Reason, ReasonSet};
use crate::windows::{Alike, Channel, Inside};
use judging::Judging;

mod asked;
mod at_once;
mod gathering;
mod judging;

/// Weight of one frame in the running mean that tells whether there is load under noise: some 64 frames.
const SLOW_WEIGHT: f32 = 1.0 / 64.0;

/// Events a monitor remembers.
pub const JOURNAL_EVENTS: usize = 64;

/// One judged stroke.
#[derive(Debug, Clone, PartialEq)]
pub struct StrokeReport<const N: usize> {
    /// Strokes ended before this one since power-up.
    pub number: u32,
    /// How the press was run.
    pub mode: Mode,
    /// What it amounts to.
    pub features: Features<N>,
    /// What was found.
    pub findings: Findings,
    /// Mean strokes a minute, where it can be told.
    pub speed_spm: Option<f32>,
    /// Load centre in the frame of the total's peak, mm right and front of the middle.
    pub load_centre_mm: Option<[f32; 2]>,
    /// Load centre over the stroke, likewise.
    pub mean_centre_mm: Option<[f32; 2]>,
}

impl<const N: usize> StrokeReport<N> {
    /// Of no stroke: a place to be filled.
    pub(crate) const NOTHING: Self = Self {
        number: 0,
        mode: Mode::Continuous,
        features: Features::NOTHING,
        findings: Findings::NONE,
        speed_spm: None,
        load_centre_mm: None,
        mean_centre_mm: None,
    };
}

/// What one frame did.
#[derive(Debug, PartialEq, Eq)]
pub struct Step {
    /// Whether the run permit may be energised.
    pub permit: bool,
    /// A stroke's report is new in [`Monitor::report`].
    pub reported: bool,
    /// Proof that nothing is wrong with the monitor's senses or itself in this frame; a load may be.
    pub healthy: Option<WhollyHealthy>,
}

/// Proof that in one frame every gauge, the sample clock, the crank sensor and the monitor itself were sound.
///
/// Only [`Monitor::step`] makes one, and it cannot be copied or kept for another frame: it is what feeds the watchdog.
#[derive(Debug, PartialEq, Eq)]
pub struct WhollyHealthy {
    tick: Tick,
}

impl WhollyHealthy {
    /// The frame it was given for.
    #[must_use]
    pub fn tick(&self) -> Tick {
        self.tick
    }
}

/// One frame as the stages hand it on, but for its loads: those lie in the monitor.
#[derive(Debug, Clone, Copy)]
struct Now {
    tick: Tick,
    position: Position,
    /// Slide height above the bottom of the stroke, mm.
    height_mm: Option<f32>,
    /// Of the filtered loads, kN.
    total: f32,
    /// Of the loads before the filter, kN.
    guarded_total: f32,
    differences: [f32; 2],
}

impl Now {
    #[inline]
    fn moment<const N: usize>(self, loads: [f32; N], guarded: [f32; N]) -> Moment<N> {
        let Self { tick, position, height_mm, total, guarded_total, differences } = self;
        Moment { tick, position, height_mm, loads, total, guarded_total, guarded, differences }
    }
}

/// The monitor of one press: `N` columns, `BINS` signature bins, `KEEP` frames kept around a stop.
// In this order, what every frame touches first: a small processor reaches some thousand bytes from one register, and
// the learned model, the kept frames and the crank's table are far larger.
#[derive(Debug, Clone)]
#[repr(C)]
pub struct Monitor<const N: usize, const BINS: usize, const KEEP: usize> {
    clock: ClockWatch,
    in_stroke: bool,
    contact: bool,
    /// Running mean of the total before spike guard and filter, kN.
    slow_kn: f32,
    /// A gauge was not good in the last frame.
    unwell: bool,
    mode: Mode,
    /// A die or a mode waits until it may take effect.
    waiting: bool,
    health: [GaugeHealth; N],
    stroke: u32,
    last_position: Position,
    permit: RunPermit,
    /// What is wrong in this very frame; an acknowledgement needs it empty.
    present: ReasonSet,
    zero: ZeroState<N>,
    guards: SpikeGuards<N>,
    gauges: GaugeWatch<N>,
    /// `[column]`: filtered loads of the last frame, kN.
    loads_kn: [f32; N],
    tracker: Tracker,
    inside: Inside,
    alike: Alike,
    filters: [LowPassState; N],
    still: Still<N>,
    gatherer: Gatherer,
    judging: Option<Judging>,
    press: Press<N>,
    ledger: Ledger<N>,
    places: Places<N>,
    die: DieLimits,
    gain: GainWatch<N>,
    band_history: BandHistory,
    window_history: WindowHistory,
    next_mode: Option<Mode>,
    next_die: Option<DieLimits>,
    shape: ShapeJudge<N, BINS>,
    journal: Journal<JOURNAL_EVENTS>,
    kept: KeptStroke<N, KEEP>,
}

impl<const N: usize, const BINS: usize, const KEEP: usize> Monitor<N, BINS, KEEP> {
    /// A monitor at power-up: the permit is withheld until [`Self::self_test`] passes.
    #[must_use]
    pub fn new(press: Press<N>) -> Self {
        let share_kn = press.limits.rated / N as f32;
        let mut journal = Journal::default();
        journal.write(Tick(0), 0, EventKind::PowerUp, None, None);
        Self {
            press,
            die: DieLimits::default(),
            shape: ShapeJudge::default(),
            clock: ClockWatch::default(),
            zero: ZeroState::default(),
            gauges: GaugeWatch::default(),
            guards: SpikeGuards::default(),
            loads_kn: [0.0; N],
            filters: [LowPassState::default(); N],
            still: Still::default(),
            tracker: Tracker::default(),
            gatherer: Gatherer::default(),
            judging: None,
            places: Places::default(),
            inside: Inside::default(),
            alike: Alike::default(),
            mode: Mode::default(),
            waiting: false,
            gain: GainWatch::default(),
            band_history: BandHistory::default(),
            window_history: WindowHistory::default(),
            next_mode: None,
            next_die: None,
            in_stroke: false,
            contact: false,
            slow_kn: 0.0,
            last_position: Position::Unknown,
            stroke: 0,
            health: [GaugeHealth::Good; N],
            unwell: false,
            present: ReasonSet::default(),
            permit: RunPermit::default(),
            journal,
            kept: KeptStroke::default(),
            ledger: Ledger::new(share_kn),
        }
    }
}

impl<const N: usize, const BINS: usize, const KEEP: usize> Monitor<N, BINS, KEEP> {
    /// One frame through every stage. Bounded work, no allocation, no panic.
    pub fn step(&mut self, frame: &Frame<N>) -> Step {
        let before = self.permit.is_granted();
        self.present = ReasonSet::default();
        let clock = self.clock.step(frame.tick);

        // calibrate
        let mut raw = self.press.calibration.loads(&frame.counts);
        self.zero.apply(&mut raw);
        let raw_total: f32 = raw.iter().sum();

        // filter
        let guarded = self.guards.step(self.press.settings.spike_jump_kn, &raw);
        let loads = match &self.press.filter {
            Some(filter) => filter.step_all(&mut self.filters, &guarded),
            None => guarded,
        };
        self.loads_kn = loads;
        let total: f32 = loads.iter().sum();
        let guarded_total: f32 = guarded.iter().sum();

        // stroke
        let mut reported = false;
        let mut crank_fault = false;
        let on = self.tracker.go_on(&self.press.rules, frame.tick, frame.crank, total);
        let position = if let Some(angle) = on {
            Position::Angle(angle)
        } else {
            let place = self.tracker.step(&self.press.rules, frame.tick, frame.crank, total);
            reported = self.change_stroke(frame.tick, &place);
            crank_fault = place.crank_fault;
            place.position
        };
        self.last_position = position;
        if self.waiting && self.is_between(position) {
            self.take_effect(frame.tick, position);
        }

        // features
        let height_mm = position.angle().map(|angle| self.press.slide.height_mm(angle));
        let differences = differences(&loads);
        let now = Now { tick: frame.tick, position, height_mm, total, guarded_total, differences };
        let within = self.still.holds(&loads, total, differences) || self.take_change(now);
        if self.in_stroke {
            self.gather(now, frame.sensors);
        }

        // judge; first the senses, so that a broken gauge is named before the overload it seems to show
        self.slow_kn += SLOW_WEIGHT * (raw_total - self.slow_kn);
        // A stroke that does not end, for its index is dead, must not keep the zero from being watched.
        self.contact &= !self.tracker.rested();
        self.judge_health(frame, &raw, raw_total, position, guarded_total);
        if clock.is_some() || crank_fault {
            self.judge_clock_and_crank(frame.tick, position, clock, crank_fault);
        }
        // Where the loads break no limit, their height or the work may.
        let limits = &self.press.limits;
        let turning = total > limits.anywhere
            && position.angle().is_some_and(|angle| {
                angle.is_closing() && total * self.press.slide.rate_mm(angle) > limits.torque
            });
        if !within || turning {
            self.judge_limits(now);
        } else if self.in_stroke {
            // Written so that a NaN breaks it.
            let (work, most) = (self.gatherer.work_kj(), limits.energy);
            let kept = work <= most;
            if !kept {
                self.found(frame.tick, position, Reason::WorkOverEnergy, None, [work, most]);
            }
        }
        // One report a frame, or the first would be lost.
        reported = reported || self.judge_ended(frame.tick);

        // journal
        self.ledger.step(&self.loads_kn);
        self.kept.step(frame);
        self.note_withdrawal(frame.tick, before, KEEP / 4);
        Step {
            permit: self.permit.is_granted(),
            reported,
            healthy: (!self.present.any_of_health()).then_some(WhollyHealthy { tick: frame.tick }),
        }
    }

    /// A stroke ends or begins, if one does. True if that completed the report of the one before it.
    #[inline(never)]
    fn change_stroke(&mut self, tick: Tick, place: &Place) -> bool {
        let mut reported = false;
        if place.ended {
            // Only with strokes shorter than the judging takes can one still be waiting.
            if self.judging.is_some() {
                reported = self.hurry(tick);
            }
            self.end_stroke(tick, place.crank_fault || place.reversed);
        }
        if place.started {
            self.begin_stroke();
        }
        // One that begins where another ended finds itself outside a stroke here.
        if self.in_stroke != place.in_stroke {
            self.still.forget();
        }
        self.in_stroke = place.in_stroke;
        reported
    }

    /// A frame that goes beyond what those before it had in this stroke. True if it keeps the machine's limits but for
    /// those of height and work.
    #[inline(never)]
    fn take_change(&mut self, now: Now) -> bool {
        let Self { still, press, places, loads_kn, .. } = self;
        let limits = &press.limits;
        let mut features = None;
        if self.in_stroke {
            let stroke = &mut places.under_way().features;
            stroke.take_extremes(&now.moment(*loads_kn, *self.guards.accepted()));
            // No comparison of what is not a number is kept in the extremes, and the total is none if a load is none.
            if now.total <= stroke.total.peak.value && still.find_free(limits, stroke) {
                return true;
            }
            features = Some(&*stroke);
        }
        still.find(limits, features);
        limits.keep(loads_kn, now.total, now.differences)
    }

    /// Journals a permit withdrawn since it was `before`, and keeps the stroke with so many frames to come.
    fn note_withdrawal(&mut self, tick: Tick, before: bool, frames: usize) {
        if before && !self.permit.is_granted() {
            let cause = match self.permit.state() {
                // A broken gauge before the overload it seems to show.
                PermitState::Latched(all) => all.iter().find(|r| r.is_of_health()).or(all.iter().next()),
                _ => None,
            };
            self.journal.write(tick, self.stroke, EventKind::PermitWithdrawn, cause, None);
            self.kept.trigger(frames);
        }
    }

    fn begin_stroke(&mut self) {
        // What was found since the last one has been told by the permit and the journal.
        self.places.under_way().findings.clear();
        self.shape.begin_stroke();
        self.contact = false;
    }

    /// The source leaves out a part of the turn or begins another stroke: the next frame need not follow the
    /// last one. With [`crate::stroke::StrokeSource::Marked`] this is what separates strokes.
    pub fn mark(&mut self) {
        self.tracker.mark();
        self.clock.interrupt();
        self.gauges.interrupt();
        self.guards.restart();
        self.filters.iter_mut().for_each(LowPassState::restart);
    }

    /// The source has come to its end: the stroke under way is judged to the end. True if that gave a report.
    pub fn close(&mut self, tick: Tick) -> bool {
        let before = self.permit.is_granted();
        let mut reported = self.conclude(tick);
        if self.tracker.close() {
            self.end_stroke(tick, false);
            reported = self.conclude(tick);
        }
        self.ledger.close();
        // No frame follows that could still be kept.
        self.note_withdrawal(tick, before, 0);
        reported
    }

    /// Judges the stroke that ended last to the end, for a source that need not wait for frames. True if that gave
    /// its report.
    pub fn finish_judging(&mut self, tick: Tick) -> bool {
        let before = self.permit.is_granted();
        let reported = self.conclude(tick);
        self.note_withdrawal(tick, before, KEEP / 4);
        reported
    }

    /// The last judged stroke.
    #[must_use]
    pub fn report(&self) -> Option<&StrokeReport<N>> {
        self.places.judged()
    }
}

/// Right minus left and front minus rear, in the order of [`crate::press::Columns`].
#[inline]
fn differences<const N: usize>(loads: &[f32; N]) -> [f32; 2] {
    match loads.as_slice() {
        [left, right] => [right - left, 0.0],
        [lf, rf, lr, rr] => [rf - lf - lr + rr, lf + rf - lr - rr],
        _ => [0.0; 2],
    }
}

/// What can be read of it.
impl<const N: usize, const BINS: usize, const KEEP: usize> Monitor<N, BINS, KEEP> {
    /// The run permit.
    #[must_use]
    pub fn permit(&self) -> &RunPermit {
        &self.permit
    }

    /// The journal.
    #[must_use]
    pub fn journal(&self) -> &Journal<JOURNAL_EVENTS> {
        &self.journal
    }

    /// The kept stroke.
    #[must_use]
    pub fn kept(&self) -> &KeptStroke<N, KEEP> {
        &self.kept
    }

    /// The kept stroke has been read: the ring runs again.
    pub fn release_kept(&mut self) {
        self.kept.release();
    }

    /// The ledger.
    #[must_use]
    pub fn ledger(&self) -> &Ledger<N> {
        &self.ledger
    }

    /// `[column]`: health of the gauges.
    #[must_use]
    pub fn health(&self) -> &[GaugeHealth; N] {
        &self.health
    }

    /// The shape judge: the signature of the stroke under way or just ended, and the learned model's state.
    #[must_use]
    pub fn shape(&self) -> &ShapeJudge<N, BINS> {
        &self.shape
    }

    /// The press.
    #[must_use]
    pub fn press(&self) -> &Press<N> {
        &self.press
    }
}

#[cfg(test)]
mod tests;
