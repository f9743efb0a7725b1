//! Wear and drift of a press under one die: what `bolster trend` tells, over the strokes that are stored.

use std::collections::HashMap;
use std::sync::Arc;
use std::time::{Duration, Instant};

use tokio::sync::Mutex;

use super::respond::{Refusal, off_thread};
use super::room::make_room;
use super::store::{Store, StoreError};
use crate::card::die::DieCard;
use crate::card::press::PressCard;
use crate::trend::{
    Analysis, CONFIDENCE, FALSE_ALARM_STROKES, Gatherer, HistoryError, Wish, cells::History, of_cards,
};

/// Strokes looked back over at most; of more the oldest are left out, and the page says so.
pub const LOOK_BACK: usize = 100_000;
/// Strokes read at a time: a page's memory does not grow with them.
const AT_ONCE: usize = 2000;
/// How long what was found is shown again before the strokes are read anew.
const FRESH: Duration = Duration::from_secs(10);
/// Presses and dies that are remembered for so long.
const MOST: usize = 16;

/// The stored strokes of a press under one die, and what they show.
#[derive(Debug)]
pub struct Worn {
    /// The press.
    pub card: PressCard,
    /// The die; none for strokes without one.
    pub die: Option<String>,
    /// Numbers in the store of the first and last stroke that count; none without any.
    pub ends: Option<[i64; 2]>,
    /// There are older strokes than were looked at.
    pub is_older: bool,
    /// Strokes that were not counted because the press's columns had other names then.
    pub otherwise: u64,
    /// What is found against the limits of the cards.
    pub analysis: Analysis,
    /// The die's card that judged last.
    judged_by: Option<DieCard>,
    history: History,
    columns: Vec<String>,
    /// Number in the history and in the store of each stroke.
    numbers: Vec<(u64, i64)>,
}

impl Worn {
    /// Reads the strokes and looks at them.
    ///
    /// # Errors
    /// [`StoreError`] from the database, for a press that is not there, or a stroke that cannot be read.
    pub fn read(store: &Store, press: &str, die: Option<&str>) -> Result<Self, StoreError> {
        Self::read_latest(store, press, die, LOOK_BACK)
    }

    fn read_latest(store: &Store, press: &str, die: Option<&str>, most: usize) -> Result<Self, StoreError> {
        let card = store.press(press)?;
        let before = store.before_newest(press, die, most)?;
        let mut after = before.unwrap_or(0);
        let (mut gatherer, mut numbers, mut otherwise) = (Gatherer::new(), Vec::new(), 0);
        loop {
            let rows = store.worn(press, die, after, AT_ONCE)?;
            for (id, json) in &rows {
                match gatherer.line(store.path(), 0, json) {
                    Ok(()) => {}
                    // Gauges were added or renamed: what was before them cannot be compared.
                    Err(HistoryError::Columns { .. }) => {
                        otherwise += numbers.len() as u64;
                        numbers.clear();
                        gatherer = Gatherer::new();
                        gatherer.line(store.path(), 0, json).map_err(|_| StoreError::Damaged("outcome"))?;
                    }
                    Err(_) => return Err(StoreError::Damaged("outcome")),
                }
                numbers.push((gatherer.last(), *id));
            }
            match rows.last() {
                Some((last, _)) if rows.len() == AT_ONCE => after = *last,
                _ => break,
            }
        }
        let (history, columns) = gatherer.finish();
        let ends = numbers.first().zip(numbers.last()).map(|(first, last)| [first.1, last.1]);
        let judged_by = match ends {
            Some([_, last]) => {
                let card = store.stroke(last)?.0.card.map(|id| store.card(id)).transpose()?;
                card.and_then(|row| toml::from_str(&row.toml).ok())
            }
            None => None,
        };
        let analysis = look(&history, &columns, of_cards(&card, judged_by.as_ref(), &columns));
        let die = die.map(str::to_owned);
        let is_older = before.is_some();
        Ok(Self { card, die, ends, is_older, otherwise, analysis, judged_by, history, columns, numbers })
    }

    /// The same with a limit of this quantity that counts before what the cards say.
    #[must_use]
    pub fn limited(&self, quantity: &str, limit: f64) -> Analysis {
        let mut limits = vec![(quantity.to_owned(), limit)];
        limits.extend(of_cards(&self.card, self.judged_by.as_ref(), &self.columns));
        look(&self.history, &self.columns, limits)
    }

    /// Number in the store of a stroke of the history.
    #[must_use]
    pub fn id(&self, stroke: u64) -> Option<i64> {
        let at = self.numbers.partition_point(|(number, _)| *number < stroke);
        self.numbers.get(at).map(|(_, id)| *id)
    }
}

fn look(history: &History, columns: &[String], limits: Vec<(String, f64)>) -> Analysis {
    let wish = Wish { false_alarm_strokes: FALSE_ALARM_STROKES, confidence: CONFIDENCE, limits };
    Analysis::of(history, columns, &wish)
}

type Known = HashMap<(String, Option<String>), (Instant, Arc<Worn>)>;

/// What was found lately: a page and its pictures agree, and many who look cost no more than one.
#[derive(Debug, Default)]
pub struct Wears(Mutex<Known>);

impl Wears {
    /// Of a press under this die, one look at a time.
    ///
    /// # Errors
    /// [`Refusal`] as [`Worn::read`].
    pub async fn of(&self, store: &Arc<Store>, press: &str, die: Option<&str>) -> Result<Arc<Worn>, Refusal> {
        let mut known = self.0.lock().await;
        known.retain(|_, (at, _)| at.elapsed() < FRESH);
        let key = (press.to_owned(), die.map(str::to_owned));
        if let Some((_, worn)) = known.get(&key) {
            return Ok(Arc::clone(worn));
        }
        let (store, of) = (Arc::clone(store), key.clone());
        let worn = Arc::new(off_thread(move || Ok(Worn::read(&store, &of.0, of.1.as_deref())?)).await?);
        make_room(&mut known, MOST, &key, |(at, _)| *at);
        known.insert(key, (Instant::now(), Arc::clone(&worn)));
        Ok(worn)
    }
}
