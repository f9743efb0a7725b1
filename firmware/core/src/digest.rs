//! A digest over everything a monitor puts out: two builds that agree on it agree bit for bit.
//!
//! FNV-1a of 64 bits (Fowler, Noll, Vo), byte by byte, numbers in little-endian order. Floats count by their
//! bits; every NaN counts as the same one, since its sign and payload differ between processors and carry
//! nothing. Reports are taken apart field by field without a rest pattern: an output added to the monitor
//! and forgotten here does not compile.

use crate::features::{At, ColumnFeatures, Features};
use crate::health::GaugeHealth;
use crate::journal::{Event, EventKind};
use crate::ledger::Ledger;
use crate::monitor::{Monitor, Step, StrokeReport};
use crate::permit::PermitState;
use crate::shape::{Measures, Standout};
use crate::stroke::Position;
use crate::units::Tick;
use crate::verdict::Finding;

/// FNV-1a, 64 bits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Fnv(u64);

impl Default for Fnv {
    fn default() -> Self {
        Self(0xcbf2_9ce4_8422_2325)
    }
}

impl Fnv {
    /// Takes in bytes.
    #[inline]
    pub fn bytes(&mut self, bytes: &[u8]) {
        for byte in bytes {
            self.0 = (self.0 ^ u64::from(*byte)).wrapping_mul(0x0000_0100_0000_01b3);
        }
    }

    /// The digest so far.
    #[must_use]
    pub fn value(self) -> u64 {
        self.0
    }

    fn u8(&mut self, value: u8) {
        self.bytes(&[value]);
    }

    fn u32(&mut self, value: u32) {
        self.bytes(&value.to_le_bytes());
    }

    fn u64(&mut self, value: u64) {
        self.bytes(&value.to_le_bytes());
    }

    fn f32(&mut self, value: f32) {
        self.u32(if value.is_nan() { 0x7fc0_0000 } else { value.to_bits() });
    }

    fn f64(&mut self, value: f64) {
        self.u64(if value.is_nan() { 0x7ff8_0000_0000_0000 } else { value.to_bits() });
    }

    fn optional<T>(&mut self, value: Option<T>, some: impl FnOnce(&mut Self, T)) {
        self.u8(u8::from(value.is_some()));
        if let Some(value) = value {
            some(self, value);
        }
    }

    fn position(&mut self, position: Position) {
        let (kind, value) = match position {
            Position::Angle(angle) => (0, angle.0),
            Position::SinceOnset(ticks) => (1, ticks),
            Position::Unknown => (2, 0),
        };
        self.u8(kind);
        self.u32(value);
    }

    fn at(&mut self, at: &At) {
        let At { value, position, height_mm } = *at;
        self.f32(value);
        self.position(position);
        self.optional(height_mm, Self::f32);
    }

    fn column(&mut self, column: &ColumnFeatures) {
        let ColumnFeatures { peak, reverse } = column;
        self.at(peak);
        self.at(reverse);
    }

    fn features<const N: usize>(&mut self, features: &Features<N>) {
        let Features {
            total,
            columns,
            at_peak_kn,
            loaded_sum,
            work_kj,
            impulse_kn_ticks,
            contact,
            rise_kn_per_tick,
            left_right,
            front_rear,
            ticks,
            turned,
            frames,
        } = features;
        self.column(total);
        columns.iter().for_each(|column| self.column(column));
        at_peak_kn.iter().chain(loaded_sum).for_each(|load| self.f32(*load));
        self.optional(*work_kj, Self::f32);
        self.f32(*impulse_kn_ticks);
        self.optional(*contact, Self::position);
        self.f32(*rise_kn_per_tick);
        self.at(left_right);
        self.at(front_rear);
        ticks.iter().for_each(|tick| self.u32(tick.0));
        self.u64(*turned);
        self.u32(*frames);
    }

    fn finding(&mut self, finding: &Finding) {
        let Finding { reason, verdict, column, from, to, value, limit } = *finding;
        self.bytes(&[reason as u8, verdict as u8]);
        self.optional(column, Self::u8);
        self.position(from);
        self.position(to);
        self.f32(value);
        self.f32(limit);
    }

    fn report<const N: usize>(&mut self, report: &StrokeReport<N>) {
        let StrokeReport { number, mode, features, findings, speed_spm, load_centre_mm, mean_centre_mm } =
            report;
        self.u32(*number);
        self.u8(*mode as u8);
        self.features(features);
        self.u8(findings.verdict() as u8);
        self.u64(findings.reasons().bits());
        findings.list().iter().for_each(|finding| self.finding(finding));
        self.optional(*speed_spm, Self::f32);
        for centre in [load_centre_mm, mean_centre_mm] {
            self.optional(*centre, |digest, [x, y]| {
                digest.f32(x);
                digest.f32(y);
            });
        }
    }

    fn event(&mut self, event: &Event) {
        let Event { number, tick: Tick(tick), stroke, kind, reason, column } = *event;
        self.u32(number);
        self.u32(tick);
        self.u32(stroke);
        let (kind, value) = match kind {
            EventKind::PowerUp => (0, 0),
            EventKind::SelfTest(passed) => (1, u32::from(passed)),
            EventKind::Judged(verdict) => (2, verdict as u32),
            EventKind::PermitWithdrawn => (3, 0),
            EventKind::Acknowledged => (4, 0),
            EventKind::AcknowledgeRefused => (5, 0),
            EventKind::BypassBegan(ticks) => (6, ticks),
            EventKind::SettingsChanged => (7, 0),
            EventKind::GaugeHealth => (8, 0),
            EventKind::StrokeGivenUp => (9, 0),
            EventKind::ModeChanged(mode) => (10, mode as u32),
        };
        self.u8(kind);
        self.u32(value);
        self.optional(reason, |digest, reason| digest.u8(reason as u8));
        self.optional(column, Self::u8);
    }

    fn ledger<const N: usize>(&mut self, ledger: &Ledger<N>) {
        self.u64(ledger.strokes);
        ledger.classes.iter().for_each(|count| self.u32(*count));
        self.u32(ledger.overloads);
        ledger.weighted().iter().for_each(|weight| self.f64(*weight));
    }
}

/// The digest of one monitor's outputs, frame by frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct MonitorDigest {
    fnv: Fnv,
    strokes: u32,
    /// Number of the first event not taken in yet.
    next_event: u32,
}

impl MonitorDigest {
    /// Takes in what one frame did: permit, health, proof of it, new events, and the report if there is a new one.
    pub fn step<const N: usize, const BINS: usize, const KEEP: usize>(
        &mut self,
        monitor: &Monitor<N, BINS, KEEP>,
        step: Step,
    ) {
        let Step { permit, reported, healthy } = &step;
        self.fnv.u8(u8::from(*permit) | u8::from(*reported) << 1 | u8::from(healthy.is_some()) << 2);
        self.fnv.u64(match monitor.permit().state() {
            PermitState::SelfTest => u64::MAX,
            PermitState::Granted => 0,
            PermitState::Latched(reasons) => reasons.bits(),
        });
        for health in monitor.health() {
            self.fnv.u8(match health {
                GaugeHealth::Good => 0,
                other => other.reason().map_or(u8::MAX, |reason| 1 + reason as u8),
            });
        }
        self.events(monitor);
        if step.reported {
            self.report(monitor);
        }
    }

    /// Takes in the last report and the ledger once the source has been closed; `reported` is what
    /// [`Monitor::close`] said.
    pub fn close<const N: usize, const BINS: usize, const KEEP: usize>(
        &mut self,
        monitor: &Monitor<N, BINS, KEEP>,
        reported: bool,
    ) {
        self.events(monitor);
        if reported {
            self.report(monitor);
        }
        self.fnv.ledger(monitor.ledger());
        self.fnv.u32(monitor.kept().missed());
        for frame in monitor.kept().kept().into_iter().flatten() {
            self.fnv.u32(frame.tick.0);
            frame.counts.iter().for_each(|count| self.fnv.bytes(&count.to_le_bytes()));
        }
    }

    fn events<const N: usize, const BINS: usize, const KEEP: usize>(
        &mut self,
        monitor: &Monitor<N, BINS, KEEP>,
    ) {
        let count = monitor.journal().count();
        if count == self.next_event {
            return;
        }
        self.fnv.u32(count);
        let first = self.next_event;
        for event in monitor.journal().iter().filter(|event| event.number >= first) {
            self.fnv.event(event);
        }
        self.next_event = count;
    }

    fn report<const N: usize, const BINS: usize, const KEEP: usize>(
        &mut self,
        monitor: &Monitor<N, BINS, KEEP>,
    ) {
        self.strokes = self.strokes.wrapping_add(1);
        if let Some(report) = monitor.report() {
            self.fnv.report(report);
        }
        let shape = monitor.shape();
        for bin in shape.ended().bins().iter().chain(shape.baseline().into_iter().flatten()) {
            bin.iter().for_each(|load| self.fnv.f32(*load));
        }
        let Measures { over_limit, window, bin } = shape.measures();
        over_limit.iter().for_each(|share| self.fnv.f32(*share));
        for Standout { column, bins } in [window, bin] {
            self.fnv.u8(*column);
            bins.iter().for_each(|bin| self.fnv.bytes(&bin.to_le_bytes()));
        }
        self.fnv.ledger(monitor.ledger());
    }

    /// Reports taken in.
    #[must_use]
    pub fn strokes(&self) -> u32 {
        self.strokes
    }

    /// The digest so far.
    #[must_use]
    pub fn value(&self) -> u64 {
        self.fnv.value()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn published_vectors_of_fnv_1a_hold() {
        // Source: test vectors of the FNV reference code (from memory).
        for (text, wanted) in
            [("", 0xcbf2_9ce4_8422_2325), ("a", 0xaf63_dc4c_8601_ec8c), ("foobar", 0x8594_4171_f739_67e8)]
        {
            let mut fnv = Fnv::default();
            fnv.bytes(text.as_bytes());
            assert_eq!(fnv.value(), wanted, "{text:?}");
        }
    }

    #[test]
    fn every_nan_counts_the_same_and_signed_zeros_do_not() {
        let of = |value: f32| {
            let mut fnv = Fnv::default();
            fnv.f32(value);
            fnv.value()
        };
        assert_eq!(of(f32::from_bits(0xffc0_0001)), of(f32::NAN));
        assert_ne!(of(0.0), of(-0.0));
    }
}
