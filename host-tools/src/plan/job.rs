//! A job as the plan needs it: stock, stations and what each does, in mm, MPa and kN, checked.

use serde::Serialize;

/// The whole job.
#[derive(Debug, Clone, PartialEq)]
pub struct Job {
    /// Free text.
    pub name: String,
    /// Strokes a minute; none lets each press run as fast as its card allows.
    pub speed_spm: Option<f64>,
    /// Finished parts that leave the die in a stroke of the last hit.
    pub parts_per_stroke: f64,
    /// Strokes a part needs: the greatest `hit` of a station.
    pub hits: u32,
    /// The stock at every station that names none of its own.
    pub stock: Stock,
    /// Advance of the strip each stroke, mm; none for blanks fed by hand.
    pub advance_mm: Option<f64>,
    /// Die sets side by side, by name, with their places.
    pub dies: Vec<DieSet>,
    /// Stations at their places, repeats counted.
    pub stations: Vec<Station>,
    /// Every value that the file left to the program.
    pub defaults: Vec<DefaultUsed>,
    /// What the reader noticed and the user should know.
    pub remarks: Vec<String>,
}

/// A value that the job file left out.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DefaultUsed {
    /// Which station or table.
    pub place: String,
    /// Which field.
    pub field: String,
    /// What was taken, with its unit.
    pub value: String,
    /// Why that.
    pub why: String,
}

/// A die set with a place of its own.
#[derive(Debug, Clone, PartialEq)]
pub struct DieSet {
    /// Name.
    pub name: String,
    /// Its middle, mm to the right of the bolster's middle.
    pub x_mm: f64,
    /// Its middle, mm to the front of the bolster's middle.
    pub y_mm: f64,
}

/// Sheet at a station.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Stock {
    /// What it is made of.
    pub material: String,
    /// Thickness, mm.
    pub thickness_mm: f64,
    /// Half the band of thickness that holds nineteen in twenty, percent.
    pub thickness_spread_percent: f64,
    /// Shear strength, MPa.
    pub shear_mpa: f64,
    /// Tensile strength, MPa.
    pub tensile_mpa: f64,
    /// Yield strength, MPa.
    pub yield_mpa: f64,
    /// Where the strengths come from.
    pub source: String,
    /// Half the band of strength that holds nineteen in twenty, percent.
    pub strength_spread_percent: f64,
    /// Depth of the punch at fracture, fraction of thickness.
    pub penetration: f64,
}

/// A station at its place.
#[derive(Debug, Clone, PartialEq)]
pub struct Station {
    /// Name.
    pub name: String,
    /// Which die set it belongs to, if any.
    pub die: Option<usize>,
    /// In which hit on the part it works, from 1.
    pub hit: u32,
    /// mm to the right of the bolster's middle.
    pub x_mm: f64,
    /// mm to the front of the bolster's middle.
    pub y_mm: f64,
    /// The sheet here.
    pub stock: Stock,
    /// What it does.
    pub operations: Vec<Operation>,
}

/// What a station does.
#[derive(Debug, Clone, PartialEq)]
pub enum Operation {
    /// Pierces, blanks, notches, parts off.
    Cut(Cut),
    /// Bends.
    Bend(Bend),
    /// Draws a cup.
    Draw(Draw),
    /// Coins, flattens, embosses.
    Coin(Coin),
    /// Presses a spring pad, stripper plate or cushion.
    Pad(Pad),
}

/// A cut.
#[derive(Debug, Clone, PartialEq)]
pub struct Cut {
    /// Length of cut, all punches together, mm.
    pub perimeter_mm: f64,
    /// Punches that share it, in groups of different length where staggered.
    pub punches: u32,
    /// Slide height at first touch of the longest punch, mm.
    pub contact_mm: f64,
    /// Height between the longest and the shortest punch, mm.
    pub stagger_mm: f64,
    /// Height of the shear ground on the punch or die, mm.
    pub shear_mm: f64,
    /// Stripping load, percent of the cutting load.
    pub stripping_percent: f64,
}

/// How a bend is made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BendKind {
    /// In a V die.
    Vee,
    /// Over an edge (wiping).
    Wipe,
    /// In a V die, not to the bottom.
    Air,
}

/// A bend.
#[derive(Debug, Clone, PartialEq)]
pub struct Bend {
    /// How.
    pub how: BendKind,
    /// Length of the bend lines, all together, mm.
    pub length_mm: f64,
    /// Opening of the die, mm.
    pub opening_mm: f64,
    /// Slide height at first touch, mm.
    pub contact_mm: f64,
}

/// A drawn cup.
#[derive(Debug, Clone, PartialEq)]
pub struct Draw {
    /// Punch diameter, mm.
    pub punch_mm: f64,
    /// Blank diameter, mm.
    pub blank_mm: f64,
    /// Depth, mm; also the slide height at first touch less the thickness.
    pub depth_mm: f64,
    /// Die corner radius, mm.
    pub die_radius_mm: f64,
    /// Whether a cushion in the press holds the blank, so that the slide carries its load too.
    pub cushion: bool,
}

/// A squeeze.
#[derive(Debug, Clone, PartialEq)]
pub struct Coin {
    /// Area, mm².
    pub area_mm2: f64,
    /// Pressure at the nominal reduction, MPa.
    pub pressure_mpa: f64,
    /// Nominal reduction, mm.
    pub reduction_mm: f64,
    /// Slide height at first touch, mm.
    pub contact_mm: f64,
}

/// A spring pad.
#[derive(Debug, Clone, PartialEq)]
pub struct Pad {
    /// Load at first touch, kN.
    pub preload_kn: f64,
    /// Rise, kN/mm.
    pub rate_kn_per_mm: f64,
    /// Slide height at first touch, mm.
    pub contact_mm: f64,
}
