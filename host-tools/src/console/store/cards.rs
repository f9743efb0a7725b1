//! Die cards with every version they ever had; a change names the version it began from.

use rusqlite::{OptionalExtension as _, Row, Transaction, params};
use serde::Serialize;

use super::events::{self, Event};
use super::{Store, StoreError, now_ms};

/// One version of a die card.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CardRow {
    /// Number in the store.
    pub id: i64,
    /// Press.
    pub press: String,
    /// Die.
    pub die: String,
    /// Version, from 1.
    pub version: i64,
    /// The card's text.
    #[serde(skip)]
    pub toml: String,
    /// Whether this version was accepted.
    pub accepted: bool,
    /// Who made it.
    pub who: String,
    /// When, ms since 1970, UTC.
    pub at_ms: i64,
    /// Why.
    pub reason: String,
}

/// A version to be stored.
#[derive(Debug, Clone, Copy)]
pub struct NewCard<'a> {
    /// Press.
    pub press: &'a str,
    /// Die.
    pub die: &'a str,
    /// Version it began from, 0 for a die not known yet.
    pub began: i64,
    /// The card's text.
    pub toml: &'a str,
    /// Whether it is accepted.
    pub accepted: bool,
    /// Who.
    pub who: &'a str,
    /// Why.
    pub reason: &'a str,
}

const COLUMNS: &str = "id, press, die, version, toml, accepted, who, at_ms, reason";

fn card_row(row: &Row<'_>) -> rusqlite::Result<CardRow> {
    Ok(CardRow {
        id: row.get(0)?,
        press: row.get(1)?,
        die: row.get(2)?,
        version: row.get(3)?,
        toml: row.get(4)?,
        accepted: row.get(5)?,
        who: row.get(6)?,
        at_ms: row.get(7)?,
        reason: row.get(8)?,
    })
}

fn newest(t: &Transaction<'_>, press: &str, die: &str) -> rusqlite::Result<i64> {
    t.prepare_cached("SELECT COALESCE(MAX(version), 0) FROM cards WHERE press = ?1 AND die = ?2")?
        .query_row(params![press, die], |row| row.get(0))
}

impl Store {
    /// Stores a new version of a card and journals `event` with it: both or neither.
    ///
    /// # Errors
    /// [`StoreError::Conflict`] if the card is no longer at the version the change began from.
    pub fn put_card(&self, new: &NewCard<'_>, event: &Event) -> Result<CardRow, StoreError> {
        self.write(|t| {
            let now = newest(t, new.press, new.die)?;
            if now != new.began {
                return Err(StoreError::Conflict { began: new.began, now });
            }
            let at_ms = now_ms();
            t.execute(
                "INSERT INTO cards (press, die, version, toml, accepted, who, at_ms, reason)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
                params![new.press, new.die, now + 1, new.toml, new.accepted, new.who, at_ms, new.reason],
            )?;
            let id = t.last_insert_rowid();
            events::add(t, event, at_ms)?;
            let sql = format!("SELECT {COLUMNS} FROM cards WHERE id = ?1");
            Ok(t.query_row(&sql, params![id], card_row)?)
        })
    }

    /// Every version of a card, newest first.
    ///
    /// # Errors
    /// [`StoreError`] from the database.
    pub fn card_history(&self, press: &str, die: &str) -> Result<Vec<CardRow>, StoreError> {
        let sql = format!("SELECT {COLUMNS} FROM cards WHERE press = ?1 AND die = ?2 ORDER BY version DESC");
        self.read(|t| {
            let mut select = t.prepare_cached(&sql)?;
            let rows = select.query_map(params![press, die], card_row)?;
            Ok(rows.collect::<rusqlite::Result<Vec<_>>>()?)
        })
    }

    /// The newest version of a card.
    ///
    /// # Errors
    /// [`StoreError::Missing`] for a die without one.
    pub fn newest_card(&self, press: &str, die: &str) -> Result<CardRow, StoreError> {
        self.card_history(press, die)?.into_iter().next().ok_or(StoreError::Missing("die"))
    }

    /// The newest accepted version above this one; none where there is none.
    ///
    /// # Errors
    /// [`StoreError`] from the database.
    pub fn newer_accepted(
        &self,
        press: &str,
        die: &str,
        version: i64,
    ) -> Result<Option<CardRow>, StoreError> {
        let sql = format!(
            "SELECT {COLUMNS} FROM cards WHERE press = ?1 AND die = ?2 AND version > ?3 AND accepted = 1
             ORDER BY version DESC LIMIT 1"
        );
        self.read(|t| {
            let mut select = t.prepare_cached(&sql)?;
            Ok(select.query_row(params![press, die, version], card_row).optional()?)
        })
    }

    /// A version by its number in the store.
    ///
    /// # Errors
    /// [`StoreError::Missing`] if there is none.
    pub fn card(&self, id: i64) -> Result<CardRow, StoreError> {
        let sql = format!("SELECT {COLUMNS} FROM cards WHERE id = ?1");
        self.read(|t| {
            let mut select = t.prepare_cached(&sql)?;
            select.query_row(params![id], card_row).optional()?.ok_or(StoreError::Missing("die card"))
        })
    }

    /// Sets an engineer's password hash, and journals it.
    ///
    /// # Errors
    /// [`StoreError`] from the database.
    pub fn put_engineer(&self, name: &str, hash: &str) -> Result<(), StoreError> {
        self.write(|t| {
            let at_ms = now_ms();
            t.execute(
                "INSERT INTO engineers (name, hash, at_ms) VALUES (?1, ?2, ?3)
                 ON CONFLICT (name) DO UPDATE SET hash = excluded.hash, at_ms = excluded.at_ms",
                params![name, hash, at_ms],
            )?;
            let event = Event {
                kind: "password-set",
                who: Some(name.to_owned()),
                says: format!("a password was set for {name}"),
                ..Event::default()
            };
            events::add(t, &event, at_ms)?;
            Ok(())
        })
    }

    /// An engineer's password hash.
    ///
    /// # Errors
    /// [`StoreError`] from the database.
    pub fn engineer(&self, name: &str) -> Result<Option<String>, StoreError> {
        self.read(|t| {
            let mut select = t.prepare_cached("SELECT hash FROM engineers WHERE name = ?1")?;
            Ok(select.query_row(params![name], |row| row.get(0)).optional()?)
        })
    }
}
