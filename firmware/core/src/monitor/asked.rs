//! What people and settings ask of the monitor, between frames, and when it takes effect.

use super::{Monitor, Position, Tick};
use crate::die::{BandHistory, DieError, DieLimits, WindowHistory};
use crate::journal::EventKind;
use crate::mode::Mode;
use crate::permit::PermitRefusal;
use crate::shape::{FillError, ShapeModel};
use crate::signature::Layout;
use crate::stroke::StrokeSource;
use crate::units::CrankAngle;
use crate::windows::{Seen, SensorSeen};

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

    /// Whether another die or mode may take effect now; see the module.
    pub(super) fn is_between(&mut self, position: Position) -> bool {
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
    pub(super) fn take_effect(&mut self, tick: Tick, position: Position) {
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
}
