//! The die: stations at their places, each giving contacts whose loads follow handbook formulas.
//!
//! A station's data say what it does; [`Site::elements`] turns that, with the stock of this stroke and what is
//! wrong with the station, into [`Element`]s. Formulas stand in the module of each operation.

pub mod bend;
pub mod coin;
pub mod draw;
pub mod lance;
pub mod pad;
pub mod pierce;
pub mod restrike;
#[cfg(test)]
mod tests;

use crate::element::Element;
use crate::frame::Frame;
use crate::material::Material;
use crate::scenario::StationData;

/// A station at its place; repeats of the scenario are separate sites.
#[derive(Debug, Clone, PartialEq)]
pub struct Site {
    /// What to call it.
    pub name: String,
    /// Place on the bolster plate, mm.
    pub x_mm: f64,
    /// Place on the bolster plate, mm.
    pub y_mm: f64,
    /// What it does.
    pub data: StationData,
}

/// The stock as one station meets it in one stroke.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stock {
    /// What it is made of.
    pub material: &'static Material,
    /// Thickness here, mm.
    pub thickness_mm: f64,
    /// Thickness the die was set for, mm.
    pub nominal_mm: f64,
    /// Shear strength, MPa.
    pub shear_mpa: f64,
    /// Tensile strength, MPa.
    pub tensile_mpa: f64,
    /// Yield strength, MPa.
    pub yield_mpa: f64,
    /// Factor on friction: lubrication.
    pub friction: f64,
    /// Factor on the depth of the punch at fracture: harder stock cracks sooner.
    pub penetration: f64,
}

/// What is wrong with one station in one stroke. Neutral by default.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StationChange {
    /// Fraction of the strip that is there.
    pub presence: f64,
    /// Fraction of the cutting edge that is there.
    pub edge: f64,
    /// Dullness besides the station's own.
    pub dullness: f64,
    /// Factor on all loads.
    pub load: f64,
    /// Factor on forming loads only (bend, coin, draw).
    pub forming: f64,
    /// Scrap packed in the cutting die, 0 to 1.
    pub packed: f64,
    /// Height of a slug lying on the die, mm.
    pub slug_mm: f64,
}

impl Default for StationChange {
    fn default() -> Self {
        Self { presence: 1.0, edge: 1.0, dullness: 0.0, load: 1.0, forming: 1.0, packed: 0.0, slug_mm: 0.0 }
    }
}

/// Area of a slug that fell on the die, mm²: a Ø20 mm hole's.
const SLUG_AREA_MM2: f64 = 314.0;

impl Site {
    /// All sites of a scenario's stations, repeats counted.
    #[must_use]
    pub fn all(stations: &[StationData]) -> Vec<Self> {
        let mut sites = Vec::new();
        for data in stations {
            for i in 0..data.repeat {
                let name =
                    if data.repeat > 1 { format!("{} {}", data.name, i + 1) } else { data.name.clone() };
                sites.push(Self {
                    name,
                    x_mm: data.x_mm + f64::from(i) * data.pitch_mm[0],
                    y_mm: data.y_mm + f64::from(i) * data.pitch_mm[1],
                    data: data.clone(),
                });
            }
        }
        sites
    }

    /// Whether it does anything to the strip; what only presses a pad does not.
    #[must_use]
    pub fn works_strip(&self) -> bool {
        let data = &self.data;
        self.cuts()
            || data.bend.is_some()
            || data.coin.is_some()
            || data.draw.is_some()
            || data.restrike.is_some()
    }

    /// Whether it cuts.
    #[must_use]
    pub fn cuts(&self) -> bool {
        self.data.pierce.is_some() || self.data.lance.is_some()
    }

    /// Adds the contacts of this station, number `index`, to `out`.
    pub fn elements(
        &self,
        index: usize,
        stock: &Stock,
        change: &StationChange,
        frame: &Frame,
        out: &mut Vec<Element>,
    ) {
        let shape = frame.shape(self.x_mm, self.y_mm);
        if change.presence > 0.0 {
            if let Some(data) = &self.data.pierce {
                pierce::elements(index, data, stock, change, shape, out);
            }
            let forming = change.presence * change.load * change.forming;
            if let Some(data) = &self.data.bend {
                out.push(bend::element(index, data, stock, forming, shape));
            }
            if let Some(data) = &self.data.coin {
                out.push(coin::element(index, data, stock, forming, shape));
            }
            if let Some(data) = &self.data.draw {
                draw::elements(index, data, stock, forming, shape, out);
            }
            if let Some(data) = &self.data.lance {
                lance::elements(index, data, stock, change, shape, out);
            }
            if let Some(data) = &self.data.restrike {
                out.push(restrike::element(index, data, stock, forming, shape));
            }
        }
        if let Some(data) = &self.data.pad {
            out.push(pad::element(index, data, shape));
        }
        if change.slug_mm > 0.0 {
            out.push(coin::slug(index, SLUG_AREA_MM2, change.slug_mm, stock, shape));
        }
    }
}
