//! Where the bins of a die's signature lie: over its loaded part, narrow where the load changes fast.

use crate::session::BINS;

/// One reading on the bins' axis (degrees, or ms from onset): place and loads in channel order.
type Reading = (f64, [f64; 4]);
/// Readings of one stroke.
pub(super) type Readings = Vec<Reading>;

/// Points of the common axis on which the mean signature is drawn up.
const GRID: usize = 1024;
/// The loaded part is where the columns' mean loads reach this share of the greatest total.
const LOADED: f64 = 0.03;
/// It is widened by these shares of its width before and after.
const BEFORE: f64 = 0.08;
const AFTER: f64 = 0.05;
/// Strokes of a recorded part of the turn do not all end alike: this share of the common part is kept clear of.
const CLEAR: f64 = 0.01;
/// A bin is at least this many readings wide.
const LEAST_READINGS: f64 = 3.0;

/// Edges of at most [`BINS`] bins from a few strokes. None where nothing is loaded.
///
/// Half of the bins lie evenly over the loaded part, half by how much the mean signature changes there.
pub(super) fn edges(strokes: &[Readings]) -> Option<Vec<f64>> {
    let whole: Vec<&Readings> = strokes.iter().filter(|stroke| stroke.len() > 8).collect();
    let ends =
        |pick: fn(&Readings) -> Option<&Reading>| whole.iter().filter_map(move |s| pick(s)).map(|r| r.0);
    let from = ends(|s| s.first()).fold(f64::NEG_INFINITY, f64::max);
    let to = ends(|s| s.last()).fold(f64::INFINITY, f64::min);
    let to = to - CLEAR * (to - from);
    if whole.is_empty() || from >= to {
        return None;
    }
    let place = |n: usize| from + (to - from) * n as f64 / (GRID - 1) as f64;
    let mut mean = vec![[0.0; 4]; GRID];
    for stroke in &whole {
        let mut next = 0;
        for (n, mean) in mean.iter_mut().enumerate() {
            while next + 2 < stroke.len() && stroke.get(next + 1).is_some_and(|reading| reading.0 < place(n))
            {
                next += 1;
            }
            let (Some(a), Some(b)) = (stroke.get(next), stroke.get(next + 1)) else { continue };
            let share = if b.0 > a.0 { ((place(n) - a.0) / (b.0 - a.0)).clamp(0.0, 1.0) } else { 0.0 };
            for ((mean, a), b) in mean.iter_mut().zip(a.1).zip(b.1) {
                *mean += (a + share * (b - a)) / whole.len() as f64;
            }
        }
    }
    let smooth: Vec<[f64; 4]> = (0..GRID).map(|n| around(&mean, n)).collect();
    let peak = smooth.iter().map(|loads| loads.iter().sum::<f64>().abs()).fold(0.0, f64::max);
    let level = |loads: &[f64; 4]| loads.iter().map(|load| load.abs()).sum::<f64>();
    let first = smooth.iter().position(|loads| level(loads) > LOADED * peak)?;
    let last = smooth.iter().rposition(|loads| level(loads) > LOADED * peak)?;
    let width = place(last) - place(first);
    let (start, end) = ((place(first) - BEFORE * width).max(from), (place(last) + AFTER * width).min(to));
    if peak <= 0.0 || start >= end {
        return None;
    }
    let steps: Vec<(f64, f64)> = smooth
        .windows(2)
        .enumerate()
        .filter_map(|(n, pair)| match pair {
            [a, b] => Some((n, a.iter().zip(b).map(|(a, b)| (b - a).abs()).sum::<f64>())),
            _ => None,
        })
        .map(|(n, change)| {
            let middle = 0.5 * (place(n) + place(n + 1));
            if (start..=end).contains(&middle) { (1.0, change) } else { (0.0, 0.0) }
        })
        .collect();
    let inside: f64 = steps.iter().map(|step| step.0).sum();
    let change: f64 = steps.iter().map(|step| step.1).sum::<f64>().max(1e-12);
    let step = median_step(whole.first()?);
    let (mut edges, mut gathered, mut wanted) = (vec![start], 0.0, 1);
    for (n, (one, by)) in steps.iter().enumerate() {
        let density = 0.5 * one / inside + 0.5 * by / change;
        while wanted <= BINS && gathered + density >= wanted as f64 / BINS as f64 - 1e-12 && density > 0.0 {
            let share = (wanted as f64 / BINS as f64 - gathered) / density;
            let edge = place(n) + share.clamp(0.0, 1.0) * (place(n + 1) - place(n));
            wanted += 1;
            if edges.last().is_some_and(|last| edge - last >= LEAST_READINGS * step) {
                edges.push(edge);
            }
        }
        gathered += density;
    }
    // The last bin reaches to the end of the loaded part, also where an edge there came too soon after the one before.
    let grid_step = place(1) - place(0);
    if let Some(last) = edges.last_mut()
        && end - *last > grid_step
    {
        *last = end;
    }
    (edges.len() > 2).then_some(edges)
}

/// Mean over the nine points around one.
fn around(mean: &[[f64; 4]], n: usize) -> [f64; 4] {
    let mut sum = [0.0; 4];
    for offset in 0..9_usize {
        let at = (n + offset).saturating_sub(4).min(mean.len().saturating_sub(1));
        for (sum, value) in sum.iter_mut().zip(mean.get(at).copied().unwrap_or_default()) {
            *sum += value / 9.0;
        }
    }
    sum
}

fn median_step(stroke: &Readings) -> f64 {
    let mut steps: Vec<f64> = stroke
        .windows(2)
        .filter_map(|pair| match pair {
            [a, b] => Some(b.0 - a.0),
            _ => None,
        })
        .collect();
    super::median(&mut steps)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A stroke with a slow hump and a sudden drop at 165°.
    fn stroke() -> Readings {
        (0..1600)
            .map(|n| {
                let degrees = 100.0 + f64::from(n) * 0.1;
                let load = match degrees {
                    d if (150.0..165.0).contains(&d) => (d - 150.0) * 20.0,
                    d if (170.0..190.0).contains(&d) => {
                        200.0 * ((d - 170.0) / 20.0 * std::f64::consts::PI).sin()
                    }
                    _ => 0.0,
                };
                (degrees, [load, 0.5 * load, 0.0, 0.0])
            })
            .collect()
    }

    #[test]
    fn bins_cover_the_loaded_part_and_crowd_where_the_load_changes() {
        let edges = edges(&[stroke(), stroke()]).unwrap();
        assert!(edges.windows(2).all(|pair| pair[1] > pair[0]) && edges.len() <= BINS + 1);
        assert!(edges[0] > 140.0 && edges[0] < 150.0, "{}", edges[0]);
        assert!(*edges.last().unwrap() > 188.0 && *edges.last().unwrap() < 200.0);
        let within = |from: f64, to: f64| edges.iter().filter(|e| (from..to).contains(*e)).count();
        // Two degrees around the drop hold at least as many edges as the four quiet ones before the second hump.
        assert!(within(164.0, 166.0) >= within(166.0, 170.0), "{edges:?}");
    }

    #[test]
    fn a_load_that_ends_at_once_in_coarse_readings_is_covered_to_its_end() {
        // Readings every half degree; 300 kN to 172.8°, then nothing. Edges crowd at the drop and come too close there.
        let coarse: Readings = (0..360)
            .map(|n| {
                let degrees = 90.0 + 0.5 * f64::from(n);
                (degrees, [if (150.0..172.8).contains(&degrees) { 300.0 } else { 0.0 }, 0.0, 0.0, 0.0])
            })
            .collect();
        let edges = edges(&[coarse.clone(), coarse]).unwrap();
        assert!(edges.last().is_some_and(|last| *last > 173.0), "{edges:?}");
    }

    #[test]
    fn an_unloaded_stroke_has_no_bins() {
        let quiet: Readings = (0..500).map(|n| (f64::from(n), [0.0; 4])).collect();
        assert!(edges(&[quiet]).is_none());
        assert!(edges(&[]).is_none());
    }
}
