//! From tails to what a frame's ringing is, with its uncertainty, or why that cannot be told.

use serde::Serialize;

use super::decrement::crests;
use super::fourier::{Lines, lines};
use super::mode::Mode;
use super::refine::{Fit, Records, refine};
use super::span::{OF_RINGING, Search, explains, free, noise, oscillations};
use super::subspace::Pole;
use super::tail::{Between, Channel, Tail};
use super::{mean, median};

/// Strokes on which the free part is looked for.
const SCOUTS: usize = 12;
/// Strokes fitted together for one answer at most.
const MOST_STROKES: usize = 120;
/// Groups of strokes whose answers' scatter tells the uncertainty: as many as there are strokes, at most so many.
const GROUPS: usize = 12;
/// Readings a period of the fastest oscillation after averaging.
const PER_PERIOD: f64 = 14.0;
/// Readings a period below which a recording is too slow: the converter's averaging and what folds down from above
/// half the sample rate are then no longer small.
const SLOWEST_SAMPLING: f64 = 8.0;
/// Uncertainty (one standard error) up to which a frequency and a damping ratio are told: half of what a person may
/// expect of them, 1 % and 10 %.
const HZ_ERROR: f64 = 0.005;
const DAMPING_ERROR: f64 = 0.05;
/// Damping beyond which the ringing is over within a period and a half (1 % of its size left): no decay to measure.
const MOST_DAMPING: f64 = 0.25;
/// Smallest ringing told, share of the rating: below it quantised noise rings as well.
const LEAST_RINGING: f64 = 1e-4;
/// Ringing told beside a stronger one, share of its amplitude: a frame's frequency changes a little along the stroke, as
/// the crank takes part in the slide's motion, and what that leaves of the stronger one is no ringing of its own.
const BESIDE: f64 = 1.0 / 6.0;
/// How far a spectrum's crest may be off its oscillation to be taken for it: damping alone moves it by up to 2 % here.
const CREST: f64 = 0.03;
/// Time constants of the slowest oscillation that are looked at.
const TIME_CONSTANTS: f64 = 7.0;

/// One oscillation of a channel.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Found {
    /// Frequency and damping.
    #[serde(flatten)]
    pub mode: Mode,
    /// Standard error of the frequency, Hz: from the scatter of strokes, and from what a later beginning changes.
    pub hz_error: f64,
    /// Standard error of the damping ratio, likewise.
    pub damping_error: f64,
    /// Frequency without damping, Hz.
    pub natural_hz: f64,
    /// Amplitude where the free part begins, kN, root mean square over strokes.
    pub amplitude_kn: f64,
    /// Damping ratio by the logarithmic decrement of averaged crests, and its standard error; none where too few crests
    /// stand out of the noise.
    pub decrement_damping: Option<f64>,
    /// Its standard error.
    pub decrement_error: Option<f64>,
    /// Frequency of the spectrum's crest there, Hz.
    pub spectrum_hz: Option<f64>,
}

/// Why nothing is told of a channel.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum NotEnough {
    /// No part of the strokes is a decaying oscillation.
    NoFreeVibration,
    /// Fewer readings a period than can be relied on.
    SampledTooSlowly,
    /// It dies within its first periods.
    TooDamped,
    /// The answers scatter too much, or the ringing hardly leaves the noise.
    Unsure,
}

impl NotEnough {
    /// In words.
    #[must_use]
    pub fn says(self) -> &'static str {
        match self {
            Self::NoFreeVibration => "no part of the strokes is a free, decaying oscillation",
            Self::SampledTooSlowly => "sampled too slowly, fewer than 8 readings in a period",
            Self::TooDamped => "it dies away within its first periods",
            Self::Unsure => "the ringing is too small or strokes differ too much to be sure of it",
        }
    }
}

/// A channel's ringing.
#[derive(Debug, Clone)]
pub(super) struct ChannelStudy {
    pub(super) channel: Channel,
    /// The strongest first; or why there is none.
    pub(super) modes: Result<Vec<Found>, NotEnough>,
    /// Amplitude spectrum of the free part.
    pub(super) lines: Option<Lines>,
    /// The middle stroke's vibration about its level, kN.
    pub(super) sample: Option<Sample>,
}

/// One stroke's vibration.
#[derive(Debug, Clone)]
pub(super) struct Sample {
    /// Readings a second.
    pub(super) hz: f64,
    /// Load about its level, kN.
    pub(super) load_kn: Vec<f64>,
    /// Fitted envelope, kN.
    pub(super) envelope_kn: Vec<f64>,
}

impl ChannelStudy {
    /// Of a channel of strokes that do not ring freely.
    pub(super) fn none(channel: Channel) -> Self {
        Self { channel, modes: Err(NotEnough::NoFreeVibration), lines: None, sample: None }
    }
}

/// Where and how tails are read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Reading {
    /// The free part.
    pub(super) part: Between,
    /// Readings averaged into one.
    pub(super) every: usize,
    /// Readings a second of the recording.
    pub(super) hz: f64,
    /// What a fit may leave of the ringing's size: one of [`OF_RINGING`].
    pub(super) of_ringing: f64,
}

/// Finds the free part of a recording's strokes; `wanted` sets its beginning and end where a person says them.
pub(super) fn reading(tails: &[Tail], hz: f64, columns: usize, wanted: [Option<f64>; 2]) -> Option<Reading> {
    let scouts: Vec<&Tail> = spread(tails, SCOUTS);
    let of = |end: fn(&Tail) -> Option<f32>| -> Option<f64> {
        let places: Vec<f64> = scouts.iter().filter_map(|tail| end(tail).map(f64::from)).collect();
        (!places.is_empty()).then(|| median(&places))
    };
    let (first, last) = (of(|tail| tail.place.first().copied())?, of(|tail| tail.place.last().copied())?);
    let readings: f64 = mean(scouts.iter().map(|tail| tail.place.len() as f64));
    let whole = Between { from: wanted[0].unwrap_or(first), to: wanted[1].unwrap_or(last) };
    let channels = channels(columns);
    // Differences flatten the spectrum of the unloading itself and leave the ringing standing out of it.
    let differences: Vec<Vec<f64>> = scouts
        .iter()
        .flat_map(|tail| channels.iter().map(|channel| tail.record(*channel, whole, 1)))
        .map(|record| record.windows(2).map(|pair| pair[1] - pair[0]).collect())
        .collect();
    let spectrum = lines(differences.iter().map(Vec::as_slice).filter(|record| record.len() > 16), hz)?;
    let lowest = 2.0 * hz / readings;
    let crests = spectrum.peaks(lowest, 0.3);
    let strongest = *crests.first()?;
    let fastest = crests.iter().copied().fold(0.0, f64::max);
    let every = (hz / (PER_PERIOD * fastest)).max(1.0) as usize;
    let a_reading = (last - first) / readings;
    let period = hz / strongest * a_reading;
    let [straight, bent] = OF_RINGING;
    if wanted[0].is_some() {
        return Some(Reading { part: whole, every, hz, of_ringing: bent });
    }
    let places = every as f64 * a_reading;
    let search = |of_ringing| {
        let search = Search { within: whole, every, places, period, of_ringing };
        let channels = std::iter::once(Channel::Total).chain((0..columns).map(Channel::Column));
        channels.map(|channel| free(&scouts, channel, &search)).find_map(|found| Some((found?, of_ringing)))
    };
    let (found, of_ringing) = search(straight).or_else(|| search(bent))?;
    let slowest = found.fit.poles.iter().map(|pole| pole.decay).fold(f64::INFINITY, f64::min);
    let most = TIME_CONSTANTS / slowest * every as f64 * a_reading;
    let part = Between { to: found.part.to.min(found.part.from + most), ..found.part };
    Some(Reading { part, every, hz, of_ringing })
}

/// Columns, and the total where there are several.
pub(super) fn channels(columns: usize) -> Vec<Channel> {
    let own = (0..columns).map(Channel::Column);
    if columns > 1 { own.chain([Channel::Total]).collect() } else { own.collect() }
}

/// At most `most` of these, evenly spread.
fn spread(tails: &[Tail], most: usize) -> Vec<&Tail> {
    let count = tails.len().min(most);
    (0..count).filter_map(|n| tails.get(n * tails.len() / count)).collect()
}

/// A channel's ringing in these tails; `rated_kn` is what the channel may carry.
pub(super) fn study(tails: &[Tail], channel: Channel, reading: &Reading, rated_kn: f64) -> ChannelStudy {
    let tails = spread(tails, MOST_STROKES);
    let raw: Vec<Vec<f64>> =
        tails.iter().map(|tail| tail.record(channel, reading.part, reading.every)).collect();
    let usual = median(&raw.iter().map(|record| record.len() as f64).collect::<Vec<_>>());
    // A stroke that is shorter than nine tenths of the others would cut them all.
    let raw: Vec<&[f64]> =
        raw.iter().map(Vec::as_slice).filter(|record| record.len() as f64 > 0.9 * usual).collect();
    let hz = reading.hz / reading.every as f64;
    let records = Records::new(&raw);
    let level_free = records.level_free();
    let spectrum = lines(level_free.as_slice().chunks(records.length().max(1)), hz);
    let noise = noise(&tails, channel, reading.every);
    let told = modes(&raw, &records, noise, hz, reading, rated_kn, spectrum.as_ref());
    let sample = told.as_ref().ok().map(|(_, fit)| {
        let [load_kn, envelope_kn] = fit.ringing(&records, records.count() / 2);
        Sample { hz, load_kn, envelope_kn }
    });
    ChannelStudy { channel, modes: told.map(|(modes, _)| modes), lines: spectrum, sample }
}

/// One oscillation of a fit, as sure as it is.
struct Candidate {
    mode: Mode,
    hz_error: f64,
    damping_error: f64,
    refused: Option<NotEnough>,
}

fn modes(
    raw: &[&[f64]],
    records: &Records,
    noise: f64,
    hz: f64,
    reading: &Reading,
    rated_kn: f64,
    spectrum: Option<&Lines>,
) -> Result<(Vec<Found>, Fit), NotEnough> {
    let mut fit = oscillations(records, raw).ok_or(NotEnough::NoFreeVibration)?;
    let mut candidates = candidates(&fit, raw, hz, reading, rated_kn);
    // An oscillation that cannot be told may lean on one that can: without it, where the rest explains the records.
    while candidates.len() > 1
        && let Some(doubtful) = candidates.iter().rposition(|candidate| candidate.refused.is_some())
    {
        let mut poles = fit.poles.clone();
        poles.remove(doubtful);
        let Some(less) =
            refine(records, &poles).filter(|fit| explains(fit, records, noise, reading.of_ringing))
        else {
            break;
        };
        fit = less;
        candidates = self::candidates(&fit, raw, hz, reading, rated_kn);
    }
    if !explains(&fit, records, noise, reading.of_ringing) {
        return Err(NotEnough::NoFreeVibration);
    }
    let strongest = (0..candidates.len()).max_by(|a, b| fit.amplitude(*a).total_cmp(&fit.amplitude(*b)));
    let why = strongest.and_then(|k| candidates[k].refused);
    let mut found: Vec<Found> = candidates
        .iter()
        .enumerate()
        .filter(|(_, candidate)| candidate.refused.is_none())
        .map(|(k, candidate)| {
            let crests = crests(&fit, records, k);
            Found {
                mode: candidate.mode,
                hz_error: candidate.hz_error,
                damping_error: candidate.damping_error,
                natural_hz: candidate.mode.natural_hz(),
                amplitude_kn: fit.amplitude(k),
                decrement_damping: crests.as_ref().map(|crests| crests.damping()),
                decrement_error: crests.as_ref().map(|crests| crests.error / std::f64::consts::TAU),
                spectrum_hz: spectrum
                    .and_then(|lines| lines.near(candidate.mode.hz, CREST * candidate.mode.hz)),
            }
        })
        .collect();
    found.sort_by(|a, b| b.amplitude_kn.total_cmp(&a.amplitude_kn));
    if found.is_empty() { Err(why.unwrap_or(NotEnough::Unsure)) } else { Ok((found, fit)) }
}

/// The oscillations of a fit with their uncertainty, each with why it is not told where it is not.
fn candidates(fit: &Fit, raw: &[&[f64]], hz: f64, reading: &Reading, rated_kn: f64) -> Vec<Candidate> {
    let groups = raw.len().min(GROUPS);
    let answers: Vec<Vec<Pole>> = (0..groups)
        .filter_map(|group| {
            let own: Vec<&[f64]> = raw.iter().skip(group).step_by(groups).copied().collect();
            refine(&Records::new(&own), &fit.poles).map(|fit| fit.poles)
        })
        .collect();
    let later = begun_later(fit, raw);
    let one = |(k, pole): (usize, &Pole)| {
        let mode = of_pole(pole, hz);
        let (scatter, enough) = scatter(&answers, groups, k);
        let own = fit.errors.get(k).copied().unwrap_or([f64::INFINITY; 2]);
        let moved = later
            .as_ref()
            .and_then(|poles| poles.get(k))
            .map_or([f64::INFINITY; 2], |later| [later.turn - pole.turn, later.decay - pole.decay]);
        let error = |rate: usize| {
            scatter.map_or(own[rate], |scatter| scatter[rate].max(own[rate])).hypot(moved[rate])
        };
        let (turn, decay) = (error(0), error(1));
        let hz_error = turn * hz / std::f64::consts::TAU;
        let damping_error = mode.damping * f64::hypot(decay / pole.decay, turn / pole.turn);
        let sure = hz_error < HZ_ERROR * mode.hz && damping_error < DAMPING_ERROR * mode.damping;
        let refused = if reading.hz / mode.hz < SLOWEST_SAMPLING {
            Some(NotEnough::SampledTooSlowly)
        } else if mode.damping > MOST_DAMPING {
            Some(NotEnough::TooDamped)
        } else if fit.amplitude(k) < LEAST_RINGING * rated_kn
            || fit.amplitude(k) < BESIDE * fit.strongest()
            || !enough
            || !sure
        {
            Some(NotEnough::Unsure)
        } else {
            None
        };
        Candidate { mode, hz_error, damping_error, refused }
    };
    let mut all: Vec<Candidate> = fit.poles.iter().enumerate().map(one).collect();
    // Two under one crest: how much is whose depends on how exactly straight the decays are.
    for (k, candidate) in all.iter_mut().enumerate() {
        let (pole, size) = (fit.poles[k], fit.amplitude(k));
        let hidden = fit.poles.iter().enumerate().any(|(other, beside)| {
            other != k
                && fit.amplitude(other) >= size
                && (beside.turn - pole.turn).abs() < beside.decay + pole.decay
        });
        if hidden {
            candidate.refused = candidate.refused.or(Some(NotEnough::Unsure));
        }
    }
    all
}

fn of_pole(pole: &Pole, hz: f64) -> Mode {
    Mode::of_rates(pole.turn * hz / std::f64::consts::TAU, pole.decay * hz)
}

/// The oscillations from a beginning a quarter of the strongest one's period later: what is left of the unloading, or
/// another oscillation that dies sooner and is too small to be told, leans on them less there.
fn begun_later(fit: &Fit, raw: &[&[f64]]) -> Option<Vec<Pole>> {
    let strongest = (0..fit.poles.len()).max_by(|a, b| fit.amplitude(*a).total_cmp(&fit.amplitude(*b)))?;
    let quarter = (0.25 * std::f64::consts::TAU / fit.poles.get(strongest)?.turn).ceil() as usize;
    let later: Vec<&[f64]> = raw.iter().filter_map(|record| record.get(quarter..)).collect();
    refine(&Records::new(&later), &fit.poles).map(|fit| fit.poles)
}

/// Standard error of an oscillation's rates from the groups' answers, where there are three or more, and whether
/// most groups gave one.
fn scatter(answers: &[Vec<Pole>], groups: usize, oscillation: usize) -> (Option<[f64; 2]>, bool) {
    let enough = 3 * answers.len() >= 2 * groups;
    if answers.len() < 3 {
        return (None, enough);
    }
    let own: Vec<&Pole> = answers.iter().filter_map(|poles| poles.get(oscillation)).collect();
    let error = |of: fn(&Pole) -> f64| {
        let count = own.len() as f64;
        let middle = mean(own.iter().map(|pole| of(pole)));
        let square = own.iter().map(|pole| (of(pole) - middle).powi(2)).sum::<f64>() / (count - 1.0);
        f64::sqrt(square / count)
    };
    (Some([error(|pole| pole.turn), error(|pole| pole.decay)]), enough)
}
