//! `bolster simulate`: strokes of a press that does not exist, with the truth beside them.

mod picture;

use std::collections::BTreeSet;
use std::io::Write as _;
use std::path::{Path, PathBuf};

use bolster_core::press::Columns;
use bolster_sim::front_end::ChannelScale;
use bolster_sim::scenario::{Scenario, built_in, find};
use bolster_sim::simulator::{SimStroke, Simulator};
use bolster_sim::truth::TruthWriter;
use clap::Args;
use serde::Serialize;

use super::plot::PictureFile;
use super::progress::Progress;
use super::{Failure, print};
use crate::calibrate::stored::Stored;
use crate::feed::SimulatedFeed;
use crate::output::Output;
use crate::recording::{Header, SimulatedWriter, Unit};
use picture::Picture;

/// Make a recording of an invented press, with the truth beside it
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  bolster simulate five-station --out made --strokes 200 --seed 7\n\nThe same scenario and seed give the same bytes every time. Everything made is invented."
)]
pub struct SimulateArgs {
    /// Scenario file (TOML) or the name of a built-in one; see --list
    #[arg(required_unless_present = "list")]
    pub scenario: Option<String>,
    /// List the built-in scenarios
    #[arg(long)]
    pub list: bool,
    /// Folder for recording.csv, truth.csv and press.toml; made if missing
    #[arg(long, value_name = "FOLDER", default_value = ".")]
    pub out: PathBuf,
    /// Strokes, instead of the scenario's
    #[arg(long)]
    pub strokes: Option<u32>,
    /// Seed, instead of the scenario's
    #[arg(long)]
    pub seed: Option<u64>,
    /// Leave the scenario's faults out: good strokes only
    #[arg(long)]
    pub good: bool,
    /// Write a time column
    #[arg(long)]
    pub time: bool,
    /// Write converter counts instead of kN, and the calibration that turns them into loads
    #[arg(long)]
    pub counts: bool,
    /// Write the frames that a controller would take, as tests/firmware.sh feeds them to the emulated
    /// one; whole turns are simulated, and recorded, then
    #[arg(long, value_name = "FILE")]
    pub feed: Option<PathBuf>,
    /// Draw the run: peaks of every stroke, and one stroke of each kind beside a good one (.svg, .png)
    #[arg(long, value_name = "FILE")]
    pub picture: Option<PathBuf>,
    /// Print what was made as JSON
    #[arg(long)]
    pub json: bool,
}

/// What was made.
#[derive(Debug, Default, Serialize)]
pub struct Made {
    /// The scenario's own words.
    pub about: String,
    /// Its seed.
    pub seed: u64,
    /// Strokes.
    pub strokes: u32,
    /// Of which faulty.
    pub faulty: u32,
    /// Coils.
    pub coils: u32,
    /// Highest true load, kN.
    pub peak_kn: f64,
    /// Files written.
    pub files: Vec<PathBuf>,
}

/// Reads a scenario from a file, or finds a built-in one.
///
/// # Errors
/// [`Failure`] naming the file or the known names.
pub fn scenario(name: &str) -> Result<Scenario, Failure> {
    let from = |text: &str| {
        Scenario::from_toml(text).map_err(|why| Failure::because(format!("scenario {name}: {why}")))
    };
    if let Some(text) = find(name) {
        return from(text);
    }
    if !name.ends_with(".toml") {
        let known: Vec<&str> = built_in().iter().map(|(name, _)| *name).collect();
        return Err(Failure::because(format!(
            "no built-in scenario is called {name}; there are {}, or name a .toml file",
            known.join(", ")
        )));
    }
    let text = std::fs::read_to_string(name).map_err(|why| {
        Failure::because(format!("scenario {name}: cannot be read ({why}); check its name and your rights"))
    })?;
    from(&text)
}

/// Writes strokes as they come: the recording, and the truth beside it. The caller commits the outputs.
///
/// # Errors
/// [`Failure`] if an output cannot be written.
pub fn write_strokes(
    strokes: impl Iterator<Item = SimStroke>,
    expected: u32,
    header: Header,
    recording: &mut Output,
    truth: &mut Output,
) -> Result<Made, Failure> {
    let mut made =
        Made { files: vec![recording.path().to_owned(), truth.path().to_owned()], ..Made::default() };
    let mut readings = SimulatedWriter::new(recording, header)?;
    let mut truths = TruthWriter::new(truth)?;
    let mut progress = Progress::new("simulating");
    let mut coils = BTreeSet::new();
    for stroke in strokes {
        readings.write(&stroke)?;
        truths.write(&stroke)?;
        made.strokes += 1;
        made.faulty += u32::from(stroke.truth.severity > 0.0);
        coils.insert(stroke.coil);
        made.peak_kn = made.peak_kn.max(stroke.truth.peak_kn);
        progress.show(u64::from(made.strokes), u64::from(expected), u64::from(made.strokes), "strokes");
    }
    drop(progress);
    made.coils = coils.len() as u32;
    readings.finish()?;
    truths.finish()?;
    Ok(made)
}

/// The simulated gauges' own zero and gain, as a calibration without a claim: nobody measured it.
fn true_calibration(columns: Columns, scales: &[ChannelScale; 4]) -> Stored {
    let mut stored = Stored::estimate(columns, 1.0);
    for (n, scale) in scales.iter().take(columns.count()).enumerate() {
        if let Some(zero) = stored.calibration.zero_counts.get_mut(n) {
            *zero = scale.zero_counts.round() as i32;
        }
        if let Some(gain) = stored.calibration.kn_per_count.get_mut(n).and_then(|row| row.get_mut(n)) {
            *gain = scale.kn_per_count;
        }
    }
    stored
}

/// Makes a folder, if it is not there.
///
/// # Errors
/// [`Failure`] naming the folder.
pub fn folder(path: &Path) -> Result<(), Failure> {
    std::fs::create_dir_all(path)
        .map_err(|why| Failure::because(format!("{}: the folder cannot be made ({why})", path.display())))
}

/// Writes a text file, whole.
///
/// # Errors
/// [`Failure`] if it cannot be written.
pub fn write_text(path: &Path, text: &str) -> Result<(), Failure> {
    let mut output = Output::create(path)?;
    output.write_all(text.as_bytes())?;
    Ok(output.commit()?)
}

/// Runs the command.
///
/// # Errors
/// [`Failure`] for a scenario that cannot be or an output that cannot be written.
pub fn run(args: &SimulateArgs) -> Result<(), Failure> {
    let Some(name) = args.scenario.as_deref().filter(|_| !args.list) else {
        let mut text = String::new();
        for (name, toml) in built_in() {
            let about = Scenario::from_toml(toml)?.about;
            text += &format!("{name:<16} {about}\n");
        }
        return print(&text);
    };
    let mut scenario = scenario(name)?;
    scenario.strokes = args.strokes.unwrap_or(scenario.strokes);
    scenario.seed = args.seed.unwrap_or(scenario.seed);
    if args.good {
        scenario.faults.clear();
    }
    if args.feed.is_some() {
        SimulatedFeed::widen(&mut scenario);
    }
    let simulator = Simulator::new(&scenario)?;
    let header = Header {
        unit: if args.counts { Unit::Counts } else { Unit::Kilonewtons },
        has_time: args.time,
        sensors: SimulatedWriter::sensors(scenario.sensor_inputs()),
        ..SimulatedWriter::header(simulator.press().columns)
    };
    folder(&args.out)?;
    let create = |name: &str| Output::create(&args.out.join(name));
    let (mut recording, mut truth, mut press) =
        (create("recording.csv")?, create("truth.csv")?, create("press.toml")?);
    press.write_all(bolster_sim::press::card(&scenario).as_bytes())?;
    let columns = simulator.press().columns;
    let mut calibration = None;
    if args.counts {
        let mut output = create("calibration.toml")?;
        let text = true_calibration(columns, simulator.calibration()).to_toml().map_err(Failure::because)?;
        output.write_all(text.as_bytes())?;
        calibration = Some(output);
    }
    let read = [Path::new(name)];
    let inputs: &[&Path] = if find(name).is_some() { &[] } else { &read };
    let drawn = args.picture.as_deref().map(|path| PictureFile::create(path, inputs)).transpose()?;
    let mut picture = drawn.as_ref().map(|_| Picture::new(columns, simulator.sites()));
    let mut feed = match &args.feed {
        Some(path) => Some((Output::apart_from(path, inputs)?, SimulatedFeed::new(&simulator))),
        None => None,
    };
    let strokes = simulator.inspect(|stroke| {
        if let Some((_, feed)) = &mut feed {
            feed.take(stroke);
        }
        if let Some(picture) = &mut picture {
            picture.take(stroke);
        }
    });
    let mut made = write_strokes(strokes, scenario.strokes, header, &mut recording, &mut truth)?;
    made.about.clone_from(&scenario.about);
    made.seed = scenario.seed;
    made.files.push(press.path().to_owned());
    made.files.extend(calibration.iter().map(|output| output.path().to_owned()));
    if let Some((file, picture)) = drawn.zip(picture) {
        let figure = picture.figure(&scenario.about, scenario.seed);
        file.write(&figure, figure.size())?;
        made.files.extend(args.picture.clone());
    }
    let feed = match feed {
        Some((mut output, feed)) => {
            feed.finish(&mut output)?;
            made.files.push(output.path().to_owned());
            Some(output)
        }
        None => None,
    };
    for output in [recording, truth, press].into_iter().chain(calibration).chain(feed) {
        output.commit()?;
    }
    if args.json {
        return print(&format!("{}\n", serde_json::to_string_pretty(&made)?));
    }
    let mut text = format!(
        "{}\n{} strokes of {} coil(s), {} faulty, greatest load {:.1} kN, seed {}\n",
        made.about, made.strokes, made.coils, made.faulty, made.peak_kn, made.seed
    );
    for file in &made.files {
        text += &format!("  {}\n", file.display());
    }
    print(&text)
}
