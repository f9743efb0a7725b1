//! `bolster password`: an engineer's password for the console.

use std::io::{BufRead as _, IsTerminal as _};
use std::path::PathBuf;

use clap::Args;

use super::{Failure, print};
use crate::console::auth::{LONGEST_PASSWORD, SHORTEST_PASSWORD, hash};
use crate::console::store::Store;

/// Set an engineer's password for the console
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  bolster password --name \"A. Engineer\"\n\nThe password is asked for and not shown; from a pipe, the first line is taken. It is never given as an argument, where\nothers on the machine could read it. Stored is its Argon2 hash."
)]
pub struct PasswordArgs {
    /// Name of the engineer; changes of limits are journalled under it
    #[arg(long, value_name = "NAME", value_parser = name)]
    pub name: String,
    /// Folder of the console's database
    #[arg(long, value_name = "FOLDER", default_value = "bolster-data")]
    pub data: PathBuf,
}

fn name(text: &str) -> Result<String, String> {
    let text = text.trim();
    match text.is_empty() || text.len() > 200 || text.chars().any(char::is_control) {
        true => Err("a name on one line, 200 bytes at most".to_owned()),
        false => Ok(text.to_owned()),
    }
}

fn ask() -> Result<String, Failure> {
    let stdin = std::io::stdin();
    if !stdin.is_terminal() {
        let mut line = String::new();
        std::io::Read::take(stdin.lock(), LONGEST_PASSWORD as u64 + 2).read_line(&mut line)?;
        return Ok(line.trim_end_matches(['\r', '\n']).to_owned());
    }
    let first =
        rpassword::prompt_password(format!("New password ({SHORTEST_PASSWORD} characters or more): "))?;
    let again = rpassword::prompt_password("Once more: ")?;
    if first == again {
        Ok(first)
    } else {
        Err(Failure::because("the two passwords differ; nothing was stored"))
    }
}

/// Runs the command.
///
/// # Errors
/// [`Failure`] for a password too short, or a database that cannot be used.
pub fn run(args: &PasswordArgs) -> Result<(), Failure> {
    let store = Store::open(&args.data)?;
    let hash = hash(&ask()?)?;
    store.put_engineer(&args.name, &hash)?;
    print(&format!("password of {} set in {}\n", args.name, store.path().display()))
}
