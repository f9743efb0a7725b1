//! Keeps the database within a size: the oldest strokes go first, stopped ones and their readings last.

use rusqlite::{Transaction, params};

use super::{Store, StoreError, whole};

/// Strokes taken out in one transaction.
const CHUNK: i64 = 100;
/// Pages of the file given back in one transaction.
const PAGES: i64 = 4096;
/// Once too much is held, so much is made free, a twentieth of a small database: room for a while, and made in a moment.
const ROOM: u64 = 8 << 20;
/// What goes first, what next, what last; worded so that the index of noted and stopped strokes serves.
const ORDER: [&str; 3] = ["verdict = 0", "verdict > 0 AND verdict = 1", "verdict > 0 AND verdict > 1"];

/// Up to which numbers strokes were taken out since the database was opened, by [`ORDER`]: what is older is not sought again.
#[derive(Debug, Default)]
pub(super) struct Swept([i64; 3]);

/// What was taken out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Pruned {
    /// Strokes.
    pub strokes: u64,
}

fn number(t: &Transaction<'_>, name: &str) -> rusqlite::Result<i64> {
    t.pragma_query_value(None, name, |row| row.get(0))
}

fn used_bytes(t: &Transaction<'_>) -> rusqlite::Result<u64> {
    let pages = number(t, "page_count")? - number(t, "freelist_count")?;
    Ok((pages * number(t, "page_size")?).unsigned_abs())
}

impl Store {
    /// Bytes that hold something.
    ///
    /// # Errors
    /// [`StoreError`] from the database.
    pub fn used_bytes(&self) -> Result<u64, StoreError> {
        self.read(|t| Ok(used_bytes(t)?))
    }

    /// Pages that the file has more than fit into `most` bytes.
    fn excess(t: &Transaction<'_>, most: u64) -> rusqlite::Result<i64> {
        let fit = i64::try_from(most).unwrap_or(i64::MAX) / number(t, "page_size")?.max(1);
        Ok(number(t, "page_count")? - fit)
    }

    /// If more than `most` bytes are used, takes out the oldest strokes until there is room again: first such as passed, then
    /// noted ones, then stopped ones. Cards, journal and passwords stay, and the newest stroke. What the file has beyond
    /// `most` is given back, a part at each call.
    ///
    /// # Errors
    /// [`StoreError`] from the database.
    pub fn prune(&self, most: u64) -> Result<Pruned, StoreError> {
        let mut pruned = Pruned::default();
        if self.read(|t| Ok(Self::excess(t, most)?))? <= 0 {
            return Ok(pruned);
        }
        if self.used_bytes()? > most {
            let goal = most - ROOM.min(most / 20);
            let mut swept = whole(&self.swept);
            for (which, after) in ORDER.iter().zip(&mut swept.0) {
                while let Some((last, strokes)) = self.take_out(which, *after, goal)? {
                    *after = last;
                    pruned.strokes += strokes;
                }
            }
        }
        self.write(|t| {
            let pages = Self::excess(t, most)?.min(number(t, "freelist_count")?).min(PAGES);
            if pages > 0 {
                // A page is given back with every row that is asked for.
                let mut give = t.prepare(&format!("PRAGMA incremental_vacuum({pages})"))?;
                let mut rows = give.query([])?;
                while rows.next()?.is_some() {}
            }
            Ok(())
        })?;
        Ok(pruned)
    }

    /// Takes out the oldest of these strokes; gives the last one's number and how many they were, none if no more are to go.
    fn take_out(&self, which: &str, after: i64, most: u64) -> Result<Option<(i64, u64)>, StoreError> {
        self.write(|t| {
            if used_bytes(t)? <= most {
                return Ok(None);
            }
            // The newest stroke stays: pages begin to follow from it.
            let sql = format!(
                "SELECT id FROM strokes WHERE {which} AND id > ?1 AND id < (SELECT MAX(id) FROM strokes)
                 ORDER BY id LIMIT ?2"
            );
            let ids = t
                .prepare_cached(&sql)?
                .query_map(params![after, CHUNK], |row| row.get::<_, i64>(0))?
                .collect::<rusqlite::Result<Vec<_>>>()?;
            let mut kept = t.prepare_cached("DELETE FROM kept WHERE stroke_id = ?1")?;
            let mut strokes = t.prepare_cached("DELETE FROM strokes WHERE id = ?1")?;
            for id in &ids {
                kept.execute(params![id])?;
                strokes.execute(params![id])?;
            }
            Ok(ids.last().map(|last| (*last, ids.len() as u64)))
        })
    }
}
