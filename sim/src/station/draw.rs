//! Drawing a cup from a round blank.
//!
//! Peak load π·Dp·t·Rm·(Db/Dp − 0.7); blank-holder load 0.015·Y·π·(Db² − (Dp + 2.2·t + 2·Rd)²) (Groover's forms,
//! from memory). The first exceeds the wall's strength π·Dp·t·Rm for Db/Dp above 1.7: such cups tear, and the
//! load is capped there. The holder works as a cushion from the moment the blank is touched.
//! The course over depth is an assumption. Left out: ironing, redrawing, wrinkles.

use super::Stock;
use crate::element::{Element, Law};
use crate::scenario::DrawData;
use core::f64::consts::PI;

/// Drawing load, kN, not capped.
#[must_use]
pub fn drawing_kn(punch_mm: f64, blank_mm: f64, thickness_mm: f64, tensile_mpa: f64) -> f64 {
    PI * punch_mm * thickness_mm * tensile_mpa * (blank_mm / punch_mm - 0.7) / 1000.0
}

/// The wall's strength, kN.
#[must_use]
pub fn wall_kn(punch_mm: f64, thickness_mm: f64, tensile_mpa: f64) -> f64 {
    PI * punch_mm * thickness_mm * tensile_mpa / 1000.0
}

/// Blank-holder load, kN.
#[must_use]
pub fn holding_kn(
    punch_mm: f64,
    blank_mm: f64,
    thickness_mm: f64,
    die_radius_mm: f64,
    yield_mpa: f64,
) -> f64 {
    let inner = punch_mm + 2.2 * thickness_mm + 2.0 * die_radius_mm;
    0.015 * yield_mpa * PI * (blank_mm * blank_mm - inner * inner) / 1000.0
}

/// Elastic travel to the peak load, mm.
const ELASTIC_MM: f64 = 0.3;

/// How much a cushion's load rises over the depth; an assumption (gas springs, large volume).
const CUSHION_RISE: f64 = 0.15;
/// Share of the cushion's load lost to its guides on the way back.
const CUSHION_LOSS: f64 = 0.05;

pub(super) fn elements(
    station: usize,
    data: &DrawData,
    stock: &Stock,
    factor: f64,
    shape: [f64; 3],
    out: &mut Vec<Element>,
) {
    let t = stock.thickness_mm;
    let wanted = drawing_kn(data.punch_mm, data.blank_mm, t, stock.tensile_mpa);
    let peak = factor * stock.friction.sqrt() * wanted.min(wall_kn(data.punch_mm, t, stock.tensile_mpa));
    let law = Law::Draw { peak, depth: data.depth_mm };
    let touch = data.depth_mm + t - stock.nominal_mm;
    out.push(Element::new(station, touch, shape, peak / ELASTIC_MM, law));
    let hold = holding_kn(data.punch_mm, data.blank_mm, t, data.die_radius_mm, stock.yield_mpa);
    if data.holder && hold > 0.0 {
        let law = Law::Pad { preload: hold, rate: CUSHION_RISE * hold / data.depth_mm, loss: CUSHION_LOSS };
        // The holder meets the blank just before the punch does, and is pushed down with it.
        out.push(Element::new(station, touch + 0.5, shape, hold / 0.1, law));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn drawing_and_holding_loads_follow_worked_examples() {
        // Dp 75, Db 138, t 2.4, Rm 300 → 193 396.444 N (a textbook prints 193 396 N); Y 175, Rd 6 →
        // 86 824.366 N (prints 86 824 N). source: Groover worked example (from memory), computed.
        let draw = drawing_kn(75.0, 138.0, 2.4, 300.0);
        let hold = holding_kn(75.0, 138.0, 2.4, 6.0, 175.0);
        let wall = wall_kn(75.0, 2.4, 300.0);
        assert!((draw - 193.396_444).abs() < 1e-6, "{draw}");
        assert!((hold - 86.824_366).abs() < 1e-6, "{hold}");
        assert!((wall - 169.646_003).abs() < 1e-6, "{wall}");
        assert!(wall < draw, "a ratio of 1.84 asks more than the wall can carry");
    }
}
