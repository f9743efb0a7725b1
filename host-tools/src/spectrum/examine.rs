//! Recordings of a press, in order of time, into what can be told of its frame.

use std::path::Path;

use serde::Serialize;

use super::gather::{Clock, Gatherer, Resting};
use super::median;
use super::shift::{Shift, shifts};
use super::study::{ChannelStudy, Found, Reading, channels, reading, study};
use super::tail::{Between, Channel, Tail};
use crate::card::press::PressCard;
use crate::judge::{JudgeError, Shown, stream};
use crate::recording::{Header, Unit};
use crate::session::Session;

/// Tails from which on a recording is looked at in two halves, to see a shift within it.
const TO_HALVE: usize = 24;

/// What a person may set.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Wanted {
    /// Where the free part begins: crank angle, degrees, or seconds since the load last fell through half its peak.
    pub from: Option<f64>,
    /// Where it ends.
    pub to: Option<f64>,
}

/// What was found of a press.
#[derive(Debug, Clone, Serialize)]
pub struct FrameHealth {
    /// The press.
    pub press: String,
    /// Names of the columns.
    pub columns: Vec<&'static str>,
    /// What a column may carry, kN: rating over columns.
    pub column_rated_kn: f64,
    /// Recordings in order.
    pub recordings: Vec<RecordingHealth>,
    /// What changed from the first stretch of strokes to the last; empty where there is one stretch only.
    pub shifts: Vec<Shift>,
    /// `[column]`: fatigue-weighted cycles of all recordings together; one at the column's share of the rating counts 1.
    pub weighted_cycles: Vec<f64>,
}

/// What was found in one recording.
#[derive(Debug, Clone, Serialize)]
pub struct RecordingHealth {
    /// The file.
    pub recording: String,
    /// Strokes with a load.
    pub strokes: usize,
    /// Readings a second; none where the recording does not tell time.
    pub sample_hz: Option<f64>,
    /// Whether that comes from strokes a minute and crank angle and not from a clock.
    pub by_speed: bool,
    /// Strokes kept for the ringing, spread evenly.
    pub strokes_kept: usize,
    /// Strokes not used as their readings are not evenly spaced in time.
    pub strokes_uneven: u64,
    /// Where strokes ring freely; none where they do not.
    pub free_part: Option<FreePart>,
    /// The whole recording's ringing: columns, then the total where there are several.
    pub ringing: Vec<Ringing>,
    /// The recording in one or two parts.
    pub parts: Vec<PartHealth>,
    /// `[column]`: fatigue-weighted cycles.
    pub weighted_cycles: Vec<f64>,
    /// For the picture.
    #[serde(skip)]
    pub(crate) shown: Vec<Shape>,
}

/// Where strokes ring freely.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct FreePart {
    /// Beginning.
    pub from: f64,
    /// End.
    pub to: f64,
    /// `deg` of the crank, or `s` since the load last fell through half its peak.
    pub unit: &'static str,
}

impl FreePart {
    /// Its unit in words.
    #[must_use]
    pub fn words(&self) -> &'static str {
        if self.unit == "deg" {
            "degrees of the crank"
        } else {
            "s after the load fell through half its peak"
        }
    }

    pub(super) fn decimals(&self) -> usize {
        if self.unit == "deg" { 1 } else { 5 }
    }
}

/// Ringing of a column or of the total.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Ringing {
    /// Column, or `total`.
    pub channel: String,
    /// Oscillations, the strongest first.
    pub modes: Vec<Found>,
    /// Why there are none.
    pub not_enough: Option<&'static str>,
}

/// A stretch of strokes.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PartHealth {
    /// First stroke.
    pub first_stroke: u64,
    /// Last stroke.
    pub last_stroke: u64,
    /// Strokes.
    pub strokes: usize,
    /// Ringing, as of the whole recording.
    pub ringing: Vec<Ringing>,
    /// `[column]`: unloaded level at the start of the recorded part.
    pub zero_kn: Vec<Level>,
    /// `[column]`: share of the total at its peak, per cent.
    pub share_percent: Vec<Level>,
}

/// A middle of strokes with its standard error.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Level {
    /// Median.
    pub value: f64,
    /// Its standard error, from the strokes' robust scatter.
    pub error: f64,
}

/// A channel as it is drawn.
#[derive(Debug, Clone, Default)]
pub(crate) struct Shape {
    /// Frequencies, Hz, and amplitudes there, kN.
    pub(crate) spectrum: [Vec<f64>; 2],
    /// Seconds since the free part began, loads of one stroke about their level and their envelope, kN.
    pub(crate) decay: [Vec<f64>; 3],
}

/// Examines recordings of a press in order of time.
///
/// # Errors
/// [`JudgeError`] for a bad recording or one of another press.
pub fn examine(
    recordings: &[&Path],
    card: &PressCard,
    wanted: Wanted,
    shown: Shown<'_>,
) -> Result<FrameHealth, JudgeError> {
    let columns = card.spec.columns.count();
    let recordings: Vec<RecordingHealth> =
        recordings.iter().map(|path| one(path, card, wanted, &mut *shown)).collect::<Result<_, _>>()?;
    let cycles = |column: usize| recordings.iter().filter_map(|of| of.weighted_cycles.get(column)).sum();
    let names = card.spec.columns.names();
    let parts: Vec<&PartHealth> = recordings.iter().flat_map(|of| &of.parts).collect();
    let shifts = match parts.as_slice() {
        [first, .., last] => shifts(first, last, names),
        _ => Vec::new(),
    };
    Ok(FrameHealth {
        shifts,
        press: card.name.clone(),
        columns: names.to_vec(),
        column_rated_kn: card.spec.rated_kn / columns as f64,
        weighted_cycles: (0..columns).map(cycles).collect(),
        recordings,
    })
}

fn clock(header: &Header) -> Clock {
    if header.has_time {
        Clock::Time
    } else if header.has_speed && header.has_angle {
        Clock::Speed
    } else {
        Clock::None
    }
}

fn one(
    path: &Path,
    card: &PressCard,
    wanted: Wanted,
    shown: Shown<'_>,
) -> Result<RecordingHealth, JudgeError> {
    let (columns, rated_kn) = (card.spec.columns.count(), card.spec.rated_kn);
    let mut gathered = None;
    let mut cycles = Vec::new();
    let begin = |header: &Header, rate| {
        let calibration = card.calibration.as_ref().filter(|_| header.unit == Unit::Counts);
        let gatherer = Gatherer::new(columns, rated_kn, clock(header), header.has_angle);
        Ok((Session::new(card, header, rate)?, gatherer, calibration, clock(header), header.has_angle))
    };
    stream::<_, JudgeError>(
        path,
        card,
        begin,
        shown,
        |(session, gatherer, calibration, clock, by_angle), row| {
            let Some(row) = row else {
                gatherer.close();
                let _ = session.close();
                cycles = session.weighted_cycles();
                let empty = Gatherer::new(columns, rated_kn, *clock, *by_angle);
                gathered = Some((std::mem::replace(gatherer, empty), *clock, *by_angle));
                return Ok(false);
            };
            let loads = calibration.map_or(row.loads, |calibration| calibration.loads(&row.loads));
            gatherer.row(&crate::recording::Row { loads, ..*row });
            Ok(session.row(row).is_some())
        },
    )?;
    let (gatherer, clock, by_angle) = gathered
        .unwrap_or_else(|| (Gatherer::new(columns, rated_kn, Clock::None, false), Clock::None, false));
    let name = path.file_name().map_or_else(String::new, |name| name.to_string_lossy().into_owned());
    Ok(health(name, gatherer, clock, by_angle, card, wanted, cycles))
}

fn health(
    recording: String,
    gathered: Gatherer,
    clock: Clock,
    by_angle: bool,
    card: &PressCard,
    wanted: Wanted,
    weighted_cycles: Vec<f64>,
) -> RecordingHealth {
    let columns = card.spec.columns.count();
    let rates = gathered.tails.iter().map(|(_, hz)| *hz);
    let hz = median(&rates.collect::<Vec<_>>());
    let tails: Vec<Tail> = gathered.tails.into_iter().map(|(tail, _)| tail).collect();
    let reading = reading(&tails, hz, columns, [wanted.from, wanted.to]);
    let studies = |tails: &[Tail]| studies(tails, columns, reading.as_ref(), card.spec.rated_kn);
    let whole = studies(&tails);
    let halves = if tails.len() >= TO_HALVE { 2 } else { 1 };
    let strokes = gathered.resting.len();
    let parts = (0..halves)
        .filter_map(|half| {
            let resting = gathered.resting.get(half * strokes / halves..(half + 1) * strokes / halves)?;
            let (first, last) = (resting.first()?, resting.last()?);
            let own = |tail: &&Tail| (first.stroke..=last.stroke).contains(&tail.stroke);
            let own: Vec<Tail> = tails.iter().filter(own).cloned().collect();
            let ringing = if halves == 1 { named(&whole, card) } else { named(&studies(&own), card) };
            Some(part(resting, ringing, columns))
        })
        .collect();
    RecordingHealth {
        recording,
        strokes,
        sample_hz: (!tails.is_empty()).then_some(hz),
        by_speed: clock == Clock::Speed,
        strokes_kept: tails.len(),
        strokes_uneven: gathered.uneven,
        free_part: reading.map(|Reading { part: Between { from, to }, .. }| FreePart {
            from,
            to,
            unit: if by_angle { "deg" } else { "s" },
        }),
        ringing: named(&whole, card),
        parts,
        weighted_cycles,
        shown: whole.iter().map(shape).collect(),
    }
}

fn studies(tails: &[Tail], columns: usize, reading: Option<&Reading>, rated_kn: f64) -> Vec<ChannelStudy> {
    let of = |channel: Channel| {
        let rated = if channel == Channel::Total { rated_kn } else { rated_kn / columns as f64 };
        match reading {
            Some(reading) => study(tails, channel, reading, rated),
            None => ChannelStudy::none(channel),
        }
    };
    channels(columns).into_iter().map(of).collect()
}

fn named(studies: &[ChannelStudy], card: &PressCard) -> Vec<Ringing> {
    let name = |channel: Channel| match channel {
        Channel::Column(column) => card.spec.columns.names().get(column).copied().unwrap_or("total"),
        Channel::Total => "total",
    };
    let of = |study: &ChannelStudy| {
        let channel = name(study.channel).to_owned();
        match &study.modes {
            Ok(modes) => Ringing { channel, modes: modes.clone(), not_enough: None },
            Err(why) => Ringing { channel, modes: Vec::new(), not_enough: Some(why.says()) },
        }
    };
    studies.iter().map(of).collect()
}

fn part(resting: &[Resting], ringing: Vec<Ringing>, columns: usize) -> PartHealth {
    let level = |of: &dyn Fn(&Resting) -> f64| {
        let values: Vec<f64> = resting.iter().map(of).collect();
        let value = median(&values);
        let off: Vec<f64> = values.iter().map(|own| (own - value).abs()).collect();
        // A median's standard error is 1.2533 that of a mean; 1.4826 turns a median deviation into a standard one.
        let error = 1.2533 * 1.4826 * median(&off) / f64::sqrt(resting.len().max(1) as f64);
        Level { value, error }
    };
    PartHealth {
        first_stroke: resting.first().map_or(0, |of| of.stroke),
        last_stroke: resting.last().map_or(0, |of| of.stroke),
        strokes: resting.len(),
        ringing,
        zero_kn: (0..columns).map(|column| level(&|of| of.zero_kn[column])).collect(),
        share_percent: (0..columns).map(|column| level(&|of| 100.0 * of.share[column])).collect(),
    }
}

/// A channel as it is drawn.
fn shape(study: &ChannelStudy) -> Shape {
    let spectrum = study.lines.as_ref().map_or_else(Default::default, |lines| {
        [(0..lines.amplitude.len()).map(|n| n as f64 * lines.step_hz).collect(), lines.amplitude.clone()]
    });
    let decay = study.sample.as_ref().map_or_else(Default::default, |sample| {
        let time = (0..sample.load_kn.len()).map(|n| n as f64 / sample.hz).collect();
        [time, sample.load_kn.clone(), sample.envelope_kn.clone()]
    });
    Shape { spectrum, decay }
}
