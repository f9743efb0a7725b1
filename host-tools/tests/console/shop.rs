//! A shop of many presses for one console: recorded strokes, judged as they come, at a set pace.

use std::path::PathBuf;
use std::sync::atomic::AtomicBool;
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use bolster::card::die::DieCard;
use bolster::card::press::PressCard;
use bolster::console::feed::{
    FeedError, FeedState, FeedStatus, Intake, JudgedStroke, Pace, Recorded, Runner, StrokeFeed,
};
use bolster::console::store::{Event, NewCard, Store};

use crate::server::{press_card, samples};

/// How much comes.
#[derive(Debug, Clone, Copy)]
pub struct Load {
    /// Presses.
    pub presses: usize,
    /// Strokes a minute of each.
    pub spm: f64,
    /// Strokes of each before it ends.
    pub strokes: u64,
}

impl Load {
    /// Name of the `n`th press.
    pub fn name(n: usize) -> String {
        format!("P{:02}", n + 1)
    }

    /// Strokes of all presses.
    pub fn all(&self) -> u64 {
        self.strokes * self.presses as u64
    }
}

/// A recording judged again and again under one press's name, each stroke when it is due.
struct Looped {
    path: PathBuf,
    card: PressCard,
    die: DieCard,
    recorded: Recorded,
    given: u64,
    most: u64,
    period: Duration,
    began: Instant,
}

impl Looped {
    fn new(n: usize, load: &Load, began: Instant) -> Self {
        // Every eighth press runs into a broken punch: stops are journalled and kept whole.
        let file = if n % 8 == 7 { "faulty/five-station-broken.csv" } else { "good/five-station.csv" };
        let path = samples().join(file);
        let card = PressCard { name: Load::name(n), ..press_card() };
        let mut die = DieCard::load(&samples().join("dies/five-station.toml"), &press_card()).unwrap();
        die.die.press.name.clone_from(&card.name);
        let recorded = Recorded::open(&path, card.clone()).unwrap();
        let period = Duration::from_secs_f64(60.0 / load.spm);
        let mut looped = Self {
            path,
            card,
            die,
            recorded,
            given: 0,
            most: load.strokes,
            period,
            // Presses do not strike together.
            began: began + period.mul_f64(n as f64 / load.presses as f64),
        };
        let die = looped.die.clone();
        looped.recorded.set_die(&die).unwrap();
        looped
    }
}

impl StrokeFeed for Looped {
    fn press(&self) -> &PressCard {
        &self.card
    }

    fn source(&self) -> String {
        format!("recorded strokes of {} over and over (invented)", self.path.display())
    }

    fn set_die(&mut self, die: &DieCard) -> Result<(), FeedError> {
        self.die = die.clone();
        self.recorded.set_die(die)
    }

    fn next(&mut self) -> Result<Option<JudgedStroke>, FeedError> {
        if self.given == self.most {
            return Ok(None);
        }
        let judged = match self.recorded.next()? {
            Some(judged) => Some(judged),
            None => {
                self.recorded = Recorded::open(&self.path, self.card.clone())?;
                self.recorded.set_die(&self.die)?;
                self.recorded.next()?
            }
        };
        self.given += 1;
        let due = self.began + self.period.mul_f64(self.given as f64);
        std::thread::sleep(due.saturating_duration_since(Instant::now()));
        Ok(judged.map(|mut judged| {
            judged.outcome.stroke = self.given;
            for row in &mut judged.rows {
                row.stroke = self.given;
            }
            judged
        }))
    }

    fn is_live(&self) -> bool {
        true
    }
}

/// A shop at work.
pub struct Shop {
    pub statuses: Vec<Arc<Mutex<FeedStatus>>>,
    threads: Vec<JoinHandle<()>>,
}

impl Shop {
    /// Starts every press.
    pub fn open(store: &Arc<Store>, load: &Load) -> Self {
        let (intake, intake_thread) =
            Intake::start(Arc::clone(store), u64::MAX >> 2, |why| panic!("the intake failed: {why}"))
                .unwrap();
        let mut shop = Self { statuses: Vec::new(), threads: vec![intake_thread] };
        // Time to open them all before the first strikes.
        let began = Instant::now() + Duration::from_millis(20 * load.presses as u64);
        for n in 0..load.presses {
            let feed = Looped::new(n, load, began);
            store.put_press(feed.press()).unwrap();
            let toml = feed.die.to_toml().unwrap();
            let (press, die) = (feed.card.name.clone(), feed.die.die.name.clone());
            let new = NewCard {
                press: &press,
                die: &die,
                began: 0,
                toml: &toml,
                accepted: false,
                who: "file",
                reason: "a trial",
            };
            let event =
                Event { kind: "card-stored", says: "card taken from a file".into(), ..Event::default() };
            let card = store.put_card(&new, &event).unwrap();
            let status = Arc::new(Mutex::new(FeedStatus {
                press,
                source: feed.source(),
                state: FeedState::Running,
                problem: None,
                die: Some(die),
                version: Some(1),
                draft: true,
                strokes: 0,
                verdicts: [0; 4],
                peak_kn: 0.0,
            }));
            shop.statuses.push(Arc::clone(&status));
            let runner = Runner {
                feed: Box::new(feed),
                store: Arc::clone(store),
                intake: intake.clone(),
                pace: Pace::new(1.0).unwrap(),
                closing: Arc::new(AtomicBool::new(false)),
                status,
                card: Some(card),
            };
            shop.threads.push(std::thread::spawn(move || runner.run()));
        }
        shop
    }

    /// Waits until every press has made its strokes and all are stored.
    pub fn close(self) {
        for thread in self.threads {
            thread.join().unwrap();
        }
    }
}

/// Which strokes of which press a page has seen: each once, in order, without a gap.
#[derive(Debug, Default)]
pub struct Seen {
    next: std::collections::BTreeMap<String, i64>,
    pub strokes: u64,
}

impl Seen {
    /// Takes in an event's strokes.
    ///
    /// # Errors
    /// What is wrong with the first that should not be there.
    pub fn take(&mut self, strokes: &serde_json::Value) -> Result<(), String> {
        for stroke in strokes.as_array().into_iter().flatten() {
            let press = stroke["press"].as_str().unwrap_or("").to_owned();
            let number = stroke["stroke"].as_i64().unwrap_or(0);
            let next = self.next.entry(press).or_insert(1);
            if number != *next {
                return Err(format!("{stroke} where stroke {next} should come"));
            }
            *next += 1;
            self.strokes += 1;
        }
        Ok(())
    }
}
