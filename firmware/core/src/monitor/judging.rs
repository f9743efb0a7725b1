//! The judging of a stroke that has ended, a bounded part of it in each frame.

use super::{EventKind, Monitor, Position, Progress, Reason, ShapeJudge, StrokeReport, Tick, WindowHistory};
use crate::health::GaugeHealth;
use crate::health::gain::LEFT;
use crate::often::{Breaks, MofN};
use crate::verdict::{Finding, Findings};

/// What is done next about the stroke that ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Part {
    /// The die's limits on features.
    Bands,
    /// Its watch windows from this one on, so many at a time as [`WINDOWS`] says.
    Watch(u8),
    /// Its sensor windows, likewise.
    Sensors(u8),
    /// The signature, in parts of its own.
    Shape,
    /// Gain and speed.
    Whole,
    /// Verdict, permit and report.
    Tell,
}

/// A stroke that has ended and is still being judged.
#[derive(Debug, Clone, Copy)]
pub(super) struct Judging {
    next: Part,
    given_up: bool,
}

/// Windows judged in one frame.
const WINDOWS: u8 = 4;

/// The windows of one frame, from this one on.
fn some<W>(windows: impl Iterator<Item = W>, from: u8) -> impl Iterator<Item = W> {
    windows.skip(usize::from(from)).take(usize::from(WINDOWS))
}

/// Adds what a window found, if its rule says that it counts.
fn take(findings: &mut Findings, found: Option<Finding>, breaks: &mut Breaks, rule: MofN) {
    if breaks.push(found.is_some(), rule) {
        found.into_iter().for_each(|finding| findings.add(finding));
    }
}

impl<const N: usize, const BINS: usize, const KEEP: usize> Monitor<N, BINS, KEEP> {
    /// Parts of the judging of a stroke besides its signature, at most: the die's limits, twice [`WINDOWS`] watch and
    /// as many sensor windows, gain and speed, the verdict.
    const BESIDES: usize = 7;
    /// All of them, without what is left to do for the stroke before it.
    const PARTS: usize = ShapeJudge::<N, BINS>::PARTS + Self::BESIDES;

    /// The stroke under way is over and goes to be judged.
    pub(super) fn end_stroke(&mut self, tick: Tick, given_up: bool) {
        self.tell_alike();
        let stroke = self.places.under_way();
        self.gatherer.finish(&mut stroke.features);
        let overloaded = stroke.findings.reasons().any_machine_limit();
        self.ledger.stroke(stroke.features.total.peak.value, self.press.limits.rated, overloaded);
        self.places.end();
        self.in_stroke = false;
        self.contact = false;
        if given_up {
            self.journal.write(tick, self.stroke, EventKind::StrokeGivenUp, None, None);
        }
        let judged = !given_up && self.mode.judges_die();
        if judged {
            self.shape.end_stroke();
        } else {
            self.shape.give_up();
        }
        self.judging = Some(Judging { next: Part::Bands, given_up });
        if !judged {
            self.go_on(Part::Shape);
        }
    }

    /// A bounded part of the judging of an ended stroke. True when its report is complete.
    #[inline]
    pub(super) fn judge_ended(&mut self, tick: Tick) -> bool {
        match self.judging {
            Some(Judging { next: Part::Shape, .. }) => {
                if self.shape.advance(&mut self.places.ended().0.findings) == Progress::Done {
                    self.go_on(Part::Whole);
                }
                false
            }
            Some(judging) => self.judge_part(tick, judging),
            None => {
                self.places.clean();
                false
            }
        }
    }

    /// Goes on with this part, or with the first after it that has something to do.
    fn go_on(&mut self, part: Part) {
        let mut next = part;
        if matches!(next, Part::Watch(from) if usize::from(from) >= self.die.watch.len()) {
            next = Part::Sensors(0);
        }
        if matches!(next, Part::Sensors(from) if usize::from(from) >= self.die.sensors.len()) {
            next = Part::Shape;
        }
        if next == Part::Shape && !self.shape.has_to_judge() {
            next = Part::Whole;
        }
        if let Some(judging) = &mut self.judging {
            judging.next = next;
        }
    }

    /// What is not the signature's.
    #[inline(never)]
    fn judge_part(&mut self, tick: Tick, Judging { next, given_up }: Judging) -> bool {
        let (stroke, seen) = self.places.ended();
        let StrokeReport { features, findings, .. } = stroke;
        let WindowHistory { watch, sensors } = &mut self.window_history;
        let next = match next {
            Part::Bands => {
                self.die.judge(features, &mut self.band_history, |finding| findings.add(finding));
                Part::Watch(0)
            }
            Part::Watch(from) => {
                for ((window, seen), breaks) in some(self.die.watch.iter().zip(&seen.watch).zip(watch), from)
                {
                    take(findings, window.judge(seen), breaks, window.rule);
                }
                Part::Watch(from + WINDOWS)
            }
            Part::Sensors(from) => {
                for ((window, seen), breaks) in
                    some(self.die.sensors.iter().zip(&seen.sensors).zip(sensors), from)
                {
                    take(findings, window.judge(seen), breaks, window.rule);
                }
                Part::Sensors(from + WINDOWS)
            }
            Part::Shape => return false,
            Part::Whole => {
                self.judge_whole(tick, given_up);
                Part::Tell
            }
            Part::Tell => {
                self.tell(tick);
                return true;
            }
        };
        self.go_on(next);
        false
    }

    /// Another stroke has ended while this one was still being judged: the rest of it at once, without its signature.
    #[inline(never)]
    pub(super) fn hurry(&mut self, tick: Tick) -> bool {
        // One more to give the signature up.
        for _ in 0..=Self::BESIDES {
            match self.judging {
                None => return false,
                Some(Judging { next: Part::Shape, .. }) => {
                    self.shape.cut_short(&mut self.places.ended().0.findings);
                    self.go_on(Part::Whole);
                }
                Some(judging) => {
                    if self.judge_part(tick, judging) {
                        return true;
                    }
                }
            }
        }
        false
    }

    /// All that is left of the judging of an ended stroke, at once. True if there was one.
    pub(super) fn conclude(&mut self, tick: Tick) -> bool {
        // The work on one stroke, and what is left of the baseline's upkeep after the one before, take at most so many parts.
        for _ in 0..2 * Self::PARTS {
            if self.judging.is_none() {
                return false;
            }
            if self.judge_ended(tick) {
                return true;
            }
        }
        // Not reachable while PARTS is true; if it were not, the stroke must not pass unjudged.
        if self.judging.is_some() {
            let found = Finding::of_stroke(Reason::Internal, 0.0, 0.0);
            self.places.ended().0.findings.add(found);
            self.present.insert(found.reason);
            self.permit.take(tick, found.reason, found.verdict, true);
            self.tell(tick);
            return true;
        }
        false
    }

    /// Whether the stroke shows that a gauge lost its gain, and whether its speed is one the press may have.
    fn judge_whole(&mut self, tick: Tick, given_up: bool) {
        let StrokeReport { features, findings, speed_spm, .. } = self.places.ended().0;
        let before = self.gain.lost();
        let judged = !given_up && self.mode.judges_die() && !findings.reasons().any_of_health();
        if judged && let Some((column, share)) = self.gain.step(features, self.press.settings.centre_least_kn)
        {
            let found = Finding::of_stroke(Reason::GaugeGain, share, LEFT);
            findings.add(Finding { column: Some(column), ..found });
        }
        let settings = &self.press.settings;
        *speed_spm = if settings.timed { features.speed_spm(settings.stroke.sample_hz) } else { None };
        let [slowest, fastest] = settings.press.speed_spm.map(|spm| spm as f32);
        // Five per cent is the measurement's own: a stroke's mean speed differs from the nominal by its droop.
        if let Some(speed) = *speed_spm
            && self.mode.judges_speed()
            && !(speed >= 0.95 * slowest && speed <= 1.05 * fastest)
        {
            let limit = if speed < slowest { slowest } else { fastest };
            findings.add(Finding::of_stroke(Reason::SpeedOutOfRange, speed, limit));
        }
        // A frame in which a gauge is unwell says it of all of them.
        if self.gain.lost() != before && !self.unwell {
            self.judge_gauges(tick, Position::Unknown, [GaugeHealth::Good; N]);
        }
    }

    /// The verdict of the stroke that ended, what it does to the permit, and its report.
    fn tell(&mut self, tick: Tick) {
        let press = &self.press;
        let stroke = self.places.ended().0;
        let StrokeReport { features, findings, .. } = stroke;
        let verdict = findings.verdict();
        let first = findings.list().iter().find(|finding| finding.verdict == verdict);
        if let Some(first) = first {
            let kind = EventKind::Judged(verdict);
            self.journal.write(tick, self.stroke, kind, Some(first.reason), first.column);
        }
        for finding in findings.list() {
            self.permit.take(tick, finding.reason, finding.verdict, true);
        }
        // Where a gauge lied there is no centre.
        let lied = findings.reasons().any_gauge_fault();
        let least = if lied { f32::INFINITY } else { press.settings.centre_least_kn };
        let centre =
            |loads: &[f32; N]| crate::features::load_centre_mm(loads, &press.x_mm, &press.y_mm, least);
        stroke.load_centre_mm = centre(&features.at_peak_kn);
        // Summed over the loaded frames: the mean must reach the least load at least once over.
        stroke.mean_centre_mm = centre(&features.loaded_sum);
        stroke.number = self.stroke;
        stroke.mode = self.mode;
        self.places.publish();
        self.judging = None;
        self.stroke = self.stroke.wrapping_add(1);
    }
}
