//! How surely slow wear is found and the strokes left foretold, and how often a trend is seen where there is none.
//!
//!     cargo run --release -p bolster --example measure_trend [-- RUNS [FIRST_SEED]]
//!
//!     cargo run --release -p bolster --example measure_trend -- stops [STROKES [SEED]]
//!
//! counts the good strokes that are stopped over a shift because edges dull.
//!
//! RUNS histories in all, an equal part of each case, 125 coils each that dull to 10 %, and as many that stay sharp. The limit
//! is what a die reads that is 20 % dull. Presses are the built-in scenarios, invented.

mod case;
mod stops;

use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use bolster::trend::Wish;
use case::{Case, Edges, Failure, Seen};

const COILS: u32 = 125;
const LOOKS: u32 = 6;
/// Strokes in which one false alarm is tolerated.
const TOLERATED: f64 = 1e8;

fn main() -> Result<(), Failure> {
    let mut words = std::env::args().skip(1).peekable();
    if words.next_if(|word| word == "stops").is_some() {
        let strokes = words.next().map_or(Ok(33_600), |word| word.parse())?;
        let seed = words.next().map_or(Ok(900_000), |word| word.parse())?;
        return stops::measure(strokes, seed, tempfile::tempdir()?.path());
    }
    let runs: usize = words.next().map_or(Ok(200), |word| word.parse())?;
    let first: u64 = words.next().map_or(Ok(900_000), |word| word.parse())?;
    let folder = tempfile::tempdir()?;
    let wanted = [
        ("five-station", Edges::All),
        ("small-press", Edges::All),
        ("brake-two-dies", Edges::All),
        ("forty-station", Edges::All),
        ("five-station", Edges::Station(4)),
        ("small-press", Edges::Station(3)),
        ("brake-two-dies", Edges::Station(2)),
        ("five-station", Edges::Station(3)),
    ];
    let cases: Vec<Case> = wanted
        .iter()
        .map(|(base, edges)| Case::new(base, *edges, 150, folder.path()))
        .collect::<Result<_, _>>()?;
    for case in &cases {
        eprintln!("{}: due at {:?}", case.name, case.limits);
    }
    let wish = Wish { false_alarm_strokes: TOLERATED / case::EVERY, confidence: 0.95, limits: Vec::new() };
    println!(
        "seeds from {first}, {COILS} coils, {LOOKS} looks in the second half, one false alarm in {TOLERATED:e} strokes"
    );
    let jobs: Vec<(usize, u64, bool)> = (0..runs)
        .flat_map(|n| [true, false].map(|wears| (n % cases.len(), first + n as u64, wears)))
        .collect();
    let next = AtomicUsize::new(0);
    let done: Mutex<Vec<(usize, bool, Vec<Seen>)>> = Mutex::new(Vec::new());
    std::thread::scope(|scope| {
        for _ in 0..2 {
            scope.spawn(|| {
                while let Some((n, seed, wears)) = jobs.get(next.fetch_add(1, Ordering::Relaxed)) {
                    let Some(case) = cases.get(*n) else { break };
                    match case.run(*seed, COILS, *wears, LOOKS, &wish) {
                        Ok(seen) => {
                            if !wears
                                && seen.iter().any(|seen| !seen.moving.is_empty() || !seen.changes.is_empty())
                            {
                                println!("false: {} seed {seed}: {seen:?}", case.name);
                            }
                            if let Ok(mut done) = done.lock() {
                                done.push((*n, *wears, seen));
                            }
                        }
                        Err(why) => eprintln!("{} seed {seed}: {why}", case.name),
                    }
                }
            });
        }
    });
    let done = done.into_inner().map_err(|_| "a run failed")?;
    println!(
        "{:<28} {:>5} {:>9} {:>12} {:>10} {:>13} {:>13} {:>8} {:>12} {:>8}",
        "case",
        "runs",
        "found",
        "at (median)",
        "forecasts",
        "cover, first",
        "cover, last",
        "steps",
        "sharp: trend",
        "steps"
    );
    let mut sums = [0; 9];
    for (n, case) in cases.iter().enumerate() {
        let row = Row::of(done.iter().filter(|one| one.0 == n));
        row.print(&case.name);
        for (sum, one) in sums.iter_mut().zip(row.counts) {
            *sum += one;
        }
    }
    Row { counts: sums, at: None }.print("all");
    Ok(())
}

/// Runs, found, forecasts at the first finding and covered, at the last look and covered, runs that wear with a step; runs
/// that stay sharp with a trend and with a step.
struct Row {
    counts: [usize; 9],
    at: Option<f64>,
}

impl Row {
    fn of<'a>(done: impl Iterator<Item = &'a (usize, bool, Vec<Seen>)>) -> Self {
        let mut counts = [0; 9];
        let mut at = Vec::new();
        for (_, wears, seen) in done {
            if !wears {
                counts[7] += usize::from(seen.iter().any(|seen| !seen.moving.is_empty()));
                counts[8] += usize::from(seen.iter().any(|seen| !seen.changes.is_empty()));
                continue;
            }
            counts[0] += 1;
            counts[6] += usize::from(seen.iter().any(|seen| !seen.changes.is_empty()));
            let wear = |seen: &&Seen| seen.moving.iter().any(|name| name.starts_with("wear"));
            if let Some(first) = seen.iter().find(wear) {
                counts[1] += 1;
                at.push(first.dull);
                let [all, inside] = covered(first);
                counts[2] += all;
                counts[3] += inside;
            }
            if let Some(last) = seen.last().filter(wear) {
                let [all, inside] = covered(last);
                counts[4] += all;
                counts[5] += inside;
            }
        }
        at.sort_by(f64::total_cmp);
        Self { counts, at: at.get(at.len() / 2).copied() }
    }

    fn print(&self, name: &str) {
        let [runs, found, first, first_in, last, last_in, steps, trends, sharp_steps] = self.counts;
        let share = |n: usize, of: usize| format!("{n}/{of}");
        println!(
            "{name:<28} {runs:>5} {:>9} {:>12} {:>10} {:>13} {:>13} {steps:>8} {trends:>12} {sharp_steps:>8}",
            share(found, runs),
            self.at.map_or_else(String::new, |at| format!("{:.1} % dull", 100.0 * at)),
            first,
            share(first_in, first),
            share(last_in, last),
        );
    }
}

/// Forecasts of a look, and those whose interval holds the truth.
fn covered(seen: &Seen) -> [usize; 2] {
    let inside = seen.left.iter().filter(|(_, [least, _, most], truth)| {
        least.is_some_and(|least| least <= *truth) && most.is_none_or(|most| *truth <= most)
    });
    [seen.left.len(), inside.count()]
}
