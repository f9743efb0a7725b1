//! What the claims about the whole core share: an invented press, angles of a turn, and seeded chance.
#![allow(dead_code, reason = "every test is a crate of its own and uses a part of this")]

use bolster_core::frame::{CrankReading, Frame};
use bolster_core::press::{Columns, PressSpec};
use bolster_core::settings::PressSettings;
use bolster_core::stroke::StrokeSource;
use bolster_core::units::{CrankAngle, Tick};
use rand::SeedableRng as _;
use rand_chacha::ChaCha8Rng;

/// Half an ulp of 1 in f32: the greatest relative error of one rounding.
pub(crate) const ROUNDING: f64 = 1.0 / 16_777_216.0;

/// Units of [`CrankAngle`] to the turn.
pub(crate) const TURN: f64 = 4_294_967_296.0;

/// Chance from a seed; whoever uses it names the seed in every failure.
pub(crate) fn chance(seed: u64) -> ChaCha8Rng {
    ChaCha8Rng::seed_from_u64(seed)
}

/// An invented press of 1,000 kN.
pub(crate) fn press(columns: usize) -> PressSpec {
    PressSpec {
        columns: Columns::from_count(columns).unwrap(),
        rated_kn: 1000.0,
        rated_height_mm: 6.0,
        stroke_mm: 100.0,
        rod_mm: 500.0,
        speed_spm: [1000.0, 2000.0],
        bolster_mm: [1200.0, 800.0],
        usable_energy_kj: Some(3.0),
        reverse_percent: 10.0,
        column_percent: 110.0,
        imbalance_percent: 30.0,
        off_centre_percent: None,
    }
}

/// The angle of a share of the turn; whole turns are nothing.
pub(crate) fn share_of_turn(share: f64) -> CrankAngle {
    CrankAngle((share.rem_euclid(1.0) * TURN) as u64 as u32)
}

/// Kilonewtons a count: a power of two, so that loads of whole counts and their sums are exact in f32.
pub(crate) const KN_PER_COUNT: f32 = 1.0 / 1024.0;

/// Settings of [`press`] in which one frame holds one value: no low-pass, no spike guard.
pub(crate) fn sharp<const N: usize>(source: StrokeSource, sample_hz: f64) -> PressSettings<N> {
    let mut settings = PressSettings::<N>::usual(press(N), sample_hz, KN_PER_COUNT, source);
    settings.filter = None;
    settings.spike_jump_kn = f32::INFINITY;
    settings
}

/// Loads as a frame of [`sharp`] settings has them, and a crank that says this.
pub(crate) fn frame<const N: usize>(tick: u32, loads_kn: [f64; N], crank: CrankReading) -> Frame<N> {
    let counts = loads_kn.map(|load| (load / f64::from(KN_PER_COUNT)).round() as i32);
    Frame { tick: Tick(tick), counts, crank, sensors: 0 }
}
