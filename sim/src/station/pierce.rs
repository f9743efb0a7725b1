//! Piercing and blanking.
//!
//! Cutting load = length of cut × thickness × shear strength (handbook formula). The punch sinks in by the
//! material's penetration until the sheet cracks, the crack runs through, friction on the cut walls trails, and
//! on the way back the sheet holds the punch until it is stripped. Stagger and shear spread the cut over height:
//! each slice of the edge is a contact of its own.
//!
//! Assumptions, marked so because no source with numbers was read: a dull edge (dullness 1) raises the peak by
//! 12 %, the penetration by half, wall friction threefold and stripping two and a half fold; clearance below 8 %
//! of thickness raises load by 1 % and penetration by 3 % a percent. Valid for clearances of 2 to 20 %.
//! Left out: temperature, strain rate, the slug's bending on sheared punches.

use super::{StationChange, Stock};
use crate::element::{Element, Law};
use crate::scenario::PierceData;

/// Cutting load, kN: length of cut (mm) × thickness (mm) × shear strength (MPa).
#[must_use]
pub fn cutting_kn(perimeter_mm: f64, thickness_mm: f64, shear_mpa: f64) -> f64 {
    perimeter_mm * thickness_mm * shear_mpa / 1000.0
}

/// Groups of punches of different length at most, and slices of a sheared edge.
const GROUPS: u32 = 6;
const SLICES: u32 = 8;

pub(super) fn elements(
    station: usize,
    data: &PierceData,
    stock: &Stock,
    change: &StationChange,
    shape: [f64; 3],
    out: &mut Vec<Element>,
) {
    let t = stock.thickness_mm;
    let dull = (data.dullness + change.dullness).min(1.5);
    let tight = 8.0 - data.clearance_percent;
    let edge = change.edge * change.presence;
    let sharp = cutting_kn(data.perimeter_mm * edge, t, stock.shear_mpa) * change.load;
    let peak = sharp * (1.0 + 0.12 * dull) * (1.0 + 0.01 * tight.max(0.0)) * (1.0 + 0.1 * change.packed);
    if peak <= 0.0 {
        return;
    }
    let fracture = stock.material.penetration
        * stock.penetration
        * t
        * (1.0 + 0.5 * dull)
        * (1.0 + 0.03 * tight).clamp(0.7, 1.3);
    let elastic = 0.03 + 0.02 * t;
    // The crack must not fall more steeply than the contact itself unloads.
    let crack = (stock.material.crack * t * (1.0 + dull)).max(1.2 * elastic);
    let trail = sharp * (0.05 * (1.0 + 2.0 * dull) * stock.friction + 0.5 * change.packed);
    let strip = sharp * data.stripping_percent / 100.0 * (1.0 + 1.5 * dull) * stock.friction;

    let groups = if data.stagger_mm > 0.0 { data.punches.clamp(1, GROUPS) } else { 1 };
    let slices = if data.shear_mm > 0.0 { SLICES } else { 1 };
    let share = 1.0 / f64::from(groups * slices);
    for group in 0..groups {
        let short = if groups > 1 { data.stagger_mm * f64::from(group) / f64::from(groups - 1) } else { 0.0 };
        for slice in 0..slices {
            let late = data.shear_mm * (f64::from(slice) + 0.5) / f64::from(slices);
            let late = if slices > 1 { late } else { 0.0 };
            let law = Law::Shear {
                peak: peak * share,
                fracture,
                crack,
                trail: trail * share,
                fade: 1.0 / t,
                strip: strip * share,
            };
            let touch = data.entry_mm + t - short - late;
            out.push(Element::new(station, touch, shape, peak * share / elastic, law));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use bolster_core::units::KN_PER_US_TONF;
    use core::f64::consts::PI;

    #[test]
    fn cutting_load_follows_worked_examples() {
        // source: computed; the second is a textbook example that prints 467 469 N (from memory).
        let rows = [
            (100.0, 2.0, 280.0, 175.929_189),
            (150.0, 3.2, 310.0, 467.468_987),
            (25.0, 3.2, 450.0, 113.097_336),
        ];
        for (diameter, t, shear, kn) in rows {
            let found = cutting_kn(PI * diameter, t, shear);
            assert!((found - kn).abs() < 1e-6, "Ø{diameter}: {found}");
        }
    }

    #[test]
    fn cutting_load_follows_the_published_hole_chart() {
        // Mild steel at 50 000 psi, US tons; source: a shop chart at metalworking-machinery.com (read).
        // The chart prints one decimal and lies within 1 % of the formula.
        let inch = 25.4;
        let shear_mpa = 50.0 * 6.894_757_293;
        let rows = [
            (1.0, 0.060, 4.7),
            (1.0, 0.105, 8.3),
            (1.0, 0.120, 9.4),
            (1.0, 0.187, 14.8),
            (1.0, 0.250, 19.8),
            (2.0, 0.060, 9.4),
            (2.0, 0.105, 16.4),
            (2.0, 0.120, 18.8),
            (2.0, 0.187, 29.5),
            (2.0, 0.250, 39.3),
        ];
        for (diameter, t, tons) in rows {
            let found = cutting_kn(PI * diameter * inch, t * inch, shear_mpa) / KN_PER_US_TONF;
            assert!((found / tons - 1.0).abs() < 0.01, "Ø{diameter} × {t}: {found} against {tons}");
        }
    }
}
