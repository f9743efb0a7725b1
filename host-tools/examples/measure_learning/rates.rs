//! False stops claimed against false stops measured, over many simulated good strokes.
//!
//! Each press runs two long coils, then many new ones. Learning sees the first strokes of the two; the rest of these
//! coils is the stock that was seen, what follows is new stock. For each learning size and each rate asked for the
//! shares of good strokes stopped are counted apart, with the claim that the die card makes beside them.

use std::fs::File;
use std::io::BufWriter;
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use bolster::card::die::DieCard;
use bolster::card::press::PressCard;
use bolster::learn::{Part, Wish, learn_part};
use bolster::recording::{Header, Row, SimulatedWriter, Unit};
use bolster::session::{Outcome, ROWS_AHEAD, SampleRate, Session};
use bolster_sim::simulator::{SimStroke, Simulator};
use statrs::distribution::{Beta, ContinuousCDF as _};

use super::{Failure, make};

/// Strokes learnt, half of each of the two coils.
const SIZES: [u64; 3] = [30, 100, 300];
/// Rates asked for.
const ASKED: [f64; 3] = [1e-2, 1e-3, 1e-4];
/// Strokes of a coil where stock is seen, and where it is new.
const SEEN_COIL: u32 = 1000;

/// Strokes and stops, of stock that was seen and of new stock.
#[derive(Debug, Clone, Copy, Default)]
struct Count {
    seen: (u64, u64),
    new: (u64, u64),
    /// The rate that the card excludes for the coils seen.
    supported: f64,
}

/// One card being tried.
struct Trial {
    session: Session,
    count: Count,
    cell: usize,
}

/// Sizes × rates × marked.
const CELLS: usize = SIZES.len() * ASKED.len() * 2;

/// Measures `strokes` good strokes over the variants of the built-in scenarios and prints a table.
pub(crate) fn measure(folder: &Path, strokes: u32) -> Result<(), Failure> {
    std::fs::create_dir_all(folder)?;
    let cases = make::cases();
    let each = strokes.div_ceil(cases.len() as u32).max(2 * SEEN_COIL + 100);
    let next = AtomicUsize::new(0);
    let counts: Mutex<Vec<(usize, Vec<Count>)>> = Mutex::new(Vec::new());
    std::thread::scope(|scope| {
        for _ in 0..2 {
            scope.spawn(|| {
                loop {
                    let n = next.fetch_add(1, Ordering::Relaxed);
                    let Some((base, variant)) = cases.get(n) else { break };
                    match press(folder, base, *variant, each) {
                        Ok(found) => {
                            eprintln!("{base} {variant} done");
                            if let Ok(mut counts) = counts.lock() {
                                counts.push((n, found));
                            }
                        }
                        // A random press that cannot run is no press.
                        Err(why) => eprintln!("{base} {variant}: {why}"),
                    }
                }
            });
        }
    });
    let counts = counts.into_inner().map_err(|_| "a measurement failed")?;
    print(&counts);
    Ok(())
}

fn press(folder: &Path, base: &str, variant: u64, strokes: u32) -> Result<Vec<Count>, Failure> {
    let mut scenario = make::scenario(base, variant)?;
    scenario.faults.clear();
    scenario.strokes = strokes;
    // New coils follow in the same length: nothing but their number is new.
    scenario.strip.strokes_per_coil = SEEN_COIL;
    let card = PressCard::parse(&make::wide_card(&scenario), Path::new("press.toml"))?;
    let paths: Vec<PathBuf> =
        SIZES.iter().map(|size| folder.join(format!("rates-{base}-{variant}-{size}.csv"))).collect();
    let columns = Simulator::new(&scenario)?.press().columns;
    let mut writers = Vec::new();
    for path in &paths {
        let header = SimulatedWriter::header(columns);
        writers.push(SimulatedWriter::new(BufWriter::new(File::create(path)?), header)?);
    }
    // First the learning recordings, then the same run again through the cards.
    for stroke in Simulator::new(&scenario)?.take(2 * SEEN_COIL as usize) {
        let within = u64::from((stroke.number - 1) % SEEN_COIL);
        for (writer, size) in writers.iter_mut().zip(SIZES) {
            if within < size / 2 {
                writer.write(&stroke)?;
            }
        }
    }
    for writer in writers {
        writer.finish()?;
    }
    let header = Header { has_coil: true, has_speed: true, ..Header::over_angle(card.spec.columns) };
    let mut trials: Vec<Trial> = Vec::new();
    for (n, path) in paths.iter().enumerate() {
        for (k, asked) in ASKED.iter().enumerate() {
            for marked in [true, false] {
                let wish = Wish { die: "measured".to_owned(), false_stop: *asked };
                let part = Part { first: None, ignore_coils: !marked };
                let die: DieCard = learn_part(path, &card, &wish, part, &mut |_, _, _| {})?;
                let supported = die.provenance.as_ref().map_or(1.0, |p| p.false_stop_supported);
                let rate = rate(&card, &header, &scenario)?;
                let mut session = Session::new(&card, &header, rate)?;
                session.set_die(&die, marked)?;
                let cell = (n * ASKED.len() + k) * 2 + usize::from(!marked);
                trials.push(Trial { session, count: Count { supported, ..Count::default() }, cell });
            }
        }
    }
    for path in &paths {
        std::fs::remove_file(path)?;
    }
    for stroke in Simulator::new(&scenario)? {
        for row in rows(&stroke) {
            for trial in &mut trials {
                if let Some(outcome) = trial.session.row(&row) {
                    trial.take(&outcome);
                }
            }
        }
    }
    let mut counts = vec![Count::default(); CELLS];
    for mut trial in trials {
        if let Some(outcome) = trial.session.close() {
            trial.take(&outcome);
        }
        if let Some(count) = counts.get_mut(trial.cell) {
            *count = trial.count;
        }
    }
    Ok(counts)
}

impl Trial {
    fn take(&mut self, outcome: &Outcome) {
        let learnt = SIZES.get(self.cell / 2 / ASKED.len()).copied().unwrap_or(0) / 2;
        let stock = if outcome.stroke > u64::from(2 * SEEN_COIL) {
            &mut self.count.new
        } else if (outcome.stroke - 1) % u64::from(SEEN_COIL) >= learnt {
            &mut self.count.seen
        } else {
            return;
        };
        stock.0 += 1;
        stock.1 += u64::from(matches!(outcome.verdict, "hold" | "trip"));
    }
}

fn rate(
    card: &PressCard,
    header: &Header,
    scenario: &bolster_sim::scenario::Scenario,
) -> Result<SampleRate, Failure> {
    let first: Vec<Row> =
        Simulator::new(scenario)?.take(4).flat_map(|stroke| rows(&stroke)).take(ROWS_AHEAD).collect();
    Ok(SampleRate::of(card, header, &first))
}

fn rows(stroke: &SimStroke) -> Vec<Row> {
    stroke.samples.iter().map(|sample| Row::simulated(stroke, sample, Unit::Kilonewtons)).collect()
}

/// Clopper and Pearson's interval of a share, 95 %.
fn interval((strokes, stops): (u64, u64)) -> [f64; 2] {
    let (n, k) = (strokes as f64, stops as f64);
    let beta = |a: f64, b: f64, p: f64| Beta::new(a, b).map_or(f64::NAN, |beta| beta.inverse_cdf(p));
    let low = if stops == 0 { 0.0 } else { beta(k, n - k + 1.0, 0.025) };
    let high = if stops == strokes { 1.0 } else { beta(k + 1.0, n - k, 0.975) };
    [low, high]
}

fn print(counts: &[(usize, Vec<Count>)]) {
    println!("false stops of good strokes, {} presses; claims are for the coils seen", counts.len());
    println!(
        "learnt  coils     asked   claimed   seen coils: stopped of strokes, share [95 %]        claim kept on   new coils: share"
    );
    for cell in 0..CELLS {
        let (size, rest) = (cell / 2 / ASKED.len(), cell / 2 % ASKED.len());
        let all: Vec<&Count> = counts.iter().filter_map(|(_, cells)| cells.get(cell)).collect();
        let sum = |of: &dyn Fn(&Count) -> (u64, u64)| {
            all.iter().map(|count| of(count)).fold((0, 0), |sum, one| (sum.0 + one.0, sum.1 + one.1))
        };
        let (seen, new) = (sum(&|count| count.seen), sum(&|count| count.new));
        let asked = ASKED.get(rest).copied().unwrap_or(0.0);
        // What a card claims: the rate asked for, or what its strokes exclude where that is more.
        let claim = |count: &Count| count.supported.max(asked);
        let kept = all.iter().filter(|count| interval(count.seen)[0] <= claim(count)).count();
        let claimed = all.iter().map(|count| claim(count)).fold(0.0, f64::max);
        let [low, high] = interval(seen);
        println!(
            "{:>6}  {:<9} {asked:7.0e} {claimed:9.1e}   {:>6} of {:>6}  {:8.2e} [{low:.1e}, {high:.1e}]   {kept:>3} of {:<3}      {:>6} of {:>6}  {:.2e}",
            SIZES.get(size).copied().unwrap_or(0),
            if cell % 2 == 0 { "marked" } else { "unmarked" },
            seen.1,
            seen.0,
            seen.1 as f64 / seen.0.max(1) as f64,
            all.len(),
            new.1,
            new.0,
            new.1 as f64 / new.0.max(1) as f64,
        );
    }
}
