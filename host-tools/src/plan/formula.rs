//! The handbook formulas behind a plan, each with its source. Lengths mm, strengths MPa, loads kN.

use core::f64::consts::PI;

use serde::Serialize;

use super::job::{Bend, BendKind, Coin, Cut, Draw, Stock};

/// One formula put to a station: what it gives and whether the plan goes on with it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FormulaLine {
    /// What it gives.
    pub what: &'static str,
    /// The formula.
    pub expression: &'static str,
    /// Where it comes from.
    pub source: &'static str,
    /// Its value for the nominal stock.
    pub value: f64,
    /// Its unit: `kN` or `kJ`.
    pub unit: &'static str,
    /// Whether the plan's load is this one; the others are there to compare.
    pub used: bool,
}

/// Cutting load, kN: length of cut × thickness × shear strength.
#[must_use]
pub fn cutting_kn(perimeter_mm: f64, thickness_mm: f64, shear_mpa: f64) -> f64 {
    perimeter_mm * thickness_mm * shear_mpa / 1000.0
}

/// Stripping load by area of cut, kN: 1.7 US tons a square inch.
#[must_use]
pub fn stripping_kn(perimeter_mm: f64, thickness_mm: f64) -> f64 {
    1.7 * bolster_core::units::KN_PER_US_TONF * perimeter_mm * thickness_mm / 645.16
}

/// Work of a blanking stroke, kJ: half the load over the thickness.
#[must_use]
pub fn blanking_work_kj(load_kn: f64, thickness_mm: f64) -> f64 {
    0.5 * load_kn * thickness_mm / 1000.0
}

/// Work of a drawing stroke, kJ: 0.63 of the load over the depth.
#[must_use]
pub fn drawing_work_kj(load_kn: f64, depth_mm: f64) -> f64 {
    0.63 * load_kn * depth_mm / 1000.0
}

/// Bending load, kN: `factor` · Rm · w · t² / D.
#[must_use]
pub fn bending_kn(factor: f64, length_mm: f64, thickness_mm: f64, tensile_mpa: f64, opening_mm: f64) -> f64 {
    factor * tensile_mpa * length_mm * thickness_mm * thickness_mm / opening_mm / 1000.0
}

/// Air bending by the US chart's form, kN: 575 US tons a foot · t²/V for mild steel, t and V in inches.
#[must_use]
pub fn air_chart_kn(length_mm: f64, thickness_mm: f64, opening_mm: f64) -> f64 {
    let (feet, t, v) = (length_mm / 304.8, thickness_mm / 25.4, opening_mm / 25.4);
    575.0 * t * t / v * feet * bolster_core::units::KN_PER_US_TONF
}

/// Drawing load of a cup, kN: π Dp t Rm (Db/Dp − 0.7).
#[must_use]
pub fn drawing_kn(punch_mm: f64, blank_mm: f64, thickness_mm: f64, tensile_mpa: f64) -> f64 {
    wall_kn(punch_mm, thickness_mm, tensile_mpa) * (blank_mm / punch_mm - 0.7)
}

/// What the wall of a cup can carry, kN: π Dp t Rm.
#[must_use]
pub fn wall_kn(punch_mm: f64, thickness_mm: f64, tensile_mpa: f64) -> f64 {
    PI * punch_mm * thickness_mm * tensile_mpa / 1000.0
}

/// Blank-holder load, kN: 0.015 Y π (Db² − (Dp + 2.2 t + 2 Rd)²); nothing where no flange is left.
#[must_use]
pub fn holding_kn(punch_mm: f64, blank_mm: f64, thickness_mm: f64, radius_mm: f64, yield_mpa: f64) -> f64 {
    let inner = punch_mm + 2.2 * thickness_mm + 2.0 * radius_mm;
    (0.015 * yield_mpa * PI * (blank_mm * blank_mm - inner * inner) / 1000.0).max(0.0)
}

/// Energy a flywheel gives up for a slow-down of this fraction, J: ½ I ω² (1 − (1 − s)²).
#[must_use]
pub fn flywheel_usable_j(inertia_kg_m2: f64, rpm: f64, slow_down: f64) -> f64 {
    let omega = rpm * PI / 30.0;
    0.5 * inertia_kg_m2 * omega * omega * (1.0 - (1.0 - slow_down) * (1.0 - slow_down))
}

/// First reverse peak after a load is removed at once from a damped frame, fraction of it:
/// exp(−πζ/√(1 − ζ²)).
#[must_use]
pub fn sudden_release_factor(damping: f64) -> f64 {
    (-PI * damping / (1.0 - damping * damping).sqrt()).exp()
}

/// What a release over `duration` leaves of the ringing of a frame of this period: |sin(πd/T)/(πd/T)|.
#[must_use]
pub fn ramp_release_factor(duration_over_period: f64) -> f64 {
    let x = PI * duration_over_period;
    if x.abs() < 1e-9 { 1.0 } else { (x.sin() / x).abs() }
}

/// Share of each column by the linear form F = P/n · (1 ± 2ex/a ± 2ey/b); columns in the order of the press,
/// two columns share left and right only.
#[must_use]
pub fn column_shares(
    columns: bolster_core::press::Columns,
    centre_mm: [f64; 2],
    plate_mm: [f64; 2],
) -> Vec<f64> {
    let count = columns.count() as f64;
    let side = |x: f32, y: f32| {
        let x = f64::from(x) * 2.0 * centre_mm[0] / plate_mm[0];
        let y = f64::from(y) * 2.0 * centre_mm[1] / plate_mm[1];
        (1.0 + x + y) / count
    };
    columns.side_x().iter().zip(columns.side_y()).map(|(x, y)| side(*x, *y)).collect()
}

const GROOVER: &str = "Groover's form (from memory)";
const SHOP: &str = "metalworking-machinery.com (read)";

pub(super) fn of_cut(cut: &Cut, stock: &Stock) -> Vec<FormulaLine> {
    let load = cutting_kn(cut.perimeter_mm, stock.thickness_mm, stock.shear_mpa);
    vec![
        FormulaLine {
            what: "cutting load",
            expression: "L · t · τ",
            source: "metalworking-machinery.com, gtproductionsystems.com (read)",
            value: load,
            unit: "kN",
            used: true,
        },
        FormulaLine {
            what: "stripping load",
            expression: "share of the cutting load",
            source: "2.5 to 20 % in the literature (memory)",
            value: load * cut.stripping_percent / 100.0,
            unit: "kN",
            used: true,
        },
        FormulaLine {
            what: "stripping load",
            expression: "1.7 US tons/in² · L · t",
            source: SHOP,
            value: stripping_kn(cut.perimeter_mm, stock.thickness_mm),
            unit: "kN",
            used: false,
        },
        FormulaLine {
            what: "work of the cut",
            expression: "0.5 · F · t",
            source: SHOP,
            value: blanking_work_kj(load, stock.thickness_mm),
            unit: "kJ",
            used: false,
        },
    ]
}

pub(super) fn of_bend(bend: &Bend, stock: &Stock) -> Vec<FormulaLine> {
    let with =
        |factor| bending_kn(factor, bend.length_mm, stock.thickness_mm, stock.tensile_mpa, bend.opening_mm);
    let line = |what, expression, source, kn, how: BendKind| FormulaLine {
        what,
        expression,
        source,
        value: kn,
        unit: "kN",
        used: how == bend.how,
    };
    let mut lines = vec![];
    if bend.how == BendKind::Wipe {
        lines.push(line("wiping load", "0.33 · Rm · w · t²/D", GROOVER, with(0.33), BendKind::Wipe));
        return lines;
    }
    lines.push(line("V-die bending load", "1.33 · Rm · w · t²/D", GROOVER, with(1.33), BendKind::Vee));
    let metric = "press-brake charts, metric form (from memory)";
    lines.push(line("air-bending load", "1.42 · Rm · L · t²/V", metric, with(1.42), BendKind::Air));
    lines.push(FormulaLine {
        what: "air-bending load, mild steel",
        expression: "575 US tons/ft · t²/V, inches",
        source: "US bend charts (from memory); conventions differ by some 15 %",
        value: air_chart_kn(bend.length_mm, stock.thickness_mm, bend.opening_mm),
        unit: "kN",
        used: false,
    });
    lines
}

pub(super) fn of_draw(draw: &Draw, stock: &Stock) -> Vec<FormulaLine> {
    let t = stock.thickness_mm;
    vec![
        FormulaLine {
            what: "drawing load",
            expression: "π · Dp · t · Rm · (Db/Dp − 0.7)",
            source: GROOVER,
            value: drawing_kn(draw.punch_mm, draw.blank_mm, t, stock.tensile_mpa),
            unit: "kN",
            used: true,
        },
        FormulaLine {
            what: "blank-holder load",
            expression: "0.015 · Y · π · (Db² − (Dp + 2.2 t + 2 Rd)²)",
            source: GROOVER,
            value: holding_kn(draw.punch_mm, draw.blank_mm, t, draw.die_radius_mm, stock.yield_mpa),
            unit: "kN",
            used: draw.cushion,
        },
        FormulaLine {
            what: "work of the draw",
            expression: "0.63 · F · depth",
            source: SHOP,
            value: drawing_work_kj(
                drawing_kn(draw.punch_mm, draw.blank_mm, t, stock.tensile_mpa),
                draw.depth_mm,
            ),
            unit: "kJ",
            used: false,
        },
        FormulaLine {
            what: "strength of the wall",
            expression: "π · Dp · t · Rm",
            source: "upper bound of what a cup can carry; a draw that needs more tears it",
            value: wall_kn(draw.punch_mm, t, stock.tensile_mpa),
            unit: "kN",
            used: false,
        },
    ]
}

pub(super) fn of_coin(coin: &Coin) -> Vec<FormulaLine> {
    vec![FormulaLine {
        what: "squeezing load at the nominal reduction",
        expression: "area · pressure",
        source: "definition; pressures of 3 to 5 Rm for coining are common practice, no source",
        value: coin.area_mm2 * coin.pressure_mpa / 1000.0,
        unit: "kN",
        used: true,
    }]
}

#[cfg(test)]
#[path = "formula/tests.rs"]
mod tests;
