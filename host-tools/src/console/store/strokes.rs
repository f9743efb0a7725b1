//! Judged strokes: every one as a line of figures, the noted and stopped ones with their readings.

use std::sync::Arc;

use rusqlite::{OptionalExtension as _, Row, Transaction, params};
use serde::Serialize;

use super::events::{self, Event};
use super::{KEPT_PASSES, Store, StoreError, now_ms};
use crate::card::press::PressCard;
use crate::session::{Outcome, verdict_rank};

/// A stroke to be stored.
#[derive(Debug, Clone)]
pub struct NewStroke {
    /// Press.
    pub press: Arc<str>,
    /// Run it belongs to, see [`Store::begin_run`].
    pub run: i64,
    /// When it ended, ms since 1970, UTC.
    pub at_ms: i64,
    /// Die that judged it.
    pub die: Option<Arc<str>>,
    /// That die's card, by its number in the store.
    pub card: Option<i64>,
    /// What was found.
    pub outcome: Outcome,
    /// What it was diagnosed as, as JSON; none for what passed or cannot be diagnosed.
    pub diagnosis: Option<String>,
    /// Its readings, packed; none to keep the figures only.
    pub kept: Option<Vec<u8>>,
    /// Whether the readings are of interest for the moment only.
    pub passing: bool,
}

/// A stored stroke's figures.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StrokeRow {
    /// Number in the store; rises with time, never used again.
    pub id: i64,
    /// Press.
    pub press: String,
    /// Run it belongs to.
    pub run: i64,
    /// Number in the run.
    pub stroke: i64,
    /// When, ms since 1970, UTC.
    pub at_ms: i64,
    /// Die that judged it.
    pub die: Option<String>,
    /// That die's card, by its number in the store.
    pub card: Option<i64>,
    /// Coil number, 0 for none.
    pub coil: i64,
    /// `pass`, `note`, `hold` or `trip`.
    pub verdict: &'static str,
    /// Stable codes.
    pub reasons: Vec<String>,
    /// Greatest total load, kN.
    pub peak_kn: f64,
    /// Greatest reverse load, kN.
    pub reverse_kn: f64,
    /// Work, kJ.
    pub work_kj: Option<f64>,
}

/// Which strokes.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct StrokeFilter {
    /// Of this press only.
    pub press: Option<String>,
    /// Judged by this die only.
    pub die: Option<String>,
    /// Least rank of the verdict, 0 pass to 3 trip.
    pub least: i64,
    /// With a smaller number.
    pub before: Option<i64>,
    /// With a greater number.
    pub after: Option<i64>,
    /// Not before, ms since 1970.
    pub from_ms: Option<i64>,
    /// Before, ms since 1970.
    pub to_ms: Option<i64>,
}

/// One run of a feed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Run {
    /// Number.
    pub id: i64,
    /// Press.
    pub press: String,
    /// Where the strokes came from.
    pub source: String,
    /// When it began, ms since 1970, UTC.
    pub at_ms: i64,
}

/// Strokes by verdict, pass to trip.
pub type VerdictCounts = [i64; 4];

/// A die that has judged strokes or has a card.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DieRow {
    /// Press.
    pub press: String,
    /// Die.
    pub die: String,
    /// Newest version of its card.
    pub version: i64,
}

const COLUMNS: &str =
    "id, press, run, stroke, at_ms, die, card, coil, verdict, reasons, peak_kn, reverse_kn, work_kj";

fn word(rank: i64) -> &'static str {
    ["pass", "note", "hold"].get(usize::try_from(rank).unwrap_or(3)).copied().unwrap_or("trip")
}

fn stroke_row(row: &Row<'_>) -> rusqlite::Result<StrokeRow> {
    let reasons: String = row.get(9)?;
    Ok(StrokeRow {
        id: row.get(0)?,
        press: row.get(1)?,
        run: row.get(2)?,
        stroke: row.get(3)?,
        at_ms: row.get(4)?,
        die: row.get(5)?,
        card: row.get(6)?,
        coil: row.get(7)?,
        verdict: word(row.get(8)?),
        reasons: reasons.split_whitespace().map(str::to_owned).collect(),
        peak_kn: row.get(10)?,
        reverse_kn: row.get(11)?,
        work_kj: row.get(12)?,
    })
}

fn add(t: &Transaction<'_>, new: &NewStroke) -> Result<i64, StoreError> {
    let rank = verdict_rank(new.outcome.verdict).unwrap_or(3) as i64;
    let outcome = serde_json::to_string(&new.outcome).map_err(|_| StoreError::Damaged("outcome"))?;
    let id = t
        .prepare_cached(
            "INSERT INTO strokes (press, run, stroke, at_ms, die, card, coil, verdict, reasons, peak_kn,
             reverse_kn, work_kj, outcome, diagnosis)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14)",
        )?
        .insert(params![
            &*new.press,
            new.run,
            new.outcome.stroke as i64,
            new.at_ms,
            new.die.as_deref(),
            new.card,
            new.outcome.coil as i64,
            rank,
            new.outcome.reasons.join(" "),
            new.outcome.peak_kn,
            new.outcome.reverse_kn,
            new.outcome.work_kj,
            outcome,
            new.diagnosis
        ])?;
    if let Some(bytes) = &new.kept {
        t.prepare_cached("INSERT INTO kept (stroke_id, press, passing, readings) VALUES (?1, ?2, ?3, ?4)")?
            .execute(params![id, &*new.press, new.passing, bytes])?;
    }
    if rank >= 2 {
        // The two strokes before a stop show whether it announced itself.
        t.prepare_cached(
            "UPDATE kept SET passing = 0 WHERE stroke_id IN
             (SELECT stroke_id FROM kept WHERE press = ?1 AND passing = 1 ORDER BY stroke_id DESC LIMIT 2)",
        )?
        .execute(params![&*new.press])?;
        let words: Vec<&str> = new.outcome.findings.iter().map(|finding| finding.says).collect();
        let event = Event {
            kind: if rank == 2 { "stroke-held" } else { "stroke-tripped" },
            press: Some(new.press.to_string()),
            die: new.die.as_deref().map(str::to_owned),
            stroke_id: Some(id),
            says: format!("stroke {}: {}, {}", new.outcome.stroke, new.outcome.verdict, words.join("; ")),
            ..Event::default()
        };
        events::add(t, &event, new.at_ms)?;
    }
    Ok(id)
}

impl Store {
    /// Stores a press's card as it is now.
    ///
    /// # Errors
    /// [`StoreError`] from the database.
    pub fn put_press(&self, card: &PressCard) -> Result<(), StoreError> {
        self.write(|t| {
            t.execute(
                "INSERT INTO presses (name, card, at_ms) VALUES (?1, ?2, ?3)
                 ON CONFLICT (name) DO UPDATE SET card = excluded.card, at_ms = excluded.at_ms",
                params![card.name, card.to_toml(), now_ms()],
            )?;
            Ok(())
        })
    }

    /// A press's card.
    ///
    /// # Errors
    /// [`StoreError`] from the database, for a press that is not there, or a card that cannot be read.
    pub fn press(&self, name: &str) -> Result<PressCard, StoreError> {
        let text: Option<String> = self.read(|t| {
            let mut select = t.prepare_cached("SELECT card FROM presses WHERE name = ?1")?;
            Ok(select.query_row(params![name], |row| row.get(0)).optional()?)
        })?;
        let text = text.ok_or(StoreError::Missing("press"))?;
        PressCard::parse(&text, self.path()).map_err(|_| StoreError::Damaged("press card"))
    }

    /// Names of all presses.
    ///
    /// # Errors
    /// [`StoreError`] from the database.
    pub fn presses(&self) -> Result<Vec<String>, StoreError> {
        self.read(|t| {
            let mut select = t.prepare_cached("SELECT name FROM presses ORDER BY name")?;
            let rows = select.query_map([], |row| row.get(0))?;
            Ok(rows.collect::<rusqlite::Result<Vec<_>>>()?)
        })
    }

    /// Begins a run: stroke numbers count within it. `source` says where the strokes come from.
    ///
    /// # Errors
    /// [`StoreError`] from the database.
    pub fn begin_run(&self, press: &str, source: &str) -> Result<i64, StoreError> {
        self.write(|t| {
            let at_ms = now_ms();
            t.execute(
                "INSERT INTO runs (press, source, at_ms) VALUES (?1, ?2, ?3)",
                params![press, source, at_ms],
            )?;
            let run = t.last_insert_rowid();
            let event = Event {
                kind: "run-began",
                press: Some(press.to_owned()),
                says: format!("strokes come from {source}"),
                ..Event::default()
            };
            events::add(t, &event, at_ms)?;
            Ok(run)
        })
    }

    /// A run.
    ///
    /// # Errors
    /// [`StoreError`] from the database, or for a run that is not there.
    pub fn run(&self, id: i64) -> Result<Run, StoreError> {
        self.read(|t| {
            let mut select = t.prepare_cached("SELECT id, press, source, at_ms FROM runs WHERE id = ?1")?;
            let row = |row: &Row<'_>| {
                Ok(Run { id: row.get(0)?, press: row.get(1)?, source: row.get(2)?, at_ms: row.get(3)? })
            };
            select.query_row(params![id], row).optional()?.ok_or(StoreError::Missing("run"))
        })
    }

    /// Stores strokes, all or none, in this order; on return they are on disk and readers are told.
    ///
    /// # Errors
    /// [`StoreError`] from the database.
    pub fn add_strokes(&self, strokes: &[NewStroke]) -> Result<(), StoreError> {
        let newest = self.write(|t| {
            let mut newest = 0;
            for stroke in strokes {
                newest = add(t, stroke)?;
            }
            let mut presses: Vec<&str> = strokes.iter().map(|stroke| &*stroke.press).collect();
            presses.sort_unstable();
            presses.dedup();
            let mut delete = t.prepare_cached(
                "DELETE FROM kept WHERE stroke_id IN (SELECT stroke_id FROM kept
                 WHERE press = ?1 AND passing = 1 ORDER BY stroke_id DESC LIMIT -1 OFFSET ?2)",
            )?;
            for press in presses {
                delete.execute(params![press, KEPT_PASSES])?;
            }
            Ok(newest)
        })?;
        self.tell(newest);
        Ok(())
    }

    /// At most `most` strokes: from the newest backwards, or in order where the filter says after which.
    ///
    /// # Errors
    /// [`StoreError`] from the database.
    pub fn strokes(&self, filter: &StrokeFilter, most: usize) -> Result<Vec<StrokeRow>, StoreError> {
        self.select(COLUMNS, filter, most, stroke_row)
    }

    /// These columns of at most `most` strokes, in the order of [`Self::strokes`].
    fn select<T>(
        &self,
        columns: &str,
        filter: &StrokeFilter,
        most: usize,
        take: fn(&Row<'_>) -> rusqlite::Result<T>,
    ) -> Result<Vec<T>, StoreError> {
        let order = if filter.after.is_some() { "ASC" } else { "DESC" };
        let named = if filter.press.is_some() { "press = ?1" } else { "?1 IS NULL" };
        let bad = if filter.least > 0 { "verdict > 0 AND verdict >= ?3" } else { "?3 <= 0" };
        let sql = format!(
            "SELECT {columns} FROM strokes WHERE {named} AND (?2 IS NULL OR die = ?2) AND {bad}
             AND id < ?4 AND id > ?5 AND (?6 IS NULL OR at_ms >= ?6) AND (?7 IS NULL OR at_ms < ?7)
             ORDER BY id {order} LIMIT ?8"
        );
        self.read(|t| {
            let mut select = t.prepare_cached(&sql)?;
            let rows = select.query_map(
                params![
                    filter.press,
                    filter.die,
                    filter.least,
                    filter.before.unwrap_or(i64::MAX),
                    filter.after.unwrap_or(-1),
                    filter.from_ms,
                    filter.to_ms,
                    most as i64
                ],
                take,
            )?;
            Ok(rows.collect::<rusqlite::Result<Vec<_>>>()?)
        })
    }

    /// One stroke: its figures, and the whole outcome as JSON.
    ///
    /// # Errors
    /// [`StoreError`] from the database, or for a stroke that is not there.
    pub fn stroke(&self, id: i64) -> Result<(StrokeRow, String), StoreError> {
        let sql = format!("SELECT {COLUMNS}, outcome FROM strokes WHERE id = ?1");
        self.read(|t| {
            let mut select = t.prepare_cached(&sql)?;
            let found = select.query_row(params![id], |row| Ok((stroke_row(row)?, row.get(13)?)));
            found.optional()?.ok_or(StoreError::Missing("stroke"))
        })
    }

    /// Outcomes as JSON of the strokes that [`Self::strokes`] gives, in order.
    ///
    /// # Errors
    /// [`StoreError`] from the database.
    pub fn outcomes(&self, filter: &StrokeFilter, most: usize) -> Result<Vec<(i64, String)>, StoreError> {
        let mut rows = self.select("id, outcome", filter, most, |row| Ok((row.get(0)?, row.get(1)?)))?;
        if filter.after.is_none() {
            rows.reverse();
        }
        Ok(rows)
    }

    /// Diagnoses as JSON of the strokes that [`Self::outcomes`] gives, in its order; none where there was none.
    ///
    /// # Errors
    /// [`StoreError`] from the database.
    pub fn diagnoses(
        &self,
        filter: &StrokeFilter,
        most: usize,
    ) -> Result<Vec<(i64, Option<String>)>, StoreError> {
        let mut rows = self.select("id, diagnosis", filter, most, |row| Ok((row.get(0)?, row.get(1)?)))?;
        if filter.after.is_none() {
            rows.reverse();
        }
        Ok(rows)
    }

    /// What a stroke was diagnosed as, as JSON; none where it was not.
    ///
    /// # Errors
    /// [`StoreError`] from the database.
    pub fn diagnosis(&self, id: i64) -> Result<Option<String>, StoreError> {
        self.read(|t| {
            let mut select = t.prepare_cached("SELECT diagnosis FROM strokes WHERE id = ?1")?;
            Ok(select.query_row(params![id], |row| row.get(0)).optional()?.flatten())
        })
    }

    /// Strokes stored of this die on this press, by verdict.
    ///
    /// # Errors
    /// [`StoreError`] from the database.
    pub fn verdicts(&self, press: &str, die: &str) -> Result<VerdictCounts, StoreError> {
        self.read(|t| {
            let mut select =
                t.prepare_cached("SELECT verdict, strokes FROM tallies WHERE press = ?1 AND die = ?2")?;
            let mut counts = [0; 4];
            let mut rows = select.query(params![press, die])?;
            while let Some(row) = rows.next()? {
                let rank: i64 = row.get(0)?;
                if let Some(count) = usize::try_from(rank).ok().and_then(|rank| counts.get_mut(rank)) {
                    *count = row.get(1)?;
                }
            }
            Ok(counts)
        })
    }

    /// Dies that have a card, by press.
    ///
    /// # Errors
    /// [`StoreError`] from the database.
    pub fn dies(&self, press: Option<&str>) -> Result<Vec<DieRow>, StoreError> {
        self.read(|t| {
            let mut select = t.prepare_cached(
                "SELECT press, die, MAX(version) FROM cards WHERE (?1 IS NULL OR press = ?1)
                 GROUP BY press, die ORDER BY press, die",
            )?;
            let rows = select.query_map(params![press], |row| {
                Ok(DieRow { press: row.get(0)?, die: row.get(1)?, version: row.get(2)? })
            })?;
            Ok(rows.collect::<rusqlite::Result<Vec<_>>>()?)
        })
    }
}
