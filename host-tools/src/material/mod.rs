//! Sheet materials: strengths and where each number comes from.
//!
//! The table is the simulator's ([`bolster_sim::material::TABLE`]), a TOML text that the program carries; a shop adds its own in a file of the same form, whose
//! entries win. Strengths are MPa inside and may be written in MPa, psi or ksi.

use std::path::{Path, PathBuf};

use serde::Serialize;
use toml::{Table, Value};

use crate::plan::quantity::{Kind, Units, clip};
use crate::spelling;

const BUILT_IN: &str = bolster_sim::material::TABLE;

/// A number and where it comes from.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Sourced {
    /// The number, in the unit its name says.
    pub value: f64,
    /// Where it comes from, for people.
    pub source: String,
}

/// A sheet material.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Material {
    /// Name as job files spell it.
    pub name: String,
    /// Shear strength, MPa.
    pub shear_mpa: Sourced,
    /// Tensile strength, MPa.
    pub tensile_mpa: Sourced,
    /// Yield strength, MPa.
    pub yield_mpa: Sourced,
    /// Depth of the punch at fracture, percent of thickness.
    pub penetration_percent: Sourced,
    /// Half the width of the band that holds nineteen in twenty coils, percent of strength.
    pub spread_percent: Sourced,
}

/// Why a materials file was refused: one line with the file, the material and the field.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{}: {place}{problem}", path.display())]
pub struct MaterialError {
    path: PathBuf,
    place: String,
    problem: String,
}

/// Every material known, by name.
#[derive(Debug, Clone, PartialEq)]
pub struct Materials {
    all: Vec<Material>,
}

impl Materials {
    /// The program's own table.
    ///
    /// # Errors
    /// [`MaterialError`] if the carried table were damaged, which a test rules out.
    pub fn built_in() -> Result<Self, MaterialError> {
        parse(BUILT_IN, Path::new("the materials table")).map(|all| Self { all })
    }

    /// Adds the materials of a file; one of a known name takes its place.
    ///
    /// # Errors
    /// [`MaterialError`] names the file, the material and the field that cannot be.
    pub fn add_file(&mut self, path: &Path) -> Result<(), MaterialError> {
        let text = std::fs::read_to_string(path).map_err(|why| MaterialError {
            path: path.to_owned(),
            place: String::new(),
            problem: format!("cannot be read ({why}); check that it exists and is plain text"),
        })?;
        for material in parse(&text, path)? {
            self.all.retain(|known| known.name != material.name);
            self.all.push(material);
        }
        Ok(())
    }

    /// The material of this name.
    ///
    /// # Errors
    /// A text that says which names there are, the nearest first where one is near.
    pub fn find(&self, name: &str) -> Result<&Material, String> {
        self.all.iter().find(|m| m.name == name).ok_or_else(|| {
            let names: Vec<&str> = self.all.iter().map(|m| m.name.as_str()).collect();
            match spelling::nearest(name, &names) {
                Some(near) => {
                    format!("\"{}\" is not in the materials table; did you mean \"{near}\"?", clip(name))
                }
                None => {
                    format!("\"{}\" is not in the materials table; it has {}", clip(name), names.join(", "))
                }
            }
        })
    }

    /// All, in the order of the table.
    #[must_use]
    pub fn all(&self) -> &[Material] {
        &self.all
    }
}

const KEYS: [&str; 13] = [
    "name",
    "shear",
    "shear_source",
    "tensile",
    "tensile_source",
    "yield",
    "yield_source",
    "penetration_percent",
    "penetration_source",
    "spread_percent",
    "spread_source",
    // For the simulator only.
    "crack_percent",
    "modulus_gpa",
];

fn parse(text: &str, path: &Path) -> Result<Vec<Material>, MaterialError> {
    let fail = |place: &str, problem: String| MaterialError {
        path: path.to_owned(),
        place: if place.is_empty() { String::new() } else { format!("material \"{}\": ", clip(place)) },
        problem,
    };
    let one_line = |why: &str| why.split_whitespace().collect::<Vec<_>>().join(" ");
    let root: Table = text
        .parse()
        .map_err(|why: toml::de::Error| fail("", format!("is not TOML: {}", one_line(why.message()))))?;
    if let Some(key) = root.keys().find(|key| !["sources", "material", "units"].contains(&key.as_str())) {
        return Err(fail(
            "",
            format!("key `{}` is unknown; known here: sources, units, material", clip(key)),
        ));
    }
    let sources = match root.get("sources") {
        None => Table::new(),
        Some(Value::Table(sources)) => sources.clone(),
        Some(_) => return Err(fail("", "`sources` must be a table of names and texts".to_owned())),
    };
    let unit = |key: &str| root.get("units").and_then(|units| units.get(key)).and_then(Value::as_str);
    let units =
        Units::new(None, unit("strength"), None).map_err(|problem| fail("", format!("[units] {problem}")))?;
    let Some(Value::Array(list)) = root.get("material") else {
        return Err(fail("", "needs at least one [[material]]".to_owned()));
    };
    let mut all = Vec::with_capacity(list.len());
    for (number, entry) in list.iter().enumerate() {
        let name = entry.get("name").and_then(Value::as_str).unwrap_or_default().to_owned();
        let place = if name.is_empty() { format!("number {}", number + 1) } else { name.clone() };
        let Value::Table(entry) = entry else { return Err(fail(&place, "must be a table".to_owned())) };
        if name.is_empty() {
            return Err(fail(&place, "field `name` is missing".to_owned()));
        }
        if let Some(key) = entry.keys().find(|key| !KEYS.contains(&key.as_str())) {
            return Err(fail(
                &place,
                format!("field `{}` is unknown; known are {}", clip(key), KEYS.join(", ")),
            ));
        }
        let source = |key: &str, otherwise: &str| {
            let given = entry.get(key).and_then(Value::as_str).unwrap_or(otherwise);
            sources.get(given).and_then(Value::as_str).unwrap_or(given).to_owned()
        };
        let needed = |field: &str, kind: Option<Kind>, least: f64, most: f64| {
            let value = match (entry.get(field), kind) {
                (None, _) => Err("is missing".to_owned()),
                (Some(Value::String(text)), Some(kind)) => units.text(kind, text),
                (Some(value), kind) => match (number_of(value), kind) {
                    (None, _) => Err("must be a number".to_owned()),
                    (Some(number), Some(kind)) => units.number(kind, number),
                    (Some(number), None) => Ok(number),
                },
            };
            value
                .and_then(|v| {
                    if v >= least && v <= most {
                        Ok(v)
                    } else {
                        Err(format!("must be from {least} to {most}, not {v}"))
                    }
                })
                .map_err(|problem| fail(&place, format!("field `{field}` {problem}")))
        };
        let strength = |field: &str, note: &str| {
            needed(field, Some(Kind::Strength), 0.1, 10_000.0)
                .map(|value| Sourced { value, source: source(note, "given without a source") })
        };
        all.push(Material {
            shear_mpa: strength("shear", "shear_source")?,
            tensile_mpa: strength("tensile", "tensile_source")?,
            yield_mpa: strength("yield", "yield_source")?,
            penetration_percent: Sourced {
                value: needed("penetration_percent", None, 1.0, 99.0)?,
                source: source("penetration_source", "order"),
            },
            spread_percent: Sourced {
                value: needed("spread_percent", None, 0.0, 60.0)?,
                source: source("spread_source", "spread"),
            },
            name,
        });
    }
    Ok(all)
}

/// A TOML number as f64, if it is one and finite.
pub(crate) fn number_of(value: &Value) -> Option<f64> {
    match value {
        Value::Integer(whole) => Some(*whole as f64),
        Value::Float(number) => Some(*number).filter(|n| n.is_finite()),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::Materials;

    #[test]
    fn the_carried_table_is_sound_and_every_number_has_a_source() {
        let table = Materials::built_in().unwrap();
        for material in table.all() {
            assert!(material.shear_mpa.value < material.tensile_mpa.value, "{}", material.name);
            assert!(material.yield_mpa.value < material.tensile_mpa.value, "{}", material.name);
            for sourced in [
                &material.shear_mpa,
                &material.tensile_mpa,
                &material.yield_mpa,
                &material.penetration_percent,
            ] {
                assert!(
                    sourced.source.contains('(') || sourced.source.contains("memory"),
                    "{}: {}",
                    material.name,
                    sourced.source
                );
            }
        }
        // source: punch-tool materials table (read).
        assert_eq!(table.find("low-carbon-hot-rolled").unwrap().shear_mpa.value, 345.0);
        assert!(table.find("low-carbon-hot-roled").unwrap_err().contains("did you mean"));
    }

    #[test]
    fn a_shop_adds_and_replaces_materials_in_its_own_units() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("own.toml");
        let text = "[units]\nstrength = \"ksi\"\n[[material]]\nname = \"stainless\"\nshear = 75\nshear_source = \"own tests (read)\"\n\
                    tensile = \"90 ksi\"\nyield = \"280 MPa\"\npenetration_percent = 40\nspread_percent = 5\n";
        std::fs::write(&path, text).unwrap();
        let mut table = Materials::built_in().unwrap();
        let before = table.all().len();
        table.add_file(&path).unwrap();
        assert_eq!(table.all().len(), before);
        let own = table.find("stainless").unwrap();
        assert!((own.shear_mpa.value - 517.106_8).abs() < 1e-3, "{}", own.shear_mpa.value);
        assert_eq!(own.shear_mpa.source, "own tests (read)");
        std::fs::write(&path, text.replace("tensile = \"90 ksi\"\n", "")).unwrap();
        let said = table.add_file(&path).unwrap_err().to_string();
        assert!(said.contains("material \"stainless\": field `tensile` is missing"), "{said}");
    }
}
