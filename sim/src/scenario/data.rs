//! The tables of a scenario file but die and front end, and their defaults.

use super::die::StationData;
use super::electrical::FrontEndData;
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
    /// Part sensors.
    #[serde(default, rename = "sensor")]
    pub sensors: Vec<SensorData>,
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
    /// Load with its centre as far out as the gauges, percent of rating; none where the builder gives none.
    pub off_centre_percent: Option<f64>,
}

impl Default for LimitsData {
    fn default() -> Self {
        Self {
            reverse_percent: 10.0,
            column_percent: 110.0,
            imbalance_percent: 30.0,
            off_centre_percent: None,
        }
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
fn joint() -> f64 {
    0.3
}
fn yes() -> bool {
    true
}
fn one() -> u32 {
    1
}

/// How the press is run.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, Default)]
#[serde(rename_all = "kebab-case")]
pub enum Mode {
    /// Stroke after stroke without stopping.
    #[default]
    Continuous,
    /// Stopping at the top after every stroke.
    Single,
    /// In short pulses, at setting-up.
    Inch,
}

/// What turns the crank.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct DriveData {
    /// Strokes a minute with nothing to do.
    pub speed_spm: f64,
    /// Standard deviation of the speed from stroke to stroke, percent.
    pub scatter_percent: f64,
    /// How the press is run.
    pub mode: Mode,
    /// Energy of the flywheel at that speed, kJ; where left out the speed does not droop.
    pub flywheel_kj: Option<f64>,
    /// Motor rating, kW.
    pub motor_kw: f64,
    /// Motor slip at its rating, percent.
    pub slip_percent: f64,
    /// Friction work a turn, J.
    pub friction_j: f64,
    /// Time in which the clutch brings the crank to speed, s.
    pub clutch_s: f64,
    /// Time in which the brake brings it to rest, s.
    pub brake_s: f64,
    /// Rest between single strokes, s.
    pub pause_s: f64,
    /// In continuous running, a stop at the top after this many strokes; 0 for none.
    pub stop_every: u32,
    /// How long such a stop lasts, s.
    pub stop_s: f64,
    /// Length of a pulse in inch mode, s.
    pub inch_on_s: f64,
    /// Rest between pulses, s.
    pub inch_off_s: f64,
    /// Speed in inch mode, fraction of `speed_spm`.
    pub inch_speed: f64,
    /// In inch mode, every so many pulses one goes backwards; 0 for none, else at least 3.
    pub inch_back_every: u32,
}

impl Default for DriveData {
    fn default() -> Self {
        Self {
            // Not a speed any press has: a scenario must say its own.
            speed_spm: 0.0,
            scatter_percent: 0.0,
            mode: Mode::Continuous,
            flywheel_kj: None,
            motor_kw: 0.0,
            slip_percent: 8.0,
            friction_j: 0.0,
            clutch_s: 0.12,
            brake_s: 0.15,
            pause_s: 2.0,
            stop_every: 0,
            stop_s: 30.0,
            inch_on_s: 0.15,
            inch_off_s: 0.4,
            inch_speed: 0.25,
            inch_back_every: 0,
        }
    }
}

/// What becomes of a coil's end.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, Default)]
#[serde(rename_all = "kebab-case")]
pub enum CoilEnd {
    /// The next coil is in the whole die at the next stroke: nobody records what is between.
    #[default]
    Seamless,
    /// The next coil is welded on; the joint goes through the die station by station.
    Joint,
    /// The end runs out through the die, and the next coil is threaded station by station.
    Thread,
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
    /// What becomes of its end.
    #[serde(default)]
    pub coil_end: CoilEnd,
    /// How badly a welded joint stands proud, 0 to 1.
    #[serde(default = "joint")]
    pub joint_severity: f64,
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
    /// Strokes the die had made since its last regrind when the run begins.
    #[serde(default)]
    pub strokes_since_regrind: u32,
    /// Strokes between regrinds; never where left out.
    #[serde(default)]
    pub regrind_every: Option<u32>,
}

fn warm_up_strokes() -> f64 {
    200.0
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

/// What a part sensor watches.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Watches {
    /// That the strip has come forward by a whole pitch.
    Feed,
    /// That the finished part has left the die.
    PartOut,
    /// Nothing that a fault of this model changes.
    Nothing,
}

/// A part sensor: on for part of every turn.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SensorData {
    /// What to call it.
    pub name: String,
    /// Input it is wired to, 1 to 8.
    pub input: u32,
    /// Crank angle at which it comes on, degrees.
    pub on_deg: f64,
    /// Crank angle at which it goes off, degrees.
    pub off_deg: f64,
    /// Standard deviation of both from stroke to stroke, degrees.
    #[serde(default)]
    pub jitter_deg: f64,
    /// What it watches.
    pub watches: Watches,
}
