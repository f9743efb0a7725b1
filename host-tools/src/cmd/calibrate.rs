//! `bolster calibrate`: gauges against a reference load cell.

use std::io::Write as _;
use std::path::{Path, PathBuf};

use bolster_core::press::Columns;
use clap::Args;
use serde_json::json;

use super::plan::UnitName;
use super::{CAUTION, Failure, print};
use crate::calibrate::bridge::Estimate;
use crate::calibrate::run::Run;
use crate::calibrate::stored::{Shunt, Stored, cross_talk_word};
use crate::calibrate::{Fitted, assess, calibrate, certificate, claim, series, verify};
use crate::card::press::PressCard;
use crate::figure::{Figure, Size, png};
use crate::output::Output;

/// Calibrate a press against a reference load cell, or check an old calibration
#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  bolster calibrate run.csv --press p3.toml --out calibration.toml --certificate p3\n  bolster calibrate today.csv --verify calibration.toml\n  bolster calibrate --estimate rods.toml --out first.toml\n\nThe run has reference_kn and counts (or lf_counts, rf_counts, lr_counts, rr_counts; left_counts, right_counts),\nand may have x_mm, y_mm, series (0 marks preloads), spread_counts and temperature_c. Exit 3 when --verify finds\nthat the stored calibration no longer holds."
)]
pub struct CalibrateArgs {
    /// Calibration run (CSV)
    #[arg(required_unless_present = "estimate")]
    pub run: Option<PathBuf>,
    /// Where to write the calibration
    #[arg(long, value_name = "TOML")]
    pub out: Option<PathBuf>,
    /// Press card, for the distance between gauges where the reference was moved
    #[arg(long, value_name = "TOML")]
    pub press: Option<PathBuf>,
    /// Where to write the certificate: NAME.txt, NAME.svg, NAME.png
    #[arg(long, value_name = "NAME")]
    pub certificate: Option<PathBuf>,
    /// Expanded uncertainty (k = 2) of the reference, percent of load, from its own certificate
    #[arg(long, value_name = "PERCENT")]
    pub reference_percent: Option<f64>,
    /// Write the calibration although the run supports no claim; it says so itself
    #[arg(long)]
    pub without_claim: bool,
    /// Compare the run with a stored calibration instead
    #[arg(long, value_name = "TOML", conflicts_with_all = ["out", "certificate", "estimate"])]
    pub verify: Option<PathBuf>,
    /// Error and change of gain that --verify allows, percent
    #[arg(long, value_name = "PERCENT", default_value_t = 1.0)]
    pub allow_percent: f64,
    /// Shunt check: resistance of a gauge and of the shunt, ohm
    #[arg(long, value_names = ["GAUGE", "SHUNT"], num_args = 2, requires = "shunt_counts")]
    pub shunt_ohm: Option<Vec<f64>>,
    /// Shunt check: counts that the shunt raised each gauge by, in the order of the columns
    #[arg(
        long,
        value_name = "COUNTS",
        value_delimiter = ',',
        allow_hyphen_values = true,
        requires = "shunt_ohm"
    )]
    pub shunt_counts: Option<Vec<f64>>,
    /// First gain from the geometry of tie rods or columns: an estimate, no calibration
    #[arg(long, value_name = "TOML", conflicts_with = "run")]
    pub estimate: Option<PathBuf>,
    /// Unit of loads in words and pictures; files are always kN
    #[arg(long, value_enum, default_value_t = UnitName::Kn)]
    pub unit: UnitName,
    /// Print the result as JSON
    #[arg(long)]
    pub json: bool,
}

/// Expanded uncertainty of a reference whose certificate is not at hand, percent.
pub(super) const REFERENCE_PERCENT: f64 = 0.5;

/// Runs the command.
///
/// # Errors
/// [`Failure`] for a run that cannot be read or supports no claim, or an output that cannot be written;
/// [`Failure::Found`] when a stored calibration no longer holds.
pub fn run(args: &CalibrateArgs) -> Result<(), Failure> {
    if let Some(path) = &args.estimate {
        return first_gain(args, path);
    }
    let Some(path) = &args.run else { return Err(Failure::because("name a calibration run")) };
    for (name, value) in
        [("--reference-percent", args.reference_percent), ("--allow-percent", Some(args.allow_percent))]
    {
        if value.is_some_and(|v| !(v > 0.0 && v <= 100.0)) {
            return Err(Failure::because(format!("{name} must be above 0 and at most 100")));
        }
    }
    let name = path.file_stem().map(|s| s.to_string_lossy().into_owned()).unwrap_or_default();
    let mut run = Run::load(path)?;
    let spikes = series::take_spikes(&mut run.readings);
    let card = args.press.as_deref().map(PressCard::load).transpose()?;
    if let Some(card) = &card
        && card.spec.columns != run.columns
    {
        return Err(Failure::because(format!(
            "{}: has {} gauges, the press card names {} columns",
            path.display(),
            run.columns.count(),
            card.spec.columns.count()
        )));
    }
    let inputs: Vec<&Path> =
        [Some(path), args.press.as_ref()].into_iter().flatten().map(PathBuf::as_path).collect();
    let out = args.out.as_deref().map(|out| Output::apart_from(out, &inputs)).transpose()?;
    let certificate = args.certificate.as_deref().map(open_certificate).transpose()?;
    let order = series::order(&run.readings);
    let fitted = calibrate(&run, &order, card.map(|c| c.spec.bolster_mm))
        .map_err(|why| Failure::because(format!("{}: {why}", path.display())))?;
    let shunt = shunt_of(args, run.columns)?;
    if let Some(stored) = &args.verify {
        return check_stored(args, &run, &order, &fitted, stored, shunt.as_ref());
    }
    let reference = args.reference_percent.unwrap_or(REFERENCE_PERCENT);
    let mut found = assess(&run, &order, &fitted, reference);
    let missing = claim::missing(&run, &order);
    let lacking: Vec<&str> = missing.iter().filter(|m| m.needed).map(|m| m.text.as_str()).collect();
    if !lacking.is_empty() {
        found.classes.withdraw();
    }
    let mut stored = Stored::new(run.columns, &fitted, &found, lacking.is_empty());
    stored.shunt = shunt;
    let subject =
        certificate::Subject { name: &name, run: &run, order: &order, fitted: &fitted, found: &found };
    let mut words = certificate::text(&subject, &missing, args.unit.unit(), CAUTION);
    if !spikes.is_empty() {
        words.push_str(&format!(
            "Left out as spikes: {} readings, lines {}\n",
            spikes.len(),
            lines_of(&spikes)
        ));
    }
    if args.reference_percent.is_none() {
        words.push_str(&format!(
            "Assumed, because it was not given: expanded uncertainty of the reference {REFERENCE_PERCENT} % (no source)\n"
        ));
    }
    if let Some(shunt) = &stored.shunt {
        words.push_str(&certificate::shunt(shunt, &fitted, run.columns.names(), args.unit.unit()));
    }
    if !lacking.is_empty() && !args.without_claim {
        // What was found is shown, but nothing is written that a monitor could load.
        if args.json {
            print_json(&subject, &missing, &stored, &spikes)?;
        } else {
            print(&words)?;
        }
        return Err(Failure::because(format!(
            "{}: the run supports no claim, nothing is written: {}. Take what is missing, or write it with --without-claim",
            path.display(),
            lacking.join("; ")
        )));
    }
    if let Some(mut out) = out {
        out.write_all(commented(&stored)?.as_bytes())?;
        out.commit()?;
    }
    if let Some(outputs) = certificate {
        let figure = certificate::picture(&subject, args.unit.unit());
        let svg = figure.draw(Size::NORMAL)?;
        let image = png(&svg)?;
        for (mut output, bytes) in outputs.into_iter().zip([words.as_bytes(), svg.as_bytes(), &image]) {
            output.write_all(bytes)?;
            output.commit()?;
        }
    }
    if args.json {
        return print_json(&subject, &missing, &stored, &spikes);
    }
    print(&words)
}

fn lines_of(spikes: &[u64]) -> String {
    let shown: Vec<String> = spikes.iter().take(10).map(u64::to_string).collect();
    let rest = if spikes.len() > 10 { " and more" } else { "" };
    format!("{}{rest}", shown.join(", "))
}

fn commented(stored: &Stored) -> Result<String, Failure> {
    let caution: String = CAUTION.lines().map(|line| format!("# {line}\n")).collect();
    Ok(format!("{caution}{}", stored.to_toml().map_err(Failure::because)?))
}

fn print_json(
    of: &certificate::Subject<'_>,
    missing: &[claim::Missing],
    stored: &Stored,
    spikes: &[u64],
) -> Result<(), Failure> {
    let certificate::Subject { run, fitted, found, .. } = of;
    let value = json!({
        "columns": run.columns.names(),
        "zero_counts": fitted.zero_counts,
        "kn_per_count": fitted.kn_per_count,
        "counts_per_kn": own_gains(fitted),
        "gain_deviation": fitted.gain_deviation,
        "cross_talk": cross_talk_word(fitted.cross_talk),
        "residuals_kn": fitted.residuals_kn,
        "assessment": found,
        "missing": missing,
        "spikes_left_out": spikes,
        "claim": stored.evidence.claim,
        "lowest_use_kn": stored.evidence.lowest_use_kn,
        "caution": CAUTION.split_whitespace().collect::<Vec<_>>().join(" "),
        "covers": "slow loads only",
    });
    print(&format!("{}\n", serde_json::to_string_pretty(&value)?))
}

/// `[gauge]`: counts a kN of its own column.
fn own_gains(fitted: &Fitted) -> Vec<f64> {
    fitted.kn_per_count.iter().enumerate().filter_map(|(i, row)| row.get(i).map(|gain| 1.0 / gain)).collect()
}

fn open_certificate(name: &Path) -> Result<[Output; 3], Failure> {
    // Appended, not replaced: a name may hold dots.
    let file = |ending: &str| {
        let mut whole = name.as_os_str().to_owned();
        whole.push(ending);
        Output::create(Path::new(&whole))
    };
    Ok([file(".txt")?, file(".svg")?, file(".png")?])
}

fn shunt_of(args: &CalibrateArgs, columns: Columns) -> Result<Option<Shunt>, Failure> {
    let (Some(ohm), Some(steps)) = (&args.shunt_ohm, &args.shunt_counts) else { return Ok(None) };
    let (gauge_ohm, shunt_ohm) = match ohm.as_slice() {
        [gauge, shunt] if *gauge > 0.0 && *shunt > 0.0 => (*gauge, *shunt),
        _ => return Err(Failure::because("--shunt-ohm needs two resistances above zero")),
    };
    if steps.len() != columns.count() || steps.iter().any(|s| !s.is_finite() || *s == 0.0) {
        return Err(Failure::because(format!(
            "--shunt-counts needs {} steps other than 0, one a gauge: {}",
            columns.count(),
            columns.names().join(", ")
        )));
    }
    Ok(Some(Shunt { gauge_ohm, shunt_ohm, step_counts: steps.clone() }))
}

fn check_stored(
    args: &CalibrateArgs,
    run: &Run,
    order: &series::Order,
    fitted: &Fitted,
    path: &Path,
    shunt: Option<&Shunt>,
) -> Result<(), Failure> {
    let stored = Stored::load(path)?;
    let found = verify::verify(run, order, fitted, &stored, shunt, args.allow_percent)
        .map_err(|why| Failure::because(format!("{}: {why}", path.display())))?;
    if args.json {
        print(&format!("{}\n", serde_json::to_string_pretty(&found)?))?;
    } else {
        print(&format!("{}\n{CAUTION}\n", certificate::verification(&found, args.unit.unit())))?;
    }
    if found.holds { Ok(()) } else { Err(Failure::Found) }
}

fn first_gain(args: &CalibrateArgs, path: &Path) -> Result<(), Failure> {
    let estimate = Estimate::load(path)?;
    let gain = estimate.first_gain().map_err(Failure::because)?;
    let columns =
        Columns::from_count(estimate.columns).ok_or_else(|| Failure::because("columns must be 1, 2 or 4"))?;
    if let Some(out) = args.out.as_deref() {
        let mut output = Output::create(out)?;
        let text = format!(
            "# ESTIMATE from geometry, no calibration.\n{}",
            commented(&Stored::estimate(columns, gain.kn_per_count))?
        );
        output.write_all(text.as_bytes())?;
        output.commit()?;
    }
    if args.json {
        let value = json!({
            "estimate": true,
            "area_mm2": gain.area_mm2,
            "microstrain_per_kn": gain.microstrain_per_kn,
            "kn_per_count": gain.kn_per_count,
            "caution": CAUTION.split_whitespace().collect::<Vec<_>>().join(" "),
        });
        return print(&format!("{}\n", serde_json::to_string_pretty(&value)?));
    }
    print(&format!(
        "ESTIMATE from geometry, no calibration: {:.1} mm² a column, {:.4} µm/m a kN, {:.6e} kN a count\n\
         The modulus alone is told to 5 %, and how a frame leads the load past its gauges is not told at all.\n\
         A load cell sets the scale; until then read loads as rough.\n\n{CAUTION}\n",
        gain.area_mm2, gain.microstrain_per_kn, gain.kn_per_count
    ))
}
