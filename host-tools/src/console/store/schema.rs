//! The database's tables.

use rusqlite::Connection;

/// Number of this form of the database.
pub(super) const FORM: i64 = 2;

/// `verdict` is 0 pass to 3 trip; times are ms since 1970, UTC; loads kN, work kJ.
const TABLES: &str = "
CREATE TABLE presses (
    name TEXT PRIMARY KEY, card TEXT NOT NULL, at_ms INTEGER NOT NULL
) STRICT;
CREATE TABLE runs (
    id INTEGER PRIMARY KEY AUTOINCREMENT, press TEXT NOT NULL, source TEXT NOT NULL, at_ms INTEGER NOT NULL
) STRICT;
CREATE TABLE strokes (
    id INTEGER PRIMARY KEY AUTOINCREMENT, press TEXT NOT NULL, run INTEGER NOT NULL, stroke INTEGER NOT NULL,
    at_ms INTEGER NOT NULL, die TEXT, card INTEGER, coil INTEGER NOT NULL, verdict INTEGER NOT NULL,
    reasons TEXT NOT NULL, peak_kn REAL NOT NULL, reverse_kn REAL NOT NULL, work_kj REAL, outcome TEXT NOT NULL,
    diagnosis TEXT
) STRICT;
CREATE INDEX strokes_press ON strokes (press, id);
CREATE INDEX strokes_die ON strokes (press, die, id);
CREATE INDEX strokes_time ON strokes (at_ms);
CREATE INDEX strokes_stopped ON strokes (id) WHERE verdict > 0;
CREATE TABLE kept (
    stroke_id INTEGER PRIMARY KEY, press TEXT NOT NULL, passing INTEGER NOT NULL, readings BLOB NOT NULL
) STRICT;
CREATE INDEX kept_passing ON kept (press, passing, stroke_id);
CREATE TABLE events (
    id INTEGER PRIMARY KEY AUTOINCREMENT, at_ms INTEGER NOT NULL, kind TEXT NOT NULL, press TEXT, die TEXT,
    stroke_id INTEGER, who TEXT, says TEXT NOT NULL, old TEXT, new TEXT, reason TEXT
) STRICT;
CREATE INDEX events_time ON events (at_ms);
CREATE TABLE cards (
    id INTEGER PRIMARY KEY AUTOINCREMENT, press TEXT NOT NULL, die TEXT NOT NULL, version INTEGER NOT NULL,
    toml TEXT NOT NULL, accepted INTEGER NOT NULL, who TEXT NOT NULL, at_ms INTEGER NOT NULL, reason TEXT NOT NULL,
    UNIQUE (press, die, version)
) STRICT;
CREATE TABLE engineers (
    name TEXT PRIMARY KEY, hash TEXT NOT NULL, at_ms INTEGER NOT NULL
) STRICT;
";

/// Of a press what was noted or stopped: without it, the last stop of a press that never stopped is sought in all its
/// strokes.
const NOTED: &str =
    "CREATE INDEX IF NOT EXISTS strokes_press_noted ON strokes (press, id) WHERE verdict > 0;";

/// Makes the index that databases of this form were first made without.
pub(super) fn index(connection: &Connection) -> rusqlite::Result<()> {
    connection.execute_batch(NOTED)
}

/// Makes the tables, all or none.
pub(super) fn make(connection: &mut Connection) -> rusqlite::Result<()> {
    let transaction = connection.transaction()?;
    transaction.execute_batch(TABLES)?;
    transaction.pragma_update(None, "user_version", FORM)?;
    transaction.commit()
}

/// Brings a database of an older form to this one, all or none; another form stays as it is.
pub(super) fn renew(connection: &mut Connection, form: i64) -> rusqlite::Result<i64> {
    if form != 1 {
        return Ok(form);
    }
    let transaction = connection.transaction()?;
    transaction.execute_batch("ALTER TABLE strokes ADD COLUMN diagnosis TEXT;")?;
    transaction.pragma_update(None, "user_version", FORM)?;
    transaction.commit()?;
    Ok(FORM)
}
