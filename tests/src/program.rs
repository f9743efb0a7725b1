//! The `bolster` program as a user has it: built once, run as a process of its own.

use std::ffi::OsStr;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::OnceLock;

/// How a run of the program ended.
#[derive(Debug)]
pub struct Done {
    /// Exit code; −1 if a signal ended it.
    pub code: i32,
    /// What it printed.
    pub out: String,
    /// What it said on standard error.
    pub err: String,
}

impl From<Output> for Done {
    fn from(output: Output) -> Self {
        Self {
            code: output.status.code().unwrap_or(-1),
            out: String::from_utf8(output.stdout).expect("standard output is UTF-8"),
            err: String::from_utf8(output.stderr).expect("standard error is UTF-8"),
        }
    }
}

impl Done {
    /// The run went well and had nothing to say; gives what it printed.
    ///
    /// # Panics
    /// If it did not.
    #[must_use]
    pub fn well(self) -> String {
        assert_eq!((self.code, self.err.as_str()), (0, ""), "{self:?}");
        self.out
    }

    /// The run was refused as bad input is: exit 1, nothing printed, one line on standard error that begins with
    /// the program's name and holds all of `names`; no panic shows.
    ///
    /// # Panics
    /// If it was not.
    pub fn refused(&self, names: &[&str]) {
        let all = format!("{:?} expected in {self:#?}", names);
        assert_eq!((self.code, self.out.as_str()), (1, ""), "{all}");
        assert!(self.err.starts_with("bolster: ") && self.err.ends_with('\n'), "{all}");
        assert_eq!(self.err.lines().count(), 1, "one line: {all}");
        assert!(names.iter().all(|name| self.err.contains(name)), "{all}");
        for sign in ["panicked", "RUST_BACKTRACE", "unwrap", "src/"] {
            assert!(!self.err.contains(sign), "{all}");
        }
    }
}

/// The program, in the development profile; built at the first call. `BOLSTER_BIN` names another one.
///
/// # Panics
/// If it cannot be built.
#[must_use]
pub fn path() -> &'static Path {
    static PATH: OnceLock<PathBuf> = OnceLock::new();
    PATH.get_or_init(|| {
        if let Some(path) = std::env::var_os("BOLSTER_BIN") {
            return path.into();
        }
        let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
        let built = Command::new(cargo)
            .args(["build", "--package", "bolster", "--bin", "bolster", "--message-format=json"])
            .current_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join(".."))
            .output()
            .expect("cargo can be run");
        let said = String::from_utf8_lossy(&built.stderr);
        assert!(built.status.success(), "the program cannot be built:\n{said}");
        let messages = String::from_utf8_lossy(&built.stdout).into_owned();
        let messages =
            messages.lines().filter_map(|line| serde_json::from_str::<serde_json::Value>(line).ok());
        let made =
            messages.filter_map(|message| Some(message.get("executable")?.as_str()?.to_owned())).next_back();
        made.expect("cargo names the program it built").into()
    })
}

/// The program, about to be run; without colours and backtraces of the caller's environment.
#[must_use]
pub fn command() -> Command {
    let mut command = Command::new(path());
    command.env_remove("RUST_BACKTRACE").env_remove("RUST_LOG").env("LC_ALL", "C");
    command
}

/// Runs the program with these words.
///
/// # Panics
/// If it cannot be started.
pub fn bolster<W: AsRef<OsStr>>(words: impl IntoIterator<Item = W>) -> Done {
    command().args(words).output().expect("the program can be started").into()
}

/// A path as a word of a command line.
///
/// # Panics
/// If it is no UTF-8.
#[must_use]
pub fn word(path: &Path) -> &str {
    path.to_str().expect("paths of tests are UTF-8")
}

/// Names in a folder, sorted.
///
/// # Panics
/// If it cannot be read.
#[must_use]
pub fn names(folder: &Path) -> Vec<String> {
    let entries = std::fs::read_dir(folder).expect("the folder can be read");
    let mut names: Vec<String> =
        entries.map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned()).collect();
    names.sort();
    names
}

/// The lines of a JSONL file.
///
/// # Panics
/// If a line is no JSON.
#[must_use]
pub fn jsonl(path: &Path) -> Vec<serde_json::Value> {
    let text = std::fs::read_to_string(path).expect("the JSONL file can be read");
    text.lines().map(|line| serde_json::from_str(line).expect(line)).collect()
}
