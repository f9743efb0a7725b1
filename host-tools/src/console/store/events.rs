//! The journal: numbered events of presses and people.

use rusqlite::{Transaction, params};
use serde::Serialize;

use super::{Store, StoreError, now_ms};

/// An event to be journalled.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Event {
    /// Stable kebab-case word: what kind.
    pub kind: &'static str,
    /// Press.
    pub press: Option<String>,
    /// Die.
    pub die: Option<String>,
    /// Stroke it belongs to, by its number in the store.
    pub stroke_id: Option<i64>,
    /// Who did it; none for what the program did.
    pub who: Option<String>,
    /// What happened, in words.
    pub says: String,
    /// What was there before.
    pub old: Option<String>,
    /// What is there now.
    pub new: Option<String>,
    /// Why, as the person said it.
    pub reason: Option<String>,
}

/// A journalled event.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct EventRow {
    /// Number; never used again.
    pub id: i64,
    /// When, ms since 1970, UTC.
    pub at_ms: i64,
    /// Stable word: what kind.
    pub kind: String,
    /// Press.
    pub press: Option<String>,
    /// Die.
    pub die: Option<String>,
    /// Stroke it belongs to, by its number in the store.
    pub stroke_id: Option<i64>,
    /// Who did it.
    pub who: Option<String>,
    /// What happened, in words.
    pub says: String,
    /// What was there before.
    pub old: Option<String>,
    /// What is there now.
    pub new: Option<String>,
    /// Why.
    pub reason: Option<String>,
}

/// Which events.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct EventFilter {
    /// Of this press only.
    pub press: Option<String>,
    /// Of this die only.
    pub die: Option<String>,
    /// Of this kind only.
    pub kind: Option<String>,
    /// With this text in any of their words.
    pub text: Option<String>,
    /// Not before, ms since 1970.
    pub from_ms: Option<i64>,
    /// Before, ms since 1970.
    pub to_ms: Option<i64>,
    /// With a smaller number.
    pub before: Option<i64>,
}

/// Adds an event within a transaction.
pub(super) fn add(t: &Transaction<'_>, event: &Event, at_ms: i64) -> rusqlite::Result<i64> {
    let mut insert = t.prepare_cached(
        "INSERT INTO events (at_ms, kind, press, die, stroke_id, who, says, old, new, reason)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)",
    )?;
    insert.insert(params![
        at_ms,
        event.kind,
        event.press,
        event.die,
        event.stroke_id,
        event.who,
        event.says,
        event.old,
        event.new,
        event.reason
    ])
}

/// A text as a LIKE pattern that finds it anywhere, its own wildcards taken as letters.
pub(super) fn anywhere(text: &str) -> String {
    let mut pattern = String::from("%");
    for letter in text.chars() {
        if matches!(letter, '%' | '_' | '\\') {
            pattern.push('\\');
        }
        pattern.push(letter);
    }
    pattern.push('%');
    pattern
}

impl Store {
    /// Journals an event; on return it is on disk.
    ///
    /// # Errors
    /// [`StoreError`] from the database.
    pub fn journal(&self, event: &Event) -> Result<i64, StoreError> {
        self.write(|t| Ok(add(t, event, now_ms())?))
    }

    /// At most `most` events, newest first.
    ///
    /// # Errors
    /// [`StoreError`] from the database.
    pub fn events(&self, filter: &EventFilter, most: usize) -> Result<Vec<EventRow>, StoreError> {
        let pattern = filter.text.as_deref().map(anywhere);
        self.read(|t| {
            let mut select = t.prepare_cached(
                "SELECT id, at_ms, kind, press, die, stroke_id, who, says, old, new, reason FROM events
                 WHERE (?1 IS NULL OR press = ?1) AND (?2 IS NULL OR die = ?2) AND (?3 IS NULL OR kind = ?3)
                 AND (?4 IS NULL OR says LIKE ?4 ESCAPE '\\' OR who LIKE ?4 ESCAPE '\\' OR reason LIKE ?4 ESCAPE '\\'
                      OR old LIKE ?4 ESCAPE '\\' OR new LIKE ?4 ESCAPE '\\' OR press LIKE ?4 ESCAPE '\\'
                      OR die LIKE ?4 ESCAPE '\\' OR kind LIKE ?4 ESCAPE '\\')
                 AND (?5 IS NULL OR at_ms >= ?5) AND (?6 IS NULL OR at_ms < ?6) AND (?7 IS NULL OR id < ?7)
                 ORDER BY id DESC LIMIT ?8",
            )?;
            let rows = select.query_map(
                params![
                    filter.press,
                    filter.die,
                    filter.kind,
                    pattern,
                    filter.from_ms,
                    filter.to_ms,
                    filter.before,
                    most as i64
                ],
                |row| {
                    Ok(EventRow {
                        id: row.get(0)?,
                        at_ms: row.get(1)?,
                        kind: row.get(2)?,
                        press: row.get(3)?,
                        die: row.get(4)?,
                        stroke_id: row.get(5)?,
                        who: row.get(6)?,
                        says: row.get(7)?,
                        old: row.get(8)?,
                        new: row.get(9)?,
                        reason: row.get(10)?,
                    })
                },
            )?;
            Ok(rows.collect::<rusqlite::Result<Vec<_>>>()?)
        })
    }
}
