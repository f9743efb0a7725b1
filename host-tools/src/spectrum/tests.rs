//! Strokes made from formulas: what must be told of their ringing, and what must not.

use std::f64::consts::{PI, TAU};

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng as _, SeedableRng as _};

use super::decrement::crests;
use super::gather::{Clock, Gatherer};
use super::mode::{Mode, damping_of_decrement};
use super::refine::{Records, refine};
use super::study::{Found, NotEnough, Reading, reading, study};
use super::subspace::Pole;
use super::tail::{Channel, Tail};
use crate::recording::Row;

/// Seed of all chance in this file.
const SEED: u64 = 61;
/// Rating of the press of these strokes, kN.
const RATED: f64 = 1000.0;
/// When the die lets go, s since the stroke's first reading.
const RELEASE: f64 = 0.25;

/// A normal number, by twelve uniform ones.
fn normal(random: &mut ChaCha8Rng) -> f64 {
    (0..12).map(|_| f64::from(random.next_u32()) / 4_294_967_296.0).sum::<f64>() - 6.0
}

/// Tails of strokes whose load is `load(time, stroke)` with noise of this size, kN.
fn tails(strokes: u64, hz: f64, seconds: f64, noise: f64, load: impl Fn(f64, f64) -> f64) -> Vec<Tail> {
    let mut random = ChaCha8Rng::seed_from_u64(SEED);
    let mut gatherer = Gatherer::new(1, RATED, Clock::Time, false);
    for stroke in 0..strokes {
        for n in 0..(seconds * hz) as u64 {
            let time = n as f64 / hz;
            let load = load(time, stroke as f64) + noise * normal(&mut random);
            let loads = [load, 0.0, 0.0, 0.0];
            gatherer.row(&Row { stroke, time_s: stroke as f64 * 2.0 + time, loads, ..Row::default() });
        }
    }
    gatherer.close();
    gatherer.tails.into_iter().map(|(tail, _)| tail).collect()
}

/// The die's work: up, a peak, and down to what a pad still presses with, `left` kN, at the release.
fn work(time: f64, left: f64) -> f64 {
    let hump = if (0.1..0.2).contains(&time) { 600.0 * ((time - 0.1) / 0.1 * PI).sin().powi(2) } else { 0.0 };
    if (0.15..RELEASE).contains(&time) { hump.max(left) } else { hump }
}

/// A stroke whose die lets go of `left` kN at once: from then on each mode rings with its share of it.
fn ringing(time: f64, left: f64, modes: &[(Mode, f64)]) -> f64 {
    let since = time - RELEASE;
    if since < 0.0 {
        return work(time, left);
    }
    let ring = |(mode, share): &(Mode, f64)| {
        share * left * (-mode.decay_per_s() * since).exp() * (TAU * mode.hz * since).cos()
    };
    modes.iter().map(ring).sum()
}

/// Ringing of these tails, and where it was read.
fn told(tails: &[Tail], hz: f64) -> (Option<Reading>, Result<Vec<Found>, NotEnough>) {
    let reading = reading(tails, hz, 1, [None; 2]);
    let modes = match &reading {
        Some(reading) => study(tails, Channel::Column(0), reading, RATED).modes,
        None => Err(NotEnough::NoFreeVibration),
    };
    (reading, modes)
}

#[test]
fn decrements_of_textbook_decays_are_read_off_their_crests() {
    // 10 to 6 in one period, 10 to 2 in five: the examples of `mode`, as signals of 40 readings a period.
    for (from, to, periods) in [(10.0_f64, 6.0, 1.0), (10.0, 2.0, 5.0)] {
        let decrement = f64::ln(from / to) / periods;
        let (turn, decay) = (TAU / 40.0, decrement / 40.0);
        let record: Vec<f64> =
            (0..240).map(|n| from * (-decay * f64::from(n)).exp() * (turn * f64::from(n)).cos()).collect();
        let records = Records::new(&[&record]);
        let fit = refine(&records, &[Pole { turn: 1.02 * turn, decay: 0.9 * decay }]).unwrap();
        let found = crests(&fit, &records, 0).unwrap();
        // A parabola through three of 40 readings a period misses a crest by up to 2e-4 of it.
        assert!((found.decrement / decrement - 1.0).abs() < 2e-3, "{found:?}, not {decrement}");
        assert!((found.damping() / damping_of_decrement(decrement) - 1.0).abs() < 2e-3);
        // The fit itself has no such loss; the level's terms take digits.
        assert!((fit.poles[0].decay / decay - 1.0).abs() < 1e-6, "{:?}", fit.poles);
        assert!((fit.poles[0].turn / turn - 1.0).abs() < 1e-6, "{:?}", fit.poles);
    }
}

#[test]
fn fitted_rates_are_unbiased_and_scatter_by_their_stated_errors() {
    let mut random = ChaCha8Rng::seed_from_u64(SEED);
    let truth = Pole { turn: 0.3, decay: 0.02 };
    let (mut sums, mut squares, count) = ([0.0; 2], [0.0; 2], 300);
    for _ in 0..count {
        let record = |random: &mut ChaCha8Rng, phase: f64| -> Vec<f64> {
            (0..200)
                .map(|n| {
                    let t = f64::from(n);
                    2.0 + 0.01 * t
                        + (-truth.decay * t).exp() * (truth.turn * t + phase).cos()
                        + 0.1 * normal(random)
                })
                .collect()
        };
        let (one, other) = (record(&mut random, 0.3), record(&mut random, 2.0));
        let records = Records::new(&[&one, &other]);
        let fit = refine(&records, &[Pole { turn: 0.31, decay: 0.03 }]).unwrap();
        let off = [fit.poles[0].turn - truth.turn, fit.poles[0].decay - truth.decay];
        for rate in 0..2 {
            let own = off[rate] / fit.errors[0][rate];
            sums[rate] += own;
            squares[rate] += own * own;
        }
    }
    for rate in 0..2 {
        // The mean of 300 standard numbers lies within 0.2 in all but one of 2000 cases, their variance within 0.3.
        let (mean, variance) = (sums[rate] / f64::from(count), squares[rate] / f64::from(count));
        assert!(mean.abs() < 0.2 && (variance - 1.0).abs() < 0.3, "seed {SEED}: {mean} {variance}");
    }
}

#[test]
fn one_or_two_modes_are_told_and_the_part_before_the_release_is_left_out() {
    let slow = Mode { hz: 90.0, damping: 0.05 };
    let fast = Mode { hz: 150.0, damping: 0.08 };
    for modes in [vec![(slow, 1.0)], vec![(slow, 0.7), (fast, 0.3)]] {
        let tails = tails(12, 5000.0, 0.45, 0.4, |time, stroke| ringing(time, 40.0 + 0.2 * stroke, &modes));
        let (reading, found) = told(&tails, 5000.0);
        // Places count from where the load fell through half its peak last, 0.175 s.
        let from = reading.unwrap().part.from + 0.175;
        assert!((RELEASE..RELEASE + 1.0 / slow.hz).contains(&from), "begins at {from}");
        let found = found.unwrap();
        assert_eq!(found.len(), modes.len(), "seed {SEED}: {found:?}");
        for (found, (mode, _)) in found.iter().zip(&modes) {
            assert!((found.mode.hz / mode.hz - 1.0).abs() < 0.01, "seed {SEED}: {found:?}, not {mode:?}");
            assert!(
                (found.mode.damping / mode.damping - 1.0).abs() < 0.1,
                "seed {SEED}: {found:?}, not {mode:?}"
            );
            let by_crests = found.decrement_damping.unwrap();
            assert!((by_crests / mode.damping - 1.0).abs() < 0.15, "seed {SEED}: {found:?}, not {mode:?}");
        }
        let crest = found[0].spectrum_hz.unwrap();
        assert!((crest / slow.hz - 1.0).abs() < 0.02, "{crest}");
    }
}

#[test]
fn strokes_that_do_not_ring_freely_are_given_no_frequency() {
    let hum = |time: f64| 2.0 * (TAU * 50.0 * time).sin();
    let creep = |time: f64| {
        if time < RELEASE { work(time, 40.0) } else { 40.0 * (-(time - RELEASE) / 0.03).exp() }
    };
    // A slow release, as of a hydraulic press; a load that creeps down; one that never comes down.
    let silent = |name: &str, load: &dyn Fn(f64) -> f64| {
        for noise in [0.0, 0.4] {
            let tails = tails(12, 5000.0, 0.45, noise, |time, _| load(time));
            let (_, found) = told(&tails, 5000.0);
            assert!(found.is_err(), "seed {SEED}, {name}, noise {noise}: {found:?}");
        }
    };
    silent("slow release", &|time| work(time, 0.0));
    silent("creep", &creep);
    silent("recorded under load", &|time| work(time, 0.0) + 300.0 * (time / 0.45));
    let tails = tails(12, 5000.0, 0.45, 0.4, |time, stroke| work(time, 0.0) + hum(time + 0.0137 * stroke));
    let (_, found) = told(&tails, 5000.0);
    assert!(found.is_err(), "seed {SEED}, hum: {found:?}");
}

#[test]
fn ringing_that_dies_at_once_is_small_or_is_sampled_too_slowly_is_not_told() {
    for damping in [0.3, 0.5, 0.8] {
        let mode = Mode { hz: 90.0, damping };
        let tails = tails(12, 5000.0, 0.45, 0.4, |time, _| ringing(time, 40.0, &[(mode, 1.0)]));
        let (_, found) = told(&tails, 5000.0);
        assert!(found.is_err(), "seed {SEED}, {damping}: {found:?}");
    }
    let mode = Mode { hz: 90.0, damping: 0.05 };
    let small = tails(12, 5000.0, 0.45, 0.4, |time, _| ringing(time, 0.4, &[(mode, 1.0)]));
    let (_, found) = told(&small, 5000.0);
    assert!(found.is_err(), "seed {SEED}: {found:?}");
    let slow = tails(12, 600.0, 0.6, 0.4, |time, _| ringing(time, 40.0, &[(mode, 1.0)]));
    let (_, found) = told(&slow, 600.0);
    assert!(found.is_err(), "seed {SEED}: {found:?}");
}
