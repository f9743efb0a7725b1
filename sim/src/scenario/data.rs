//! The tables of a scenario file and their defaults.

use crate::truth::Kind;
use serde::Deserialize;

/// The whole scenario.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Scenario {
    /// What to call it.
    pub name: String,
    /// What it is, for people; says that it is invented.
    pub about: String,
    /// The one seed of all chance.
    pub seed: u64,
    /// How many strokes.
    pub strokes: u32,
    /// Samples a second.
    pub sample_hz: f64,
    /// Crank angle at which each stroke's recording starts, degrees from the top.
    pub angle_from_deg: f64,
    /// Crank angle at which it ends.
    pub angle_to_deg: f64,
    /// The press.
    pub press: PressData,
    /// Its limits.
    #[serde(default)]
    pub limits: LimitsData,
    /// Its frame.
    pub frame: FrameData,
    /// What turns its crank.
    pub drive: DriveData,
    /// The stock.
    pub strip: StripData,
    /// The die's stations, in strip order.
    #[serde(rename = "station")]
    pub stations: Vec<StationData>,
    /// Gauges, amplifier and converter.
    #[serde(default)]
    pub front_end: FrontEndData,
    /// What goes wrong and when.
    #[serde(default, rename = "fault")]
    pub faults: Vec<FaultData>,
}

/// The press, with the fields of a press card.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PressData {
    /// Free text.
    pub name: String,
    /// 1, 2 or 4.
    pub columns: usize,
    /// Rated load, kN.
    pub rated_kn: f64,
    /// Height above the bottom down to which the rating holds, mm.
    pub rated_height_mm: f64,
    /// Stroke, mm.
    pub stroke_mm: f64,
    /// Connecting rod length, mm.
    pub rod_mm: f64,
    /// Slowest and fastest strokes a minute.
    pub speed_spm: [f64; 2],
    /// Distance between gauge centres left-right and front-rear, mm.
    pub bolster_mm: [f64; 2],
    /// Work one stroke may take, kJ.
    pub usable_energy_kj: Option<f64>,
}

/// The limits of a press card.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct LimitsData {
    /// Reverse load, percent of rating.
    pub reverse_percent: f64,
    /// One column, percent of rating / columns.
    pub column_percent: f64,
    /// Left-right and front-rear difference, percent of rating.
    pub imbalance_percent: f64,
}

impl Default for LimitsData {
    fn default() -> Self {
        Self { reverse_percent: 10.0, column_percent: 110.0, imbalance_percent: 30.0 }
    }
}

/// The frame.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FrameData {
    /// Slide and upper die, kg.
    pub slide_mass_kg: f64,
    /// How far the frame stretches under the rated load, mm.
    pub stretch_at_rated_mm: f64,
    /// Damping ratio of the opening mode.
    pub damping: f64,
    /// Stiffness of the guides against tilt, fraction of the columns'.
    #[serde(default = "gib_share")]
    pub gib_share: f64,
    /// Each column's stiffness relative to the mean; all 1 where left out.
    #[serde(default)]
    pub column_stiffness: Vec<f64>,
    /// Slide's size left-right and front-rear, mm; the gauge distances where left out.
    #[serde(default)]
    pub slide_mm: Option<[f64; 2]>,
    /// Whether the slide's acceleration loads the columns.
    #[serde(default = "yes")]
    pub inertia: bool,
}

fn gib_share() -> f64 {
    0.03
}
fn yes() -> bool {
    true
}
fn one() -> u32 {
    1
}

/// What turns the crank.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DriveData {
    /// Strokes a minute in continuous running.
    pub speed_spm: f64,
    /// Standard deviation of the speed from stroke to stroke, percent.
    #[serde(default)]
    pub scatter_percent: f64,
}

/// The stock and how it varies.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StripData {
    /// A name of the materials table.
    pub material: String,
    /// Nominal thickness, mm.
    pub thickness_mm: f64,
    /// Strokes a coil lasts; varies by a tenth.
    pub strokes_per_coil: u32,
    /// Standard deviation of thickness coil to coil, percent.
    #[serde(default)]
    pub coil_thickness_percent: f64,
    /// Standard deviation of strength coil to coil, percent.
    #[serde(default)]
    pub coil_strength_percent: f64,
    /// Standard deviation of the drift of thickness and strength from a coil's start to its end, percent.
    #[serde(default)]
    pub drift_percent: f64,
    /// Standard deviation of thickness from stroke to stroke, percent.
    #[serde(default)]
    pub scatter_thickness_percent: f64,
    /// Standard deviation of strength from stroke to stroke, percent.
    #[serde(default)]
    pub scatter_strength_percent: f64,
    /// Standard deviation of each station's own load from stroke to stroke, percent.
    #[serde(default)]
    pub scatter_station_percent: f64,
    /// Standard deviation of friction (lubrication) from stroke to stroke, percent.
    #[serde(default)]
    pub scatter_friction_percent: f64,
    /// How much lower the dies close when warm, mm.
    #[serde(default)]
    pub warm_up_mm: f64,
    /// Strokes in which two thirds of the warming up is done.
    #[serde(default = "warm_up_strokes")]
    pub warm_up_strokes: f64,
    /// Dullness (0 sharp, 1 due long ago) that all cutting edges gain in 100,000 strokes.
    #[serde(default)]
    pub wear_per_100k: f64,
}

fn warm_up_strokes() -> f64 {
    200.0
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

/// Gauges, amplifier and converter; the same for each column.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct FrontEndData {
    /// Strain of a column at rating / columns, µm/m.
    pub strain_at_rated: f64,
    /// Gauge factor.
    pub gauge_factor: f64,
    /// Poisson's number of the column.
    pub poisson: f64,
    /// Bridge excitation, V.
    pub excitation_v: f64,
    /// Amplifier gain before the converter.
    pub gain: f64,
    /// Converter's reference: full scale either way, V.
    pub reference_v: f64,
    /// Noise at the amplifier's input, µV root mean square at this sample rate.
    pub noise_uv: f64,
    /// Mains hum at the amplifier's input, µV amplitude.
    pub hum_uv: f64,
    /// Mains frequency, Hz.
    pub mains_hz: f64,
    /// Standard deviation of the channels' gain error left by calibration, percent.
    pub gain_error_percent: f64,
    /// Standard deviation of the bridges' zero as installed, mV/V.
    pub zero_mv_per_v: f64,
    /// Drift of zero over an hour's warming, percent of a column's rating, standard deviation.
    pub drift_percent_per_hour: f64,
    /// Steps of the crank encoder in a turn.
    pub encoder_steps: u32,
}

impl Default for FrontEndData {
    fn default() -> Self {
        Self {
            strain_at_rated: 250.0,
            gauge_factor: 2.1,
            poisson: 0.285,
            excitation_v: 5.0,
            gain: 128.0,
            reference_v: 2.5,
            noise_uv: 1.2,
            hum_uv: 0.3,
            mains_hz: 50.0,
            gain_error_percent: 0.3,
            zero_mv_per_v: 0.05,
            drift_percent_per_hour: 0.2,
            encoder_steps: 16384,
        }
    }
}

/// Something that goes wrong.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FaultData {
    /// What.
    pub kind: Kind,
    /// How badly, 0 to 1.
    pub severity: f64,
    /// First stroke that can have it, from 1.
    #[serde(default = "one")]
    pub from: u32,
    /// Last stroke that can have it; the last of the run where left out.
    #[serde(default)]
    pub to: Option<u32>,
    /// Chance that a stroke of the span has it; every stroke where left out.
    #[serde(default)]
    pub probability: Option<f64>,
    /// Whether severity rises from nothing at `from` to its value at `to`.
    #[serde(default)]
    pub grows: bool,
    /// Station it is at, from 1; picked by chance where left out.
    #[serde(default)]
    pub station: Option<usize>,
    /// Column it is at, by name (`lf`, `left`, `total`); picked by chance where left out.
    #[serde(default)]
    pub column: Option<String>,
}
