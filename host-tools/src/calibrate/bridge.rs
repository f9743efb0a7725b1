//! Strain, bridge output and shunt, for a first gain from geometry and for the shunt check.
//!
//! Formulas: bridge output from gauge factor and strain with the bridge's own bend kept (standard bridge algebra;
//! forms read in instrument makers' help pages); shunt output Rg/(4Rs + 2Rg) (read in a gauge maker's technical
//! note). A gain from geometry is an estimate: the modulus alone is told to 5 %, and where the load goes in a
//! frame is not told at all.

use core::f64::consts::PI;
use std::path::Path;

use serde::Deserialize;

/// How the gauges of a column are wired.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Bridge {
    /// Two gauges along the load and two across (full bridge, Poisson).
    Poisson,
    /// Four gauges that all see the strain (bending, two of each sign).
    FourActive,
    /// One gauge.
    Quarter,
}

impl Bridge {
    /// Output, mV/V, at a strain (m/m).
    #[must_use]
    pub fn output_mv_per_v(self, strain: f64, gauge_factor: f64, poisson: f64) -> f64 {
        let e = gauge_factor * strain;
        1000.0
            * match self {
                Self::Poisson => e * (1.0 + poisson) / (2.0 + e * (1.0 - poisson)),
                Self::FourActive => e,
                Self::Quarter => e / (4.0 + 2.0 * e),
            }
    }

    /// Strain (m/m) at an output, mV/V: the inverse of [`Bridge::output_mv_per_v`].
    #[must_use]
    pub fn strain(self, output_mv_per_v: f64, gauge_factor: f64, poisson: f64) -> f64 {
        let v = output_mv_per_v / 1000.0;
        match self {
            Self::Poisson => 2.0 * v / (gauge_factor * ((1.0 + poisson) - v * (1.0 - poisson))),
            Self::FourActive => v / gauge_factor,
            Self::Quarter => 4.0 * v / (gauge_factor * (1.0 - 2.0 * v)),
        }
    }
}

/// Strain that a shunt across one gauge feigns (compressive), m/m: Rg/(GF (Rs + Rg)).
#[must_use]
pub fn shunt_strain(gauge_ohm: f64, shunt_ohm: f64, gauge_factor: f64) -> f64 {
    gauge_ohm / (gauge_factor * (shunt_ohm + gauge_ohm))
}

/// Output of a bridge with a shunt across one arm, mV/V: Rg/(4Rs + 2Rg).
#[must_use]
pub fn shunt_output_mv_per_v(gauge_ohm: f64, shunt_ohm: f64) -> f64 {
    1000.0 * gauge_ohm / (4.0 * shunt_ohm + 2.0 * gauge_ohm)
}

/// Shunt that feigns a strain, ohm.
#[must_use]
pub fn shunt_ohm_for(strain: f64, gauge_ohm: f64, gauge_factor: f64) -> f64 {
    gauge_ohm / (gauge_factor * strain) - gauge_ohm
}

/// Why an estimate was refused.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{path}: {problem}")]
pub struct EstimateError {
    path: String,
    problem: String,
}

/// Geometry of the gauged members (TOML, table `[estimate]`).
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Estimate {
    /// Columns of the press: 1, 2 or 4.
    pub columns: usize,
    /// Members (tie rods) that share one column's load.
    #[serde(default = "one")]
    pub members: f64,
    /// Diameter of a round member, mm.
    pub diameter_mm: Option<f64>,
    /// Section of a member of another shape, mm².
    pub area_mm2: Option<f64>,
    /// Young's modulus, GPa.
    pub modulus_gpa: f64,
    /// Poisson's number.
    pub poisson: f64,
    /// Gauge factor.
    pub gauge_factor: f64,
    /// Wiring.
    pub bridge: Bridge,
    /// Counts of the converter at 1 mV/V.
    pub counts_per_mv_v: f64,
}

fn one() -> f64 {
    1.0
}

/// What geometry gives.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FirstGain {
    /// Section that carries one column's load, mm².
    pub area_mm2: f64,
    /// Strain a kN of the column's load, µm/m.
    pub microstrain_per_kn: f64,
    /// Gain, kN a count.
    pub kn_per_count: f64,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    estimate: Estimate,
}

impl Estimate {
    /// Reads a geometry file.
    ///
    /// # Errors
    /// [`EstimateError`] with the file and what is wrong.
    pub fn load(path: &Path) -> Result<Self, EstimateError> {
        let fail = |problem: String| EstimateError { path: path.display().to_string(), problem };
        let text = std::fs::read_to_string(path).map_err(|why| fail(format!("cannot be read ({why})")))?;
        let file: File = toml::from_str(&text)
            .map_err(|why| fail(why.message().split_whitespace().collect::<Vec<_>>().join(" ")))?;
        file.estimate.first_gain().map_err(fail)?;
        Ok(file.estimate)
    }

    /// The first gain.
    ///
    /// # Errors
    /// A text naming the field that cannot be.
    pub fn first_gain(&self) -> Result<FirstGain, String> {
        let positive = [
            ("members", self.members),
            ("modulus_gpa", self.modulus_gpa),
            ("gauge_factor", self.gauge_factor),
            ("counts_per_mv_v", self.counts_per_mv_v),
            ("poisson", self.poisson + 1e-12),
        ];
        for (name, value) in positive {
            if !(value > 0.0 && value < 1e12) {
                return Err(format!("field {name} must be above zero"));
            }
        }
        if ![1, 2, 4].contains(&self.columns) {
            return Err(format!("field columns must be 1, 2 or 4, not {}", self.columns));
        }
        let one = match (self.diameter_mm, self.area_mm2) {
            (Some(d), None) if d > 0.0 => PI / 4.0 * d * d,
            (None, Some(area)) if area > 0.0 => area,
            _ => return Err("give one of diameter_mm and area_mm2, above zero".to_owned()),
        };
        let area_mm2 = one * self.members;
        // A column of the frame is stretched while the die is squeezed: F = E·A·ε, forward load positive.
        let strain_per_kn = 1.0 / (self.modulus_gpa * area_mm2);
        let mv_per_v = self.bridge.output_mv_per_v(strain_per_kn, self.gauge_factor, self.poisson);
        Ok(FirstGain {
            area_mm2,
            microstrain_per_kn: 1e6 * strain_per_kn,
            kn_per_count: 1.0 / (mv_per_v * self.counts_per_mv_v),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(found: f64, want: f64, within: f64) {
        assert!((found - want).abs() <= within, "{found} against {want}");
    }

    #[test]
    fn bridge_outputs_follow_the_table() {
        // source: computed from the bridge equations, project tables of bridge outputs.
        let out = |bridge: Bridge, nu: f64| bridge.output_mv_per_v(1e-3, 2.0, nu);
        close(out(Bridge::Poisson, 0.30), 1.299_091, 1e-6);
        close(out(Bridge::Poisson, 0.285), 1.284_082, 1e-6);
        close(out(Bridge::FourActive, 0.3), 2.0, 1e-12);
        close(out(Bridge::Quarter, 0.3), 0.499_500, 1e-6);
        for bridge in [Bridge::Poisson, Bridge::FourActive, Bridge::Quarter] {
            let back = bridge.strain(bridge.output_mv_per_v(1.7e-3, 2.1, 0.285), 2.1, 0.285);
            close(back, 1.7e-3, 1e-15);
        }
    }

    #[test]
    fn shunts_follow_the_table() {
        // source: computed; forms read in a gauge maker's technical note and an instrument maker's help page.
        for (gauge, shunt) in [(120.0, 59_880.0), (350.0, 174_650.0), (1000.0, 499_000.0)] {
            close(shunt_ohm_for(1e-3, gauge, 2.0), shunt, 1e-6);
        }
        close(1e6 * shunt_strain(350.0, 100_000.0, 2.0), 1_743.896_363, 1e-6);
        close(shunt_output_mv_per_v(350.0, 100_000.0), 0.873_471_425, 1e-9);
        close(1e6 * shunt_strain(350.0, 59_000.0, 2.0), 2_948.609_941, 1e-6);
        close(shunt_output_mv_per_v(350.0, 59_000.0), 1.478_664_977, 1e-9);
        close(1e6 * shunt_strain(120.0, 59_880.0, 2.0), 1000.0, 1e-9);
        close(shunt_output_mv_per_v(120.0, 59_880.0), 0.500_500_501, 1e-9);
        // Output-referred strain 4 Vo/GF differs from the gauge's by the bridge's own bend: 0.17 % at 1744 µε.
        close(4000.0 * shunt_output_mv_per_v(350.0, 100_000.0) / 2.0, 1_746.942_850, 1e-6);
    }

    #[test]
    fn geometry_gives_the_strain_of_tie_rod_and_column() {
        // source: computed, F = E·A·ε: a tie rod of Ø80 mm at 250 kN, a column of 100 × 100 mm at 250 kN.
        let rod = |modulus_gpa: f64| Estimate {
            columns: 4,
            members: 1.0,
            diameter_mm: Some(80.0),
            area_mm2: None,
            modulus_gpa,
            poisson: 0.285,
            gauge_factor: 2.0,
            bridge: Bridge::Poisson,
            counts_per_mv_v: 1e6,
        };
        for (modulus, microstrain) in [(200.0, 248.6796), (207.0, 240.2701), (210.0, 236.8377)] {
            close(250.0 * rod(modulus).first_gain().unwrap().microstrain_per_kn, microstrain, 1e-4);
        }
        close(rod(200.0).first_gain().unwrap().area_mm2, 5026.548, 1e-3);
        let square = Estimate { diameter_mm: None, area_mm2: Some(10_000.0), ..rod(200.0) };
        close(250.0 * square.first_gain().unwrap().microstrain_per_kn, 125.0, 1e-9);
        assert!(Estimate { diameter_mm: None, ..rod(200.0) }.first_gain().is_err());
        assert!(Estimate { columns: 3, ..rod(200.0) }.first_gain().unwrap_err().contains("columns"));
    }
}
