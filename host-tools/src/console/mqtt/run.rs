//! Keeps a connection to the broker: birth, strokes as they are stored, rebirth on request, death.

use std::sync::Arc;
use std::time::{Duration, Instant};

use prost::Message as _;
use rumqttc::{AsyncClient, ClientError, Event, EventLoop, LastWill, MqttOptions, Packet, QoS};
use tokio::sync::watch;

use super::payload::{Metric, Payload, asks_rebirth};
use super::{REBIRTH, Wish};
use crate::console::app::App;
use crate::console::feed::{FeedState, FeedStatus};
use crate::console::respond::{Refusal, off_thread};
use crate::console::store::{StrokeFilter, StrokeRow, now_ms};

/// Time between two tries to reach the broker: at first, and at most.
const AGAIN: [Duration; 2] = [Duration::from_millis(500), Duration::from_secs(30)];
/// How often the broker is asked whether it is there.
const KEEP_ALIVE: Duration = Duration::from_secs(20);
/// Strokes read from the database at a time.
const AT_ONCE: usize = 200;
/// Longest a stored stroke waits to be sent where nothing wakes the loop.
const LOOK: Duration = Duration::from_secs(1);
/// How long a press is missed before its death is told: its last strokes are stored by then, and a line that breaks for a
/// moment is no death.
const GRACE: Duration = Duration::from_secs(2);
/// Messages that may wait for the network.
const WAITING: usize = 64;

/// Publishing came to an end for this time; it is tried again.
#[derive(Debug, thiserror::Error)]
pub enum MqttError {
    /// The broker, or the way to it.
    #[error("the broker: {0}")]
    Connection(#[from] Box<rumqttc::ConnectionError>),
    /// The connection has ended.
    #[error("the connection to the broker has ended")]
    Ended,
    /// The database.
    #[error("{0}")]
    Store(String),
}

impl From<ClientError> for MqttError {
    fn from(_: ClientError) -> Self {
        Self::Ended
    }
}

/// Publishes until `closing` turns true; `say` is told what happens.
pub async fn run(app: Arc<App>, wish: Wish, mut closing: watch::Receiver<bool>, say: impl Fn(&str)) {
    // Strokes stored before the console was started are not told again.
    let mut told = Told { last: *app.store.newest().borrow(), away: false, presses: Vec::new() };
    let mut wait = AGAIN[0];
    let mut births = 0;
    while !*closing.borrow() {
        let mut link = Link::new(&app, &wish, births, &mut told);
        let ended = link.serve(&mut closing).await;
        let was_born = link.born;
        // The standard: each connection that is tried has a number of its own.
        births = (births + 1) % 256;
        let Err(why) = ended else { return };
        if was_born || !told.away {
            say(&format!("{}:{}: {why}; strokes wait in the database, trying again", wish.host, wish.port));
        }
        told.away = true;
        wait = if was_born { AGAIN[0] } else { (wait * 2).min(AGAIN[1]) };
        tokio::select! {
            () = tokio::time::sleep(wait) => {}
            _ = closing.changed() => {}
        }
    }
}

/// What was told, over all connections.
struct Told {
    /// Strokes up to here.
    last: i64,
    /// Whether nobody was there to be told for a time.
    away: bool,
    presses: Vec<Press>,
}

/// One connection.
struct Link<'a> {
    app: &'a Arc<App>,
    wish: &'a Wish,
    client: AsyncClient,
    events: EventLoop,
    /// Number of this birth, and of the death that is left with the broker.
    bd_seq: u64,
    seq: u64,
    born: bool,
    /// Somebody asked to be told again what there is.
    rebirth: bool,
    told: &'a mut Told,
    /// Strokes up to here came while nobody was there to be told.
    late: i64,
}

/// What is known of a press.
#[derive(Debug, Clone)]
struct Press {
    name: String,
    rated_kn: f64,
    latest: Option<StrokeRow>,
    counts: [u64; 4],
    alive: bool,
    /// Since when its strokes do not come.
    missed: Option<Instant>,
}

impl<'a> Link<'a> {
    fn new(app: &'a Arc<App>, wish: &'a Wish, bd_seq: u64, told: &'a mut Told) -> Self {
        let mut options = MqttOptions::new(format!("bolster-{}", wish.node), &wish.host, wish.port);
        options.set_keep_alive(KEEP_ALIVE).set_clean_session(true);
        if let Some((name, password)) = &wish.login {
            options.set_credentials(name, password);
        }
        let death = Payload {
            timestamp: u64::try_from(now_ms()).ok(),
            metrics: vec![Metric::bd_seq(bd_seq)],
            seq: None,
        };
        let topic = wish.topic("NDEATH", None);
        options.set_last_will(LastWill::new(topic, death.encode_to_vec(), QoS::AtLeastOnce, false));
        let (client, events) = AsyncClient::new(options, WAITING);
        let late = told.last;
        Self { app, wish, client, events, bd_seq, seq: 0, born: false, rebirth: false, told, late }
    }

    async fn serve(&mut self, closing: &mut watch::Receiver<bool>) -> Result<(), MqttError> {
        let mut newest = self.app.store.newest();
        loop {
            if self.born {
                if std::mem::take(&mut self.rebirth) {
                    self.birth().await?;
                }
                self.strokes().await?;
                self.feeds().await?;
            }
            tokio::select! {
                event = self.events.poll() => {
                    let event = event.map_err(Box::new)?;
                    // The standard: commands are heard before the birth is told.
                    let heard = matches!(event, Event::Incoming(Packet::SubAck(_)));
                    self.take(&event)?;
                    if heard && !self.born {
                        self.begin().await?;
                    }
                }
                changed = newest.changed(), if self.born => changed.map_err(|_| MqttError::Ended)?,
                () = tokio::time::sleep(LOOK), if self.born => {}
                _ = closing.changed() => return self.death().await,
            }
        }
    }

    fn take(&mut self, event: &Event) -> Result<(), MqttError> {
        match event {
            Event::Incoming(Packet::ConnAck(_)) => {
                self.client.try_subscribe(self.wish.topic("NCMD", None), QoS::AtLeastOnce)?;
            }
            Event::Incoming(Packet::Publish(message)) => self.rebirth |= asks_rebirth(&message.payload),
            _ => {}
        }
        Ok(())
    }

    /// The broker listens: tells what there is, and from now on every stroke.
    async fn begin(&mut self) -> Result<(), MqttError> {
        self.read_presses().await?;
        if self.told.away {
            self.late = *self.app.store.newest().borrow();
        }
        self.birth().await?;
        self.born = true;
        Ok(())
    }

    /// Hands a message over, letting the network go on while many wait.
    async fn send(&mut self, topic: String, payload: &Payload) -> Result<(), MqttError> {
        let bytes = payload.encode_to_vec();
        loop {
            match self.client.try_publish(topic.clone(), QoS::AtMostOnce, false, bytes.clone()) {
                Ok(()) => return Ok(()),
                Err(ClientError::TryRequest(_)) => {
                    let event = self.events.poll().await.map_err(Box::new)?;
                    self.take(&event)?;
                }
                Err(why) => return Err(why.into()),
            }
        }
    }

    async fn numbered(
        &mut self,
        kind: &str,
        press: Option<&str>,
        metrics: Vec<Metric>,
    ) -> Result<(), MqttError> {
        let payload = Payload { timestamp: u64::try_from(now_ms()).ok(), metrics, seq: Some(self.seq) };
        self.send(self.wish.topic(kind, press), &payload).await?;
        self.seq = (self.seq + 1) % 256;
        Ok(())
    }

    /// Says what there is: the node, then every press whose strokes come.
    async fn birth(&mut self) -> Result<(), MqttError> {
        self.seq = 0;
        let node = vec![
            Metric::bd_seq(self.bd_seq),
            Metric::flag(REBIRTH, false),
            Metric::text("Bolster/Version", Some(env!("CARGO_PKG_VERSION"))),
        ];
        let now = now_ms();
        self.numbered("NBIRTH", None, node.into_iter().map(|metric| metric.at(now, false)).collect()).await?;
        for n in 0..self.told.presses.len() {
            self.birth_of(n).await?;
        }
        Ok(())
    }

    /// Tells a press's birth where it was dead.
    async fn revive(&mut self, n: usize) -> Result<(), MqttError> {
        match self.told.presses.get_mut(n) {
            Some(press) if !press.alive => press.alive = true,
            _ => return Ok(()),
        }
        self.birth_of(n).await
    }

    async fn birth_of(&mut self, n: usize) -> Result<(), MqttError> {
        let Some(press) = self.told.presses.get(n).filter(|press| press.alive) else { return Ok(()) };
        let (name, now) = (press.name.clone(), now_ms());
        let mut metrics = press.stroke_metrics(now, false);
        metrics.push(Metric::number("Press/Rated kN", Some(press.rated_kn)).at(now, false));
        self.numbered("DBIRTH", Some(&name), metrics).await
    }

    /// Tells strokes that were stored since the last one told.
    async fn strokes(&mut self) -> Result<(), MqttError> {
        loop {
            let newest = *self.app.store.newest().borrow();
            if newest <= self.told.last {
                return Ok(());
            }
            let filter = StrokeFilter {
                after: Some(self.told.last),
                before: Some(newest + 1),
                ..StrokeFilter::default()
            };
            let store = Arc::clone(&self.app.store);
            let read = off_thread(move || Ok(store.strokes(&filter, AT_ONCE)?)).await;
            let rows = read.map_err(|why| MqttError::Store(why.says))?;
            // Of strokes that were removed meanwhile nothing can be told.
            let up_to = if rows.len() < AT_ONCE { newest } else { rows.last().map_or(newest, |row| row.id) };
            for row in rows {
                let (at_ms, historical) = (row.at_ms, row.id <= self.late);
                let Some(n) = self.told.presses.iter().position(|press| press.name == row.press) else {
                    continue;
                };
                // The standard: no data of a device that was not born. This one is there again, or its last strokes were
                // stored after its death was told.
                self.revive(n).await?;
                let Some(press) = self.told.presses.get_mut(n) else { continue };
                press.count(&row);
                self.told.last = row.id;
                press.latest = Some(row);
                let (name, metrics) = (press.name.clone(), press.stroke_metrics(at_ms, historical));
                self.numbered("DDATA", Some(&name), metrics).await?;
            }
            self.told.last = up_to;
        }
    }

    /// Tells of presses whose strokes no longer come, and of those that are there again.
    async fn feeds(&mut self) -> Result<(), MqttError> {
        for status in self.app.statuses() {
            let running = status.state == FeedState::Running;
            let Some(n) = self.told.presses.iter().position(|press| press.name == status.press) else {
                continue;
            };
            let Some(press) = self.told.presses.get_mut(n) else { continue };
            if running {
                press.missed = None;
                self.revive(n).await?;
            } else if press.alive && press.missed.get_or_insert_with(Instant::now).elapsed() >= GRACE {
                press.alive = false;
                let name = press.name.clone();
                self.numbered("DDEATH", Some(&name), Vec::new()).await?;
            }
        }
        Ok(())
    }

    async fn read_presses(&mut self) -> Result<(), MqttError> {
        let known = std::mem::take(&mut self.told.presses);
        let (store, statuses, last) = (Arc::clone(&self.app.store), self.app.statuses(), self.told.last);
        let read = off_thread(move || {
            let one = |status: &FeedStatus| {
                let alive = status.state == FeedState::Running;
                if let Some(press) = known.iter().find(|press| press.name == status.press) {
                    return Ok(Press { alive, ..press.clone() });
                }
                let card = store.press(&status.press)?;
                let filter = StrokeFilter {
                    press: Some(status.press.clone()),
                    before: Some(last + 1),
                    ..StrokeFilter::default()
                };
                let latest = store.strokes(&filter, 1)?.into_iter().next();
                Ok(Press {
                    name: status.press.clone(),
                    rated_kn: card.spec.rated_kn,
                    latest,
                    counts: [0; 4],
                    alive,
                    missed: None,
                })
            };
            statuses.iter().map(one).collect::<Result<Vec<_>, _>>()
        });
        self.told.presses = read.await.map_err(|why: Refusal| MqttError::Store(why.says))?;
        Ok(())
    }

    /// Says by itself that it ends, and lets that go out.
    async fn death(&mut self) -> Result<(), MqttError> {
        if self.born {
            let death = Payload {
                timestamp: u64::try_from(now_ms()).ok(),
                metrics: vec![Metric::bd_seq(self.bd_seq)],
                seq: None,
            };
            self.send(self.wish.topic("NDEATH", None), &death).await?;
        }
        let _ = self.client.try_disconnect();
        let out = async { while self.events.poll().await.is_ok() {} };
        let _ = tokio::time::timeout(Duration::from_secs(1), out).await;
        Ok(())
    }
}

impl Press {
    fn count(&mut self, row: &StrokeRow) {
        let rank = crate::session::verdict_rank(row.verdict).unwrap_or(3);
        if let Some(count) = self.counts.get_mut(rank) {
            *count += 1;
        }
    }

    /// Every metric of a stroke; null where there was none yet.
    fn stroke_metrics(&self, at_ms: i64, historical: bool) -> Vec<Metric> {
        let row = self.latest.as_ref();
        let reasons = row.map(|row| row.reasons.join(" "));
        let whole = |of: fn(&StrokeRow) -> i64| row.map_or(0, |row| u64::try_from(of(row)).unwrap_or(0));
        let mut metrics = vec![
            Metric::whole("Stroke/Number", whole(|row| row.stroke)),
            Metric::text("Stroke/Verdict", row.map(|row| row.verdict)),
            Metric::text("Stroke/Reasons", reasons.as_deref()),
            Metric::number("Stroke/Peak kN", row.map(|row| row.peak_kn)),
            Metric::number("Stroke/Reverse kN", row.map(|row| row.reverse_kn)),
            Metric::number("Stroke/Work kJ", row.and_then(|row| row.work_kj)),
            Metric::whole("Stroke/Coil", whole(|row| row.coil)),
            Metric::text("Stroke/Die", row.and_then(|row| row.die.as_deref())),
        ];
        for (name, count) in ["Pass", "Note", "Hold", "Trip"].iter().zip(self.counts) {
            metrics.push(Metric::whole(&format!("Strokes/{name}"), count));
        }
        metrics.into_iter().map(|metric| metric.at(at_ms, historical)).collect()
    }
}
