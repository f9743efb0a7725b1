//! An invented learned shape that uses every part of the judge.
//!
//! Nothing was learned here: factors, directions and tangents are orthonormal because each lives on bins of its
//! own. What it says of a stroke means nothing; that both sides say the same of it, and what it costs, does.

use bolster_core::press::Columns;
use bolster_core::shape::ShapeModel;
use bolster_core::shape::field::Field;
use bolster_core::shape::model::{ALLOWED, Direction, FACTORS, STATISTICS, TANGENTS, WINDOWS};
use bolster_core::signature::Layout;
use bolster_core::stroke::StrokeSource;

use super::BINS;
use crate::feed::Header;

/// Least and greatest place of the bins: degrees, or ticks from load onset.
const BY_ANGLE: [f32; 2] = [100.0, 240.0];
const BY_TICK: [f32; 2] = [0.0, 400.0];

/// A field of unit length on every `count`th bin from `first`.
fn comb<const N: usize>(first: usize, count: usize) -> Field<N, BINS> {
    let teeth = (BINS - first).div_ceil(count) * N;
    let height = 1.0 / libm::sqrtf(teeth as f32);
    let mut field = [[0.0; N]; BINS];
    for bin in field.iter_mut().skip(first).step_by(count) {
        *bin = [height; N];
    }
    field
}

/// The model for a feed's press.
#[must_use]
pub fn invented<const N: usize>(header: &Header) -> Option<ShapeModel<N, BINS>> {
    let by_angle = header.source != StrokeSource::Load && header.press.columns != Columns::Total;
    let [from, to] = if by_angle { BY_ANGLE } else { BY_TICK };
    let layout = Layout::equal(by_angle, from, to).ok()?;
    let share = (header.press.rated_kn / N as f64) as f32;
    let mut reference = [[0.0; N]; BINS];
    for (n, bin) in reference.iter_mut().enumerate() {
        // A parabola over the bins, up to half the column's share.
        let along = (n as f32 + 0.5) / BINS as f32;
        *bin = [2.0 * share * along * (1.0 - along); N];
    }
    let sigma = 0.02 * share;
    let mut whitener = [[[[0.0; WINDOWS]; N]; WINDOWS]; N];
    for (column, rows) in whitener.iter_mut().enumerate() {
        for (window, row) in rows.iter_mut().enumerate() {
            if let Some(cell) = row.get_mut(column).and_then(|cells| cells.get_mut(window)) {
                *cell = 1.0;
            }
        }
    }
    Some(ShapeModel {
        layout,
        reference,
        per_sigma: [[1.0 / sigma; N]; BINS],
        factors: core::array::from_fn(|n| comb(n, 32)),
        per_spread: core::array::from_fn(|n| 1.0 / (1.0 + n as f32)),
        allowed: core::array::from_fn(|n| Direction {
            scores: core::array::from_fn(|m| if m == n { 0.6 } else { 0.0 }),
            field: comb::<N>(FACTORS + n, 32).map(|bin| bin.map(|value| 0.8 * value)),
        }),
        tangents: core::array::from_fn(|n| comb(FACTORS + ALLOWED + n, 32)),
        per_window: [[0.2; WINDOWS]; N],
        per_gain: [0.1; N],
        per_station: [0.1; WINDOWS],
        whitener,
        limits: [[12.0; STATISTICS], [24.0; STATISTICS]],
        medians: [1.0; STATISTICS],
        allowed_limit: 12.0,
        stock_range: 2.0,
        stock_widening: 1.5,
        reference_size: 0.3 * share / sigma * libm::sqrtf((BINS * N) as f32),
        repeat_limit: 4_000,
    })
}

const _: () = assert!(FACTORS + ALLOWED + TANGENTS <= 32, "every row of the model needs bins of its own");
