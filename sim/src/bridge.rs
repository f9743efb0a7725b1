//! Strain-gauge bridges: output against strain, and what a shunt resistor looks like.
//!
//! Outputs are Vo/Vex in V/V, strains in m/m, resistances in ohms. Forms as in instrument makers' help pages
//! (read): exact, with the linear form beside where a calibration uses it.

use crate::scenario::BridgeKind;

/// Output at `strain`, exact.
#[must_use]
#[inline]
pub fn output(kind: BridgeKind, gauge_factor: f64, poisson: f64, strain: f64) -> f64 {
    let e = gauge_factor * strain;
    match kind {
        BridgeKind::Poisson => e * (1.0 + poisson) / (2.0 + e * (1.0 - poisson)),
        // Opposite arms change by opposite amounts: this one is linear.
        BridgeKind::Bending => e,
        BridgeKind::Quarter => e / (4.0 + 2.0 * e),
    }
}

/// Output at `strain` in the linear form: the tangent at zero.
#[must_use]
#[inline]
pub fn linear_output(kind: BridgeKind, gauge_factor: f64, poisson: f64, strain: f64) -> f64 {
    let e = gauge_factor * strain;
    match kind {
        BridgeKind::Poisson => e * (1.0 + poisson) / 2.0,
        BridgeKind::Bending => e,
        BridgeKind::Quarter => e / 4.0,
    }
}

/// Strain that a shunt of `shunt_ohm` across one gauge imitates in that gauge (compressive, given positive).
#[must_use]
pub fn shunt_strain(gauge_ohm: f64, shunt_ohm: f64, gauge_factor: f64) -> f64 {
    gauge_ohm / (gauge_factor * (shunt_ohm + gauge_ohm))
}

/// Output of a quarter bridge whose gauge is shunted: Rg/(4·Rs + 2·Rg).
#[must_use]
pub fn shunt_output(gauge_ohm: f64, shunt_ohm: f64) -> f64 {
    gauge_ohm / (4.0 * shunt_ohm + 2.0 * gauge_ohm)
}

/// Strain of a column or tie rod of this area (mm²) and modulus (GPa) under `load_kn`, m/m.
#[must_use]
pub fn column_strain(load_kn: f64, area_mm2: f64, modulus_gpa: f64) -> f64 {
    load_kn / (area_mm2 * modulus_gpa)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bridges_give_the_reference_outputs() {
        // mV/V at 1000 µm/m, gauge factor 2; source: computed. Columns: kind, Poisson's number, linear, exact.
        let rows = [
            (BridgeKind::Poisson, 0.30, 1.300000, 1.299091),
            (BridgeKind::Poisson, 0.285, 1.285000, 1.284082),
            (BridgeKind::Bending, 0.30, 2.000000, 2.000000),
            (BridgeKind::Quarter, 0.30, 0.500000, 0.499500),
        ];
        for (kind, poisson, linear, exact) in rows {
            let found = output(kind, 2.0, poisson, 1e-3) * 1e3;
            assert!((found - exact).abs() < 1e-6, "{kind:?} {poisson}: {found}");
            let found = linear_output(kind, 2.0, poisson, 1e-3) * 1e3;
            assert!((found - linear).abs() < 1e-9, "{kind:?} {poisson}: {found}");
        }
    }

    #[test]
    fn shunts_imitate_the_reference_strains() {
        // (gauge, shunt, µm/m, mV/V) at gauge factor 2; source: computed from a gauge maker's note (form read).
        let rows = [
            (350.0, 100_000.0, 1_743.896_363, 0.873_471_425),
            (350.0, 59_000.0, 2_948.609_941, 1.478_664_977),
            (120.0, 59_880.0, 1000.0, 0.500_500_501),
        ];
        for (gauge, shunt, strain, volts) in rows {
            let found = shunt_strain(gauge, shunt, 2.0) * 1e6;
            assert!((found - strain).abs() < 1e-6, "{gauge} with {shunt}: {found}");
            let found = shunt_output(gauge, shunt) * 1e3;
            assert!((found - volts).abs() < 1e-9, "{gauge} with {shunt}: {found}");
            // Both are the same bridge: its output at the compressive strain in the gauge.
            let by_strain = -output(BridgeKind::Quarter, 2.0, 0.3, -strain * 1e-6) * 1e3;
            assert!((by_strain - volts).abs() < 1e-6, "{by_strain}");
        }
        for (gauge, shunt) in [(120.0, 59_880.0), (350.0, 174_650.0), (1000.0, 499_000.0)] {
            assert!((shunt_strain(gauge, shunt, 2.0) * 1e6 - 1000.0).abs() < 1e-9, "{gauge}");
        }
    }

    #[test]
    fn a_tie_rod_strains_as_computed() {
        // Ø80 mm at 250 kN; source: computed. Choosing the modulus alone moves it by five percent.
        let area = core::f64::consts::PI * 1600.0;
        for (modulus, strain) in [(200.0, 248.6796), (207.0, 240.2701), (210.0, 236.8377)] {
            let found = column_strain(250.0, area, modulus) * 1e6;
            assert!((found - strain).abs() < 1e-4, "{modulus}: {found}");
        }
        assert!((column_strain(250.0, 10_000.0, 200.0) * 1e6 - 125.0).abs() < 1e-9);
    }
}
