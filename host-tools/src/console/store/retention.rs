//! Keeps the database within a size: the oldest strokes go first, stopped ones and their readings last.

use rusqlite::{Transaction, params};

use super::{Store, StoreError};

/// Strokes taken out at a time.
const CHUNK: i64 = 2000;

/// What was taken out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Pruned {
    /// Strokes.
    pub strokes: u64,
}

fn used_bytes(t: &Transaction<'_>) -> rusqlite::Result<i64> {
    let number = |name: &str| t.pragma_query_value(None, name, |row| row.get::<_, i64>(0));
    Ok((number("page_count")? - number("freelist_count")?) * number("page_size")?)
}

impl Store {
    /// Bytes that hold something.
    ///
    /// # Errors
    /// [`StoreError`] from the database.
    pub fn used_bytes(&self) -> Result<u64, StoreError> {
        self.read(|t| Ok(used_bytes(t)?.unsigned_abs()))
    }

    /// Takes out the oldest strokes until at most `most` bytes are used: first such as passed, then noted and stopped
    /// ones. Cards, journal and passwords stay. The freed room is used again; the file does not shrink at once.
    ///
    /// # Errors
    /// [`StoreError`] from the database.
    pub fn prune(&self, most: u64) -> Result<Pruned, StoreError> {
        let mut pruned = Pruned::default();
        loop {
            let gone = self.write(|t| {
                if used_bytes(t)?.unsigned_abs() <= most {
                    return Ok(0);
                }
                let oldest = |which: &str| {
                    let sql = format!("SELECT id FROM strokes WHERE {which} ORDER BY id LIMIT ?1");
                    let mut select = t.prepare_cached(&sql)?;
                    let ids = select.query_map(params![CHUNK], |row| row.get::<_, i64>(0))?;
                    ids.collect::<rusqlite::Result<Vec<_>>>()
                };
                let mut ids = oldest("verdict = 0")?;
                if ids.is_empty() {
                    ids = oldest("verdict > 0")?;
                }
                // The newest stroke stays: its number must not be given again.
                let newest: i64 =
                    t.query_row("SELECT COALESCE(MAX(id), 0) FROM strokes", [], |row| row.get(0))?;
                ids.retain(|id| *id != newest);
                let mut kept = t.prepare_cached("DELETE FROM kept WHERE stroke_id = ?1")?;
                let mut strokes = t.prepare_cached("DELETE FROM strokes WHERE id = ?1")?;
                for id in &ids {
                    kept.execute(params![id])?;
                    strokes.execute(params![id])?;
                }
                Ok(ids.len() as u64)
            })?;
            if gone == 0 {
                return Ok(pruned);
            }
            pruned.strokes += gone;
        }
    }
}
