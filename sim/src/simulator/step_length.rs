//! How long a step of the frame may be.

use crate::frame::{Frame, FrameChange};
use crate::material::Material;
use crate::scenario::Scenario;
use crate::station::{Site, StationChange, Stock};
use bolster_core::press::PressSpec;

/// Longest step of the frame, s: 77 steps in the period of a 100 Hz frame.
const LONGEST_STEP_S: f64 = 1.3e-4;

/// Most that a step's change of load may be answered late, as a share of it.
const FEEDBACK: f64 = 0.03;

/// How many steps of the frame to a sample; none where the die is too stiff for the slide's mass.
pub(super) fn substeps(
    scenario: &Scenario,
    press: &PressSpec,
    sites: &[Site],
    material: &'static Material,
) -> Option<u32> {
    let probe = Frame::new(press, &scenario.frame, &FrameChange::default(), LONGEST_STEP_S);
    let stock = Stock {
        material,
        thickness_mm: scenario.strip.thickness_mm,
        nominal_mm: scenario.strip.thickness_mm,
        shear_mpa: material.shear_mpa,
        tensile_mpa: material.tensile_mpa,
        yield_mpa: material.yield_mpa,
        friction: 1.0,
        penetration: 1.0,
    };
    let mut elements = Vec::new();
    // With a slug on the die: faults make it stiffer.
    let change = StationChange { slug_mm: stock.thickness_mm, ..StationChange::default() };
    for (i, site) in sites.iter().enumerate() {
        let change = if i == 0 { change } else { StationChange::default() };
        site.elements(i, &stock, &change, &probe, &mut elements);
    }
    // Twice the nominal stiffness: hard and double stock.
    let stiffness = 2.0 * elements.iter().map(|e| e.stiffness).sum::<f64>();
    let mass = scenario.frame.slide_mass_kg * 1e-6;
    let by_feedback = f64::sqrt(FEEDBACK * 6.0 * mass / stiffness.max(1e-9));
    let longest = LONGEST_STEP_S.min(by_feedback);
    let count = f64::ceil(1.0 / (scenario.sample_hz * longest)).max(1.0);
    (count <= 200.0).then_some(count as u32)
}
