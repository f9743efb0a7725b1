//! The expected signature at other heights of the slide, where no plan of the job can say it better.

use bolster_core::crank::CrankSlider;
use bolster_core::press::Columns;

use super::grid::Grid;
use super::station::WholePress;

/// Below this share of the greatest the slide's rate is not divided by: near the bottom a height is any angle.
const LEAST_RATE: f64 = 0.03;
/// How far the slide is tried lower and higher, or tilted, and a sheet thicker, mm.
const LOWER_MM: [f64; 3] = [0.05, 0.15, 0.4];
const THICKER_MM: [f64; 4] = [0.3, 0.6, 1.2, 2.4];

/// Change of load by depth: dF/d(depth) is dF/dθ over |dh/dθ|, against it on the way up.
///
/// About the bottom the slide stands, and a slope that is averaged over both ways tells nothing: there it is drawn
/// straight from where the averages still lie on one way to where they lie on the other.
pub(super) fn by_depth(slopes: &[f64], grid: &Grid, count: usize, crank: &CrankSlider) -> Vec<f64> {
    let greatest = 0.5 * crank.stroke_mm();
    let rate = |place: f64| crank.rate_mm(place.to_radians());
    let mut all: Vec<f64> = slopes
        .iter()
        .enumerate()
        .map(|(n, slope)| {
            let place = grid.places.get(n / count).copied().unwrap_or(0.0);
            let rate = rate(place).max(LEAST_RATE * greatest).to_radians();
            if place < 180.0 { slope / rate } else { -slope / rate }
        })
        .collect();
    let one_way = |place: f64| (place - 180.0).abs() > grid.reach() && rate(place) >= LEAST_RATE * greatest;
    let before = grid.places.iter().rposition(|place| *place < 180.0 && one_way(*place));
    let after = grid.places.iter().position(|place| *place > 180.0 && one_way(*place));
    let Some(before) = before else { return all };
    let last = after.unwrap_or(grid.places.len());
    for n in before + 1..last {
        for column in 0..count {
            let at = |n: usize| all.get(n * count + column).copied();
            let Some(from) = at(before) else { continue };
            let to = after.and_then(at).unwrap_or(from);
            let share = (n - before) as f64 / (last - before) as f64;
            if let Some(value) = all.get_mut(n * count + column) {
                *value = from + share * (to - from);
            }
        }
    }
    all
}

/// Loads (averaged, columns side by side) with the slide lower by so many mm, or higher where that is negative: at each
/// height what was at the one below it on the same way; beyond the bottom by the change of load by depth there.
fn lowered(
    load: &[f64],
    by_depth: &[f64],
    grid: &Grid,
    count: usize,
    (crank, by_mm): (&CrankSlider, f64),
) -> Vec<f64> {
    let places = &grid.places;
    let last = places.len().saturating_sub(1);
    let mut out = Vec::with_capacity(load.len());
    for place in places {
        let height = crank.height_mm(place.to_radians()) - by_mm;
        let closing = crank.closing_radians_at(height.max(0.0)).to_degrees();
        let from = if *place < 180.0 { closing } else { 360.0 - closing };
        let after = places.partition_point(|other| *other < from).clamp(1, last.max(1));
        let (a, b) =
            (places.get(after - 1).copied().unwrap_or(from), places.get(after).copied().unwrap_or(from));
        // What lies outside the bins is as at their edge.
        let share = if b > a { ((from - a) / (b - a)).clamp(0.0, 1.0) } else { 0.0 };
        for column in 0..count {
            let at = |values: &[f64], n: usize| values.get(n * count + column).copied().unwrap_or(0.0);
            let there = at(load, after - 1) + share * (at(load, after) - at(load, after - 1));
            out.push(there + (-height).max(0.0) * at(by_depth, after - 1));
        }
    }
    out
}

/// What a slide that is lower, higher or tilted, and a thicker sheet, would change of these loads.
pub(super) fn whole_press(
    load: &[f64],
    by_depth: &[f64],
    grid: &Grid,
    columns: Columns,
    crank: &CrankSlider,
) -> WholePress {
    let count = columns.count();
    let lower = |by_mm: f64| -> Vec<f64> {
        let lowered = lowered(load, by_depth, grid, count, (crank, by_mm));
        lowered.iter().zip(load).map(|(lowered, load)| lowered - load).collect()
    };
    let mut out =
        WholePress { thicker: THICKER_MM.into_iter().map(lower).collect(), ..WholePress::default() };
    for by_mm in LOWER_MM {
        let (down, up) = (lower(by_mm), lower(-by_mm));
        // Each column's own loads at the height that its side then has.
        for (axis, sides) in [columns.side_x(), columns.side_y()].into_iter().enumerate() {
            for first in [true, false] {
                let tilted = down
                    .iter()
                    .zip(&up)
                    .zip(sides.iter().cycle())
                    .map(|((down, up), side)| if (*side > 0.0) == first { *down } else { *up });
                out.tilted.push((axis, first, tilted.collect()));
            }
        }
        out.height.push((true, down));
        out.height.push((false, up));
    }
    out
}
