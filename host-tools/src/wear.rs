//! How a stroke's signature stands to the frozen reference of its die card, in the terms that wear shows in.
//!
//! A dull edge sinks deeper before the sheet cracks, rubs more on the walls and is gripped harder on the way back: it costs
//! work, and pull on the way up, that a stronger or thicker coil does not cost at the same load. So work and return are read
//! beside the load scale, which tells most of what the coil is and hardly moves with an edge. All three are linear in the
//! signature and taken against the reference as it was learnt: no baseline that follows the strokes has a part in them.
//! What else was tried stands in `trend/README.md`.

use bolster_core::press::PressSpec;
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
}

/// Takes readings of signatures.
#[derive(Debug, Clone)]
pub struct WearGauge {
    /// Weights of each value of a signature: load scale, work, return.
    weights: [Vec<f64>; 3],
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
        let scale = shape
            .reference
            .iter()
            .zip(&shape.sigma)
            .map(|(load, sigma)| 100.0 * load / (sigma * sigma * size));
        let over = |bins: std::ops::Range<usize>| {
            let weight = |(bin, travel): (usize, &f64)| {
                let weight = if bins.contains(&bin) { 100.0 * travel / work } else { 0.0 };
                std::iter::repeat_n(weight, columns)
            };
            travel.iter().enumerate().flat_map(weight).collect::<Vec<_>>()
        };
        let bins = total.len();
        Some(Self {
            weights: [scale.collect(), over(0..bins), over(bottom..bins)],
            reference: shape.reference.clone(),
        })
    }

    /// The reading of a signature: bin after bin, the columns of a bin side by side.
    #[must_use]
    pub fn read(&self, signature: &[f32]) -> WearReading {
        let mut sums = [0.0; 3];
        for (sum, weights) in sums.iter_mut().zip(&self.weights) {
            for ((weight, value), reference) in weights.iter().zip(signature).zip(&self.reference) {
                *sum += weight * (f64::from(*value) - reference);
            }
        }
        let [load_percent, work_percent, return_percent] = sums;
        WearReading { load_percent, work_percent, return_percent }
    }
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
    fn without_angles_or_load_there_is_no_gauge() {
        let timed = ShapeCard { axis: Axis::MsFromOnset, ..shape() };
        assert!(WearGauge::new(&spec(), &timed).is_none());
        let idle = ShapeCard { reference: vec![0.0; 10], ..shape() };
        assert!(WearGauge::new(&spec(), &idle).is_none());
    }
}
