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

/// Heights of the slide at the places of a grid, mm, and how many of them lie on the way down.
struct Heights {
    at: Vec<f64>,
    down: usize,
}

impl Heights {
    fn of(grid: &Grid, crank: &CrankSlider) -> Self {
        let at = grid.places.iter().map(|place| crank.height_mm(place.to_radians())).collect();
        Self { at, down: grid.places.partition_point(|place| *place < 180.0) }
    }

    /// Loads (averaged, columns side by side) with the slide lower by so many mm, or higher where that is negative:
    /// at each height what was at the one below it on the same way, beyond the bins as at their edge; beyond the
    /// bottom by the change of load by depth there.
    fn lowered(&self, load: &[f64], by_depth: &[f64], count: usize, by_mm: f64) -> Vec<f64> {
        let mut out = Vec::with_capacity(load.len());
        let (down, up) = self.at.split_at(self.down);
        for (n, height) in self.at.iter().enumerate() {
            let height = height - by_mm;
            // The first place of this way beyond that height: down they fall, up they rise.
            let (first, of, after) = if n < self.down {
                (0, down, down.partition_point(|other| *other > height))
            } else {
                (self.down, up, up.partition_point(|other| *other < height))
            };
            let after = after.min(of.len().saturating_sub(1));
            let before = after.saturating_sub(1);
            let share = match (of.get(before), of.get(after)) {
                (Some(a), Some(b)) if a != b => ((height - a) / (b - a)).clamp(0.0, 1.0),
                _ => 0.0,
            };
            for column in 0..count {
                let at = |values: &[f64], n: usize| {
                    values.get((first + n) * count + column).copied().unwrap_or(0.0)
                };
                let there = at(load, before) + share * (at(load, after) - at(load, before));
                out.push(there + (-height).max(0.0) * at(by_depth, before));
            }
        }
        out
    }
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
    let heights = Heights::of(grid, crank);
    let lower = |by_mm: f64| -> Vec<f64> {
        let lowered = heights.lowered(load, by_depth, count, by_mm);
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_lower_slide_meets_everything_higher_and_presses_harder_at_the_bottom() {
        // A spring of 10 kN/mm met 2 mm above the bottom, one column; 0.2 mm lower it gives 2 kN more wherever met.
        let crank = CrankSlider::new(100.0, 500.0).unwrap();
        let edges: Vec<f64> = (0..=120).map(|n| 120.0 + f64::from(n)).collect();
        let grid = Grid::new(&edges, 1, 0.1);
        let at = |lower_mm: f64, place: f64| {
            10.0 * (2.0 - (crank.height_mm(place.to_radians()) - lower_mm)).max(0.0)
        };
        let load: Vec<f64> = grid.places.iter().map(|place| at(0.0, *place)).collect();
        let slopes: Vec<f64> =
            grid.places.iter().map(|place| (at(0.0, place + 0.01) - at(0.0, place - 0.01)) / 0.02).collect();
        let depth = by_depth(&slopes, &grid, 1, &crank);
        let lowered = Heights::of(&grid, &crank).lowered(&load, &depth, 1, 0.2);
        for (place, lowered) in grid.places.iter().zip(&lowered) {
            let exact = at(0.2, *place);
            assert!((lowered - exact).abs() < 0.3, "{place}°: {lowered}, {exact} by the spring");
        }
    }
}
