//! Where a stroke's load is free vibration: after the last fast unloading, when nothing forces the frame any more.
//!
//! A part of the stroke is free where a few decaying oscillations on a slowly bending level explain it down to its noise,
//! everywhere in it alike. A cut that cracks, a pad that lifts off or friction that still grips inside the part leaves
//! more than noise at its own place, however the oscillations are chosen. So parts that begin later and later are tried
//! on several strokes at once; of those that are free, the one that tells the decay best is taken: it begins right
//! after the last unloading.

use nalgebra::DMatrix;

use super::refine::{Fit, Records, refine};
use super::subspace::{Pole, poles};
use super::tail::{Between, Channel, Tail};

/// Beginnings that are tried, and halvings of the step between the last that is forced and the first that is free.
const BEGINNINGS: usize = 40;
const HALVINGS: usize = 3;
/// Pieces of a part that must each be explained.
const PIECES: usize = 8;
/// What a piece may leave of the noise.
const OVER_NOISE: f64 = 1.35;
/// And of the ringing's own size: hardly anything; or, where no part is that straight, what joints leave that give way
/// a little more at larger swings.
pub(super) const OF_RINGING: [f64; 2] = [0.01, 0.05];
/// The shortest piece looked at, at the beginning, is this part of a period; so much later a free part begins than
/// the first reading that may be free, as no unloading is sudden.
const ONSET: f64 = 0.25;
/// Relative error of a decay below which it is one: mains hum does not decay.
const CLEAR: f64 = 0.15;
/// Periods of the slowest oscillation: fewest to tell one by, most that are looked at.
const FEWEST_PERIODS: f64 = 2.0;
const MOST_PERIODS: f64 = 30.0;
/// Directions of the signal subspace: three oscillations, and two for the level.
const RANK: usize = 8;
/// Oscillations kept at most.
const MOST_OSCILLATIONS: usize = 3;

/// Oscillations that can be told in `records`, the strongest first: the subspace's poles, one after the other as long as
/// each explains more than its numbers would by chance (Schwarz's criterion, 1978, from memory).
pub(super) fn oscillations(records: &Records, raw: &[&[f64]]) -> Option<Fit> {
    let length = records.length() as f64;
    let slowest = std::f64::consts::TAU * FEWEST_PERIODS / length;
    let mut found: Option<Fit> = None;
    // Half of the noise lies in a wide subspace: what is told by a narrow one as well is looked at first.
    for rank in [RANK, RANK + 4] {
        let candidates: Vec<Pole> = poles(raw, rank)
            .into_iter()
            // Slower is the level's bend; a decay faster than a third of critical leaves nothing to count.
            .filter(|pole| {
                pole.turn > slowest && pole.turn < 2.0 && pole.decay > -1.0 / length && pole.decay < pole.turn
            })
            .collect();
        for pole in by_size(records, &candidates) {
            let mut start: Vec<Pole> = found.as_ref().map_or_else(Vec::new, |fit| fit.poles.clone());
            if start.len() >= MOST_OSCILLATIONS || start.iter().any(|own| near(own, &pole)) {
                continue;
            }
            start.push(pole);
            let Some(fit) =
                refine(records, &start).filter(|fit| fit.poles.iter().all(|pole| sane(pole, slowest)))
            else {
                continue;
            };
            let values = (records.length() * records.count()) as f64;
            let unknowns = 2.0 + 2.0 * records.count() as f64;
            let before = found.as_ref().map_or_else(|| records.without_level(), |fit| fit.left);
            let gain = values * (before / fit.left.max(f64::MIN_POSITIVE)).ln();
            if gain > unknowns * values.ln() {
                found = Some(fit);
            }
        }
    }
    found
}

fn sane(pole: &Pole, slowest: f64) -> bool {
    pole.turn > slowest && pole.turn < 2.5 && pole.decay > 0.0 && pole.decay < pole.turn
}

fn near(a: &Pole, b: &Pole) -> bool {
    (a.turn - b.turn).abs() < 0.5 * (a.decay.abs() + b.decay.abs()) * 0.5 + 1e-3 * a.turn
}

/// Poles by the energy that each has in the records, the strongest first.
fn by_size(records: &Records, candidates: &[Pole]) -> Vec<Pole> {
    let Some(parts) = records.parts(candidates) else { return candidates.to_vec() };
    let energy = |k: usize| {
        let decay = candidates[k].decay.max(0.5 / records.length() as f64);
        parts.rows(2 * k, 2).norm_squared() / decay
    };
    let mut order: Vec<usize> = (0..candidates.len()).collect();
    order.sort_by(|a, b| energy(*b).total_cmp(&energy(*a)));
    order.into_iter().map(|k| candidates[k]).collect()
}

/// Whether a fit explains every piece of its records down to the noise; the first quarter of a period is a piece too.
pub(super) fn explains(fit: &Fit, records: &Records, noise: f64, of_ringing: f64) -> bool {
    let (rest, whole) = (fit.rest(records), records.level_free());
    let length = records.length();
    let turn = fit.poles.first().map_or(1.0, |pole| pole.turn);
    let onset = ((ONSET * std::f64::consts::TAU / turn).ceil() as usize).clamp(2, length);
    let size = |part: &DMatrix<f64>, from: usize, to: usize| {
        let rows = part.rows(from, to - from);
        f64::sqrt(rows.norm_squared() / rows.len().max(1) as f64)
    };
    let ringing = size(&whole, 0, length / PIECES);
    let pieces = (0..PIECES).map(|piece| (piece * length / PIECES, (piece + 1) * length / PIECES));
    pieces
        .chain([(0, onset)])
        .all(|(from, to)| size(&rest, from, to) < OVER_NOISE * noise + of_ringing * ringing)
}

/// Noise of a channel in these strokes, root mean square.
pub(super) fn noise(tails: &[&Tail], channel: Channel, every: usize) -> f64 {
    f64::sqrt(super::mean(tails.iter().map(|tail| tail.noise(channel, every).powi(2))))
}

/// A free part and its oscillations.
#[derive(Debug, Clone)]
pub(super) struct Free {
    pub(super) part: Between,
    pub(super) fit: Fit,
}

impl Free {
    /// Relative error of the surest decay.
    fn doubt(&self) -> f64 {
        let own = self.fit.poles.iter().zip(&self.fit.errors);
        own.map(|(pole, error)| error[1] / pole.decay).fold(f64::INFINITY, f64::min)
    }
}

/// How a free part is looked for.
#[derive(Debug, Clone, Copy)]
pub(super) struct Search {
    /// Where.
    pub(super) within: Between,
    /// Readings averaged into one.
    pub(super) every: usize,
    /// Distance of two such readings, in the unit of the places.
    pub(super) places: f64,
    /// Period of the strongest oscillation, likewise.
    pub(super) period: f64,
    /// One of [`OF_RINGING`].
    pub(super) of_ringing: f64,
}

/// The free part of strokes as a channel shows it; none where no part rings freely.
pub(super) fn free(tails: &[&Tail], channel: Channel, search: &Search) -> Option<Free> {
    let Search { within, every, places, period, of_ringing } = *search;
    let noise = noise(tails, channel, every);
    let step = (within.to - within.from) / BEGINNINGS as f64;
    let tried = |from: f64| {
        let part = Between { from, to: within.to.min(from + MOST_PERIODS * period) };
        let raw: Vec<Vec<f64>> = tails.iter().map(|tail| tail.record(channel, part, every)).collect();
        let raw: Vec<&[f64]> = raw.iter().map(Vec::as_slice).collect();
        let records = Records::new(&raw);
        let fit = oscillations(&records, &raw)?;
        let free = explains(&fit, &records, noise, of_ringing);
        Some((free, Free { part, fit }))
    };
    // From the end backwards, as long as it is free or nothing rings.
    let mut best: Option<Free> = None;
    let mut failed = 0;
    for n in (0..BEGINNINGS).rev() {
        match tried(within.from + n as f64 * step) {
            Some((true, free)) if free.doubt() < CLEAR => {
                best = surer(best, free);
                failed = 0;
            }
            Some((false, _)) if best.is_some() => {
                failed += 1;
                if failed > 1 {
                    break;
                }
            }
            _ => {}
        }
    }
    let mut best = (1..=HALVINGS).fold(best, |best, halving| {
        let earlier = best.as_ref().map(|free| free.part.from - step * 0.5_f64.powi(halving as i32));
        match earlier.filter(|from| *from >= within.from).and_then(tried) {
            Some((true, free)) if free.doubt() < CLEAR => surer(best, free),
            _ => best,
        }
    })?;
    let sizes = best.fit.poles.iter().enumerate().map(|(k, pole)| (best.fit.amplitude(k), pole.turn));
    let (_, turn) = sizes.max_by(|a, b| a.0.total_cmp(&b.0))?;
    best.part.from += ONSET * std::f64::consts::TAU / turn * places;
    Some(best)
}

/// Whichever tells its decay better: earlier is stronger, but what takes a part's forced beginning for oscillations
/// has to set several of them against each other, and is sure of none.
fn surer(best: Option<Free>, other: Free) -> Option<Free> {
    match best {
        Some(best) if best.doubt() <= other.doubt() => Some(best),
        _ => Some(other),
    }
}
