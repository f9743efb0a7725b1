//! Coining, flattening, embossing, bottoming: pressure on an area near the bottom of the stroke.
//!
//! The strip yields at half the nominal pressure and hardens with the square of its reduction up to
//! `pressure_factor` tensile strengths at the nominal reduction, and on at the same law beyond: a slide set too
//! low climbs steeply. The shape is an assumption; pressures of three to five tensile strengths for coining and
//! about one for flattening are common practice, no source.

use super::Stock;
use crate::element::{Element, Law};
use crate::scenario::CoinData;

/// Elastic compression of tool and strip at the nominal load, mm.
const ELASTIC_MM: f64 = 0.05;

/// Load at the nominal reduction, kN.
#[must_use]
pub fn coining_kn(area_mm2: f64, pressure_factor: f64, tensile_mpa: f64) -> f64 {
    area_mm2 * pressure_factor * tensile_mpa / 1000.0
}

pub(super) fn element(
    station: usize,
    data: &CoinData,
    stock: &Stock,
    factor: f64,
    shape: [f64; 3],
) -> Element {
    let full = factor * coining_kn(data.area_mm2, data.pressure_factor, stock.tensile_mpa);
    let law = Law::Squeeze { yields: 0.5 * full, full, reduction: data.reduction_mm };
    let touch = data.touch_mm + stock.thickness_mm - stock.nominal_mm;
    Element::new(station, touch, shape, full / ELASTIC_MM, law)
}

/// A slug `height_mm` thick on a die that closes on the strip: squeezed flat like a coin, from its own height on.
pub(super) fn slug(station: usize, area_mm2: f64, height_mm: f64, stock: &Stock, shape: [f64; 3]) -> Element {
    let full = coining_kn(area_mm2, 3.0, stock.tensile_mpa);
    let law = Law::Squeeze { yields: 0.4 * full, full, reduction: 0.5 * height_mm };
    Element::new(station, height_mm, shape, full / ELASTIC_MM, law)
}
