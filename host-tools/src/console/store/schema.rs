//! The database's tables.

use rusqlite::Connection;

/// Number of this form of the database.
pub(super) const FORM: i64 = 3;

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

/// How many strokes of each verdict a die has judged: kept up by the database itself as strokes come and go, so that nobody who
/// wants to know goes over all of them.
const TALLIES: &str = "
CREATE TABLE tallies (
    press TEXT NOT NULL, die TEXT NOT NULL, verdict INTEGER NOT NULL, strokes INTEGER NOT NULL,
    PRIMARY KEY (press, die, verdict)
) STRICT, WITHOUT ROWID;
CREATE TRIGGER stroke_came AFTER INSERT ON strokes WHEN NEW.die IS NOT NULL BEGIN
    INSERT INTO tallies (press, die, verdict, strokes) VALUES (NEW.press, NEW.die, NEW.verdict, 1)
    ON CONFLICT (press, die, verdict) DO UPDATE SET strokes = strokes + 1;
END;
CREATE TRIGGER stroke_went AFTER DELETE ON strokes WHEN OLD.die IS NOT NULL BEGIN
    UPDATE tallies SET strokes = strokes - 1
    WHERE press = OLD.press AND die = OLD.die AND verdict = OLD.verdict;
END;
";

/// Makes the tables, all or none.
pub(super) fn make(connection: &mut Connection) -> rusqlite::Result<()> {
    let transaction = connection.transaction()?;
    transaction.execute_batch(TABLES)?;
    transaction.execute_batch(TALLIES)?;
    transaction.pragma_update(None, "user_version", FORM)?;
    transaction.commit()
}

/// Brings a database of an older form to this one, all or none; another form stays as it is.
pub(super) fn renew(connection: &mut Connection, form: i64) -> rusqlite::Result<i64> {
    if !matches!(form, 1 | 2) {
        return Ok(form);
    }
    let transaction = connection.transaction()?;
    if form == 1 {
        transaction.execute_batch("ALTER TABLE strokes ADD COLUMN diagnosis TEXT;")?;
    }
    transaction.execute_batch(TALLIES)?;
    transaction.execute_batch(
        "INSERT INTO tallies (press, die, verdict, strokes)
         SELECT press, die, verdict, COUNT(*) FROM strokes WHERE die IS NOT NULL GROUP BY press, die, verdict;",
    )?;
    transaction.pragma_update(None, "user_version", FORM)?;
    transaction.commit()?;
    Ok(FORM)
}

#[cfg(test)]
mod tests {
    use super::super::{FILE_NAME, Store};
    use super::*;

    /// A database as the program made it when its form was `form`, with strokes in it.
    fn of_form(form: i64) -> tempfile::TempDir {
        let folder = tempfile::tempdir().unwrap();
        let file = Connection::open(folder.path().join(FILE_NAME)).unwrap();
        let tables = if form == 1 { TABLES.replace(",\n    diagnosis TEXT", "") } else { TABLES.to_owned() };
        assert_eq!(tables.contains("diagnosis"), form > 1);
        file.execute_batch(&tables).unwrap();
        file.pragma_update(None, "user_version", form).unwrap();
        for (die, verdict) in [(Some("A"), 0), (Some("A"), 0), (Some("A"), 2), (Some("B"), 3), (None, 0)] {
            file.execute(
                "INSERT INTO strokes (press, run, stroke, at_ms, die, coil, verdict, reasons, peak_kn, reverse_kn, outcome)
                 VALUES ('P', 1, 1, 0, ?1, 0, ?2, '', 1.0, 0.0, '{}')",
                rusqlite::params![die, verdict],
            )
            .unwrap();
        }
        folder
    }

    #[test]
    fn a_database_of_an_older_form_is_opened_with_all_it_holds_and_its_strokes_told_by_verdict() {
        for form in [1, 2] {
            let folder = of_form(form);
            // The second opening finds the new form.
            for _ in 0..2 {
                let store = Store::open(folder.path()).unwrap();
                assert_eq!(store.verdicts("P", "A").unwrap(), [2, 0, 1, 0], "form {form}");
                assert_eq!(store.verdicts("P", "B").unwrap(), [0, 0, 0, 1], "form {form}");
                assert_eq!(store.diagnosis(1).unwrap(), None);
            }
        }
    }

    #[test]
    fn a_database_of_a_newer_form_is_left_as_it_is() {
        let folder = of_form(FORM + 1);
        let says = Store::open(folder.path()).unwrap_err().to_string();
        assert!(says.contains(&format!("form {}, this program knows form {FORM}", FORM + 1)), "{says}");
        let file = Connection::open(folder.path().join(FILE_NAME)).unwrap();
        let form: i64 = file.pragma_query_value(None, "user_version", |row| row.get(0)).unwrap();
        assert_eq!(form, FORM + 1);
    }
}
