//! Good strokes stopped because edges dull, over a shift: what a frozen reference and a bounded baseline cost.
//!
//! Every stroke is simulated, coils at their own length. The same shift runs with sharp edges, so that what coils alone stop
//! can be told from what wear stops; one learnt card judges both, coil changes marked and not.

use std::path::Path;

use bolster::session::Outcome;
use bolster_sim::scenario::{Scenario, find};
use bolster_sim::simulator::Simulator;

use super::case::{Failure, LEARNT_COILS, learnt, pace, rows, session};

/// Dullness gained in a shift's 33,600 strokes at half a 100,000th a stroke, in slices of this much.
const SLICE: f64 = 0.025;
const PER_STROKE: f64 = 0.5e-5;

/// Strokes, those stopped, and those told as off the frozen reference.
#[derive(Debug, Clone, Copy, Default)]
struct Count {
    strokes: u32,
    stopped: u32,
    told: u32,
}

impl Count {
    fn take(&mut self, outcome: &Outcome) {
        self.strokes += 1;
        self.stopped += u32::from(matches!(outcome.verdict, "hold" | "trip"));
        self.told += u32::from(outcome.reasons.contains(&"drift-off-reference"));
    }

    fn percent(self, of: u32) -> f64 {
        100.0 * f64::from(of) / f64::from(self.strokes.max(1))
    }
}

/// Runs a shift of so many strokes on each built-in press and prints the table.
pub(crate) fn measure(strokes: u32, seed: u64, folder: &Path) -> Result<(), Failure> {
    println!(
        "{strokes} strokes, seed {seed}; good strokes stopped, %: edges that dull (the same shift, sharp) | told as off"
    );
    println!("the reference, %; by slices of {:.1} % dull, then the whole shift", 100.0 * SLICE);
    for base in ["five-station", "small-press", "brake-two-dies", "forty-station"] {
        let mut scenario = Scenario::from_toml(find(base).ok_or("no such scenario")?)?;
        scenario.faults.clear();
        scenario.strip.regrind_every = None;
        scenario.strip.wear_per_100k = 0.0;
        pace(&mut scenario);
        scenario.seed = seed + 1_000;
        scenario.strokes = LEARNT_COILS * scenario.strip.strokes_per_coil;
        let (press, die) = learnt(&scenario, &folder.join(format!("{base}.csv")))?;
        scenario.seed = seed;
        scenario.strokes = strokes;
        // Worn, marked; worn, not marked; sharp, marked; sharp, not marked.
        let mut counts = [const { Vec::new() }; 4];
        for (n, wears) in [true, false].into_iter().enumerate() {
            scenario.strip.wear_per_100k = if wears { PER_STROKE * 1e5 } else { 0.0 };
            let mut sessions =
                [session(&scenario, &press, &die, true)?, session(&scenario, &press, &die, false)?];
            let mut done = |which: usize, outcome: &Outcome| {
                let slice = (PER_STROKE * outcome.stroke.saturating_sub(1) as f64 / SLICE) as usize;
                if let Some(counts) = counts.get_mut(2 * n + which) {
                    counts.resize(counts.len().max(slice + 1), Count::default());
                    if let Some(count) = counts.get_mut(slice) {
                        count.take(outcome);
                    }
                }
            };
            for stroke in Simulator::new(&scenario)? {
                for row in rows(&stroke) {
                    for (which, session) in sessions.iter_mut().enumerate() {
                        if let Some(outcome) = session.row(&row) {
                            done(which, &outcome);
                        }
                    }
                }
            }
            for (which, session) in sessions.iter_mut().enumerate() {
                if let Some(outcome) = session.close() {
                    done(which, &outcome);
                }
            }
        }
        let [worn, worn_unmarked, sharp, sharp_unmarked] = &counts;
        print(&format!("{base}, marked"), worn, sharp);
        print(&format!("{base}, not marked"), worn_unmarked, sharp_unmarked);
    }
    Ok(())
}

fn print(name: &str, worn: &[Count], sharp: &[Count]) {
    let whole = |counts: &[Count]| {
        counts.iter().fold(Count::default(), |sum, count| Count {
            strokes: sum.strokes + count.strokes,
            stopped: sum.stopped + count.stopped,
            told: sum.told + count.told,
        })
    };
    print!("{name:<28}");
    for (worn, sharp) in worn.iter().zip(sharp).chain([(&whole(worn), &whole(sharp))]) {
        let stopped = (worn.percent(worn.stopped), sharp.percent(sharp.stopped));
        print!(" {:>5.2} ({:.2}) | {:<3.0}", stopped.0, stopped.1, worn.percent(worn.told));
    }
    println!();
}
