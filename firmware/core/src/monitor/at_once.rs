//! What counts in the very frame that shows it: the machine's limits, and gauges, sample clock and crank sensor.

use super::{Monitor, Now, Position, Tick};
use crate::frame::{CrankReading, Frame};
use crate::health::{GaugeHealth, Readings};
use crate::journal::EventKind;
use crate::machine::Load;
use crate::permit::PermitState;
use crate::verdict::{Finding, Reason, ReasonSet};

impl<const N: usize, const BINS: usize, const KEEP: usize> Monitor<N, BINS, KEEP> {
    /// The machine's limits in this frame, in a stroke or not.
    #[inline(never)]
    pub(super) fn judge_limits(&mut self, now: Now) {
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
    pub(super) fn judge_health(
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
    pub(super) fn judge_clock_and_crank(
        &mut self,
        tick: Tick,
        position: Position,
        clock: Option<Reason>,
        crank: bool,
    ) {
        if let Some(reason) = clock {
            self.wrong(tick, reason, None, position);
        }
        if crank {
            self.wrong(tick, Reason::CrankFault, None, position);
        }
    }

    /// A gauge is, or was in the frame before, not as it should be.
    #[inline(never)]
    pub(super) fn judge_gauges(&mut self, tick: Tick, position: Position, all: [GaugeHealth; N]) {
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
    pub(super) fn found(
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
}
