//! Why an import stopped.

use std::path::{Path, PathBuf};

use crate::output::OutputError;
use crate::recording::{Place, RecordingError, WriterError};

/// Why an import stopped. Nothing was written.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ImportError {
    /// A `--map` string that is not understood.
    #[error("map `{text}`: {why}")]
    Map {
        /// The string.
        text: String,
        /// What is wrong with it.
        why: String,
    },
    /// Options that do not fit together.
    #[error("{0}")]
    Plan(String),
    /// A recipe file that is not understood.
    #[error("{}: {why}", path.display())]
    Recipe {
        /// The file.
        path: PathBuf,
        /// What is wrong with it.
        why: String,
    },
    /// Something in a foreign file.
    #[error("{place}: {why}")]
    Row {
        /// File, line and column.
        place: Place,
        /// What is wrong, and what to do.
        why: String,
    },
    /// A file that cannot be read, or rows that make no recording.
    #[error(transparent)]
    Source(#[from] RecordingError),
    /// The recording cannot be written.
    #[error(transparent)]
    Output(#[from] OutputError),
    /// A row cannot be written.
    #[error(transparent)]
    Write(#[from] WriterError),
}

impl ImportError {
    /// Something about a foreign file as a whole.
    pub(super) fn of_file(path: &Path, why: impl Into<String>) -> Self {
        Self::Row { place: Place { path: path.to_owned(), ..Place::default() }, why: why.into() }
    }
}
