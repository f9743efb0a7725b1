//! The program killed outright at seeded moments: what was shown or confirmed before is there afterwards.
//!
//! A kill leaves the operating system running, so this shows that nothing is told before it is committed and that a
//! half-written log is taken up again; that a commit survives a loss of power rests on SQLite's full synchronisation,
//! which no kill can try. Ordinarily few kills; `BOLSTER_KILLS=300` makes that many.

use std::collections::BTreeMap;
use std::io::{BufRead as _, BufReader};
use std::net::SocketAddr;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

use bolster::card::die::DieCard;
use bolster::console::auth;
use bolster::console::store::{EventFilter, FILE_NAME, Store, StrokeFilter};
use rand::RngExt as _;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng as _;
use serde_json::Value;

use crate::client::{Client, Follower};
use crate::server::{DIE, DIE_PAGE, ENGINEER, PASSWORD, PRESS, samples};

const SEED: u64 = 8;
/// Kills in the ordinary check.
const FEW: usize = 8;
/// Latest moment of a kill after the program's start.
const LATEST: Duration = Duration::from_millis(2500);

fn kills() -> usize {
    std::env::var("BOLSTER_KILLS").ok().and_then(|text| text.parse().ok()).unwrap_or(FEW)
}

/// The program as a user starts it, on a free port.
pub struct Program {
    pub child: Child,
    said: Receiver<String>,
}

impl Drop for Program {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Program {
    pub fn start(folder: &Path, more: &[&str]) -> Self {
        let mut child = Command::new(env!("CARGO_BIN_EXE_bolster"))
            .args(["serve", "--listen", "127.0.0.1:0", "--data"])
            .arg(folder)
            .args(more)
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("the program starts");
        let out = child.stdout.take().unwrap();
        let (tell, said) = channel();
        std::thread::spawn(move || {
            for line in BufReader::new(out).lines().map_while(Result::ok) {
                let _ = tell.send(line);
            }
        });
        Self { child, said }
    }

    /// Where it listens; none if it has not said so by then.
    pub fn address(&self, until: Instant) -> Option<SocketAddr> {
        let line = self.said.recv_timeout(until.saturating_duration_since(Instant::now())).ok()?;
        let address = line.strip_prefix("console: http://")?.strip_suffix('/')?;
        Some(address.parse().expect("an address and a port"))
    }
}

fn with_die(more: &mut Vec<String>) {
    more.push("--die".into());
    more.push(samples().join("dies/five-station.toml").display().to_string());
}

/// What people saw before the kill.
#[derive(Default)]
struct Seen {
    /// Strokes that a page was shown, by number.
    strokes: BTreeMap<i64, Value>,
    /// Changes that were confirmed: version, whether accepted, highest peak.
    changes: BTreeMap<i64, (bool, f64)>,
}

impl Seen {
    /// Whether it is less than the claim should rest on.
    fn is_little(&self) -> bool {
        self.strokes.len() < 20 * kills() || self.changes.len() < kills()
    }
}

/// Follows the strokes until the connection breaks.
fn watch(address: SocketAddr, after: i64) -> BTreeMap<i64, Value> {
    let mut seen = BTreeMap::new();
    let Ok(mut page) = Follower::new(address, &format!("/live?after={after}"), None) else { return seen };
    while let Some(event) = page.next(Duration::from_secs(10)) {
        let strokes: Value = serde_json::from_str(&event.data).unwrap();
        for stroke in strokes.as_array().unwrap() {
            seen.insert(stroke["id"].as_i64().unwrap(), stroke.clone());
        }
    }
    seen
}

/// Drafts and accepts in turn until the console is gone; gives what was confirmed.
fn change(address: SocketAddr, seed: u64) -> BTreeMap<i64, (bool, f64)> {
    let mut confirmed = BTreeMap::new();
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let client = Client::new(address);
    let get = |path: &str| client.try_send(hyper::Method::GET, path, &[], Vec::new());
    let post = |path: &str, fields: &[(&str, &str)]| {
        let pairs: Vec<String> =
            fields.iter().map(|(key, value)| format!("{key}={}", crate::client::escaped(value))).collect();
        let headers = [("content-type", "application/x-www-form-urlencoded")];
        client.try_send(hyper::Method::POST, path, &headers, pairs.join("&").into_bytes())
    };
    let mut signed_in = false;
    loop {
        if !signed_in {
            match post("/sign-in", &[("name", ENGINEER), ("password", PASSWORD)]) {
                Ok(answer) => assert_eq!(answer.status, 303, "{}", answer.text()),
                Err(_) => return confirmed,
            }
            signed_in = true;
        }
        let Ok(page) = get(DIE_PAGE) else { return confirmed };
        assert_eq!(page.status, 200, "{}", page.text());
        let is_draft = page.text().contains("/accept\"");
        let high = f64::from(random.random_range(1100..2000));
        let answer = if is_draft {
            let (token, version) = (page.hidden("/accept\"", "token"), page.hidden("/accept\"", "version"));
            let version: i64 = version.parse().unwrap();
            let high = confirmed.get(&version).map_or(f64::NAN, |(_, high)| *high);
            let fields = [("token", token.as_str()), ("version", &version.to_string()), ("reason", "seen")];
            post(&format!("{DIE_PAGE}/accept"), &fields).map(|answer| (answer, version + 1, true, high))
        } else {
            let (token, version) = (page.hidden("/draft\"", "token"), page.hidden("/draft\"", "version"));
            let (version, text): (i64, String) = (version.parse().unwrap(), high.to_string());
            let fields = [
                ("token", token.as_str()),
                ("version", &version.to_string()),
                ("unit", "kn"),
                ("peak_low", "10"),
                ("peak_high", &text),
                ("reverse_low", ""),
                ("reverse_high", ""),
                ("work_low", ""),
                ("work_high", ""),
                ("reason", "a change under way"),
            ];
            post(&format!("{DIE_PAGE}/draft"), &fields).map(|answer| (answer, version + 1, false, high))
        };
        let Ok((answer, version, accepted, high)) = answer else { return confirmed };
        assert_eq!(answer.status, 303, "{}", answer.text());
        confirmed.insert(version, (accepted, high));
    }
}

fn is_whole(folder: &Path) {
    let file = rusqlite::Connection::open(folder.join(FILE_NAME)).unwrap();
    let says: String = file.query_row("PRAGMA integrity_check", [], |row| row.get(0)).unwrap();
    assert_eq!(says, "ok");
}

/// Everything that was seen is in the database, as it was seen.
fn holds(folder: &Path, seen: &Seen) {
    is_whole(folder);
    let store = Store::open(folder).expect("the database opens");
    let rows =
        store.strokes(&StrokeFilter { after: Some(0), ..Default::default() }, usize::MAX >> 1).unwrap();
    let stored: BTreeMap<i64, Value> =
        rows.iter().map(|row| (row.id, serde_json::to_value(row).unwrap())).collect();
    for (id, shown) in &seen.strokes {
        let stored = stored.get(id).unwrap_or_else(|| panic!("stroke {id} was shown and is lost"));
        for (key, value) in stored.as_object().unwrap() {
            assert_eq!(&shown[key], value, "stroke {id}: {key}");
        }
    }
    // Within a run no stroke is missing between two others.
    for pair in rows.windows(2).filter(|pair| pair[0].run == pair[1].run) {
        assert_eq!(pair[0].stroke + 1, pair[1].stroke, "run {}", pair[0].run);
    }
    let history = store.card_history(PRESS, DIE).unwrap();
    let all = EventFilter { die: Some(DIE.to_owned()), ..EventFilter::default() };
    let events = store.events(&all, usize::MAX >> 1).unwrap();
    for (version, (accepted, high)) in &seen.changes {
        let row = history.iter().find(|row| row.version == *version);
        let row = row.unwrap_or_else(|| panic!("version {version} was confirmed and is lost"));
        assert_eq!(row.accepted, *accepted, "version {version}");
        let card: DieCard = toml::from_str(&row.toml).unwrap();
        if high.is_finite() {
            assert_eq!(card.limits.peak_kn.unwrap().ends[1], *high, "version {version}");
        }
        let kind = if *accepted { "limits-accepted" } else { "limits-drafted" };
        let words = format!("as version {version}");
        let journalled = events.iter().any(|event| event.kind == kind && event.says.contains(&words));
        assert!(journalled, "version {version} is not in the journal");
    }
}

#[test]
fn a_kill_at_any_moment_loses_no_stroke_shown_and_no_change_confirmed() {
    println!("seed {SEED}");
    let folder = tempfile::tempdir().unwrap();
    Store::open(folder.path()).unwrap().put_engineer(ENGINEER, &auth::hash(PASSWORD).unwrap()).unwrap();
    let mut random = ChaCha8Rng::seed_from_u64(SEED);
    let mut seen = Seen::default();
    let mut round = 0;
    // On a busy machine less gets under way before a kill: then there are more of them, until enough has.
    while round < kills() || (round < 4 * kills() && seen.is_little()) {
        round += 1;
        let mut more: Vec<String> = ["--scenario", "five-station", "--pace", "60"].map(str::to_owned).into();
        with_die(&mut more);
        let more: Vec<&str> = more.iter().map(String::as_str).collect();
        let until = Instant::now() + LATEST.mul_f64(random.random_range(0.1..1.0));
        let mut program = Program::start(folder.path(), &more);
        let people = program.address(until).map(|address| {
            let after = seen.strokes.last_key_value().map_or(0, |(id, _)| *id);
            let watcher = std::thread::spawn(move || watch(address, after));
            let changer = std::thread::spawn(move || change(address, SEED + round as u64));
            (watcher, changer)
        });
        std::thread::sleep(until.saturating_duration_since(Instant::now()));
        program.child.kill().unwrap();
        program.child.wait().unwrap();
        if let Some((watcher, changer)) = people {
            seen.strokes.extend(watcher.join().unwrap());
            seen.changes.extend(changer.join().unwrap());
        }
        holds(folder.path(), &seen);
    }
    let (strokes, changes) = (seen.strokes.len(), seen.changes.len());
    println!("{round} kills, {strokes} strokes shown, {changes} changes confirmed");
    assert!(!seen.is_little(), "too little was under way: {strokes} strokes, {changes} changes");
}

#[test]
fn a_kill_while_the_database_is_made_leaves_one_that_opens() {
    println!("seed {SEED}");
    let mut random = ChaCha8Rng::seed_from_u64(SEED);
    for _ in 0..2 * kills() {
        let folder = tempfile::tempdir().unwrap();
        let moment = Duration::from_micros(random.random_range(0..60_000));
        let mut program = Program::start(folder.path(), &["--scenario", "five-station", "--pace", "60"]);
        std::thread::sleep(moment);
        program.child.kill().unwrap();
        program.child.wait().unwrap();
        drop(Store::open(folder.path()).unwrap_or_else(|why| panic!("killed after {moment:?}: {why}")));
        is_whole(folder.path());
    }
}

#[test]
fn an_ordinary_end_leaves_everything_and_an_exit_code_of_0() {
    let folder = tempfile::tempdir().unwrap();
    let mut program = Program::start(folder.path(), &["--scenario", "five-station", "--pace", "60"]);
    let address = program.address(Instant::now() + Duration::from_secs(30)).expect("it listens");
    let mut page = Follower::new(address, "/live?after=0", None).unwrap();
    let mut seen = Seen::default();
    while seen.strokes.len() < 20 {
        let event = page.next(Duration::from_secs(30)).expect("strokes come");
        for stroke in serde_json::from_str::<Value>(&event.data).unwrap().as_array().unwrap() {
            seen.strokes.insert(stroke["id"].as_i64().unwrap(), stroke.clone());
        }
    }
    let id = program.child.id().to_string();
    assert!(Command::new("kill").args(["-TERM", &id]).status().unwrap().success());
    let status = program.child.wait().unwrap();
    assert_eq!(status.code(), Some(0));
    // The page is told by the end of the connection.
    while page.next(Duration::from_secs(10)).is_some() {}
    holds(folder.path(), &seen);
}
