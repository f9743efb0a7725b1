//! Reads a job file (TOML).
//!
//! ```toml
//! [units]                     # of bare numbers; any number may name its own: "3/4 in", "40 ksi"
//! length = "mm"               # mm, cm, m, in, ft
//! strength = "MPa"            # MPa, N/mm2, psi, ksi
//! load = "kN"                 # kN, N, tonf (US), tonnef, lbf
//! [job]
//! name = "mounting bracket"
//! strokes_per_minute = 45     # optional: else each press runs as fast as its card allows
//! parts_per_stroke = 1
//! [strip]
//! material = "low-carbon-cold-rolled"   # or shear, tensile and yield
//! thickness = 2.5
//! advance = 80                # optional
//! [[die]]                     # optional: die sets side by side
//! name = "left"
//! x = -600
//! [[station]]
//! name = "slots"
//! die = "left"                # optional; x and y then count from the die's middle
//! x = -200
//! y = 40
//! hit = 1                     # for parts made in several strokes
//! pierce = { perimeter = 520, punches = 3, entry = 2.6, stagger = 0.6 }
//! ```
//!
//! Operations: `pierce` (or `blank`), `bend`, `draw`, `coin`, `pad`; a station may have several. Nothing is
//! guessed silently: what is left out is either refused or listed among the defaults of the plan.

use std::cell::RefCell;
use std::path::{Path, PathBuf};

use toml::{Table, Value};

use super::field::{Fields, Found, Notes};
use super::job::{DieSet, Job, Station, Stock};
use super::operation;
use super::quantity::{Kind, Units};
use crate::material::Materials;

/// Why a job was refused: one line naming the file, the station and the field.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{}: {problem}", path.display())]
pub struct JobError {
    path: PathBuf,
    problem: String,
}

impl JobError {
    pub(super) fn new(path: &Path, problem: String) -> Self {
        Self { path: path.to_owned(), problem }
    }
}

/// Stations a job may have, repeats counted.
const MOST_STATIONS: usize = 1000;

impl Job {
    /// Reads a job file.
    ///
    /// # Errors
    /// [`JobError`] names the first station and field that cannot be.
    pub fn load(path: &Path, materials: &Materials) -> Result<Self, JobError> {
        let fail = |problem: String| JobError::new(path, problem);
        if path.is_dir() {
            return Err(fail("is a folder, not a job file; name the file in it".to_owned()));
        }
        let bytes = std::fs::read(path).map_err(|why| {
            fail(format!("cannot be read ({why}); check that it exists and that you may read it"))
        })?;
        let text = String::from_utf8(bytes)
            .map_err(|_| fail("is not plain text in UTF-8; a job file is TOML".to_owned()))?;
        Self::parse(&text, path, materials)
    }

    /// Understands the text of a job file; `path` is only for messages.
    ///
    /// # Errors
    /// As [`Job::load`].
    pub fn parse(text: &str, path: &Path, materials: &Materials) -> Result<Self, JobError> {
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        let root: Table = text.parse().map_err(|why: toml::de::Error| {
            let line =
                why.span().map(|span| text.bytes().take(span.start).filter(|b| *b == b'\n').count() + 1);
            let place = line.map_or_else(String::new, |line| format!("line {line}: "));
            let message = why.message().split_whitespace().collect::<Vec<_>>().join(" ");
            JobError::new(path, format!("{place}is not TOML: {message}"))
        })?;
        understand(&root, materials).map_err(|problem| JobError::new(path, problem))
    }
}

fn understand(root: &Table, materials: &Materials) -> Found<Job> {
    let empty = Table::new();
    let table = |key: &str| match root.get(key) {
        None => Ok(None),
        Some(Value::Table(table)) => Ok(Some(table)),
        Some(_) => Err(format!("[{key}] must be a table")),
    };
    let units = {
        let notes =
            Notes { units: Units::default(), defaults: RefCell::default(), remarks: RefCell::default() };
        let fields = Fields::new("[units]".to_owned(), table("units")?.unwrap_or(&empty), &notes);
        fields.only(&["length", "strength", "load"])?;
        Units::new(fields.text("length")?, fields.text("strength")?, fields.text("load")?)
            .map_err(|problem| format!("[units]: {problem}"))?
    };
    let notes = Notes { units, defaults: RefCell::default(), remarks: RefCell::default() };
    Fields::new("the file".to_owned(), root, &notes).only(&["units", "job", "strip", "die", "station"])?;

    let job = Fields::new(
        "[job]".to_owned(),
        table("job")?.ok_or("table [job] is missing; a job needs [job], [strip] and [[station]]")?,
        &notes,
    );
    job.only(&["name", "strokes_per_minute", "parts_per_stroke"])?;
    let name = job.text("name")?.ok_or_else(|| job.missing("name", "say what is made"))?.to_owned();
    let speed_spm = job.number("strokes_per_minute", 0.1, 3000.0)?;
    if speed_spm.is_none() {
        job.defaulted("strokes_per_minute", "fastest of each press card".to_owned(), "no speed given");
    }
    let parts_per_stroke =
        job.number_or("parts_per_stroke", 0.01, 10_000.0, 1.0, "one part a stroke of the last hit")?;

    let strip = Fields::new(
        "[strip]".to_owned(),
        table("strip")?.ok_or("table [strip] is missing; it says what the sheet is")?,
        &notes,
    );
    let mut known = STOCK_KEYS.to_vec();
    known.push("advance");
    strip.only(&known)?;
    let stock = stock_of(&strip, materials, None)?;
    let advance_mm = strip.length("advance")?;

    let dies = dies_of(root, &notes)?;
    let list = match root.get("station") {
        Some(Value::Array(list)) if !list.is_empty() => list,
        _ => return Err("no [[station]]; a job needs at least one".to_owned()),
    };
    let mut stations = Vec::new();
    for (number, entry) in list.iter().enumerate() {
        let Value::Table(entry) = entry else {
            return Err(format!("station {}: must be a table [[station]]", number + 1));
        };
        let given = entry.get("name").and_then(Value::as_str);
        let place = match given {
            Some(name) => format!("station {} \"{}\"", number + 1, super::quantity::clip(name)),
            None => format!("station {}", number + 1),
        };
        station_of(&Fields::new(place, entry, &notes), materials, &stock, &dies, &mut stations)?;
        if stations.len() > MOST_STATIONS {
            return Err(format!(
                "more than {MOST_STATIONS} stations, repeats counted; group punches into one"
            ));
        }
    }
    let hits = stations.iter().map(|s| s.hit).max().unwrap_or(1);
    if let Some(gap) = (1..=hits).find(|hit| !stations.iter().any(|s| s.hit == *hit)) {
        return Err(format!("no station works in hit {gap}, though one works in hit {hits}"));
    }
    let (defaults, remarks) = (notes.defaults.take(), notes.remarks.take());
    Ok(Job { name, speed_spm, parts_per_stroke, hits, stock, advance_mm, dies, stations, defaults, remarks })
}

fn dies_of(root: &Table, notes: &Notes) -> Found<Vec<DieSet>> {
    let list = match root.get("die") {
        None => return Ok(Vec::new()),
        Some(Value::Array(list)) => list,
        Some(_) => return Err("[[die]] must be a list of tables".to_owned()),
    };
    let mut dies: Vec<DieSet> = Vec::new();
    for (number, entry) in list.iter().enumerate() {
        let Value::Table(entry) = entry else {
            return Err(format!("die {}: must be a table [[die]]", number + 1));
        };
        let fields = Fields::new(format!("die {}", number + 1), entry, notes);
        fields.only(&["name", "x", "y"])?;
        let name =
            fields.text("name")?.ok_or_else(|| fields.missing("name", "stations name their die by it"))?;
        if dies.iter().any(|die| die.name == name) {
            return Err(fields.wrong("name", "is used twice"));
        }
        let x_mm = fields.place_mm("x")?.ok_or_else(|| fields.missing("x", "say where the die stands"))?;
        let y_mm = place_or_middle(&fields, "y")?;
        dies.push(DieSet { name: name.to_owned(), x_mm, y_mm });
    }
    Ok(dies)
}

fn place_or_middle(fields: &Fields<'_>, key: &str) -> Found<f64> {
    match fields.place_mm(key)? {
        Some(place) => Ok(place),
        None => {
            fields.defaulted(key, "0 mm".to_owned(), "in the middle");
            Ok(0.0)
        }
    }
}

const STOCK_KEYS: [&str; 8] = [
    "material",
    "shear",
    "tensile",
    "yield",
    "thickness",
    "thickness_spread_percent",
    "strength_spread_percent",
    "penetration_percent",
];

fn stock_of(fields: &Fields<'_>, materials: &Materials, strip: Option<&Stock>) -> Found<Stock> {
    let strength = |key: &str| fields.quantity(key, Kind::Strength, 0.1, 10_000.0);
    let (shear, tensile, yields) = (strength("shear")?, strength("tensile")?, strength("yield")?);
    let name = fields.text("material")?;
    let known = name
        .map(|name| materials.find(name).map_err(|problem| fields.wrong("material", &problem)))
        .transpose()?;
    let own = known.is_some() || shear.is_some() || tensile.is_some() || yields.is_some();
    let thickness_mm = match (fields.quantity("thickness", Kind::Length, 0.02, 60.0)?, strip) {
        (Some(thickness), _) => thickness,
        (None, Some(strip)) => strip.thickness_mm,
        (None, None) => return Err(fields.missing("thickness", "no load can be told without it")),
    };
    let mut stock = match (known, strip) {
        (Some(known), _) => Stock {
            material: known.name.clone(),
            thickness_mm,
            thickness_spread_percent: 0.0,
            shear_mpa: known.shear_mpa.value,
            tensile_mpa: known.tensile_mpa.value,
            yield_mpa: known.yield_mpa.value,
            source: format!("shear: {}; tensile: {}", known.shear_mpa.source, known.tensile_mpa.source),
            strength_spread_percent: known.spread_percent.value,
            penetration: known.penetration_percent.value / 100.0,
        },
        (None, Some(strip)) if !own => Stock { thickness_mm, ..strip.clone() },
        _ => from_strengths(fields, thickness_mm, shear, tensile, yields)?,
    };
    if known.is_some() {
        let given = [
            (shear, &mut stock.shear_mpa),
            (tensile, &mut stock.tensile_mpa),
            (yields, &mut stock.yield_mpa),
        ];
        for (given, place) in given {
            if let Some(mpa) = given {
                *place = mpa;
                if !stock.source.contains("the job file wins") {
                    stock.source.push_str("; what the job file gives: the job file wins");
                }
            }
        }
    }
    if stock.shear_mpa >= stock.tensile_mpa {
        return Err(fields.wrong("shear", "is not below the tensile strength; no metal is like that"));
    }
    if let Some(percent) = fields.number("strength_spread_percent", 0.0, 60.0)? {
        stock.strength_spread_percent = percent;
    } else if strip.is_none() {
        let why = if known.is_some() {
            "of the materials table"
        } else {
            "usual mill spread (common practice, no source)"
        };
        fields.defaulted("strength_spread_percent", format!("{}", stock.strength_spread_percent), why);
    }
    match (fields.number("thickness_spread_percent", 0.0, 60.0)?, strip) {
        (Some(percent), _) => stock.thickness_spread_percent = percent,
        (None, Some(strip)) => stock.thickness_spread_percent = strip.thickness_spread_percent,
        (None, None) => {
            stock.thickness_spread_percent = 4.0;
            fields.defaulted(
                "thickness_spread_percent",
                "4".to_owned(),
                "usual rolled strip (common practice, no source)",
            );
        }
    }
    if let Some(percent) = fields.number("penetration_percent", 1.0, 99.0)? {
        stock.penetration = percent / 100.0;
    } else if strip.is_none() {
        let why = if known.is_some() {
            "of the materials table"
        } else {
            "mild steel (common practice, no source)"
        };
        fields.defaulted(
            "penetration_percent",
            format!("{}", (stock.penetration * 1000.0).round() / 10.0),
            why,
        );
    }
    Ok(stock)
}

/// A stock given by its strengths; what is missing follows from what is there, and is listed.
fn from_strengths(
    fields: &Fields<'_>,
    thickness_mm: f64,
    shear: Option<f64>,
    tensile: Option<f64>,
    yields: Option<f64>,
) -> Found<Stock> {
    let derived = |key: &str, mpa: f64, why: &str| {
        fields.defaulted(key, format!("{} MPa", (mpa * 10.0).round() / 10.0), why);
        mpa
    };
    let (shear_mpa, tensile_mpa) = match (shear, tensile) {
        (Some(shear), Some(tensile)) => (shear, tensile),
        (Some(shear), None) => {
            (shear, derived("tensile", shear / 0.8, "shear / 0.8 (read on calculator pages)"))
        }
        (None, Some(tensile)) => {
            (derived("shear", 0.8 * tensile, "0.8 × tensile (read on calculator pages)"), tensile)
        }
        (None, None) => {
            return Err(fields
                .missing("material", "name one of the materials table, or give shear or tensile strength"));
        }
    };
    let yield_mpa = yields
        .unwrap_or_else(|| derived("yield", 0.6 * tensile_mpa, "0.6 × tensile (common practice, no source)"));
    Ok(Stock {
        material: "as given".to_owned(),
        thickness_mm,
        thickness_spread_percent: 0.0,
        shear_mpa,
        tensile_mpa,
        yield_mpa,
        source: "given in the job file".to_owned(),
        strength_spread_percent: 10.0,
        penetration: 0.4,
    })
}

fn station_of(
    fields: &Fields<'_>,
    materials: &Materials,
    strip: &Stock,
    dies: &[DieSet],
    out: &mut Vec<Station>,
) -> Found<()> {
    let mut known = vec![
        "name", "die", "x", "y", "hit", "repeat", "pitch", "pierce", "blank", "bend", "draw", "coin", "pad",
    ];
    known.extend(STOCK_KEYS);
    fields.only(&known)?;
    let name = fields
        .text("name")?
        .ok_or_else(|| fields.missing("name", "every message names the station by it"))?;
    let die = match fields.text("die")? {
        None => None,
        Some(wanted) => Some(dies.iter().position(|die| die.name == wanted).ok_or_else(|| {
            let names: Vec<&str> = dies.iter().map(|die| die.name.as_str()).collect();
            fields.wrong("die", &format!("no [[die]] has that name; there are: {}", names.join(", ")))
        })?),
    };
    let stock = stock_of(fields, materials, Some(strip))?;
    let x =
        fields.place_mm("x")?.ok_or_else(|| fields.missing("x", "say where it stands, 0 is the middle"))?;
    let y = place_or_middle(fields, "y")?;
    let middle = die.and_then(|die| dies.get(die)).map_or([0.0; 2], |die| [die.x_mm, die.y_mm]);
    let hit = fields.whole_or("hit", 20, 1, "")?;
    let repeat = fields.whole_or("repeat", 1000, 1, "")?;
    let pitch = match (fields.pair("pitch")?, repeat) {
        (Some(pitch), _) => pitch,
        (None, 1) => [0.0; 2],
        (None, _) => {
            return Err(
                fields.missing("pitch", "say how far apart the repeats are: [left-right, front-rear]")
            );
        }
    };
    let operations = operation::read(fields, &stock)?;
    for number in 0..repeat {
        let step = f64::from(number);
        out.push(Station {
            name: if repeat > 1 { format!("{name} {}", number + 1) } else { name.to_owned() },
            die,
            hit,
            x_mm: middle[0] + x + step * pitch[0],
            y_mm: middle[1] + y + step * pitch[1],
            stock: stock.clone(),
            operations: operations.clone(),
        });
    }
    Ok(())
}
