//! `bolster serve`: the console in a browser.

use std::net::{IpAddr, SocketAddr};
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;

use clap::Args;
use tokio::sync::watch;

use super::simulate::scenario;
use super::{CAUTION, Failure, press_card, print};
use crate::card::die::{DieCard, Standing};
use crate::console::app::{App, router};
use crate::console::feed::{
    Basis, Connected, FeedState, FeedStatus, Intake, Pace, Place, Recorded, Runner, Simulated, StrokeFeed,
};
use crate::console::server;
use crate::console::store::{CardRow, Event, NewCard, Store};
use crate::material::Materials;
use crate::plan::job::Job;
use crate::plan::press::Candidate;

/// Show presses in a browser: strokes as they come, one stroke, dies, wear, the journal
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  bolster serve --scenario five-station-faults\n  bolster serve --replay monday.csv.gz --press press-3.toml --die bracket.toml --pace 10\n  bolster serve --controller tcp:10.0.0.7:4001 --press press-3.toml\n\nThen open http://127.0.0.1:7878/. Looking needs no password; to change limits set one first with bolster password.\nThe console speaks plain HTTP and listens on this machine only unless told otherwise with --listen. On a network put a\nreverse proxy with TLS before it, name the host it is reached by with --host and the proxy's address with --proxy:\nwithout that all who come through it count as one, in pages that follow and in passwords tried. Without --replay and --scenario it\nshows what is stored."
)]
pub struct ServeArgs {
    /// Folder for the console's database
    #[arg(long, value_name = "FOLDER", default_value = "bolster-data")]
    pub data: PathBuf,
    /// Address and port to listen on; port 0 takes a free one
    #[arg(long, value_name = "ADDRESS", default_value = "127.0.0.1:7878")]
    pub listen: SocketAddr,
    /// Name the console is reached by, besides addresses and localhost; may be given more than once
    #[arg(long, value_name = "NAME")]
    pub host: Vec<String>,
    /// Address of a reverse proxy that is believed in whom it asks for (X-Forwarded-For); may be given more than once
    #[arg(long, value_name = "ADDRESS")]
    pub proxy: Vec<IpAddr>,
    /// Recording to show as if it were made now
    #[arg(long, value_name = "REC", requires = "press", conflicts_with = "scenario")]
    pub replay: Option<PathBuf>,
    /// Controller whose strokes to show: tcp:HOST:PORT, or a serial device; it judges by its own settings
    #[arg(long, value_name = "PLACE", requires = "press", conflicts_with_all = ["replay", "die"])]
    pub controller: Option<Place>,
    /// Press card of the recording or of the controller
    #[arg(long, value_name = "TOML")]
    pub press: Option<PathBuf>,
    /// Calibration, for recordings of raw counts
    #[arg(long, value_name = "TOML", requires = "press")]
    pub calibration: Option<PathBuf>,
    /// Simulated strokes: a scenario's name or file; may be given more than once
    #[arg(long, value_name = "NAME")]
    pub scenario: Vec<String>,
    /// Die card to judge by; a draft judges recordings and simulated strokes as well
    #[arg(long, value_name = "TOML")]
    pub die: Option<PathBuf>,
    /// Job file of the plan: stations can then be named in the diagnosis of a recording's strokes
    #[arg(long, value_name = "TOML", requires = "die", requires = "replay")]
    pub job: Option<PathBuf>,
    /// Hit of the job that this die makes
    #[arg(long, value_name = "N", default_value_t = 1, requires = "job")]
    pub hit: u32,
    #[cfg(feature = "mqtt")]
    #[command(flatten)]
    mqtt: MqttArgs,
    /// So many times the press's own speed; 0 as fast as possible
    #[arg(long, value_name = "TIMES", default_value = "1", value_parser = pace)]
    pub pace: Pace,
    /// Most the database may hold, MB; the oldest strokes go first
    #[arg(long, value_name = "MB", default_value_t = 2000, value_parser = clap::value_parser!(u64).range(4..=10_000_000))]
    pub keep_mb: u64,
}

/// Strokes to a broker as well.
#[cfg(feature = "mqtt")]
#[derive(Debug, Args)]
struct MqttArgs {
    /// Broker to publish strokes to over MQTT, in Sparkplug B payloads; off unless given
    #[arg(long, value_name = "HOST[:PORT]", value_parser = broker)]
    mqtt: Option<(String, u16)>,
    /// Group in topics
    #[arg(long, value_name = "NAME", default_value = "bolster", requires = "mqtt")]
    mqtt_group: String,
    /// This console's node in topics
    #[arg(long, value_name = "NAME", default_value = "console", requires = "mqtt")]
    mqtt_node: String,
    /// Name for the broker; the password is taken from BOLSTER_MQTT_PASSWORD
    #[arg(long, value_name = "NAME", requires = "mqtt")]
    mqtt_user: Option<String>,
}

#[cfg(feature = "mqtt")]
fn broker(text: &str) -> Result<(String, u16), String> {
    let wanted = || "a broker such as broker.example or 10.0.0.5:1883".to_owned();
    let (host, port) = match text.rsplit_once(':') {
        Some((host, port)) => (host, port.parse().map_err(|_| wanted())?),
        None => (text, 1883),
    };
    if host.is_empty() || port == 0 || host.contains('/') {
        Err(wanted())
    } else {
        Ok((host.to_owned(), port))
    }
}

#[cfg(feature = "mqtt")]
impl MqttArgs {
    fn wish(&self) -> Option<crate::console::mqtt::Wish> {
        let (host, port) = self.mqtt.clone()?;
        let password = || std::env::var("BOLSTER_MQTT_PASSWORD").unwrap_or_default();
        Some(crate::console::mqtt::Wish {
            host,
            port,
            group: self.mqtt_group.clone(),
            node: self.mqtt_node.clone(),
            login: self.mqtt_user.clone().map(|name| (name, password())),
        })
    }
}

fn pace(text: &str) -> Result<Pace, String> {
    text.parse().ok().and_then(Pace::new).ok_or_else(|| "a number from 0 on, such as 10".to_owned())
}

fn feeds(args: &ServeArgs, closing: &Arc<AtomicBool>) -> Result<Vec<Box<dyn StrokeFeed>>, Failure> {
    let mut feeds: Vec<Box<dyn StrokeFeed>> = Vec::new();
    if let (Some(recording), Some(press)) = (&args.replay, &args.press) {
        let card = press_card(press, args.calibration.as_deref())?;
        let mut feed = Recorded::open(recording, card)?;
        if let Some(candidate) = crate::plan::press::load(press)?.into_iter().next() {
            let candidate = Candidate { spec: feed.press().spec, ..candidate };
            let materials = Materials::built_in()?;
            let job = args.job.as_deref().map(|job| Job::load(job, &materials)).transpose()?;
            feed = feed.diagnosed_by(Basis { press: candidate, job: job.map(|job| (job, args.hit)) });
        }
        feeds.push(Box::new(feed));
    }
    if let (Some(place), Some(press)) = (&args.controller, &args.press) {
        let card = press_card(press, None)?;
        feeds.push(Box::new(Connected::open(place, card, Arc::clone(closing))?));
    }
    for name in &args.scenario {
        feeds.push(Box::new(Simulated::new(name, &scenario(name)?)?));
    }
    let mut names: Vec<&str> = feeds.iter().map(|feed| feed.press().name.as_str()).collect();
    names.sort_unstable();
    if let Some(twice) = names.windows(2).find(|pair| pair.first() == pair.last()) {
        let name = twice.first().copied().unwrap_or_default();
        return Err(Failure::because(format!("two feeds are of press {name}; a press has one")));
    }
    Ok(feeds)
}

/// The die's newest card in the store; a file that differs from every version stored becomes a new one.
fn card_in_store(store: &Store, die: &DieCard) -> Result<CardRow, Failure> {
    let (press, name) = (&die.die.press.name, &die.die.name);
    let history = store.card_history(press, name)?;
    let content = die.content_sha256();
    let known = |row: &&CardRow| {
        toml::from_str::<DieCard>(&row.toml).is_ok_and(|stored| stored.content_sha256() == content)
    };
    let accepted = die.standing() == Standing::Accepted;
    if let Some(newest) = history.first()
        && history.iter().any(|row| known(&row))
        && (newest.accepted || !accepted)
    {
        // The console's own changes came after the file: they stand.
        return Ok(newest.clone());
    }
    let who = die.acceptance.as_ref().map_or("file", |acceptance| acceptance.by.as_str());
    let reason = die.acceptance.as_ref().map_or("given with --die", |acceptance| acceptance.reason.as_str());
    let text = die.to_toml()?;
    let began = history.first().map_or(0, |row| row.version);
    let new = NewCard { press, die: name, began, toml: &text, accepted, who, reason };
    let event = Event {
        kind: "card-stored",
        press: Some(press.clone()),
        die: Some(name.clone()),
        says: format!("card of die {name} taken from a file, {}", die.standing_says()),
        new: Some(format!("version {}", began + 1)),
        ..Event::default()
    };
    Ok(store.put_card(&new, &event)?)
}

struct Running {
    statuses: Vec<Arc<Mutex<FeedStatus>>>,
    threads: Vec<JoinHandle<()>>,
}

fn start(
    args: &ServeArgs,
    store: &Arc<Store>,
    intake: &Intake,
    closing: &Arc<AtomicBool>,
) -> Result<Running, Failure> {
    let mut running = Running { statuses: Vec::new(), threads: Vec::new() };
    let mut die_used = false;
    for mut feed in feeds(args, closing)? {
        store.put_press(feed.press())?;
        let mut card = None;
        if let Some(path) = &args.die {
            let read = if args.scenario.len() > 1 {
                DieCard::load(path, feed.press()).ok()
            } else {
                Some(DieCard::load(path, feed.press())?)
            };
            if let Some(mut die) = read {
                die.die.press.name.clone_from(&feed.press().name);
                let row = card_in_store(store, &die)?;
                let newest: DieCard = toml::from_str(&row.toml)?;
                feed.set_die(&newest)?;
                card = Some(row);
                die_used = true;
            }
        }
        let status = Arc::new(Mutex::new(FeedStatus {
            press: feed.press().name.clone(),
            source: feed.source(),
            state: FeedState::Running,
            problem: None,
            die: card.as_ref().map(|card| card.die.clone()),
            version: card.as_ref().map(|card| card.version),
            draft: card.as_ref().is_some_and(|card| !card.accepted),
            strokes: 0,
            verdicts: [0; 4],
            peak_kn: 0.0,
        }));
        running.statuses.push(Arc::clone(&status));
        let runner = Runner {
            feed,
            store: Arc::clone(store),
            intake: intake.clone(),
            pace: args.pace,
            closing: Arc::clone(closing),
            status,
            card,
        };
        let thread = std::thread::Builder::new().name("feed".into()).spawn(move || runner.run())?;
        running.threads.push(thread);
    }
    if args.die.is_some() && !die_used {
        return Err(Failure::because("the die card goes with none of the presses shown; give its press"));
    }
    Ok(running)
}

/// Runs the command until it is interrupted.
///
/// # Errors
/// [`Failure`] for bad input, a folder or address that cannot be used, or a failing database.
pub fn run(args: &ServeArgs) -> Result<(), Failure> {
    let store = Arc::new(Store::open(&args.data)?);
    let closing = Arc::new(AtomicBool::new(false));
    let (close, closed) = watch::channel(false);
    let failed: Arc<Mutex<Option<String>>> = Arc::default();
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .max_blocking_threads(16)
        .enable_all()
        .build()?;
    // Bound before the strokes begin: an address in use is an error before work starts.
    let listener = runtime.block_on(tokio::net::TcpListener::bind(args.listen)).map_err(|why| {
        Failure::because(format!(
            "{} cannot be listened on ({why}); choose another with --listen",
            args.listen
        ))
    })?;
    let address = listener.local_addr()?;
    let (told, ended) = (close.clone(), Arc::clone(&failed));
    let (intake, intake_thread) =
        Intake::start(Arc::clone(&store), args.keep_mb.saturating_mul(1_000_000), move |why| {
            *ended.lock().unwrap_or_else(PoisonError::into_inner) = Some(why.to_string());
            told.send_replace(true);
        })?;
    let running = start(args, &store, &intake, &closing)?;
    drop(intake);
    let app = Arc::new(App::new(Arc::clone(&store), running.statuses, args.host.clone()));
    print(&format!("console: http://{address}/\n"))?;
    eprintln!("database: {}\n\n{CAUTION}", store.path().display());
    if !address.ip().is_loopback() {
        eprintln!(
            "\nothers on the network can look; passwords go over it readably unless a proxy with TLS stands before"
        );
    }
    #[cfg(feature = "mqtt")]
    let told = args.mqtt.wish().map(|wish| {
        let say = |text: &str| eprintln!("mqtt: {text}");
        runtime.spawn(crate::console::mqtt::run(Arc::clone(&app), wish, closed.clone(), say))
    });
    let served = runtime.block_on(async {
        let stop = close.clone();
        tokio::spawn(async move {
            interrupted().await;
            stop.send_replace(true);
        });
        let served =
            server::serve(listener, router(app), server::Patience::default(), &args.proxy, closed).await;
        #[cfg(feature = "mqtt")]
        if let Some(told) = told {
            // It has a death to tell.
            let _ = tokio::time::timeout(std::time::Duration::from_secs(2), told).await;
        }
        served
    });
    closing.store(true, Ordering::Relaxed);
    runtime.shutdown_timeout(std::time::Duration::from_secs(2));
    for thread in running.threads {
        let _ = thread.join();
    }
    let _ = intake_thread.join();
    served?;
    match failed.lock().unwrap_or_else(PoisonError::into_inner).take() {
        Some(why) => Err(Failure::because(why)),
        None => Ok(()),
    }
}

/// Returns when the process is asked to end.
async fn interrupted() {
    let interrupt = tokio::signal::ctrl_c();
    #[cfg(unix)]
    {
        use tokio::signal::unix::{SignalKind, signal};
        if let Ok(mut terminate) = signal(SignalKind::terminate()) {
            tokio::select! {
                _ = interrupt => {}
                _ = terminate.recv() => {}
            }
            return;
        }
    }
    let _ = interrupt.await;
}
