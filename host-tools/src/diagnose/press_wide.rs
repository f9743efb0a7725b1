//! Changes that are not at one station: at a column, in the frame, of the stock, of the crank's reading.

use bolster_core::crank::CrankSlider;
use bolster_core::press::Columns;

use super::by_height;
use super::fit::{Part, Sign};
use super::grid::Grid;
use super::station::{StationModel, Way, WholePress, shares};

/// What changed, where it is no station.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Wide {
    /// One gauge reads more or less of what it reads.
    GaugeGain(usize),
    /// One gauge reads a constant more or less.
    GaugeZero(usize),
    /// One column gives more than it did.
    SoftColumn(usize),
    /// One side closes earlier than the other: left-right (0) or front-rear (1).
    Tilted(usize),
    /// Columns differ more from one another than they did.
    Rocking,
    /// Everything comes at another crank angle, down and up alike.
    AngleOff,
    /// Everything is more or less than it was.
    Stronger,
    /// Contacts come at another slide height.
    Height,
    /// More of everything, and earlier.
    Thicker,
    /// Less at the first stations of the strip, as far as this one.
    Missing(usize),
    /// Less at cutting stations, more at forming ones.
    Misfed,
    /// Load near the bottom at a place that no job names.
    AtBottom,
}

/// A pattern over the whole press.
#[derive(Debug, Clone)]
pub(super) struct WidePattern {
    pub(super) what: Wide,
    pub(super) parts: Vec<Part>,
}

/// How far a misread crank is looked for, degrees.
const DISPLACEMENTS_DEG: [f64; 5] = [1.5, 3.0, 6.0, 12.0, 20.0];

/// Every pattern for strokes that were expected to look like `expected` (bin after bin, columns side by side).
///
/// A soft column's reasoning: the die's forces and their moments are held by the columns together. Where four hold
/// them, one more than statics needs, what a soft column gives up and its diagonal opposite with it, the other two
/// take over, total and moments unchanged. And the slide tilts towards it as its load rises, so that everything in
/// its share comes later: the total changes by −load · d(load)/d(depth) of that column.
///
/// Where the stations are known, what comes later or earlier, and by how much at its place, is summed over them;
/// without them the columns' own slopes stand in.
pub(super) fn patterns(
    expected: &[f64],
    grid: &Grid,
    (columns, bolster_mm): (Columns, [f64; 2]),
    crank: Option<&CrankSlider>,
    (stations, whole, lying): (&[StationModel], &WholePress, &[Vec<Part>]),
) -> Vec<WidePattern> {
    let count = columns.count();
    let summed = |weight: &dyn Fn(&StationModel, usize) -> f64| -> Option<Vec<f64>> {
        let size = stations.first()?.earlier.len();
        let mut sum = vec![0.0; size];
        for station in stations {
            for (n, (sum, earlier)) in sum.iter_mut().zip(&station.earlier).enumerate() {
                *sum += weight(station, n) * earlier;
            }
        }
        Some(sum)
    };
    let share = |station: &StationModel, column: usize| {
        let shares = shares(columns, bolster_mm, station.x_mm, station.y_mm);
        shares.get(column).copied().unwrap_or(1.0)
    };
    let load = grid.smoothed(expected);
    let slopes = grid.slopes(expected);
    let mut all = Vec::new();
    let mut add = |what: Wide, parts: Vec<(Vec<f64>, Sign)>| {
        let parts = parts.into_iter().map(|(values, sign)| Part { values, sign }).collect();
        all.push(WidePattern { what, parts });
    };
    let only = |values: &[f64], column: usize| -> Vec<f64> {
        values.iter().enumerate().map(|(n, v)| if n % count == column { *v } else { 0.0 }).collect()
    };
    let ones = vec![1.0; load.len()];
    let size_of_all = load.len();
    let by_depth: Option<Vec<f64>> = crank.map(|crank| by_height::by_depth(&slopes, grid, count, crank));
    for column in 0..count {
        add(Wide::GaugeGain(column), vec![(only(&load, column), Sign::Free)]);
        add(Wide::GaugeZero(column), vec![(only(&ones, column), Sign::Free)]);
    }
    let sides: Vec<(f64, f64)> =
        columns.side_x().iter().zip(columns.side_y()).map(|(x, y)| (f64::from(*x), f64::from(*y))).collect();
    let own = |n: usize, column: usize| load.get(n / count * count + column).copied().unwrap_or(0.0);
    for column in 0..count {
        let mut parts = Vec::new();
        if let (4, Some((x, y))) = (count, sides.get(column)) {
            let warp = (0..load.len()).map(|n| {
                let (a, b) = sides.get(n % count).copied().unwrap_or_default();
                // The soft column and its opposite lose, the others gain.
                -own(n, column).max(0.0) * (a * b * x * y)
            });
            parts.push((warp.collect(), Sign::Up));
        }
        if let Some(later) = summed(&|station, n| -own(n, column).max(0.0) * share(station, column)) {
            parts.push((later, Sign::Up));
        } else if let Some(by_depth) = &by_depth {
            let later = by_depth.iter().enumerate().map(|(n, slope)| -own(n, column).max(0.0) * slope);
            parts.push((only(&later.collect::<Vec<f64>>(), column), Sign::Up));
        }
        add(Wide::SoftColumn(column), parts);
    }
    if let Some(by_depth) = &by_depth {
        for axis in 0..2 {
            let side = |n: usize| {
                let (x, y) = sides.get(n % count).copied().unwrap_or_default();
                if axis == 0 { x } else { y }
            };
            if sides.iter().all(|(x, y)| if axis == 0 { *x == 0.0 } else { *y == 0.0 }) {
                continue;
            }
            let tilted = by_depth.iter().enumerate().map(|(n, slope)| side(n) * slope).collect();
            let place = |station: &StationModel| match (axis, bolster_mm) {
                (0, [width, _]) => 2.0 * station.x_mm / width,
                (_, [_, depth]) => 2.0 * station.y_mm / depth,
            };
            let tilted = summed(&|station, _| place(station)).unwrap_or(tilted);
            add(Wide::Tilted(axis), vec![(tilted, Sign::Free)]);
        }
        let height = summed(&|_, _| 1.0).unwrap_or_else(|| by_depth.clone());
        add(Wide::Height, vec![(height.clone(), Sign::Free)]);
        add(Wide::Thicker, vec![(height, Sign::Up), (load.clone(), Sign::Up)]);
    }
    // Without a plan the expected signature itself stands in, at the heights the slide then has.
    let from_signature = match (crank, &by_depth) {
        (Some(crank), Some(by_depth)) if stations.is_empty() => {
            Some(by_height::whole_press(&load, by_depth, grid, columns, crank))
        }
        _ => None,
    };
    let whole = from_signature.as_ref().unwrap_or(whole);
    // Of a finite size. Turned round where it is the other way, so that the sign tells.
    for thicker in &whole.thicker {
        let mut parts = vec![(thicker.clone(), Sign::Up)];
        if from_signature.is_some() {
            parts.push((load.clone(), Sign::Up));
        }
        add(Wide::Thicker, parts);
    }
    let turned = |lower: bool, values: &[f64]| {
        let (sign, by) = if lower { (Sign::Up, 1.0) } else { (Sign::Down, -1.0) };
        vec![(values.iter().map(|value| by * value).collect::<Vec<f64>>(), sign)]
    };
    for (lower, height) in &whole.height {
        add(Wide::Height, turned(*lower, height));
    }
    for (axis, first, tilted) in &whole.tilted {
        let level = sides.iter().all(|(x, y)| if *axis == 0 { *x == 0.0 } else { *y == 0.0 });
        if !level {
            add(Wide::Tilted(*axis), turned(*first, tilted));
        }
    }
    if count > 1 {
        let mean = |n: usize| (0..count).map(|column| own(n, column)).sum::<f64>() / count as f64;
        let rocking = load.iter().enumerate().map(|(n, load)| load - mean(n));
        add(Wide::Rocking, vec![(rocking.collect(), Sign::Up)]);
    }
    if crank.is_some() {
        add(Wide::AngleOff, vec![(slopes, Sign::Free)]);
        // Beyond a small angle a slope is no guide: the expected signature itself, moved.
        for degrees in DISPLACEMENTS_DEG.into_iter().flat_map(|degrees| [degrees, -degrees]) {
            let moved = grid.displaced(expected, degrees);
            let off = moved.iter().zip(&load).map(|(moved, load)| moved - load);
            add(Wide::AngleOff, vec![(off.collect(), Sign::Up)]);
        }
    }
    add(Wide::Stronger, vec![(load, Sign::Free)]);
    // Every station's own load, cutting and forming apart.
    let own_of =
        |station: &StationModel, way: Way| station.parts.get(way as usize).map(|part| part.values.clone());
    let mut cuts = vec![0.0; size_of_all];
    let mut forms = cuts.clone();
    let mut so_far = cuts.clone();
    for (n, station) in stations.iter().enumerate().filter(|(_, station)| station.works) {
        for (way, sum) in [(Way::OwnCut, &mut cuts), (Way::OwnForm, &mut forms)] {
            for ((sum, so_far), own) in
                sum.iter_mut().zip(&mut so_far).zip(own_of(station, way).unwrap_or_default())
            {
                *sum += own;
                *so_far += own;
            }
        }
        add(Wide::Missing(n), vec![(so_far.clone(), Sign::Down)]);
    }
    if !stations.is_empty() {
        add(Wide::Misfed, vec![(cuts, Sign::Down), (forms, Sign::Up)]);
    }
    all.extend(lying.iter().map(|parts| WidePattern { what: Wide::AtBottom, parts: parts.clone() }));
    all
}
