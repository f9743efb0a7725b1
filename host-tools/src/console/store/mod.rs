//! What the console remembers: one SQLite file in a folder of its own.
//!
//! Write-ahead log and full synchronisation: what a call of this module has returned for is on disk, whatever ends
//! the process or the power afterwards. Readers never wait for the writer.

mod cards;
mod events;
mod kept;
mod retention;
mod schema;
mod strokes;
mod worn;

use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};

use rusqlite::{Connection, OpenFlags, Transaction, TransactionBehavior};
use tokio::sync::watch;

pub use crate::session::outcome_from_json;
pub use cards::{CardRow, NewCard};
pub use events::{Event, EventFilter, EventRow};
pub use kept::{KEPT_PASSES, KeptReadings};
pub use retention::Pruned;
pub use strokes::{DieRow, NewStroke, Run, StrokeFilter, StrokeRow, VerdictCounts};

/// Name of the file in the console's folder.
pub const FILE_NAME: &str = "console.sqlite";
/// Connections for reading that are kept open between reads.
const READERS: usize = 8;
/// What the write-ahead log may keep of the disk once it is empty again, bytes.
const MOST_LOG: i64 = 64 << 20;
/// How long a call waits for another process that holds the file, ms.
const BUSY_MS: u32 = 5000;

/// Why something could not be stored or read back.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum StoreError {
    /// The folder.
    #[error("{}: the console's folder cannot be made ({why}); name another with --data", path.display())]
    Folder {
        /// The folder.
        path: PathBuf,
        /// What the operating system said.
        why: std::io::Error,
    },
    /// The file, on opening.
    #[error("{}: the console's database cannot be opened ({why}); check the file, or name another folder with --data", path.display())]
    Open {
        /// The file.
        path: PathBuf,
        /// What SQLite said.
        why: rusqlite::Error,
    },
    /// A file from another program, or a newer one.
    #[error("{}: the database has form {found}, this program knows form {known}; use the program that made it, or another folder", path.display())]
    Form {
        /// The file.
        path: PathBuf,
        /// Form number found.
        found: i64,
        /// Form number of this program.
        known: i64,
    },
    /// A statement.
    #[error("the console's database failed: {0}; is its disk full?")]
    Sqlite(#[from] rusqlite::Error),
    /// Two people changed one card.
    #[error(
        "the card was changed meanwhile: it is at version {now}, this change began from version {began}; look at it again"
    )]
    Conflict {
        /// Version the change began from.
        began: i64,
        /// Version in the store.
        now: i64,
    },
    /// What was asked for is not there.
    #[error("there is no such {0}")]
    Missing(&'static str),
    /// A stored value cannot be understood.
    #[error("a stored {0} cannot be read; the database was changed by something else")]
    Damaged(&'static str),
}

/// The database.
#[derive(Debug)]
pub struct Store {
    path: PathBuf,
    /// Closed before the writer: the last connection to be closed writes the log back, which one for reading cannot.
    readers: Mutex<Vec<Connection>>,
    writer: Mutex<Connection>,
    swept: Mutex<retention::Swept>,
    /// Number of the newest stroke on disk.
    newest: watch::Sender<i64>,
}

fn whole<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    // A panic elsewhere rolled its transaction back: the connection is as good as before.
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Store {
    /// Opens the database in `folder`, making both where they are missing.
    ///
    /// # Errors
    /// [`StoreError`] if folder or file cannot be used or come from a newer program.
    pub fn open(folder: &Path) -> Result<Self, StoreError> {
        make_private(folder).map_err(|why| StoreError::Folder { path: folder.to_owned(), why })?;
        let path = folder.join(FILE_NAME);
        let open = || -> rusqlite::Result<(Connection, i64)> {
            let connection = Connection::open(&path)?;
            connection.busy_timeout(std::time::Duration::from_millis(u64::from(BUSY_MS)))?;
            connection.pragma_update(None, "auto_vacuum", "INCREMENTAL")?;
            connection.pragma_update(None, "journal_mode", "WAL")?;
            connection.pragma_update(None, "synchronous", "FULL")?;
            connection.pragma_update(None, "foreign_keys", true)?;
            connection.pragma_update(None, "journal_size_limit", MOST_LOG)?;
            let form = connection.pragma_query_value(None, "user_version", |row| row.get(0))?;
            Ok((connection, form))
        };
        let failed = |why| StoreError::Open { path: path.clone(), why };
        let (mut connection, form) = open().map_err(failed)?;
        match schema::renew(&mut connection, form).map_err(failed)? {
            0 => schema::make(&mut connection).map_err(failed)?,
            schema::FORM => {}
            found => return Err(StoreError::Form { path, found, known: schema::FORM }),
        }
        schema::index(&connection).map_err(failed)?;
        let newest: i64 = connection
            .query_row("SELECT COALESCE(MAX(id), 0) FROM strokes", [], |row| row.get(0))
            .map_err(failed)?;
        Ok(Self {
            path,
            writer: Mutex::new(connection),
            readers: Mutex::new(Vec::new()),
            swept: Mutex::default(),
            newest: watch::Sender::new(newest),
        })
    }

    /// Opens an existing database for reading.
    ///
    /// # Errors
    /// [`StoreError`] if there is none, or as [`Store::open`].
    pub fn open_existing(folder: &Path) -> Result<Self, StoreError> {
        let path = folder.join(FILE_NAME);
        if let Err(why) = path.metadata() {
            return Err(StoreError::Folder { path, why });
        }
        Self::open(folder)
    }

    /// The database's file.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Tells whenever a stroke came in: the newest stroke's number.
    #[must_use]
    pub fn newest(&self) -> watch::Receiver<i64> {
        self.newest.subscribe()
    }

    fn tell(&self, newest: i64) {
        self.newest.send_if_modified(|known| {
            let more = newest > *known;
            *known = newest.max(*known);
            more
        });
    }

    /// One reading statement or more, all of one state of the database.
    fn read<T>(&self, work: impl FnOnce(&Transaction<'_>) -> Result<T, StoreError>) -> Result<T, StoreError> {
        let idle = whole(&self.readers).pop();
        let mut connection = match idle {
            Some(connection) => connection,
            None => {
                let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
                let connection = Connection::open_with_flags(&self.path, flags)?;
                connection.busy_timeout(std::time::Duration::from_millis(u64::from(BUSY_MS)))?;
                connection
            }
        };
        let transaction = connection.transaction()?;
        let done = work(&transaction);
        drop(transaction);
        let mut readers = whole(&self.readers);
        if readers.len() < READERS {
            readers.push(connection);
        }
        done
    }

    /// All of `work` or nothing.
    fn write<T>(
        &self,
        work: impl FnOnce(&Transaction<'_>) -> Result<T, StoreError>,
    ) -> Result<T, StoreError> {
        let mut connection = whole(&self.writer);
        let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let done = work(&transaction)?;
        transaction.commit()?;
        Ok(done)
    }
}

/// Makes a folder that others on the machine cannot look into: it holds password hashes.
fn make_private(folder: &Path) -> std::io::Result<()> {
    if folder.is_dir() {
        return Ok(());
    }
    let mut builder = std::fs::DirBuilder::new();
    builder.recursive(true);
    #[cfg(unix)]
    {
        use std::os::unix::fs::DirBuilderExt as _;
        builder.mode(0o700);
    }
    builder.create(folder)
}

/// Milliseconds since 1970, UTC.
#[must_use]
pub fn now_ms() -> i64 {
    jiff::Timestamp::now().as_millisecond()
}
