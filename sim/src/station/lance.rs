//! Lancing: a tab is cut on its sides and bent down by the same punch.
//!
//! The cut is a piercing cut of the lanced length, the bend a wiping bend of the hinge length that follows once
//! the cut is through. Both loads follow the handbook forms of [`super::pierce`] and [`super::bend`]; taking the
//! wiping die's opening as six thicknesses is an assumption.

use super::bend::bending_kn;
use super::{StationChange, Stock, pierce};
use crate::element::{Element, Law};
use crate::scenario::{BendKind, LanceData, PierceData};

/// Opening of the forming edge, thicknesses.
const OPENING: f64 = 6.0;

pub(super) fn elements(
    station: usize,
    data: &LanceData,
    stock: &Stock,
    change: &StationChange,
    shape: [f64; 3],
    out: &mut Vec<Element>,
) {
    let t = stock.thickness_mm;
    let cut = PierceData {
        perimeter_mm: data.cut_mm,
        punches: 1,
        // A piercing punch's entry is counted from the strip's underside.
        entry_mm: (data.height_mm - stock.nominal_mm).max(0.0),
        stagger_mm: 0.0,
        shear_mm: 0.0,
        clearance_percent: 8.0,
        stripping_percent: 5.0,
        dullness: 0.0,
    };
    pierce::elements(station, &cut, stock, change, shape, out);
    let factor = change.presence * change.load * change.forming;
    let peak = factor * bending_kn(BendKind::Wipe, data.bend_mm, OPENING * t, t, stock.tensile_mpa);
    // The tab bends when the punch has gone half a thickness in.
    let touch = cut.entry_mm + 0.5 * t;
    out.push(Element::new(station, touch, shape, peak / 0.2, Law::Bend { peak, travel: touch }));
}
