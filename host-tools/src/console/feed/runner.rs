//! Runs one feed: holds strokes back to the press's pace, takes in changed die cards, hands strokes over.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use serde::Serialize;

use super::{FeedError, Intake, JudgedStroke, StrokeFeed};
use crate::card::die::DieCard;
use crate::console::store::{CardRow, Event, KeptReadings, NewStroke, Store, StoreError, now_ms};
use crate::session::verdict_rank;

/// Strokes kept whole after a stop.
const KEPT_AFTER: u32 = 2;
/// Longest sleep before the closing of the console is looked for.
const NAP: Duration = Duration::from_millis(100);
/// Longest wait between two strokes: a recording with a pause in it is not sat through.
const LONGEST_STROKE_S: f64 = 10.0;

/// How fast strokes are let through.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pace(f64);

impl Pace {
    /// So many times the press's own speed; 0 for as fast as they are made. None for anything else.
    #[must_use]
    pub fn new(times: f64) -> Option<Self> {
        (times.is_finite() && times >= 0.0).then_some(Self(times))
    }

    /// How long a stroke at this speed takes.
    #[must_use]
    pub fn stroke(self, spm: f64) -> Duration {
        if self.0 <= 0.0 || spm.is_nan() || spm <= 0.0 {
            return Duration::ZERO;
        }
        Duration::from_secs_f64((60.0 / spm / self.0).clamp(0.0, LONGEST_STROKE_S))
    }
}

/// Where a feed stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum FeedState {
    /// Strokes come.
    Running,
    /// The line to the controller is lost and sought.
    Away,
    /// There are no more strokes.
    Ended,
    /// The source failed.
    Failed,
}

/// What is known of a feed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FeedStatus {
    /// Press.
    pub press: String,
    /// Where the strokes come from.
    pub source: String,
    /// Where it stands.
    pub state: FeedState,
    /// Why it failed or a card was refused.
    pub problem: Option<String>,
    /// Die that judges.
    pub die: Option<String>,
    /// Version of its card.
    pub version: Option<i64>,
    /// Whether that card is a draft.
    pub draft: bool,
    /// Strokes handed over.
    pub strokes: u64,
    /// Of which pass, note, hold and trip.
    pub verdicts: [u64; 4],
    /// Peak of the latest, kN.
    pub peak_kn: f64,
}

/// One feed being run.
pub struct Runner {
    /// The feed.
    pub feed: Box<dyn StrokeFeed>,
    /// Database.
    pub store: Arc<Store>,
    /// Where strokes go.
    pub intake: Intake,
    /// How fast.
    pub pace: Pace,
    /// Set when the console closes.
    pub closing: Arc<AtomicBool>,
    /// What is known, for those who look.
    pub status: Arc<Mutex<FeedStatus>>,
    /// The die's card that judges.
    pub card: Option<CardRow>,
}

impl Runner {
    /// Runs until the feed ends, fails, or the console closes.
    pub fn run(mut self) {
        let ended = self.strokes();
        self.say(|status| match &ended {
            Ok(()) => status.state = FeedState::Ended,
            Err(why) => {
                status.state = FeedState::Failed;
                status.problem = Some(why.clone());
            }
        });
    }

    fn say(&self, change: impl FnOnce(&mut FeedStatus)) {
        change(&mut self.status.lock().unwrap_or_else(PoisonError::into_inner));
    }

    fn strokes(&mut self) -> Result<(), String> {
        let text = |why: &dyn std::fmt::Display| why.to_string();
        let press: Arc<str> = self.feed.press().name.as_str().into();
        let run = self.store.begin_run(&press, &self.feed.source()).map_err(|why| text(&why))?;
        let [slowest, fastest] = self.feed.press().spec.speed_spm;
        let usual_spm = (slowest + fastest) / 2.0;
        let columns = self.feed.press().spec.columns.count();
        let mut due = Instant::now();
        let mut keep_more = 0_u32;
        while !self.closing.load(Ordering::Relaxed) {
            self.follow_card().map_err(|why| text(&why))?;
            let next = self.feed.next();
            let state = if self.feed.is_away() { FeedState::Away } else { FeedState::Running };
            self.say(|status| status.state = state);
            for says in self.feed.told() {
                let event = Event {
                    kind: "controller-told",
                    press: Some(press.to_string()),
                    says,
                    ..Event::default()
                };
                self.store.journal(&event).map_err(|why| text(&why))?;
            }
            let judged = match next {
                Ok(Some(judged)) => judged,
                Ok(None) => return Ok(()),
                Err(FeedError::NotYet) => continue,
                Err(why) => return Err(text(&why)),
            };
            if !self.feed.is_live() {
                let spm = judged.outcome.speed_spm.filter(|spm| *spm > 1.0).unwrap_or(usual_spm);
                due = (due + self.pace.stroke(spm)).max(Instant::now() - Duration::from_secs(1));
                self.wait_for(due);
            }
            let rank = verdict_rank(judged.outcome.verdict).unwrap_or(3);
            keep_more = if rank >= 2 { KEPT_AFTER + 1 } else { keep_more };
            let passing = rank == 0 && keep_more == 0;
            keep_more = keep_more.saturating_sub(1);
            let peak_kn = judged.outcome.peak_kn;
            let new = self.new_stroke(&press, run, judged, columns, passing).map_err(|why| text(&why))?;
            self.intake.put(new).map_err(|why| text(&why))?;
            self.say(|status| {
                status.strokes += 1;
                status.peak_kn = peak_kn;
                if let Some(count) = status.verdicts.get_mut(rank) {
                    *count += 1;
                }
            });
        }
        Ok(())
    }

    fn new_stroke(
        &self,
        press: &Arc<str>,
        run: i64,
        judged: JudgedStroke,
        columns: usize,
        passing: bool,
    ) -> Result<NewStroke, StoreError> {
        let JudgedStroke { outcome, rows, band, diagnosis } = judged;
        let kept = match rows.is_empty() {
            true => None,
            false => Some(KeptReadings::of(&rows, columns, band).pack()?),
        };
        Ok(NewStroke {
            press: Arc::clone(press),
            run,
            at_ms: now_ms(),
            die: self.card.as_ref().map(|card| card.die.as_str().into()),
            card: self.card.as_ref().map(|card| card.id),
            outcome,
            diagnosis: diagnosis.and_then(|found| serde_json::to_string(&found).ok()),
            kept,
            passing,
        })
    }

    /// Takes in the newest accepted version of the die's card, if there is a newer one than the one that judges.
    fn follow_card(&mut self) -> Result<(), StoreError> {
        let Some(current) = &self.card else { return Ok(()) };
        let Some(newer) = self.store.newer_accepted(&current.press, &current.die, current.version)? else {
            return Ok(());
        };
        let parsed: Result<DieCard, String> = toml::from_str(&newer.toml).map_err(|why| why.to_string());
        let set = parsed.and_then(|die| self.feed.set_die(&die).map_err(|why| why.to_string()));
        self.say(|status| match &set {
            Ok(()) => {
                status.version = Some(newer.version);
                status.draft = false;
                status.problem = None;
            }
            Err(why) => status.problem = Some(format!("version {} cannot judge: {why}", newer.version)),
        });
        self.card = Some(newer);
        Ok(())
    }

    fn wait_for(&self, due: Instant) {
        while !self.closing.load(Ordering::Relaxed) {
            let left = due.saturating_duration_since(Instant::now());
            if left.is_zero() {
                return;
            }
            std::thread::sleep(left.min(NAP));
        }
    }
}
