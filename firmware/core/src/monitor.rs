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
use crate::die::{BandHistory, DieError, DieLimits, WindowHistory};
use crate::features::{Features, Gatherer, Moment};
use crate::filter::{LowPassState, SpikeGuards};
use crate::frame::{CrankReading, Frame};
use crate::health::{ClockWatch, GainWatch, GaugeHealth, GaugeWatch, Readings};
use crate::journal::{EventKind, Journal};
use crate::kept::KeptStroke;
use crate::ledger::Ledger;
use crate::machine::Load;
use crate::mode::Mode;
use crate::permit::{PermitRefusal, PermitState, RunPermit};
use crate::places::Places;
use crate::settings::Press;
use crate::shape::{FillError, Progress, ShapeJudge, ShapeModel};
use crate::signature::Layout;
use crate::still::Still;
use crate::stroke::{Place, Position, StrokeSource, Tracker};
use crate::units::{CrankAngle, Tick};
use crate::verdict::{Finding, Findings, Reason, ReasonSet};
use crate::windows::{Alike, Channel, Inside, Seen, SensorSeen};
use judging::Judging;

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
        if place.ended || place.started || self.in_stroke != place.in_stroke {
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

    /// Whether another die or mode may take effect now; see the module.
    fn is_between(&mut self, position: Position) -> bool {
        // Half of the way down by angle; a recording that shows a part of the turn begins where it begins.
        const HALF_DOWN: CrankAngle = CrankAngle(1 << 30);
        let early = match position {
            Position::Angle(angle) => {
                angle.0 < HALF_DOWN.0 || self.press.settings.stroke.source == StrokeSource::Marked
            }
            Position::SinceOnset(_) => false,
            Position::Unknown => true,
        };
        let fresh = !self.in_stroke || (early && !self.places.under_way().features.has_met_load());
        fresh && self.judging.is_none()
    }

    /// What waited takes effect; windows that have begun say nothing about this stroke.
    #[inline(never)]
    fn take_effect(&mut self, tick: Tick, position: Position) {
        self.waiting = false;
        if let Some(mode) = self.next_mode.take() {
            self.mode = mode;
            self.journal.write(tick, self.stroke, EventKind::ModeChanged(mode), None, None);
        }
        if let Some(limits) = self.next_die.take() {
            self.tell_alike();
            self.shape.clear();
            self.gauges.set_alone_frames(None);
            self.shape.set_envelope(limits.envelope);
            let in_stroke = self.in_stroke;
            let seen = self.places.seen();
            for (seen, window) in seen.watch.iter_mut().zip(&limits.watch) {
                let void = in_stroke && window.span.begun(position);
                *seen = if void { Seen::VOID } else { Seen::default() };
            }
            for (seen, window) in seen.sensors.iter_mut().zip(&limits.sensors) {
                let void = in_stroke && window.span.begun(position);
                *seen = if void { SensorSeen::VOID } else { SensorSeen::default() };
            }
            self.die = limits;
            self.inside.forget();
            self.gain.forget();
            self.band_history = BandHistory::default();
            self.window_history = WindowHistory::default();
            self.journal.write(tick, self.stroke, EventKind::SettingsChanged, None, None);
        }
    }

    fn begin_stroke(&mut self) {
        // What was found since the last one has been told by the permit and the journal.
        self.places.under_way().findings.clear();
        self.shape.begin_stroke();
        self.contact = false;
    }

    #[inline]
    fn gather(&mut self, now: Now, sensors: u8) {
        let onset_kn = self.press.settings.stroke.onset_kn;
        let moment = now.moment(self.loads_kn, *self.guards.accepted());
        if self.gatherer.add(&mut self.places.under_way().features, &moment, onset_kn) {
            self.contact = true;
        }
        self.shape.step(now.position, self.guards.accepted());
        let inside = match self.inside.known(now.position) {
            Some(inside) => inside,
            None => self.look_inside(now.position),
        };
        // Watch windows come before sensor windows in the mask.
        let watches = self.die.watch.len();
        if inside == self.alike.inside && sensors == self.alike.sensors {
            self.alike.frames += 1;
        } else {
            if self.alike.inside >> (watches & 31) != 0 {
                self.tell_alike();
            }
            self.alike = Alike { inside, sensors, frames: 1 };
        }
        let watched = inside & !(u32::MAX << (watches & 31));
        if watched != 0 {
            self.watch(watched, now.total);
        }
    }

    /// The watch windows that the frame lies in.
    #[inline(never)]
    fn watch(&mut self, inside: u32, total: f32) {
        let windows = self.die.watch.iter().zip(&mut self.places.seen().watch);
        for ((window, seen), n) in windows.zip(0..) {
            if inside & (1 << (n & 31)) == 0 {
                continue;
            }
            let load = match window.channel {
                Channel::Total => total,
                Channel::Column(column) => self.loads_kn.get(usize::from(column)).copied().unwrap_or(0.0),
            };
            seen.load(window.value, load);
        }
    }

    /// Tells the sensor windows what was alike in the last frames.
    #[inline(never)]
    fn tell_alike(&mut self) {
        let Alike { inside, sensors, frames } = core::mem::take(&mut self.alike);
        let seen = self.places.seen();
        for n in bits(inside >> (self.die.watch.len() & 31)) {
            let (Some(window), Some(seen)) = (self.die.sensors.get(n), seen.sensors.get_mut(n)) else {
                continue;
            };
            seen.sensor(sensors & (1 << (window.input & 7)) != 0, frames);
        }
    }

    /// Where a window of the die begins or ends.
    #[inline(never)]
    fn look_inside(&mut self, position: Position) -> u32 {
        self.inside.begin(position);
        let watched = (0..).zip(&self.die.watch);
        watched.for_each(|(n, window)| self.inside.look(n, window.span));
        let sensors = (self.die.watch.len() as u32..).zip(&self.die.sensors);
        sensors.for_each(|(n, window)| self.inside.look(n, window.span));
        self.inside.known(position).unwrap_or(0)
    }

    /// The machine's limits in this frame, in a stroke or not.
    #[inline(never)]
    fn judge_limits(&mut self, now: Now) {
        let closing = now.position.angle().filter(|angle| angle.is_closing());
        let closing_rate_mm = closing.map(|angle| self.press.slide.rate_mm(angle));
        let loads = self.loads_kn;
        let load = Load {
            loads: &loads,
            total: now.total,
            closing_rate_mm,
            differences: now.differences,
            work_kj: if self.in_stroke { self.gatherer.work_kj() } else { 0.0 },
        };
        let limits = self.press.limits;
        limits.check(&load, |reason, column, value, limit| {
            self.found(now.tick, now.position, reason, column, [value, limit]);
        });
    }

    /// The gauges in this frame.
    #[inline]
    fn judge_health(
        &mut self,
        frame: &Frame<N>,
        raw: &[f32; N],
        raw_total: f32,
        position: Position,
        guarded_total: f32,
    ) {
        let readings = Readings {
            counts: &frame.counts,
            range_counts: self.press.calibration.range_counts(),
            loads_kn: raw,
            total_kn: raw_total,
        };
        let onset_kn = self.press.settings.stroke.onset_kn;
        // A noisy gauge passes the onset again and again: only the mean tells that there is no load under its noise.
        let calm = self.slow_kn.abs() < 0.5 * onset_kn;
        let unloaded = !self.contact && guarded_total.abs() < onset_kn;
        if let Some(hum) = &self.press.hum {
            // The upper half of the turn, or the unloaded press where no sensor gives the angle of this very frame.
            let idle = match (frame.crank, position) {
                (CrankReading::Angle(_), Position::Angle(angle)) => angle.0.wrapping_add(1 << 30) < 1 << 31,
                _ => calm && unloaded,
            };
            self.gauges.listen_for_hum(hum, raw, idle);
        }
        let all = self.gauges.step(&self.press.settings.health, &readings, calm);
        if all.is_some() || self.unwell || self.zero.any_at_limit() {
            self.judge_gauges(frame.tick, position, all.unwrap_or([GaugeHealth::Good; N]));
            if self.gauges.is_stale() {
                self.wrong(frame.tick, Reason::FramesRepeated, None, position);
            }
        }
        if unloaded && let Some(tracking) = self.press.calibration.zero_tracking() {
            // A single spike is no drift.
            self.zero.track(tracking, self.guards.accepted());
        }
    }

    #[inline(never)]
    fn judge_clock_and_crank(&mut self, tick: Tick, position: Position, clock: Option<Reason>, crank: bool) {
        if let Some(reason) = clock {
            self.wrong(tick, reason, None, position);
        }
        if crank {
            self.wrong(tick, Reason::CrankFault, None, position);
        }
    }

    /// A gauge is, or was in the frame before, not as it should be.
    #[inline(never)]
    fn judge_gauges(&mut self, tick: Tick, position: Position, all: [GaugeHealth; N]) {
        self.unwell = false;
        for (column, mut health) in all.into_iter().enumerate() {
            let number = Some(column as u8);
            if health == GaugeHealth::Good && self.zero.at_limit(column) {
                health = GaugeHealth::Drifting;
            } else if health == GaugeHealth::Good && self.gain.lost() == number {
                health = GaugeHealth::GainLost;
            }
            if let Some(last) = self.health.get_mut(column)
                && *last != health
            {
                *last = health;
                self.journal.write(tick, self.stroke, EventKind::GaugeHealth, health.reason(), number);
            }
            // A lost gain is told with its stroke.
            if let Some(reason) = health.reason().filter(|_| health != GaugeHealth::GainLost) {
                self.unwell = true;
                self.wrong(tick, reason, number, position);
            }
        }
    }

    /// Something is wrong with the monitor's own senses.
    fn wrong(&mut self, tick: Tick, reason: Reason, column: Option<u8>, position: Position) {
        self.found(tick, position, reason, column, [0.0; 2]);
    }

    /// Something that counts in the very frame that shows it: with its value and limit where the stroke first has it.
    #[inline(never)]
    fn found(
        &mut self,
        tick: Tick,
        position: Position,
        reason: Reason,
        column: Option<u8>,
        [value, limit]: [f32; 2],
    ) {
        let alone = ReasonSet::of(reason);
        self.present.add(alone);
        let findings = &mut self.places.under_way().findings;
        // Most that is wrong is wrong for many frames: told already, and the permit latched by it.
        let known = findings.knows(reason, column);
        if known && matches!(self.permit.state(), PermitState::Latched(by) if by.meets(alone)) {
            return;
        }
        let verdict = reason.verdict();
        if !known {
            findings.add(Finding { reason, verdict, column, from: position, to: position, value, limit });
        }
        self.permit.take(tick, reason, verdict, false);
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

/// Numbers of the bits that are set, lowest first.
#[inline]
fn bits(mask: u32) -> impl Iterator<Item = usize> {
    let mut left = mask;
    (0..u32::BITS).map_while(move |_| {
        let bit = left.trailing_zeros();
        left &= left.wrapping_sub(1);
        (bit < u32::BITS).then_some(bit as usize)
    })
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

/// What people and settings do to the monitor, between frames.
impl<const N: usize, const BINS: usize, const KEEP: usize> Monitor<N, BINS, KEEP> {
    /// The result of the self-test at power-up.
    pub fn self_test(&mut self, tick: Tick, passed: bool) {
        self.permit.self_test(passed);
        self.journal.write(tick, self.stroke, EventKind::SelfTest(passed), None, None);
    }

    /// A person acknowledges a hold or trip.
    ///
    /// # Errors
    /// [`PermitRefusal`] while self-test has not passed or the last frame still showed something wrong.
    pub fn acknowledge(&mut self, tick: Tick) -> Result<(), PermitRefusal> {
        let answer = self.permit.acknowledge(self.present);
        let kind = if answer.is_ok() { EventKind::Acknowledged } else { EventKind::AcknowledgeRefused };
        self.journal.write(tick, self.stroke, kind, None, None);
        answer
    }

    /// Starts a timed bypass of holds; machine limits and failing senses still withdraw the permit.
    ///
    /// # Errors
    /// [`PermitRefusal::Time`] for a time of zero or beyond a day.
    pub fn bypass(&mut self, tick: Tick, ticks: u32) -> Result<(), PermitRefusal> {
        self.permit.bypass(tick, ticks)?;
        self.journal.write(tick, self.stroke, EventKind::BypassBegan(ticks), None, None);
        Ok(())
    }

    /// Sets a die: its limits and its learned shape; `marked` says whether [`Self::new_coil`] will tell of coils.
    ///
    /// # Errors
    /// [`DieError`] if the limits cannot be, or, with a shape, if a stroke is under way: there is no room for two
    /// shapes, so this one cannot wait. The old die then stays.
    pub fn set_die(
        &mut self,
        tick: Tick,
        limits: DieLimits,
        shape: Option<ShapeModel<N, BINS>>,
        marked: bool,
    ) -> Result<(), DieError> {
        if shape.is_some() && !self.is_between(self.last_position) {
            return Err(DieError::InStroke);
        }
        self.set_limits(tick, limits)?;
        if let Some(shape) = shape {
            self.gauges.set_alone_frames(Some(shape.repeat_limit));
            self.shape.set(Some(shape), marked);
        }
        Ok(())
    }

    /// Sets a die's limits and removes the learned shape, without room for one on the stack. Takes effect between
    /// strokes, see the module; of two that wait the later one does. A shape can then be filled in:
    /// [`Self::begin_shape`], [`Self::fill_shape`], [`Self::commit_shape`].
    ///
    /// # Errors
    /// [`DieError`] if the limits cannot be; the old die then stays.
    pub fn set_limits(&mut self, tick: Tick, limits: DieLimits) -> Result<(), DieError> {
        limits.check(N)?;
        self.next_die = Some(limits);
        self.ask(tick);
        Ok(())
    }

    /// The press is run in another mode. Takes effect between strokes, see the module.
    pub fn set_mode(&mut self, tick: Tick, mode: Mode) {
        if self.next_mode.unwrap_or(self.mode) != mode {
            self.next_mode = Some(mode);
            self.ask(tick);
        }
    }

    /// A change is asked for: now, if it may be.
    fn ask(&mut self, tick: Tick) {
        self.waiting = true;
        if self.is_between(self.last_position) {
            self.take_effect(tick, self.last_position);
        }
    }

    /// The mode in effect.
    #[must_use]
    pub fn mode(&self) -> Mode {
        self.mode
    }

    /// Whether a die or a mode still waits to take effect.
    #[must_use]
    pub fn is_waiting(&self) -> bool {
        self.waiting
    }

    /// Begins to fill in a learned shape where it will stay; the one there is gone. Until [`Self::commit_shape`]
    /// every stroke that ends is held as not judged, so this is for a press that stands.
    ///
    /// # Errors
    /// [`FillError::Busy`] while a stroke is still being judged by the old one, or the die it belongs to waits to
    /// take effect: try again after the next frame.
    pub fn begin_shape(&mut self) -> Result<(), FillError> {
        if self.next_die.is_some() {
            return Err(FillError::Busy);
        }
        self.shape.begin_fill()
    }

    /// Fills in words of the shape from the n-th on; see [`crate::shape::fill`] for what they are. Some 50 words
    /// between two frames cost about as much as a frame.
    ///
    /// # Errors
    /// [`FillError`] says which word is wrong, or what must come first.
    pub fn fill_shape(&mut self, n: usize, words: &[u32]) -> Result<(), FillError> {
        self.shape.fill(n, words)
    }

    /// The shape is whole and takes effect with the next stroke, or with the one under way if that has not reached
    /// the shape's first bin (a stroke that has is held as incomplete). `marked` as with [`Self::set_die`].
    ///
    /// # Errors
    /// [`FillError`] if words are missing or the bins cannot be; strokes are then still held.
    pub fn commit_shape(&mut self, tick: Tick, marked: bool) -> Result<(), FillError> {
        self.shape.commit(marked)?;
        if let Some(model) = self.shape.model() {
            self.gauges.set_alone_frames(Some(model.repeat_limit));
        }
        self.journal.write(tick, self.stroke, EventKind::SettingsChanged, None, None);
        Ok(())
    }

    /// The stock changed (operator, end-of-coil sensor or recording): the first strokes of the new coil are
    /// judged by wide limits while the signature is found anew within the allowed ways.
    pub fn new_coil(&mut self) {
        self.shape.new_coil();
    }

    /// Gathers signatures in these bins without judging them, for learning.
    pub fn gather_signatures(&mut self, layout: Layout<BINS>) {
        self.shape.gather(layout);
    }

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
