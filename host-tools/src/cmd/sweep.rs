//! `bolster sweep`: the same scenario over many seeds, each simulated, learnt from and judged.

mod one;

use std::collections::BTreeMap;
use std::num::NonZero;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc;

use bolster_sim::scenario::Scenario;
use clap::Args;
use serde::Serialize;

use self::one::Learning;
use super::progress::Progress;
use super::{Failure, print};

/// Simulate and judge a scenario over many seeds: false stops and faults found, seed by seed
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  bolster sweep five-station-faults --seeds 20\n\nOf each seed a die is learnt from the first good strokes, half of them at most, and judges\nthe rest. Results come in the order of seeds and do not depend on --jobs. A seed that fails,\nor breaks what must hold of every run, is listed with the command that reproduces it, and\nthe exit code is 3."
)]
pub struct SweepArgs {
    /// Scenario file (TOML) or the name of a built-in one; see bolster simulate --list
    pub scenario: String,
    /// Seeds
    #[arg(long, value_name = "COUNT", default_value_t = 8, value_parser = clap::value_parser!(u32).range(1..))]
    pub seeds: u32,
    /// First seed, instead of the scenario's
    #[arg(long, value_name = "SEED")]
    pub seed: Option<u64>,
    /// Strokes of each seed, instead of the scenario's
    #[arg(long)]
    pub strokes: Option<u32>,
    /// Learn from so many strokes at most; 0 judges by the machine's limits only
    #[arg(long, value_name = "STROKES", default_value_t = 300)]
    pub learn: u32,
    /// Tolerated false stops a stroke
    #[arg(long, value_name = "RATE", default_value_t = 1e-4)]
    pub false_stop: f64,
    /// Leave the scenario's faults out: good strokes only
    #[arg(long)]
    pub good: bool,
    /// Seeds run at the same time [default: one a processor]
    #[arg(long, value_name = "COUNT")]
    pub jobs: Option<NonZero<usize>>,
    /// Print results as JSON
    #[arg(long)]
    pub json: bool,
}

impl SweepArgs {
    /// The command that runs this seed alone.
    fn reproduce(&self, seed: u64) -> String {
        let mut text = format!("bolster sweep {} --seed {seed} --seeds 1", quoted(&self.scenario));
        if let Some(strokes) = self.strokes {
            text += &format!(" --strokes {strokes}");
        }
        text += &format!(" --learn {} --false-stop {:e}", self.learn, self.false_stop);
        text + if self.good { " --good" } else { "" }
    }
}

/// A word as a shell takes it.
fn quoted(word: &str) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || "-_./".contains(c);
    if word.chars().all(plain) { word.to_owned() } else { format!("'{}'", word.replace('\'', "'\\''")) }
}

/// The sweep.
#[derive(Serialize)]
struct Sweep {
    about: String,
    seeds: Vec<one::Result>,
}

/// Runs the command.
///
/// # Errors
/// [`Failure::Found`] if a seed failed; [`Failure`] for a scenario that cannot be.
pub fn run(args: &SweepArgs) -> Result<(), Failure> {
    let mut scenario = super::simulate::scenario(&args.scenario)?;
    scenario.strokes = args.strokes.unwrap_or(scenario.strokes);
    scenario.seed = args.seed.unwrap_or(scenario.seed);
    if args.good {
        scenario.faults.clear();
    }
    scenario.check()?;
    if !(1e-9..=0.1).contains(&args.false_stop) {
        let why = format!("a false-stop rate of {} cannot be asked for; give 1e-9 to 0.1", args.false_stop);
        return Err(Failure::Message(why));
    }
    let results = results(args, &scenario)?;
    let failed = results.iter().any(|result| result.failure.is_some());
    if args.json {
        let sweep = Sweep { about: scenario.about.clone(), seeds: results };
        print(&format!("{}\n", serde_json::to_string_pretty(&sweep)?))?;
    } else {
        print(&summary(&results))?;
    }
    if failed { Err(Failure::Found) } else { Ok(()) }
}

/// Every seed, in order; text rows are printed as soon as their turn has come.
fn results(args: &SweepArgs, scenario: &Scenario) -> Result<Vec<one::Result>, Failure> {
    let learning = (args.learn > 0).then_some(Learning { most: args.learn, false_stop: args.false_stop });
    let count = args.seeds as usize;
    let jobs = args.jobs.or_else(|| std::thread::available_parallelism().ok()).map_or(1, NonZero::get);
    let next = AtomicUsize::new(0);
    let (sender, receiver) = mpsc::channel();
    if !args.json {
        print(&format!("{}\n\n{HEADER}\n", scenario.about))?;
    }
    std::thread::scope(|scope| {
        for _ in 0..jobs.min(count) {
            let (sender, next) = (sender.clone(), &next);
            scope.spawn(move || {
                loop {
                    let n = next.fetch_add(1, Ordering::Relaxed);
                    if n >= count {
                        return;
                    }
                    let seed = scenario.seed.wrapping_add(n as u64);
                    let one = Scenario { seed, ..scenario.clone() };
                    // A defect in one seed must not hide the others, nor how to see it again.
                    let done = catch_unwind(AssertUnwindSafe(|| one::run(&one, learning)));
                    let mut result = done.unwrap_or_else(|_| one::Result {
                        seed,
                        failure: Some("the program failed by a defect of its own".to_owned()),
                        ..one::Result::default()
                    });
                    result.reproduce = args.reproduce(seed);
                    if sender.send((n, result)).is_err() {
                        return;
                    }
                }
            });
        }
        drop(sender);
        let mut progress = Progress::new("sweeping");
        let (mut early, mut results) = (BTreeMap::new(), Vec::new());
        for (n, result) in receiver {
            early.insert(n, result);
            while let Some(result) = early.remove(&results.len()) {
                if !args.json {
                    print(&line(&result))?;
                }
                results.push(result);
            }
            let done = (results.len() + early.len()) as u64;
            progress.show(done, count as u64, done, "seeds");
        }
        Ok(results)
    })
}

const HEADER: &str = "                seed  strokes   learnt     pass     note     hold     trip  false stops      faults stopped";

fn line(result: &one::Result) -> String {
    let of = |verdict: &str| result.verdicts.get(verdict).copied().unwrap_or(0);
    let found = result.found();
    format!(
        "{:>20} {:>8} {:>8} {:>8} {:>8} {:>8} {:>8} {:>5} of {:<7} {:>5} of {}{}\n",
        result.seed,
        result.strokes,
        result.learnt,
        of("pass"),
        of("note"),
        of("hold"),
        of("trip"),
        result.false_stops,
        result.good,
        found.stopped,
        found.of,
        if result.failure.is_some() { "  FAILED" } else { "" }
    )
}

/// What all seeds came to, by kind of fault, and which failed.
fn summary(results: &[one::Result]) -> String {
    let mut faults: BTreeMap<&str, one::Found> = BTreeMap::new();
    for (kind, found) in results.iter().flat_map(|result| &result.faults) {
        let sum = faults.entry(kind).or_default();
        sum.stopped += found.stopped;
        sum.of += found.of;
    }
    let stops: u32 = results.iter().map(|result| result.false_stops).sum();
    let good: u32 = results.iter().map(|result| result.good).sum();
    let mut text = format!("\n{stops} of {good} good strokes stopped");
    if let Some((stopped, of)) =
        faults.values().map(|found| (found.stopped, found.of)).reduce(|a, b| (a.0 + b.0, a.1 + b.1))
    {
        text += &format!("; {stopped} of {of} faulty strokes stopped:\n");
        for (kind, found) in &faults {
            text += &format!("  {kind:<16} {:>5} of {}\n", found.stopped, found.of);
        }
    } else {
        text += "\n";
    }
    for result in results {
        if let Some(failure) = &result.failure {
            text += &format!("\nseed {} failed: {failure}\n  {}\n", result.seed, result.reproduce);
        }
    }
    text
}
