//! The die's tables in a scenario file: stations and what they do.

use serde::Deserialize;

fn yes() -> bool {
    true
}
fn one() -> u32 {
    1
}

/// One station; it may do several things.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StationData {
    /// What to call it.
    pub name: String,
    /// Place on the bolster plate, mm to the right of its middle.
    pub x_mm: f64,
    /// Place, mm to the front of its middle.
    #[serde(default)]
    pub y_mm: f64,
    /// How many stations alike, each a pitch further.
    #[serde(default = "one")]
    pub repeat: u32,
    /// From one to the next, mm.
    #[serde(default)]
    pub pitch_mm: [f64; 2],
    /// Cuts.
    #[serde(default)]
    pub pierce: Option<PierceData>,
    /// Bends.
    #[serde(default)]
    pub bend: Option<BendData>,
    /// Squeezes.
    #[serde(default)]
    pub coin: Option<CoinData>,
    /// Draws.
    #[serde(default)]
    pub draw: Option<DrawData>,
    /// Lances a tab on three sides and forms it in the same stroke.
    #[serde(default)]
    pub lance: Option<LanceData>,
    /// Strikes a bend again to sharpen or set it.
    #[serde(default)]
    pub restrike: Option<RestrikeData>,
    /// Presses a spring pad, stripper plate or cushion.
    #[serde(default)]
    pub pad: Option<PadData>,
}

/// Piercing, blanking, notching, parting off.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PierceData {
    /// Length of cut, all punches together, mm.
    pub perimeter_mm: f64,
    /// How many punches share it.
    #[serde(default = "one")]
    pub punches: u32,
    /// How far the punches go past the strip's underside at the bottom, mm.
    pub entry_mm: f64,
    /// Height between the longest and the shortest punch, mm.
    #[serde(default)]
    pub stagger_mm: f64,
    /// Height of the shear ground on the punch face, mm.
    #[serde(default)]
    pub shear_mm: f64,
    /// Clearance a side, percent of thickness.
    #[serde(default = "clearance")]
    pub clearance_percent: f64,
    /// Stripping load, percent of the cutting load, when sharp.
    #[serde(default = "stripping")]
    pub stripping_percent: f64,
    /// Dullness at the first stroke, 0 to 1.
    #[serde(default)]
    pub dullness: f64,
}

fn clearance() -> f64 {
    8.0
}
fn stripping() -> f64 {
    7.0
}

/// How a bend is made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum BendKind {
    /// In a V die.
    Vee,
    /// Over an edge.
    Wipe,
    /// In a V die, not to the bottom.
    Air,
}

/// Bending.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BendData {
    /// How.
    pub how: BendKind,
    /// Length of the bend line, all bends together, mm.
    pub length_mm: f64,
    /// Opening of the die, mm.
    pub opening_mm: f64,
    /// Slide height at first touch with nominal strip, mm.
    pub touch_mm: f64,
}

/// Coining, flattening, embossing, bottoming.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CoinData {
    /// Area squeezed, mm².
    pub area_mm2: f64,
    /// Pressure at the nominal reduction, in tensile strengths.
    pub pressure_factor: f64,
    /// Slide height at first touch with nominal strip, mm; the frame's stretch takes some of it.
    pub touch_mm: f64,
    /// Reduction at which the pressure is reached, mm.
    pub reduction_mm: f64,
}

/// Drawing a cup.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DrawData {
    /// Punch diameter, mm.
    pub punch_mm: f64,
    /// Blank diameter, mm.
    pub blank_mm: f64,
    /// Depth, mm.
    pub depth_mm: f64,
    /// Die corner radius, mm.
    pub die_radius_mm: f64,
    /// Whether a blank holder on a cushion holds the flange.
    #[serde(default = "yes")]
    pub holder: bool,
}

/// Lancing and forming a tab.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LanceData {
    /// Length of cut, all tabs together, mm.
    pub cut_mm: f64,
    /// Length of the bend lines, all tabs together, mm.
    pub bend_mm: f64,
    /// How far the punch goes past the strip's top at the bottom, mm: the tab's height.
    pub height_mm: f64,
}

/// Restriking bends.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RestrikeData {
    /// Length of the bends, mm.
    pub length_mm: f64,
    /// Inside radius that is struck, mm.
    pub radius_mm: f64,
    /// Slide height at first touch with nominal strip, mm.
    pub touch_mm: f64,
}

/// A spring pad.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PadData {
    /// Load at first touch, kN.
    pub preload_kn: f64,
    /// Rise, kN/mm.
    pub rate_kn_per_mm: f64,
    /// Slide height at first touch, mm.
    pub touch_mm: f64,
}
