//! A recording through the monitor's core: rows in, one outcome a stroke out.
//!
//! The core that runs here is the one that runs on the controller. Loads become counts of a 24-bit
//! converter and go through every stage; strokes are separated where the recording separates them.

mod clock;
mod framer;
mod outcome;
mod rate;
mod reread;

use bolster_core::monitor::Monitor;
use bolster_core::press::{Columns, PressSpec};
use bolster_core::settings::SettingsError;
use bolster_core::shape::model::STATISTICS;
use bolster_core::signature::Layout;
use bolster_core::units::Tick;
use bolster_link::message::JudgedStroke;

use crate::card::die::DieCard;
use crate::card::press::PressCard;
use crate::recording::{Header, Row, Unit};
use crate::wear::{WearGauge, WearReading};

pub use framer::Framer;
pub use outcome::{ColumnOutcome, FindingOutcome, Outcome, verdict_rank};
pub use rate::{ROWS_AHEAD, SampleRate};
pub use reread::outcome_from_json;

/// Signature bins of the host's monitors; the controller's are the same.
pub const BINS: usize = bolster_core::signature::SIGNATURE_BINS;
/// Frames kept around a stop.
const KEEP: usize = 1024;
/// A recording cannot be judged with these settings.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum SessionError {
    /// The recording's gauges are not the press's.
    #[error("the recording has {} gauge column(s) but the press card says {}; use this press's recording or card", found.count(), expected.count())]
    Columns {
        /// In the recording.
        found: Columns,
        /// On the card.
        expected: Columns,
    },
    /// Counts need a calibration.
    #[error(
        "the recording holds raw counts; give the press's calibration with --calibration to turn them into loads"
    )]
    Uncalibrated,
    /// The settings do not go together.
    #[error("the press card cannot be used: {0}")]
    Settings(String),
}

impl From<SettingsError> for SessionError {
    fn from(why: SettingsError) -> Self {
        Self::Settings(why.to_string())
    }
}

/// A monitor fed with rows.
pub enum Session {
    /// One column.
    One(Box<Run<1>>),
    /// Two columns.
    Two(Box<Run<2>>),
    /// Four columns.
    Four(Box<Run<4>>),
}

/// Calls the same method of whichever run a session holds.
macro_rules! each {
    ($session:expr, $run:ident => $do:expr) => {
        match $session {
            Session::One($run) => $do,
            Session::Two($run) => $do,
            Session::Four($run) => $do,
        }
    };
}

impl Session {
    /// A session for recordings with this header, on this press.
    ///
    /// # Errors
    /// [`SessionError`] if the header does not fit the card or the card's figures do not go together.
    pub fn new(card: &PressCard, header: &Header, rate: SampleRate) -> Result<Self, SessionError> {
        if header.columns != card.spec.columns {
            return Err(SessionError::Columns { found: header.columns, expected: card.spec.columns });
        }
        let counts = header.unit == Unit::Counts;
        if counts && card.calibration.is_none() {
            return Err(SessionError::Uncalibrated);
        }
        Ok(match card.spec.columns {
            Columns::Total => Self::One(Box::new(Run::new(card, counts, rate)?)),
            Columns::LeftRight => Self::Two(Box::new(Run::new(card, counts, rate)?)),
            Columns::Corners => Self::Four(Box::new(Run::new(card, counts, rate)?)),
        })
    }

    /// Puts a die in; `marked` says whether the recording marks coil changes.
    ///
    /// # Errors
    /// [`SessionError::Settings`] if the card's figures do not go together at this sample rate.
    pub fn set_die(&mut self, die: &DieCard, marked: bool) -> Result<(), SessionError> {
        each!(self, run => run.set_die(die, marked))
    }

    /// Gathers signatures in these bins instead of judging by a die.
    pub fn gather(&mut self, layout: Layout<BINS>) {
        each!(self, run => run.gather(layout));
    }

    /// Readings a second.
    #[must_use]
    pub fn sample_hz(&self) -> f64 {
        each!(self, run => run.sample_hz)
    }

    /// Signature of the stroke whose outcome came last: bin after bin, columns side by side; none if it is not whole.
    #[must_use]
    pub fn signature(&self) -> Option<Vec<f32>> {
        each!(self, run => run.signature())
    }

    /// Running baseline of the die's good strokes in the same form, and the bins' edges, where a die is in.
    #[must_use]
    pub fn baseline(&self) -> Option<(Vec<f32>, Vec<f64>)> {
        each!(self, run => run.baseline())
    }

    /// What the stroke whose outcome came last was expected to look like, in the form of [`Self::signature`]: the
    /// running baseline as it was before that stroke; none without a learnt die.
    #[must_use]
    pub fn expected(&self) -> Option<&[f32]> {
        let expected = each!(self, run => run.expected.as_slice());
        (!expected.is_empty()).then_some(expected)
    }

    /// Each shape statistic of the stroke whose outcome came last over its limit, in the order of the core's list;
    /// none where no shape was judged.
    #[must_use]
    pub fn over_limits(&self) -> Option<[f32; STATISTICS]> {
        each!(self, run => run.over_limits())
    }

    /// Longest repetition of one reading in the stroke whose outcome came last, frames.
    #[must_use]
    pub fn longest_repeat(&self) -> u32 {
        each!(self, run => run.repeats.ended)
    }

    /// `[column]`: fatigue-weighted cycles so far, by the core's ledger (see [`bolster_core::ledger`]).
    #[must_use]
    pub fn weighted_cycles(&self) -> Vec<f64> {
        each!(self, run => run.monitor.ledger().weighted().to_vec())
    }

    /// One row; gives the outcome of the stroke that it shows to be complete.
    pub fn row(&mut self, row: &Row) -> Option<Outcome> {
        each!(self, run => run.row(row))
    }

    /// The recording has ended; gives the outcome of its last stroke.
    pub fn close(&mut self) -> Option<Outcome> {
        each!(self, run => run.close())
    }
}

/// A monitor of `N` columns fed with rows.
pub struct Run<const N: usize> {
    monitor: Monitor<N, BINS, KEEP>,
    columns: Columns,
    framer: Framer<N>,
    sample_hz: f64,
    repeats: Repeats<N>,
    /// Stroke and coil of the report to come.
    waiting: Option<(u64, u64)>,
    /// The baseline as the stroke that ended last found it; empty without a learnt die.
    expected: Vec<f32>,
    spec: PressSpec,
    /// Reads wear against the die's reference; none without a learnt die.
    wear: Option<WearGauge>,
}

impl<const N: usize> Run<N> {
    /// A monitor of this press, its self-test passed, without a die; `counts` says that rows hold raw counts.
    ///
    /// # Errors
    /// [`SessionError::Settings`] if the card's figures do not go together.
    pub fn new(card: &PressCard, counts: bool, rate: SampleRate) -> Result<Self, SessionError> {
        let (framer, settings) = Framer::new(card, counts, rate)?;
        let mut monitor = Monitor::new(settings.build()?);
        monitor.self_test(Tick(0), true);
        Ok(Self {
            monitor,
            columns: card.spec.columns,
            framer,
            sample_hz: rate.hz,
            repeats: Repeats::default(),
            waiting: None,
            expected: Vec::new(),
            spec: card.spec,
            wear: None,
        })
    }

    fn set_die(&mut self, die: &DieCard, marked: bool) -> Result<(), SessionError> {
        let model = die.shape.as_ref().map(|shape| shape.model(self.sample_hz)).transpose();
        let model = model.map_err(|why| SessionError::Settings(why.to_string()))?;
        self.wear = die.shape.as_ref().and_then(|shape| WearGauge::new(&self.spec, shape));
        let limits = die.limits.to_core(self.columns, self.sample_hz).map_err(SessionError::Settings)?;
        let set = self.monitor.set_die(self.framer.tick(), limits, model, marked);
        set.map_err(|why| SessionError::Settings(why.to_string()))
    }

    fn gather(&mut self, layout: Layout<BINS>) {
        self.monitor.gather_signatures(layout);
        self.repeats.count = true;
    }

    fn signature(&self) -> Option<Vec<f32>> {
        let shape = self.monitor.shape();
        let ended = shape.ended();
        shape.layout().filter(|layout| ended.is_whole(layout)).map(|_| ended.bins().concat())
    }

    fn wear_reading(&self) -> Option<WearReading> {
        let (gauge, shape) = (self.wear.as_ref()?, self.monitor.shape());
        let ended = shape.ended();
        shape
            .layout()
            .filter(|layout| ended.is_whole(layout))
            .map(|_| gauge.read(ended.bins().as_flattened()))
    }

    fn over_limits(&self) -> Option<[f32; STATISTICS]> {
        let shape = self.monitor.shape();
        let over = shape.model().map(|_| shape.measures().over_limit)?;
        // All zero: this stroke's shape was not judged.
        over.iter().any(|over| *over != 0.0).then_some(over)
    }

    fn baseline(&self) -> Option<(Vec<f32>, Vec<f64>)> {
        let shape = self.monitor.shape();
        let (layout, baseline) = (shape.layout()?, shape.baseline()?);
        let per_unit = if layout.is_by_angle() { 1.0 } else { 1000.0 / self.sample_hz };
        let edges = (0..layout.used()).map(|bin| layout.edges(bin).0).chain([layout.end()]);
        let edges = edges.map(|edge| f64::from(edge) * per_unit).collect();
        Some((baseline.get(..layout.used())?.concat(), edges))
    }

    /// One row; gives the outcome of the stroke that it shows to be complete.
    pub fn row(&mut self, row: &Row) -> Option<Outcome> {
        let under_way = self.framer.under_way();
        let (before, frame) = self.framer.next(row);
        if before.mark {
            self.waiting = under_way;
            self.keep_expected();
            self.monitor.mark();
            if before.new_coil {
                self.monitor.new_coil();
            }
            self.repeats.end_stroke();
        }
        self.repeats.step(&frame.counts);
        let step = self.monitor.step(&frame);
        let reported = step.reported || (before.finish && self.monitor.finish_judging(frame.tick));
        if reported { self.outcome() } else { None }
    }

    /// The recording has ended; gives the outcome of its last stroke.
    pub fn close(&mut self) -> Option<Outcome> {
        self.waiting = self.framer.end();
        self.keep_expected();
        self.repeats.end_stroke();
        if self.monitor.close(self.framer.tick()) { self.outcome() } else { None }
    }

    /// Judging may move the baseline to the very stroke it judges.
    fn keep_expected(&mut self) {
        let shape = self.monitor.shape();
        self.expected.clear();
        if let (Some(layout), Some(baseline)) = (shape.layout(), shape.baseline()) {
            self.expected.extend(baseline.iter().take(layout.used()).flatten());
        }
    }

    fn outcome(&mut self) -> Option<Outcome> {
        let (stroke, coil) = self.waiting.take()?;
        let judged = JudgedStroke::of(self.monitor.report()?);
        let wear = self.wear_reading();
        Some(Outcome { wear, ..Outcome::new(stroke, coil, self.columns, &judged) })
    }
}

/// Longest repetition of one reading of any column, stroke by stroke.
#[derive(Debug)]
struct Repeats<const N: usize> {
    count: bool,
    last: [i32; N],
    run: [u32; N],
    longest: u32,
    ended: u32,
}

impl<const N: usize> Default for Repeats<N> {
    fn default() -> Self {
        Self { count: false, last: [0; N], run: [0; N], longest: 0, ended: 0 }
    }
}

impl<const N: usize> Repeats<N> {
    #[inline]
    fn step(&mut self, counts: &[i32; N]) {
        if !self.count {
            return;
        }
        for ((last, run), count) in self.last.iter_mut().zip(&mut self.run).zip(counts) {
            *run = if last == count { *run + 1 } else { 0 };
            *last = *count;
            self.longest = self.longest.max(*run);
        }
    }

    fn end_stroke(&mut self) {
        self.ended = self.longest;
        self.longest = 0;
        self.run = [0; N];
    }
}
