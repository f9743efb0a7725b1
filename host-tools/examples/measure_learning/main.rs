//! How often learnt limits stop good strokes, and which faults they find, on many presses never seen.
//!
//!     cargo run --release -p bolster --example measure_learning -- FOLDER [--make] [--sizes 30,100,300]
//!
//! Every folder in FOLDER that holds `train.csv`, `test.csv`, `truth.csv` and `press.toml` is a press; `--make` first
//! adds the simulator's (built-in scenarios with random changes). Limits come from `train.csv` alone, as a shop has to.
//!
//!     cargo run --release -p bolster --example measure_learning -- FOLDER --rates 100000
//!
//! measures the false-stop rates that die cards claim over so many simulated good strokes; FOLDER holds what it needs
//! for the while.

mod make;
mod rates;
mod score;

use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use bolster::card::press::PressCard;
use bolster::judge::judge;
use bolster::learn::{Part, Wish, learn_part};

use score::{Score, Truth};

type Failure = Box<dyn std::error::Error + Send + Sync>;

/// What is asked for on the command line.
struct Asked {
    folder: PathBuf,
    make: bool,
    sizes: Vec<usize>,
    only: Option<String>,
    each: bool,
    alpha: f64,
    rates: Option<u32>,
}

fn asked() -> Result<Asked, Failure> {
    let mut words = std::env::args().skip(1);
    let folder = words.next().ok_or("give a folder of presses")?.into();
    let mut asked =
        Asked { folder, make: false, sizes: vec![300], only: None, each: false, alpha: 1e-4, rates: None };
    while let Some(word) = words.next() {
        let mut value = || words.next().ok_or_else(|| format!("{word} needs a value"));
        match word.as_str() {
            "--make" => asked.make = true,
            "--each" => asked.each = true,
            "--sizes" => asked.sizes = value()?.split(',').map(str::parse).collect::<Result<_, _>>()?,
            "--rates" => asked.rates = Some(value()?.parse()?),
            "--only" => asked.only = Some(value()?),
            "--false-stop" => asked.alpha = value()?.parse()?,
            _ => return Err(format!("{word} is not known").into()),
        }
    }
    Ok(asked)
}

/// Learns from the first `size` strokes and judges the test recording; marked or not.
fn measure(case: &Path, size: usize, marked: bool, alpha: f64) -> Result<Score, Failure> {
    let find = |name: &str| {
        let plain = case.join(name);
        if plain.exists() { plain } else { case.join(format!("{name}.gz")) }
    };
    let press = PressCard::load(&case.join("press.toml"))?;
    let wish = Wish { die: "measured".to_owned(), false_stop: alpha };
    let part = Part { first: Some(size as u64), ignore_coils: !marked };
    let die = learn_part(&find("train.csv"), &press, &wish, part, &mut |_, _, _| {})?;
    let truth = Truth::read(&case.join("truth.csv"))?;
    let mut score = Score::default();
    judge(
        &find("test.csv"),
        &press,
        |session, _| session.set_die(&die, marked),
        &mut |_, _, _| {},
        |outcome, _| {
            score.take(&truth, outcome);
            Ok::<(), Failure>(())
        },
    )?;
    Ok(score)
}

fn main() -> Result<(), Failure> {
    let asked = asked()?;
    if let Some(strokes) = asked.rates {
        return rates::measure(&asked.folder, strokes);
    }
    if asked.make {
        make::presses(&asked.folder)?;
    }
    let mut cases: Vec<PathBuf> =
        std::fs::read_dir(&asked.folder)?.filter_map(|entry| Some(entry.ok()?.path())).collect();
    cases.retain(|case| case.join("truth.csv").exists());
    if let Some(only) = &asked.only {
        cases.retain(|case| {
            case.file_name().is_some_and(|name| name.to_string_lossy().contains(only.as_str()))
        });
    }
    cases.sort();
    for size in &asked.sizes {
        for marked in [true, false] {
            let next = AtomicUsize::new(0);
            let scores: Mutex<Vec<(usize, Result<Score, Failure>)>> = Mutex::new(Vec::new());
            std::thread::scope(|scope| {
                for _ in 0..2 {
                    scope.spawn(|| {
                        loop {
                            let n = next.fetch_add(1, Ordering::Relaxed);
                            let Some(case) = cases.get(n) else { break };
                            let score = measure(case, *size, marked, asked.alpha);
                            if let Ok(mut scores) = scores.lock() {
                                scores.push((n, score));
                            }
                        }
                    });
                }
            });
            let mut scores = scores.into_inner().map_err(|_| "a measurement failed")?;
            scores.sort_by_key(|(n, _)| *n);
            let mut named = Vec::new();
            for (n, score) in scores {
                let name = cases
                    .get(n)
                    .and_then(|case| case.file_name())
                    .unwrap_or_default()
                    .to_string_lossy()
                    .into_owned();
                match score {
                    Ok(score) => named.push((name, score)),
                    Err(why) => println!("{name}: {why}"),
                }
            }
            let mode = if marked { "coil changes marked" } else { "coil changes not marked" };
            println!("## learnt from {size} strokes, {mode}, asked {:.0e}", asked.alpha);
            score::print(&named, asked.each);
        }
    }
    Ok(())
}
