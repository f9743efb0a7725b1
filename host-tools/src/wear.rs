//! How a stroke's signature stands to the frozen reference of its die card, in the terms that wear shows in.
//!
//! A dull edge sinks deeper before the sheet cracks, rubs more on the walls and is gripped harder on the way back: it costs
//! work, and pull on the way up, that a stronger or thicker coil does not cost at the same load. So work and return are read
//! beside the load scale, which tells most of what the coil is and hardly moves with an edge. All three are linear in the
//! signature and taken against the reference as it was learnt: no baseline that follows the strokes has a part in them.
//! One dull station among many is a small part of all work. So work is read in overlapping windows along the stroke as well,
//! with how the load leans, left and right, front and rear: coils that differ in thickness or strength load stations, and
//! with them corners, unlike. What else was tried stands in `trend/README.md`.

use bolster_core::press::{Columns, PressSpec};
use bolster_core::shape::field::hat;
use bolster_core::shape::model::WINDOWS;
use serde::{Deserialize, Serialize};

use crate::card::die::{Axis, ShapeCard};

/// A stroke against the reference, in per cent.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct WearReading {
    /// Load scale: how much greater the whole signature is, of the reference.
    pub load_percent: f64,
    /// Work, of the reference's.
    pub work_percent: f64,
    /// Work on the way up (pull counts as work, push as work given back), of the reference's work.
    pub return_percent: f64,
    /// How much greater than the whole's load scale that of the right is, and that of the front, percent points; 0 where the press has no such columns. Null where an earlier version read the stroke.
    #[serde(default)]
    pub lean_percent: Option<[f64; 2]>,
    /// Work in windows along the stroke, which overlap and add up to all of it. Null where an earlier version read it.
    #[serde(default)]
    pub windows: Option<[WindowReading; WINDOWS]>,
}

/// Work in one window of the stroke.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct WindowReading {
    /// Its middle, degrees.
    pub at_deg: f64,
    /// Work in it more than the reference's there, in per cent of all the reference's work.
    pub work_percent: f64,
}

/// Readings before those of the windows: load scale, work, return, right less left, front less rear.
const WHOLE: usize = 5;

/// Takes readings of signatures.
#[derive(Debug, Clone)]
pub struct WearGauge {
    /// Weights of each value of a signature, reading after reading.
    weights: Vec<Vec<f64>>,
    /// Middles of the windows, degrees.
    middles: [f64; WINDOWS],
    reference: Vec<f64>,
}

impl WearGauge {
    /// Of a die's learnt shape on its press. None without crank angles, or where the reference does no work.
    #[must_use]
    pub fn new(spec: &PressSpec, shape: &ShapeCard) -> Option<Self> {
        let crank = spec.check().ok().filter(|_| shape.axis == Axis::CrankDegrees)?;
        let columns = spec.columns.count();
        let travel: Vec<f64> = shape
            .edges
            .windows(2)
            .map(|edges| match edges {
                [from, to] => crank.height_mm(from.to_radians()) - crank.height_mm(to.to_radians()),
                _ => 0.0,
            })
            .collect();
        let total: Vec<f64> = shape.reference.chunks(columns).map(|bin| bin.iter().sum()).collect();
        let bottom = shape.edges.windows(2).filter(|edges| edges.iter().sum::<f64>() < 360.0).count();
        let work: f64 = total.iter().zip(&travel).map(|(load, travel)| load * travel).sum();
        let size: f64 =
            shape.reference.iter().zip(&shape.sigma).map(|(load, sigma)| (load / sigma).powi(2)).sum();
        if !(work > 0.0 && size > 0.0) {
            return None;
        }
        let scale: Vec<f64> = shape
            .reference
            .iter()
            .zip(&shape.sigma)
            .map(|(load, sigma)| 100.0 * load / (sigma * sigma * size))
            .collect();
        let bins = total.len();
        let each = |share: &dyn Fn(usize) -> f64| {
            let weight = |(bin, travel): (usize, &f64)| {
                std::iter::repeat_n(100.0 * share(bin) * travel / work, columns)
            };
            travel.iter().enumerate().flat_map(weight).collect::<Vec<_>>()
        };
        let lean = |sides: &[f64]| {
            scale.iter().zip(sides.iter().cycle()).map(|(weight, side)| weight * side).collect::<Vec<_>>()
        };
        let (right, front): (&[f64], &[f64]) = match spec.columns {
            Columns::Total => (&[0.0], &[0.0]),
            Columns::LeftRight => (&[-1.0, 1.0], &[0.0]),
            Columns::Corners => (&[-1.0, 1.0, -1.0, 1.0], &[1.0, 1.0, -1.0, -1.0]),
        };
        let up = |bin: usize| f64::from(u8::from(bin >= bottom));
        let mut weights = vec![each(&|_| 1.0), each(&up), lean(right), lean(front)];
        weights.extend((0..WINDOWS).map(|n| each(&|bin| f64::from(hat(n, WINDOWS, bin, bins)))));
        weights.insert(0, scale);
        Some(Self {
            weights,
            middles: std::array::from_fn(|n| middle(&shape.edges, n)),
            reference: shape.reference.clone(),
        })
    }

    /// The reading of a signature: bin after bin, the columns of a bin side by side.
    #[must_use]
    pub fn read(&self, signature: &[f32]) -> WearReading {
        let mut sums = [0.0; WHOLE + WINDOWS];
        for (sum, weights) in sums.iter_mut().zip(&self.weights) {
            for ((weight, value), reference) in weights.iter().zip(signature).zip(&self.reference) {
                *sum += weight * (f64::from(*value) - reference);
            }
        }
        let [load_percent, work_percent, return_percent, right, front, windows @ ..] = sums;
        let mut middles = self.middles.into_iter();
        WearReading {
            load_percent,
            work_percent,
            return_percent,
            lean_percent: Some([right, front]),
            windows: Some(windows.map(|work_percent| WindowReading {
                at_deg: middles.next().unwrap_or(f64::NAN),
                work_percent,
            })),
        }
    }
}

/// Where the hat of a window is highest, degrees.
fn middle(edges: &[f64], window: usize) -> f64 {
    let middles: Vec<f64> = edges.windows(2).map(|edges| 0.5 * edges.iter().sum::<f64>()).collect();
    let along = window as f64 * middles.len().saturating_sub(1) as f64 / (WINDOWS - 1) as f64;
    let at = |bin: f64| middles.get(bin as usize).copied().unwrap_or(f64::NAN);
    at(along.floor()) + (at(along.ceil()) - at(along.floor())) * along.fract()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use bolster_core::press::Columns;

    fn spec() -> PressSpec {
        let text = include_str!("../../sample-signatures/presses/small-press.toml");
        crate::card::press::PressCard::parse(text, std::path::Path::new("small-press.toml")).unwrap().spec
    }

    /// A reference with two releases on the way down and a pull on the way up, one column.
    fn shape() -> ShapeCard {
        let edges: Vec<f64> = (0..=10).map(|n| 150.0 + 6.0 * f64::from(n)).collect();
        let reference = vec![0.0, 20.0, 40.0, 10.0, 30.0, 12.0, 5.0, -4.0, -4.0, 0.0];
        ShapeCard { edges, sigma: vec![0.5; reference.len()], reference, ..ShapeCard::blank() }
    }

    fn read(change: impl Fn(usize, f64) -> f64) -> WearReading {
        let shape = shape();
        assert_eq!(spec().columns, Columns::Total);
        let signature: Vec<f32> =
            shape.reference.iter().enumerate().map(|(n, load)| change(n, *load) as f32).collect();
        WearGauge::new(&spec(), &shape).unwrap().read(&signature)
    }

    #[test]
    fn the_reference_itself_reads_nought_and_a_greater_load_its_scale() {
        let same = read(|_, load| load);
        assert!(same.work_percent.abs() < 1e-9 && same.load_percent.abs() < 1e-9, "{same:?}");
        let greater = read(|_, load| 1.05 * load);
        // f32 holds seven digits of loads.
        assert!((greater.load_percent - 5.0).abs() < 1e-4 && (greater.work_percent - 5.0).abs() < 1e-4);
    }

    #[test]
    fn a_later_release_is_work_on_the_way_down_and_a_pull_is_return() {
        // The load after the first release (bin 3) holds on.
        let later = read(|n, load| if n == 3 { load + 10.0 } else { load });
        assert!(later.work_percent > 1.0 && later.return_percent == 0.0, "{later:?}");
        let pulled = read(|_, load| if load < 0.0 { load - 2.0 } else { load });
        assert!(pulled.return_percent > 0.1 && (pulled.return_percent - pulled.work_percent).abs() < 1e-9);
        // A reference of some 20 kN: 10 kN in one of its bins is a part of it, not several times as much.
        assert!(later.load_percent > 0.0 && later.load_percent < 20.0, "{later:?}");
    }

    #[test]
    fn windows_add_up_to_all_work_and_show_where_it_was_done() {
        let near = |n: usize| read(|bin, load| if bin == n { load + 5.0 } else { load });
        for bin in [1, 4, 8] {
            let reading = near(bin);
            let windows = reading.windows.unwrap();
            let sum: f64 = windows.iter().map(|window| window.work_percent).sum();
            assert!((sum - reading.work_percent).abs() < 1e-9, "{reading:?}");
            let most =
                windows.iter().max_by(|a, b| a.work_percent.abs().total_cmp(&b.work_percent.abs())).unwrap();
            // Bins of 6 degrees from 150 on, windows 1.8 bins apart: the nearest is not a whole window off.
            assert!((most.at_deg - (153.0 + 6.0 * bin as f64)).abs() < 10.8, "{bin}: {windows:?}");
            assert_eq!(reading.lean_percent, Some([0.0, 0.0]), "one column leans nowhere");
        }
    }

    #[test]
    fn a_load_that_leans_is_told_by_its_side() {
        let text = include_str!("../../sample-signatures/presses/five-station.toml");
        let spec = crate::card::press::PressCard::parse(text, std::path::Path::new("five-station.toml"))
            .unwrap()
            .spec;
        let shape = shape();
        let corners: Vec<f64> = shape.reference.iter().flat_map(|load| [*load; 4]).collect();
        let shape = ShapeCard { sigma: vec![0.5; corners.len()], reference: corners, ..shape };
        // 2 % more on the right, 1 % less in front.
        let sides = [0.98 * 0.99, 1.02 * 0.99, 0.98, 1.02];
        let signature: Vec<f32> =
            shape.reference.iter().zip(sides.iter().cycle()).map(|(load, by)| (load * by) as f32).collect();
        let [right, front] = WearGauge::new(&spec, &shape).unwrap().read(&signature).lean_percent.unwrap();
        // Halves of what the sides differ by: of one column's mean. Products of the two lean by up to 0.02 %.
        assert!((right - 2.0).abs() < 0.03 && (front + 0.5).abs() < 0.03, "{right} {front}");
    }

    #[test]
    fn without_angles_or_load_there_is_no_gauge() {
        let timed = ShapeCard { axis: Axis::MsFromOnset, ..shape() };
        assert!(WearGauge::new(&spec(), &timed).is_none());
        let idle = ShapeCard { reference: vec![0.0; 10], ..shape() };
        assert!(WearGauge::new(&spec(), &idle).is_none());
    }
}
