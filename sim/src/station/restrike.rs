//! Restriking: a bend is struck again near the bottom to sharpen its radius or set its angle.
//!
//! The load is flattening pressure, 1.5 tensile strengths (common practice, no source), on a band as wide as
//! half the struck radius plus half a thickness.

use super::Stock;
use super::coin::coining_kn;
use crate::element::{Element, Law};
use crate::scenario::RestrikeData;

/// Pressure, tensile strengths.
const PRESSURE: f64 = 1.5;

/// Load at the full strike, kN.
#[must_use]
pub fn restriking_kn(length_mm: f64, radius_mm: f64, thickness_mm: f64, tensile_mpa: f64) -> f64 {
    coining_kn(length_mm * 0.5 * (radius_mm + thickness_mm), PRESSURE, tensile_mpa)
}

pub(super) fn element(
    station: usize,
    data: &RestrikeData,
    stock: &Stock,
    factor: f64,
    shape: [f64; 3],
) -> Element {
    let t = stock.thickness_mm;
    let full = factor * restriking_kn(data.length_mm, data.radius_mm, t, stock.tensile_mpa);
    let law = Law::Squeeze { yields: 0.4 * full, full, reduction: 0.1 * t };
    Element::new(station, data.touch_mm + t - stock.nominal_mm, shape, full / 0.06, law)
}
