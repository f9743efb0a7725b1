//! `bolster plan`: a job on the shop's presses before the first stroke.

use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};

use super::{CAUTION, Failure, print};
use crate::figure::{Figure, LoadUnit, Size, png};
use crate::material::Materials;
use crate::output::Output;
use crate::plan::job::Job;
use crate::plan::{self, draft, json, picture, press, report};

/// Plan a job on one press or a folder of presses
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  bolster plan --press presses/ --job bracket.toml --pictures plan-out\n\nBeside a press card p3.toml, p3.plan.toml may give its frame, flywheel and gears. Numbers in the job file\nmay carry their unit (\"3/4 in\", \"40 ksi\"); bare ones take the units named in its [units]."
)]
pub struct PlanArgs {
    /// Press card, or a folder of them
    #[arg(long, value_name = "TOML|FOLDER", required_unless_present = "list_materials")]
    pub press: Option<PathBuf>,
    /// Job file
    #[arg(long, value_name = "TOML", required_unless_present = "list_materials")]
    pub job: Option<PathBuf>,
    /// More materials; entries win over the built-in ones
    #[arg(long, value_name = "TOML")]
    pub materials: Option<PathBuf>,
    /// Unit of loads in words and pictures; JSON is always kN
    #[arg(long, value_enum, default_value_t = UnitName::Kn)]
    pub unit: UnitName,
    /// Folder for pictures of the best press (SVG and PNG) and their numbers (CSV)
    #[arg(long, value_name = "FOLDER")]
    pub pictures: Option<PathBuf>,
    /// Where to write first limits as a draft die card, for the best press
    #[arg(long, value_name = "TOML")]
    pub draft: Option<PathBuf>,
    /// Print the materials with the source of each number, and plan nothing
    #[arg(long)]
    pub list_materials: bool,
    /// Print the plan as JSON
    #[arg(long)]
    pub json: bool,
}

/// Unit of load as the command line spells it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum UnitName {
    /// Kilonewtons.
    Kn,
    /// US tons-force.
    Tonf,
    /// Tonnes-force.
    Tonnef,
}

impl UnitName {
    /// As figures take it.
    #[must_use]
    pub fn unit(self) -> LoadUnit {
        match self {
            Self::Kn => LoadUnit::Kn,
            Self::Tonf => LoadUnit::UsTonf,
            Self::Tonnef => LoadUnit::TonneForce,
        }
    }
}

/// Runs the command.
///
/// # Errors
/// [`Failure`] for a job, card or materials file that cannot be, or an output that cannot be written.
pub fn run(args: &PlanArgs) -> Result<(), Failure> {
    let mut materials = Materials::built_in()?;
    if let Some(path) = &args.materials {
        materials.add_file(path)?;
    }
    if args.list_materials {
        return print(&listed(&materials, args.json)?);
    }
    let (Some(press), Some(job)) = (&args.press, &args.job) else {
        return Err(Failure::because("name a press card (--press) and a job file (--job)"));
    };
    let job = Job::load(job, &materials)?;
    let presses = press::load(press)?;
    let hits = job.hits;
    let inputs: Vec<&Path> = [&args.press, &args.job].into_iter().flatten().map(PathBuf::as_path).collect();
    let drafts =
        args.draft.as_deref().map(|path| open_drafts(path, &inputs, hits)).transpose()?.unwrap_or_default();
    let pictures =
        args.pictures.as_deref().map(|folder| open_pictures(folder, hits)).transpose()?.unwrap_or_default();
    let plan = plan::plan(job, &presses);
    if let Some(best) = plan.presses.first() {
        for (hit, mut output) in (1..).zip(drafts) {
            let text = draft::text(&plan.job, best, hit, CAUTION).unwrap_or_default();
            std::io::Write::write_all(&mut output, text.as_bytes())?;
            output.commit()?;
        }
        let unit = args.unit.unit();
        for (hit, outputs) in best.hits.iter().zip(pictures) {
            let [stations, capacity] = outputs;
            draw(&picture::stations(&plan.job, best, hit, unit), stations)?;
            draw(&picture::capacity(&plan.job, best, hit, unit), capacity)?;
        }
    }
    if args.json {
        let text = serde_json::to_string_pretty(&json::value(&plan, CAUTION))?;
        return print(&format!("{text}\n"));
    }
    print(&report::text(&plan, args.unit.unit(), CAUTION))
}

fn listed(materials: &Materials, json: bool) -> Result<String, Failure> {
    if json {
        return Ok(format!("{}\n", serde_json::to_string_pretty(materials.all())?));
    }
    let mut out = String::new();
    for m in materials.all() {
        out.push_str(&format!("{}\n", m.name));
        let rows = [
            ("shear", &m.shear_mpa, "MPa"),
            ("tensile", &m.tensile_mpa, "MPa"),
            ("yield", &m.yield_mpa, "MPa"),
            ("depth of the punch at fracture", &m.penetration_percent, "% of thickness"),
            ("spread", &m.spread_percent, "%"),
        ];
        for (what, number, unit) in rows {
            out.push_str(&format!("  {what}: {:.0} {unit}  [{}]\n", number.value, number.source));
        }
    }
    Ok(out)
}

/// One draft a hit: a hit is a die of its own.
fn open_drafts(path: &Path, inputs: &[&Path], hits: u32) -> Result<Vec<Output>, Failure> {
    let stem = path.file_stem().map(|s| s.to_string_lossy().into_owned()).unwrap_or_default();
    (1..=hits)
        .map(|hit| {
            let own = if hits == 1 {
                path.to_owned()
            } else {
                path.with_file_name(format!("{stem}-hit-{hit}.toml"))
            };
            Ok(Output::apart_from(&own, inputs)?)
        })
        .collect()
}

type Picture = [Output; 3];

fn open_pictures(folder: &Path, hits: u32) -> Result<Vec<[Picture; 2]>, Failure> {
    std::fs::create_dir_all(folder)
        .map_err(|why| Failure::because(format!("{}: cannot be made ({why})", folder.display())))?;
    let open = |name: &str, hit: u32| -> Result<Picture, Failure> {
        let stem = if hits == 1 { name.to_owned() } else { format!("{name}-hit-{hit}") };
        let file = |ending: &str| Output::create(&folder.join(format!("{stem}.{ending}")));
        Ok([file("svg")?, file("png")?, file("csv")?])
    };
    (1..=hits).map(|hit| Ok([open("stations", hit)?, open("capacity", hit)?])).collect()
}

fn draw(figure: &dyn Figure, outputs: Picture) -> Result<(), Failure> {
    let svg = figure.draw(Size::NORMAL)?;
    let image = png(&svg)?;
    let table = figure.table().to_csv();
    for (mut output, bytes) in outputs.into_iter().zip([svg.as_bytes(), &image, table.as_bytes()]) {
        std::io::Write::write_all(&mut output, bytes)?;
        output.commit()?;
    }
    Ok(())
}
