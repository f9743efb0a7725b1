//! What can be wrong with a press card.

use std::path::{Path, PathBuf};

/// Byte offset in the card's text, where there is one.
pub(super) type Spot = Option<usize>;

/// One thing wrong with a press card, in words that say what to do.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub(super) enum Fault {
    #[error("is a folder, not a press card; name the file in it")]
    Directory,
    #[error("cannot be read ({0}); check that it exists and that you may read it")]
    Unreadable(String),
    #[error("is not plain text in UTF-8; a press card is a TOML file")]
    NotText,
    #[error("is not TOML: {0}")]
    Syntax(String),
    #[error("table [{0}] is missing; a press card needs [press] and [limits]")]
    MissingTable(&'static str),
    #[error("key `{key}` is missing in [{table}]; add it")]
    MissingKey { key: &'static str, table: &'static str },
    #[error("key `{key}` is unknown; {}", match .nearest {
        Some(name) => format!("did you mean `{name}`?"),
        None => format!("known here: {}", .known),
    })]
    UnknownKey { key: String, nearest: Option<&'static str>, known: String },
    #[error("`{key}` must be {wanted}, not {found}")]
    WrongType { key: &'static str, wanted: &'static str, found: String },
    #[error("`columns` must be 1, 2 or 4, not {0}")]
    Columns(i64),
    #[error("{0}")]
    Impossible(String),
}

/// Why a press card was refused: one line with file, line and key.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{}{}: {fault}", path.display(), line.map(|line| format!(", line {line}")).unwrap_or_default())]
pub struct PressCardError {
    path: PathBuf,
    line: Option<usize>,
    fault: Fault,
}

impl PressCardError {
    pub(super) fn new(path: &Path, line: Option<usize>, fault: Fault) -> Self {
        Self { path: path.to_owned(), line, fault }
    }

    /// Line in the file, from 1, where one line is to blame.
    #[must_use]
    pub fn line(&self) -> Option<usize> {
        self.line
    }

    /// Stable kebab-case name of the defect.
    #[must_use]
    pub fn code(&self) -> &'static str {
        match self.fault {
            Fault::Directory => "directory",
            Fault::Unreadable(_) => "unreadable",
            Fault::NotText => "not-text",
            Fault::Syntax(_) => "not-toml",
            Fault::MissingTable(_) => "missing-table",
            Fault::MissingKey { .. } => "missing-key",
            Fault::UnknownKey { .. } => "unknown-key",
            Fault::WrongType { .. } => "wrong-type",
            Fault::Columns(_) => "wrong-column-count",
            Fault::Impossible(_) => "impossible-value",
        }
    }
}
