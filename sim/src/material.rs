//! What the strip is made of: strengths and how it breaks.
//!
//! One table for the whole project, [`TABLE`], says where each number comes from; here are the numbers that the
//! simulator takes. Shear strength and tensile strength set the loads. How deep the punch goes before the sheet
//! cracks (`penetration`) and how quickly the crack runs through (`crack`) set the shape.

use serde::Deserialize;
use std::sync::LazyLock;

/// The table as text (TOML): strengths in MPa, penetration and crack in percent of thickness, and sources.
pub const TABLE: &str = include_str!("material/materials.toml");

/// A sheet material.
#[derive(Debug, Clone, PartialEq)]
pub struct Material {
    /// Name as scenarios spell it.
    pub name: String,
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

/// The fields of an entry that are taken; others are for people and for planning.
#[derive(Deserialize)]
struct Entry {
    name: String,
    shear: String,
    tensile: String,
    #[serde(rename = "yield")]
    yields: String,
    penetration_percent: f64,
    crack_percent: f64,
    modulus_gpa: f64,
}

#[derive(Deserialize)]
struct Table {
    material: Vec<Entry>,
}

impl Entry {
    /// None where a strength is not a number of MPa.
    fn material(self) -> Option<Material> {
        let strength = |text: &str| text.strip_suffix(" MPa")?.parse().ok();
        Some(Material {
            shear_mpa: strength(&self.shear)?,
            tensile_mpa: strength(&self.tensile)?,
            yield_mpa: strength(&self.yields)?,
            penetration: self.penetration_percent / 100.0,
            crack: self.crack_percent / 100.0,
            modulus_gpa: self.modulus_gpa,
            name: self.name,
        })
    }
}

/// Every material known, in the order of the table.
#[must_use]
pub fn all() -> &'static [Material] {
    static ALL: LazyLock<Vec<Material>> = LazyLock::new(|| {
        // The table is carried; that every entry of it is taken is held by a test.
        let table: Option<Table> = toml::from_str(TABLE).ok();
        table.into_iter().flat_map(|table| table.material).filter_map(Entry::material).collect()
    });
    &ALL
}

/// The material of this name.
#[must_use]
pub fn find(name: &str) -> Option<&'static Material> {
    all().iter().find(|m| m.name == name)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_entry_of_the_table_is_taken_and_is_a_sheet() {
        assert_eq!(all().len(), TABLE.matches("[[material]]").count());
        assert!(all().len() >= 12);
        for m in all() {
            let ratio = m.shear_mpa / m.tensile_mpa;
            assert!((0.55..0.85).contains(&ratio), "{}: {ratio}", m.name);
            assert!(m.yield_mpa < m.tensile_mpa, "{}", m.name);
            assert!((0.1..0.7).contains(&m.penetration) && (0.02..0.4).contains(&m.crack), "{}", m.name);
            assert!((1.0..250.0).contains(&m.modulus_gpa), "{}", m.name);
            assert_eq!(find(&m.name), Some(m));
        }
        assert_eq!(find("unobtainium"), None);
        // source: punch-tool materials table (read).
        assert_eq!(find("low-carbon-cold-rolled").unwrap().shear_mpa, 276.0);
    }
}
