//! What the strip is made of: strengths and how it breaks.
//!
//! Shear strength and tensile strength set the loads. How deep the punch goes before the sheet
//! cracks (`penetration`) and how quickly the crack runs through (`crack`) set the shape.

/// A sheet material.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Material {
    /// Name as scenarios spell it.
    pub name: &'static str,
    /// Shear strength, MPa.
    pub shear_mpa: f64,
    /// Tensile strength, MPa.
    pub tensile_mpa: f64,
    /// Yield strength, MPa.
    pub yield_mpa: f64,
    /// Depth of the punch at fracture, fraction of thickness, at ordinary clearance and sharp edges.
    pub penetration: f64,
    /// Further punch travel while the crack runs through, fraction of thickness.
    pub crack: f64,
    /// Young's modulus, GPa.
    pub modulus_gpa: f64,
}

/// Every material known.
///
/// Shear strengths: source: a punch-tool materials table in psi and N/mm² (read). Tensile strengths, where
/// the table gives none, are shear/0.75 (usual band 0.7 to 0.8, from memory); yield
/// strengths are typical of the temper, from memory. Penetrations follow handbook
/// order (soft metals a half and more, hard ones a quarter; common practice, no source). Crack travel is an
/// assumption: the harder, the faster.
pub const MATERIALS: [Material; 12] = [
    material("low-carbon-hot-rolled", 345.0, 430.0, 275.0, 0.38, 0.10, 205.0),
    material("low-carbon-cold-rolled", 276.0, 345.0, 205.0, 0.40, 0.10, 205.0),
    material("medium-carbon", 552.0, 700.0, 430.0, 0.26, 0.06, 205.0),
    material("weathering-steel", 379.0, 485.0, 345.0, 0.34, 0.08, 205.0),
    material("spring-steel", 1380.0, 1824.0, 1600.0, 0.15, 0.04, 207.0),
    material("stainless", 517.0, 690.0, 290.0, 0.45, 0.10, 193.0),
    material("aluminium-5052-h32", 138.0, 228.0, 193.0, 0.50, 0.16, 70.0),
    material("aluminium-6061-t6", 207.0, 310.0, 276.0, 0.40, 0.12, 69.0),
    material("aluminium-1100-h14", 76.0, 110.0, 103.0, 0.60, 0.20, 69.0),
    material("copper-half-hard", 179.0, 260.0, 220.0, 0.50, 0.15, 117.0),
    material("brass-half-hard", 276.0, 370.0, 275.0, 0.40, 0.12, 105.0),
    material("silicon-steel", 190.0, 260.0, 160.0, 0.30, 0.07, 200.0),
];

const fn material(
    name: &'static str,
    shear_mpa: f64,
    tensile_mpa: f64,
    yield_mpa: f64,
    penetration: f64,
    crack: f64,
    modulus_gpa: f64,
) -> Material {
    Material { name, shear_mpa, tensile_mpa, yield_mpa, penetration, crack, modulus_gpa }
}

/// The material of this name.
#[must_use]
pub fn find(name: &str) -> Option<&'static Material> {
    MATERIALS.iter().find(|m| m.name == name)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_material_is_weaker_in_shear_than_in_tension() {
        for m in MATERIALS {
            let ratio = m.shear_mpa / m.tensile_mpa;
            assert!((0.55..0.85).contains(&ratio), "{}: {ratio}", m.name);
            assert!(m.yield_mpa < m.tensile_mpa, "{}", m.name);
            assert_eq!(find(m.name), Some(&m));
        }
        assert_eq!(find("unobtainium"), None);
    }
}
