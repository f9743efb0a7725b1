//! Strokes of a press under one die, in the order they were made, as a look at its wear takes them.

use rusqlite::{OptionalExtension as _, params};

use super::{Store, StoreError};

impl Store {
    /// Outcomes as JSON with the strokes' numbers, in order after number `after`, at most `most`: of a press under this die,
    /// or, for none, under no die.
    ///
    /// # Errors
    /// [`StoreError`] from the database.
    pub fn worn(
        &self,
        press: &str,
        die: Option<&str>,
        after: i64,
        most: usize,
    ) -> Result<Vec<(i64, String)>, StoreError> {
        self.read(|t| {
            let mut select = t.prepare_cached(
                "SELECT id, outcome FROM strokes WHERE press = ?1 AND die IS ?2 AND id > ?3 ORDER BY id LIMIT ?4",
            )?;
            let rows = select
                .query_map(params![press, die, after, most as i64], |row| Ok((row.get(0)?, row.get(1)?)))?;
            Ok(rows.collect::<rusqlite::Result<Vec<_>>>()?)
        })
    }

    /// Number of the stroke before the newest `most` of these; none where there are no more.
    ///
    /// # Errors
    /// [`StoreError`] from the database.
    pub fn before_newest(
        &self,
        press: &str,
        die: Option<&str>,
        most: usize,
    ) -> Result<Option<i64>, StoreError> {
        self.read(|t| {
            let mut select = t.prepare_cached(
                "SELECT id FROM strokes WHERE press = ?1 AND die IS ?2 ORDER BY id DESC LIMIT 1 OFFSET ?3",
            )?;
            Ok(select.query_row(params![press, die, most as i64], |row| row.get(0)).optional()?)
        })
    }

    /// What a press made strokes under or has a card of, by name; none at the end where strokes came without a die.
    ///
    /// # Errors
    /// [`StoreError`] from the database.
    pub fn worn_dies(&self, press: &str) -> Result<Vec<Option<String>>, StoreError> {
        let mut all = self.read(|t| {
            // From one die to the next by the index, not over all strokes.
            let mut select = t.prepare_cached(
                "WITH RECURSIVE made (die) AS (
                     SELECT MIN(die) FROM strokes WHERE press = ?1
                     UNION ALL
                     SELECT (SELECT MIN(die) FROM strokes WHERE press = ?1 AND die > made.die)
                     FROM made WHERE made.die IS NOT NULL
                 )
                 SELECT die FROM made WHERE die IS NOT NULL
                 UNION SELECT die FROM cards WHERE press = ?1 ORDER BY 1",
            )?;
            let rows = select.query_map(params![press], |row| row.get(0))?;
            Ok(rows.collect::<rusqlite::Result<Vec<_>>>()?)
        })?;
        if self.before_newest(press, None, 0)?.is_some() {
            all.push(None);
        }
        Ok(all)
    }
}
