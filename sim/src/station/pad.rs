//! Spring pads, stripper plates and cushions: loads that come back.

use crate::element::{Element, Law};
use crate::scenario::PadData;

/// Share of a pad's load lost to its guides on the way back; an assumption.
const LOSS: f64 = 0.06;

pub(super) fn element(station: usize, data: &PadData, shape: [f64; 3]) -> Element {
    let law = Law::Pad { preload: data.preload_kn, rate: data.rate_kn_per_mm, loss: LOSS };
    // Preload comes on within a tenth of a millimetre.
    let stiffness = (data.preload_kn / 0.1).max(10.0 * data.rate_kn_per_mm);
    Element::new(station, data.touch_mm, shape, stiffness, law)
}
