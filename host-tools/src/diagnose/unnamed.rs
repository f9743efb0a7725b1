//! Where a change acts when no job names the stations: one force at one place of the die, its course left free.
//!
//! A force at a place is shared by the columns as the lever rule has it, the same from contact to release. So what
//! changed at one place alone is, over the stroke, one curve times one set of shares; what changed in several places,
//! or in a gauge alone, is not. The place is looked for whose shares leave least of the change unexplained.

use bolster_core::crank::CrankSlider;
use bolster_core::press::Columns;

use super::fit::{Change, Part, Sign};
use super::grid::Grid;
use super::place::corner;
use super::station::shares;

/// The place that one force would have to act at.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Spot {
    /// Right and front of the middle, mm; none across where the columns cannot tell.
    pub(super) at_mm: [f64; 2],
    /// Share of the change one force there explains, what its free course fits by chance taken off.
    pub(super) explained: f64,
    /// Share of the force's squares, on the way down, in which it is less than expected.
    pub(super) less: f64,
    /// Share of its squares, on the way down, where the load expected is falling: where tools let go.
    pub(super) releasing: f64,
    /// Share of its squares on the way up, where a die works nothing but is stripped.
    pub(super) returning: f64,
    /// Column or side it is nearest to; none near the middle.
    pub(super) corner: Option<&'static str>,
}

/// Steps of the search, as a share of half the plate: over all of it, then closer by halves.
const COARSE: f64 = 1.0;
const FINEST: f64 = 0.03;
/// Nearer to the middle than this share of half the plate no corner is named.
const MIDDLE: f64 = 0.15;
/// Below this share of the peak there is no load to speak of.
const LITTLE: f64 = 0.05;
/// Slide heights, mm, from which on something lying on the die may be pressed.
const CONTACTS_MM: [f64; 5] = [0.2, 0.5, 1.0, 2.0, 4.0];

/// Looks for the place; none without a change.
///
/// `loads` are those expected, averaged as the grid averages.
pub(super) fn spot(
    change: &Change,
    loads: &[f64],
    grid: &Grid,
    (columns, plate_mm): (Columns, [f64; 2]),
) -> Option<Spot> {
    if change.size <= 0.0 {
        return None;
    }
    let names = columns.names();
    let free = [names.len() > 1, names.len() > 2];
    let shares_at =
        |[x, y]: [f64; 2]| shares(columns, plate_mm, x * 0.5 * plate_mm[0], y * 0.5 * plate_mm[1]);
    let explained = |at: [f64; 2]| change.along(&shares_at(at)).0;
    let mut best = ([0.0; 2], explained([0.0; 2]));
    let mut step = COARSE;
    while step >= FINEST {
        let around = best.0;
        for across in [-1.0, 0.0, 1.0] {
            for along in [-1.0, 0.0, 1.0] {
                let at = [around[0] + across * step, around[1] + along * step];
                let is_told = (free[0] || across == 0.0) && (free[1] || along == 0.0);
                if !is_told || at == around || at.iter().any(|place| place.abs() > 1.0) {
                    continue;
                }
                let here = explained(at);
                if here > best.1 {
                    best = (at, here);
                }
            }
        }
        step *= 0.5;
    }
    let (at, raw) = best;
    let at_mm = [at[0] * 0.5 * plate_mm[0], at[1] * 0.5 * plate_mm[1]];
    let course = change.along(&shares_at(at)).1;
    let falling = falling(loads, names.len());
    let (mut down, mut less, mut releasing, mut up) = (0.0, 0.0, 0.0, 0.0);
    for ((place, force), falls) in grid.places.iter().zip(&course).zip(falling) {
        let square = force * force;
        if *place <= 180.0 {
            down += square;
            less += if *force < 0.0 { square } else { 0.0 };
            releasing += if falls { square } else { 0.0 };
        } else {
            up += square;
        }
    }
    let share = |part: f64, of: f64| if of > 0.0 { part / of } else { 0.0 };
    // One free value in every so many columns: noise is explained by that share too (adjusted R²).
    let count = names.len() as f64;
    let adjusted = if names.len() > 1 { 1.0 - (1.0 - raw) * count / (count - 1.0) } else { raw };
    Some(Spot {
        at_mm,
        explained: adjusted.clamp(0.0, 1.0),
        less: share(less, down),
        releasing: share(releasing, down),
        returning: share(up, down + up),
        corner: named(at, || corner(columns, plate_mm, at_mm), names.len()),
    })
}

/// Where the total falls, by more than a tenth of its fastest fall.
fn falling(loads: &[f64], columns: usize) -> Vec<bool> {
    let totals: Vec<f64> = loads.chunks(columns.max(1)).map(|row| row.iter().sum()).collect();
    let slopes: Vec<f64> = (0..totals.len())
        .map(|n| {
            let at = |n: usize| totals.get(n).copied();
            at(n + 1).or(at(n)).unwrap_or(0.0) - n.checked_sub(1).and_then(at).or(at(n)).unwrap_or(0.0)
        })
        .collect();
    let fastest = slopes.iter().copied().fold(0.0, f64::min);
    slopes.iter().map(|slope| *slope < 0.1 * fastest).collect()
}

/// The side that a place in halves of the plate lies on, or its corner (or column) if on two; none near the middle.
fn named(
    [x, y]: [f64; 2],
    corner: impl Fn() -> Option<&'static str>,
    columns: usize,
) -> Option<&'static str> {
    let is_off = |place: f64| place.abs() >= MIDDLE;
    match (is_off(x), is_off(y)) {
        (true, true) => corner(),
        (true, false) if columns < 4 => corner(),
        (true, false) => Some(if x < 0.0 { "left" } else { "right" }),
        (false, true) => Some(if y < 0.0 { "rear" } else { "front" }),
        (false, false) => None,
    }
}

/// Where the load expected at the bottom acts, in halves of the plate; none where next to nothing is expected there.
pub(super) fn bottom_centre(loads: &[f64], grid: &Grid, columns: Columns) -> Option<[f64; 2]> {
    let count = columns.count();
    let totals = loads.chunks(count).map(|row| row.iter().sum::<f64>());
    let greatest = totals.fold(0.0, f64::max);
    let bottom = grid.places.iter().rposition(|place| *place <= 180.0)?;
    let row = loads.chunks(count).nth(bottom)?;
    let total: f64 = row.iter().sum();
    let centre =
        |arms: &[f32]| row.iter().zip(arms).map(|(load, arm)| load * f64::from(*arm)).sum::<f64>() / total;
    (total >= LITTLE * greatest && total > 0.0).then(|| [centre(columns.side_x()), centre(columns.side_y())])
}

/// How far apart a place and what [`at_bottom`] fitted are, in halves of the plate; none where the columns cannot tell.
pub(super) fn apart(centre: [f64; 2], amplitudes: &[f64]) -> Option<f64> {
    let (force, sides) = amplitudes.split_first()?;
    let squares = sides.iter().zip(centre).map(|(side, centre)| (side / force - centre).powi(2));
    (*force > 0.0 && !sides.is_empty()).then(|| squares.sum::<f64>().sqrt())
}

/// Load that tools give when they close on something that lies between them at one place: none before its height,
/// then in proportion to the depth.
pub(super) fn at_bottom(grid: &Grid, columns: Columns, crank: &CrankSlider) -> Vec<Vec<Part>> {
    let of_height = |contact_mm: f64| {
        let steps = 1_440;
        let points: Vec<(f64, Vec<f64>)> = (0..=steps)
            .map(|n| {
                let degrees = 360.0 * f64::from(n) / f64::from(steps);
                let depth = (contact_mm - crank.height_mm(degrees.to_radians())).max(0.0);
                (degrees, vec![depth; columns.names().len()])
            })
            .collect();
        let depth = grid.of_points(&points);
        let sides = |side: &'static [f32]| -> Vec<f64> {
            let sides = side.iter().cycle();
            depth.iter().zip(sides).map(|(depth, side)| depth * f64::from(*side)).collect()
        };
        let mut parts = vec![Part { values: depth.clone(), sign: Sign::Up }];
        for side in [columns.side_x(), columns.side_y()] {
            if side.iter().any(|side| *side != 0.0) {
                parts.push(Part { values: sides(side), sign: Sign::Free });
            }
        }
        parts
    };
    CONTACTS_MM.into_iter().map(of_height).collect()
}
