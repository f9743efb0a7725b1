//! One line of progress on stderr, on a terminal only.

use std::io::{IsTerminal as _, Write as _};
use std::time::{Duration, Instant};

/// Shows how far a piece of work is, at most ten times a second.
#[derive(Debug)]
pub struct Progress {
    what: &'static str,
    shown: Option<Instant>,
    enabled: bool,
}

impl Progress {
    /// Progress of this work; silent where stderr is no terminal.
    #[must_use]
    pub fn new(what: &'static str) -> Self {
        Self { what, shown: None, enabled: std::io::stderr().is_terminal() }
    }

    /// `done` of `total`, and a count of what has been dealt with.
    pub fn show(&mut self, done: u64, total: u64, count: u64, of: &str) {
        let due = self.shown.is_none_or(|shown| shown.elapsed() > Duration::from_millis(100));
        if self.enabled && due {
            self.shown = Some(Instant::now());
            let percent = if total > 0 { 100.0 * done as f64 / total as f64 } else { 0.0 };
            eprint!("\r{} {percent:5.1} %  {count} {of} ", self.what);
            let _ = std::io::stderr().flush();
        }
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        if self.shown.is_some() {
            // Clears the line: what follows starts on a clean one.
            eprint!("\r\x1b[2K");
        }
    }
}
