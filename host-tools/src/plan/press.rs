//! The presses a job is planned on: cards, and beside a card, optionally, what planning needs beyond it.
//!
//! Beside `p3.toml` may stand `p3.plan.toml`:
//!
//! ```toml
//! [frame]
//! stretch_at_rated_mm = 0.9      # how far the frame opens under the rated load
//! slide_mass_kg = 5200.0         # slide and upper die
//! damping = 0.05                 # ratio, of the ringing after fracture
//! [flywheel]                     # used where the card gives no usable energy
//! inertia_kg_m2 = 50.0
//! rpm = 300.0                    # at the fastest strokes a minute
//! slow_down_percent = 15.0
//! [[gear]]                       # each gear is planned as a press of its own
//! name = "low"
//! speed_spm = [12.0, 20.0]
//! usable_energy_kj = 60.0        # optional, at the gear's fastest speed
//! ```

use std::path::{Path, PathBuf};

use bolster_core::press::PressSpec;
use serde::Deserialize;

use super::formula;
use super::job::DefaultUsed;
use crate::card::press::{PressCard, PressCardError};

/// What can be wrong with the presses named.
#[derive(Debug, thiserror::Error)]
pub enum PressesError {
    /// A card was refused.
    #[error(transparent)]
    Card(#[from] PressCardError),
    /// The file beside a card was refused.
    #[error("{}: {problem}", path.display())]
    Beside {
        /// The file.
        path: PathBuf,
        /// What is wrong.
        problem: String,
    },
    /// The folder holds no press card or cannot be read.
    #[error("{}: {problem}", path.display())]
    Folder {
        /// The folder.
        path: PathBuf,
        /// What is wrong.
        problem: String,
    },
}

/// The frame of a press.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FrameFacts {
    /// How far it opens under the rated load, mm.
    pub stretch_at_rated_mm: f64,
    /// Slide and upper die, kg.
    pub slide_mass_kg: f64,
    /// Damping ratio.
    pub damping: f64,
}

/// A press in one of its gears.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate {
    /// Name of the press, with the gear where it has several.
    pub name: String,
    /// Ratings, limits and speeds of this gear.
    pub spec: PressSpec,
    /// The frame.
    pub frame: FrameFacts,
    /// What was not given.
    pub defaults: Vec<DefaultUsed>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct Beside {
    frame: Option<FrameTable>,
    flywheel: Option<FlywheelTable>,
    #[serde(default)]
    gear: Vec<GearTable>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct FrameTable {
    stretch_at_rated_mm: Option<f64>,
    slide_mass_kg: Option<f64>,
    damping: Option<f64>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct FlywheelTable {
    inertia_kg_m2: f64,
    rpm: f64,
    slow_down_percent: f64,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct GearTable {
    name: String,
    speed_spm: [f64; 2],
    usable_energy_kj: Option<f64>,
}

/// The presses of a card, or of every card in a folder (files ending in `.toml`, `.plan.toml` excepted), in the
/// order of file names.
///
/// # Errors
/// [`PressesError`] names the file and what cannot be.
pub fn load(path: &Path) -> Result<Vec<Candidate>, PressesError> {
    if !path.is_dir() {
        return load_card(path);
    }
    let fail = |problem: String| PressesError::Folder { path: path.to_owned(), problem };
    let entries = std::fs::read_dir(path).map_err(|why| fail(format!("cannot be read ({why})")))?;
    let mut cards: Vec<PathBuf> = entries
        .filter_map(|entry| entry.ok().map(|entry| entry.path()))
        .filter(|file| {
            let name = file.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
            name.ends_with(".toml") && !name.ends_with(".plan.toml") && file.is_file()
        })
        .collect();
    cards.sort();
    if cards.is_empty() {
        return Err(fail("holds no press card (a file ending in .toml)".to_owned()));
    }
    let mut all = Vec::new();
    for card in cards {
        all.extend(load_card(&card)?);
    }
    Ok(all)
}

fn load_card(path: &Path) -> Result<Vec<Candidate>, PressesError> {
    let card = PressCard::load(path)?;
    let beside = path.with_extension("plan.toml");
    let extra = if beside.is_file() { read_beside(&beside)? } else { Beside::default() };
    candidates(&card, extra).map_err(|problem| PressesError::Beside { path: beside, problem })
}

/// A press card alone, everything beyond it by default.
///
/// # Errors
/// A text if the card's speeds and energies cannot be.
pub fn of_card(card: &PressCard) -> Result<Vec<Candidate>, String> {
    candidates(card, Beside::default())
}

fn read_beside(path: &Path) -> Result<Beside, PressesError> {
    let fail = |problem: String| PressesError::Beside { path: path.to_owned(), problem };
    let text = std::fs::read_to_string(path).map_err(|why| fail(format!("cannot be read ({why})")))?;
    toml::from_str(&text).map_err(|why| {
        let message = why.message().split_whitespace().collect::<Vec<_>>().join(" ");
        let line = why.span().map(|span| text.bytes().take(span.start).filter(|b| *b == b'\n').count() + 1);
        fail(line.map_or_else(|| message.clone(), |line| format!("line {line}: {message}")))
    })
}

fn candidates(card: &PressCard, extra: Beside) -> Result<Vec<Candidate>, String> {
    let mut defaults = Vec::new();
    let mut spec = card.spec;
    let frame = frame_of(&spec, extra.frame.unwrap_or_default(), &card.name, &mut defaults)?;
    if let Some(flywheel) = extra.flywheel {
        let sound = flywheel.inertia_kg_m2 > 0.0
            && flywheel.rpm > 0.0
            && flywheel.slow_down_percent > 0.0
            && flywheel.slow_down_percent <= 100.0;
        if !sound {
            return Err("[flywheel] needs inertia, rpm and slow_down_percent above zero".to_owned());
        }
        if spec.usable_energy_kj.is_none() {
            let slow = flywheel.slow_down_percent / 100.0;
            let usable = formula::flywheel_usable_j(flywheel.inertia_kg_m2, flywheel.rpm, slow) / 1000.0;
            spec.usable_energy_kj = Some(usable);
        }
    }
    if extra.gear.is_empty() {
        return Ok(vec![Candidate { name: card.name.clone(), spec, frame, defaults }]);
    }
    extra
        .gear
        .into_iter()
        .map(|gear| {
            let mut own = spec;
            own.speed_spm = gear.speed_spm;
            own.usable_energy_kj = gear.usable_energy_kj.or(spec.usable_energy_kj);
            own.check().map_err(|why| format!("gear \"{}\": {why}", gear.name))?;
            let name = format!("{}, {} gear", card.name, gear.name);
            Ok(Candidate { name, spec: own, frame, defaults: defaults.clone() })
        })
        .collect()
}

fn frame_of(
    spec: &PressSpec,
    given: FrameTable,
    name: &str,
    defaults: &mut Vec<DefaultUsed>,
) -> Result<FrameFacts, String> {
    let mut value = |field: &str, given: Option<f64>, otherwise: f64, unit: &str, most: f64| match given {
        Some(number) if number > 0.0 && number <= most => Ok(number),
        Some(number) => Err(format!("[frame] {field} must be above 0 and at most {most}, not {number}")),
        None => {
            defaults.push(DefaultUsed {
                place: format!("press \"{name}\""),
                field: format!("frame.{field}"),
                value: format!("{}{unit}", super::field::short(otherwise)),
                why: "assumption, no source; give the builder's figure in NAME.plan.toml".to_owned(),
            });
            Ok(otherwise)
        }
    };
    // Stiffness grows more slowly than rating; the mass is that of a 100 Hz frame.
    let stretch = 0.02 * spec.rated_kn.sqrt();
    let stretch_at_rated_mm = value("stretch_at_rated_mm", given.stretch_at_rated_mm, stretch, " mm", 50.0)?;
    let omega = core::f64::consts::TAU * 100.0;
    let mass = spec.rated_kn / stretch_at_rated_mm * 1e6 / (omega * omega);
    let slide_mass_kg = value("slide_mass_kg", given.slide_mass_kg, mass, " kg", 1e6)?;
    let damping = value("damping", given.damping, 0.05, "", 0.9)?;
    Ok(FrameFacts { stretch_at_rated_mm, slide_mass_kg, damping })
}

impl Candidate {
    /// Work one stroke may take at this speed, kJ: the card's figure holds at the fastest speed and falls with
    /// the square of it below (½Iω²).
    #[must_use]
    pub fn usable_kj_at(&self, speed_spm: f64) -> Option<f64> {
        let share = (speed_spm / self.spec.speed_spm[1]).min(1.0);
        self.spec.usable_energy_kj.map(|energy| energy * share * share)
    }

    /// Stiffness of the whole frame, kN/mm.
    #[must_use]
    pub fn stiffness(&self) -> f64 {
        self.spec.rated_kn / self.frame.stretch_at_rated_mm
    }

    /// Period of the frame's ringing, s.
    #[must_use]
    pub fn period_s(&self) -> f64 {
        core::f64::consts::TAU * (self.frame.slide_mass_kg * 1e-6 / self.stiffness()).sqrt()
    }
}
