//! A console with strokes of an invented press in it, served on loopback within the test's process.

use std::net::{IpAddr, Ipv4Addr, SocketAddr};
use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use bolster::card::die::DieCard;
use bolster::card::press::PressCard;
use bolster::console::app::{App, router};
use bolster::console::auth;
use bolster::console::feed::{FeedState, FeedStatus, Intake, Pace, Recorded, Runner, StrokeFeed as _};
use bolster::console::server;
use bolster::console::store::{CardRow, Event, NewCard, NewStroke, Store, StrokeFilter};
use tempfile::TempDir;
use tokio::sync::watch;

use crate::client::Client;

pub const ENGINEER: &str = "A. Engineer";
pub const OTHER_ENGINEER: &str = "B. Engineer";
pub const PASSWORD: &str = "correct horse battery";
/// As short as a loaded test machine bears, so that a test of it need not be long.
pub const PATIENCE: server::Patience =
    server::Patience { ask: Duration::from_secs(10), read: Duration::from_secs(3) };
pub const PRESS: &str = "P3";
pub const DIE: &str = "five-station (invented)";
/// Address of the die's page.
pub const DIE_PAGE: &str = "/die/P3/five-station%20%28invented%29";

pub fn samples() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../sample-signatures")
}

pub fn press_card() -> PressCard {
    PressCard::load(&samples().join("presses/five-station.toml")).expect("the sample press is read")
}

/// A console being served; closing it ends the server.
pub struct Console {
    pub store: Arc<Store>,
    pub app: Arc<App>,
    pub address: SocketAddr,
    /// Where its database is.
    pub folder: PathBuf,
    /// Removes the folder at the end, where it is the test's own.
    temporary: Option<TempDir>,
    close: watch::Sender<bool>,
    runtime: Option<tokio::runtime::Runtime>,
}

impl Drop for Console {
    fn drop(&mut self) {
        self.close.send_replace(true);
        if let Some(runtime) = self.runtime.take() {
            runtime.shutdown_background();
        }
    }
}

impl Console {
    /// With strokes that passed and strokes that were held, a die as a draft, two engineers.
    pub fn with_strokes() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let store = Arc::new(Store::open(folder.path()).unwrap());
        let card = put_die(&store);
        let statuses = vec![
            run_recording(&store, &samples().join("good/five-station.csv"), Some(&card)),
            run_recording(&store, &samples().join("faulty/five-station-broken.csv"), Some(&card)),
        ];
        Self::serve(folder, store, statuses.into_iter().skip(1).collect())
    }

    /// That has seen no press yet.
    pub fn empty() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let store = Arc::new(Store::open(folder.path()).unwrap());
        Self::serve(folder, store, Vec::new())
    }

    /// Over a database in a temporary folder.
    pub fn serve(folder: TempDir, store: Arc<Store>, statuses: Vec<Arc<Mutex<FeedStatus>>>) -> Self {
        let mut console = Self::serve_in(folder.path().to_owned(), store, statuses);
        console.temporary = Some(folder);
        console
    }

    pub fn serve_in(folder: PathBuf, store: Arc<Store>, statuses: Vec<Arc<Mutex<FeedStatus>>>) -> Self {
        let hash = auth::hash(PASSWORD).unwrap();
        store.put_engineer(ENGINEER, &hash).unwrap();
        store.put_engineer(OTHER_ENGINEER, &hash).unwrap();
        let app = Arc::new(App::new(Arc::clone(&store), statuses, vec!["console.shop".to_owned()]));
        let runtime =
            tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build().unwrap();
        let listener = runtime.block_on(tokio::net::TcpListener::bind("127.0.0.1:0")).unwrap();
        let address = listener.local_addr().unwrap();
        let (close, closed) = watch::channel(false);
        let routes = router(Arc::clone(&app));
        // Tests ask as if they were a proxy that was named.
        let proxies = [IpAddr::V4(Ipv4Addr::LOCALHOST)];
        runtime.spawn(async move { server::serve(listener, routes, PATIENCE, &proxies, closed).await });
        Self { store, app, address, folder, temporary: None, close, runtime: Some(runtime) }
    }

    pub fn viewer(&self) -> Client {
        Client::new(self.address)
    }

    pub fn engineer(&self) -> Client {
        self.signed_in(ENGINEER)
    }

    pub fn signed_in(&self, name: &str) -> Client {
        let client = self.viewer();
        let answer = client.post("/sign-in", &[("name", name), ("password", PASSWORD)]);
        assert_eq!((answer.status, answer.header("location")), (303, "/dies"), "{}", answer.text());
        client
    }

    /// All strokes, in order.
    pub fn strokes(&self) -> Vec<bolster::console::store::StrokeRow> {
        let filter = StrokeFilter { after: Some(0), ..StrokeFilter::default() };
        self.store.strokes(&filter, usize::MAX >> 1).unwrap()
    }

    /// Number of the newest stroke that was held.
    pub fn held(&self) -> i64 {
        let filter = StrokeFilter { least: 2, ..StrokeFilter::default() };
        self.store.strokes(&filter, 1).unwrap().first().expect("the broken punch was held").id
    }
}

fn put_die(store: &Store) -> CardRow {
    let die = DieCard::load(&samples().join("dies/five-station.toml"), &press_card()).unwrap();
    let toml = die.to_toml().unwrap();
    let new = NewCard {
        press: PRESS,
        die: DIE,
        began: 0,
        toml: &toml,
        accepted: false,
        who: "file",
        reason: "given with --die",
    };
    let event = Event { kind: "card-stored", says: "card taken from a file".into(), ..Event::default() };
    store.put_press(&press_card()).unwrap();
    store.put_card(&new, &event).unwrap()
}

/// Judges a recording and stores its strokes, as `serve` does.
fn run_recording(store: &Arc<Store>, path: &Path, card: Option<&CardRow>) -> Arc<Mutex<FeedStatus>> {
    let mut feed = Recorded::open(path, press_card()).unwrap();
    if let Some(card) = card {
        let die: DieCard = toml::from_str(&card.toml).unwrap();
        feed.set_die(&die).unwrap();
    }
    let status = Arc::new(Mutex::new(FeedStatus {
        press: PRESS.to_owned(),
        source: feed.source(),
        state: FeedState::Running,
        problem: None,
        die: card.map(|card| card.die.clone()),
        version: card.map(|card| card.version),
        draft: true,
        strokes: 0,
        verdicts: [0; 4],
        peak_kn: 0.0,
    }));
    let (intake, thread) =
        Intake::start(Arc::clone(store), u64::MAX >> 2, |why| panic!("the intake failed: {why}")).unwrap();
    let runner = Runner {
        feed: Box::new(feed),
        store: Arc::clone(store),
        intake,
        pace: Pace::new(0.0).unwrap(),
        closing: Arc::new(AtomicBool::new(false)),
        status: Arc::clone(&status),
        card: card.cloned(),
    };
    runner.run();
    thread.join().unwrap();
    let ended = status.lock().unwrap().clone();
    assert_eq!((ended.state, ended.problem), (FeedState::Ended, None));
    status
}

/// A stroke like any other, of this press, for tests that bring strokes themselves.
pub fn stroke(press: &str, number: u64, peak_kn: f64) -> NewStroke {
    NewStroke {
        press: press.into(),
        run: 1,
        at_ms: bolster::console::store::now_ms(),
        die: None,
        card: None,
        outcome: bolster::session::Outcome {
            stroke: number,
            verdict: "pass",
            reasons: Vec::new(),
            peak_kn,
            peak_angle_deg: Some(171.0),
            reverse_kn: 1.5,
            work_kj: Some(1.25),
            load_centre_mm: None,
            columns: Vec::new(),
            coil: 1,
            peak_height_mm: Some(2.0),
            reverse_angle_deg: Some(172.0),
            contact_angle_deg: Some(160.0),
            speed_spm: Some(45.0),
            wear: None,
            findings: Vec::new(),
        },
        diagnosis: None,
        kept: None,
        passing: true,
    }
}
