//! Measures a console under the load of a whole shop: how late pages are, how much memory and processor it takes.
//!
//!     cargo run --release -p bolster --example console_load -- --minutes 10
//!
//! The console runs as a process of its own (this program again), its presses with it: recorded strokes, judged as they
//! come. The pages that follow run here. Late is a stroke by the time from its judging to its arrival at a page.
#![allow(clippy::unwrap_used, clippy::expect_used, dead_code, unreachable_pub)]

#[path = "../tests/console/client.rs"]
mod client;
#[path = "../tests/console/server.rs"]
mod server;
#[path = "../tests/console/shop.rs"]
mod shop;

use std::collections::BTreeMap;
use std::io::{BufRead as _, BufReader};
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use bolster::console::store::{Store, StrokeFilter, now_ms};
use clap::Parser;

use client::{Client, Follower};
use shop::{Load, Seen, Shop};

/// What somebody looks at meanwhile, one after the other.
const LOOKED_AT: [&str; 7] =
    ["/", "/press/P01", "/strokes", "/journal", "/dies", "/wear/P01/peaks.svg", "/metrics"];

#[derive(Debug, Parser)]
struct Asked {
    /// How long strokes come
    #[arg(long, default_value_t = 1.0)]
    minutes: f64,
    /// Presses
    #[arg(long, default_value_t = 64)]
    presses: usize,
    /// Strokes a minute of each press
    #[arg(long, default_value_t = 120.0)]
    spm: f64,
    /// Pages that follow all presses
    #[arg(long, default_value_t = 8)]
    pages: usize,
    /// The console's process: folder of its database
    #[arg(long, hide = true)]
    console: Option<PathBuf>,
}

impl Asked {
    fn load(&self) -> Load {
        Load { presses: self.presses, spm: self.spm, strokes: (self.minutes * self.spm).round() as u64 }
    }
}

/// The console's process: serves until its input ends.
fn console(asked: &Asked, folder: &Path) {
    let store = Arc::new(Store::open(folder).unwrap());
    let shop = Shop::open(&store, &asked.load());
    let console = server::Console::serve_in(folder.to_owned(), store, shop.statuses.clone());
    println!("{}", console.address);
    shop.close();
    let _ = std::io::stdin().read_line(&mut String::new());
}

/// Resident memory now and at most, MB, and processor time, s, of a process.
fn used(child: &Child) -> Option<(f64, f64, f64)> {
    let read = |what: &str| std::fs::read_to_string(format!("/proc/{}/{what}", child.id())).ok();
    let status = read("status")?;
    let mb = |name: &str| {
        let line = status.lines().find(|line| line.starts_with(name))?;
        Some(line.split_whitespace().nth(1)?.parse::<f64>().ok()? / 1024.0)
    };
    let stat = read("stat")?;
    let fields: Vec<&str> = stat.rsplit_once(')')?.1.split_whitespace().collect();
    // Linux counts a hundred ticks a second (fields 14 and 15 of proc_pid_stat(5), here without the first two).
    let ticks = fields.get(11)?.parse::<f64>().ok()? + fields.get(12)?.parse::<f64>().ok()?;
    Some((mb("VmRSS:")?, mb("VmHWM:")?, ticks / 100.0))
}

/// Follows as a page does; gives how late each stroke was, ms, and what was wrong.
fn follow(address: SocketAddr, all: u64) -> (Vec<f64>, Result<(), String>) {
    let mut page = Follower::new(address, "/live?after=0", None).unwrap();
    let (mut seen, mut late) = (Seen::default(), Vec::new());
    while seen.strokes < all {
        let Some(event) = page.next(Duration::from_secs(60)) else {
            return (late, Err(format!("{} of {all} strokes came", seen.strokes)));
        };
        let now = now_ms();
        let strokes: serde_json::Value = serde_json::from_str(&event.data).unwrap();
        late.extend(
            strokes.as_array().unwrap().iter().map(|stroke| (now - stroke["at_ms"].as_i64().unwrap()) as f64),
        );
        if let Err(why) = seen.take(&strokes) {
            return (late, Err(why));
        }
    }
    (late, Ok(()))
}

fn line(what: &str, values: &mut [f64]) {
    values.sort_by(f64::total_cmp);
    let at =
        |share: f64| values.get(((values.len() - 1) as f64 * share) as usize).copied().unwrap_or(f64::NAN);
    println!(
        "{what}: {} values, half within {:.0} ms, 99 % within {:.0} ms, 99.9 % within {:.0} ms, longest {:.0} ms",
        values.len(),
        at(0.5),
        at(0.99),
        at(0.999),
        at(1.0)
    );
}

fn busy() -> String {
    let load = std::fs::read_to_string("/proc/loadavg").unwrap_or_default();
    load.split(' ').take(3).collect::<Vec<_>>().join(" ")
}

fn main() {
    let asked = Asked::parse();
    if let Some(folder) = &asked.console {
        return console(&asked, folder);
    }
    let load = asked.load();
    let folder = tempfile::tempdir().unwrap();
    let cores = std::thread::available_parallelism().map_or(0, std::num::NonZero::get);
    println!(
        "{} presses, {} strokes a minute each, {} min, {} pages; {cores} cores, load average before {}",
        asked.presses,
        asked.spm,
        asked.minutes,
        asked.pages,
        busy()
    );
    let mut child = Command::new(std::env::current_exe().unwrap())
        .args(std::env::args().skip(1))
        .arg("--console")
        .arg(folder.path())
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut said = String::new();
    BufReader::new(child.stdout.take().unwrap()).read_line(&mut said).unwrap();
    let address: SocketAddr = said.trim().parse().unwrap();
    println!("console: http://{address}/");
    let began = Instant::now();
    let pages: Vec<_> =
        (0..asked.pages).map(|_| std::thread::spawn(move || follow(address, load.all()))).collect();
    // Somebody looks around meanwhile.
    let over = Arc::new(AtomicBool::new(false));
    let told = Arc::clone(&over);
    let visitor = std::thread::spawn(move || {
        let client = Client::new(address);
        let mut took: BTreeMap<&str, Vec<f64>> = BTreeMap::new();
        for path in LOOKED_AT.into_iter().cycle() {
            if told.load(Ordering::Relaxed) {
                return took;
            }
            let began = Instant::now();
            let answer = client.get(path);
            // The first moments have no strokes to draw.
            assert!(answer.status == 200 || path.ends_with(".svg"), "{path}: {}", answer.status);
            took.entry(path).or_default().push(began.elapsed().as_secs_f64() * 1000.0);
            std::thread::sleep(Duration::from_millis(500));
        }
        took
    });
    let mut memory = Vec::new();
    while pages.iter().any(|page| !page.is_finished()) {
        if let Some((now, _, _)) = used(&child) {
            memory.push(now);
        }
        std::thread::sleep(Duration::from_secs(1));
    }
    let took = began.elapsed().as_secs_f64();
    let (_, most, processor) = used(&child).unwrap_or((f64::NAN, f64::NAN, f64::NAN));
    over.store(true, Ordering::Relaxed);
    let looked = visitor.join().unwrap();
    let mut late = Vec::new();
    let mut lost = Vec::new();
    for page in pages {
        let (of, end) = page.join().unwrap();
        late.extend(of);
        lost.extend(end.err());
    }
    drop(child.stdin.take());
    child.wait().unwrap();
    let store = Store::open(folder.path()).unwrap();
    let stored =
        store.strokes(&StrokeFilter { after: Some(0), ..Default::default() }, usize::MAX >> 1).unwrap();
    println!(
        "strokes made {}, stored {}, pages that missed any {} {lost:?}",
        load.all(),
        stored.len(),
        lost.len()
    );
    line("a stroke's way to a page", &mut late);
    line("a page asked for", &mut looked.values().flatten().copied().collect::<Vec<f64>>());
    for (path, mut took) in looked {
        line(path, &mut took);
    }
    let part = |share: f64| memory.get((memory.len() as f64 * share) as usize).copied().unwrap_or(f64::NAN);
    println!(
        "resident memory: {:.0} MB after a quarter, {:.0} MB halfway, {:.0} MB at the end, {most:.0} MB at most",
        part(0.25),
        part(0.5),
        memory.last().copied().unwrap_or(f64::NAN)
    );
    println!(
        "processor: {:.0} % of one core over {took:.0} s; load average after {}",
        100.0 * processor / took,
        busy()
    );
    println!("database: {:.1} MB", store.used_bytes().unwrap() as f64 / 1e6);
    let complete = lost.is_empty() && stored.len() as u64 == load.all();
    std::process::exit(i32::from(!complete));
}
