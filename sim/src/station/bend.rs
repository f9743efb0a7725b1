//! Bending in a V die, over an edge, and in air.
//!
//! Peak load K·Rm·w·t²/D with K = 1.33 in a V die and 0.33 over an edge (Groover's form, from memory), and
//! 1.42·Rm·L·t²/V in air (press-brake charts' metric form, from memory). The rise over the travel is an
//! assumption of this model. Bottoming is a coin station's business. Conventions differ by some 15 %.

use super::Stock;
use crate::element::{Element, Law};
use crate::scenario::{BendData, BendKind};

/// Bending load, kN.
#[must_use]
pub fn bending_kn(
    how: BendKind,
    length_mm: f64,
    opening_mm: f64,
    thickness_mm: f64,
    tensile_mpa: f64,
) -> f64 {
    let factor = match how {
        BendKind::Vee => 1.33,
        BendKind::Wipe => 0.33,
        BendKind::Air => 1.42,
    };
    factor * tensile_mpa * length_mm * thickness_mm * thickness_mm / opening_mm / 1000.0
}

/// Travel over which tool and sheet reach the peak load elastically, mm.
const ELASTIC_MM: f64 = 0.25;

pub(super) fn element(
    station: usize,
    data: &BendData,
    stock: &Stock,
    factor: f64,
    shape: [f64; 3],
) -> Element {
    let t = stock.thickness_mm;
    let peak = factor * bending_kn(data.how, data.length_mm, data.opening_mm, t, stock.tensile_mpa);
    let touch = data.touch_mm + t - stock.nominal_mm;
    let law = Law::Bend { peak, travel: data.touch_mm };
    Element::new(station, touch, shape, peak / ELASTIC_MM, law)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bending_load_follows_worked_examples() {
        // w 44.5, t 3.2, Rm 450, D 25: 10 908.979 N (a textbook prints 10 909 N) and 2 706.739 N.
        // source: Groover worked example (from memory), computed. Air: computed from the 1.42 form.
        let vee = bending_kn(BendKind::Vee, 44.5, 25.0, 3.2, 450.0);
        let wipe = bending_kn(BendKind::Wipe, 44.5, 25.0, 3.2, 450.0);
        let air = bending_kn(BendKind::Air, 1000.0, 24.0, 3.0, 450.0);
        assert!((vee - 10.908_979).abs() < 1e-6, "{vee}");
        assert!((wipe - 2.706_739).abs() < 1e-6, "{wipe}");
        assert!((air - 239.625).abs() < 1e-9, "{air}");
    }
}
