//! What reports are made of, from recordings and from verdict files.

use std::collections::VecDeque;
use std::io::{BufRead as _, BufReader};
use std::path::{Path, PathBuf};

use serde_json::Value;

use super::strokes::Judged;
use crate::card::die::DieCard;
use crate::card::press::PressCard;
use crate::cmd::diagnosed;
use crate::diagnose::{Diagnoser, Told};
use crate::judge::{JudgeError, Shown, judge, put_in};
use crate::picture::LearntBand;
use crate::session::{Outcome, SampleRate, outcome_from_json};

/// Longest line of a verdict file, bytes.
const LONGEST_LINE: usize = 1 << 20;

/// Why a verdict file was refused.
#[derive(Debug, thiserror::Error)]
pub enum VerdictsError {
    /// It cannot be read.
    #[error("{}: the verdict file cannot be read ({why}); check its name and your rights", path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// What the operating system said.
        why: std::io::Error,
    },
    /// A line is no verdict.
    #[error("{}: line {line} is no verdict of `bolster replay --jsonl`; make the file again", path.display())]
    Line {
        /// The file.
        path: PathBuf,
        /// Line, from 1.
        line: usize,
    },
    /// It is of a press with other columns.
    #[error("{}: line {line} has {found} column(s) but the press card says {expected}; use this press's verdicts or card", path.display())]
    Columns {
        /// The file.
        path: PathBuf,
        /// Line, from 1.
        line: usize,
        /// In the file.
        found: usize,
        /// On the card.
        expected: usize,
    },
}

/// Strokes with the one a report is about.
#[derive(Debug, Clone, Default)]
pub struct Gathered {
    /// In order.
    pub strokes: Vec<Judged>,
    /// Place in `strokes` of the one asked for, or of the first with the worst verdict.
    pub chosen: Option<usize>,
    /// What the die's good strokes did at that stroke.
    pub band: Option<LearntBand>,
    /// Readings a second; none where the source does not say.
    pub rate: Option<SampleRate>,
}

impl Gathered {
    fn take(&mut self, outcome: &Outcome, told: Option<Told>, asked: Option<u64>) -> bool {
        let worst = self.chosen.and_then(|n| self.strokes.get(n)).map(Judged::rank);
        let judged = Judged { outcome: outcome.clone(), at_ms: None, told };
        let picked = match asked {
            Some(stroke) => outcome.stroke == stroke && self.chosen.is_none(),
            None => worst.is_none_or(|worst| judged.rank() > worst),
        };
        if picked {
            self.chosen = Some(self.strokes.len());
        }
        self.strokes.push(judged);
        picked
    }
}

/// Judges a recording, as `replay` does. `asked` is the stroke a report is to be about.
///
/// # Errors
/// [`JudgeError`] for a bad recording or one of another press.
pub fn from_recording(
    recording: &Path,
    card: &PressCard,
    die: Option<&DieCard>,
    mut diagnoser: Option<Diagnoser>,
    asked: Option<u64>,
    shown: Shown<'_>,
) -> Result<Gathered, JudgeError> {
    let mut gathered = Gathered::default();
    let rate = judge(
        recording,
        card,
        |session, header| put_in(die, session, header),
        shown,
        |outcome, session| {
            let found = diagnoser.as_mut().and_then(|diagnoser| diagnosed(diagnoser, outcome, session));
            if gathered.take(outcome, found.as_ref().and_then(Told::of), asked) {
                let learnt = session.baseline().zip(die.and_then(|die| die.shape.as_ref()));
                gathered.band =
                    learnt.map(|((baseline, edges), shape)| LearntBand::new(&baseline, &edges, shape));
            }
            Ok::<(), JudgeError>(())
        },
    )?;
    gathered.rate = Some(rate);
    Ok(gathered)
}

/// Reads a verdict file of `replay --jsonl`.
///
/// # Errors
/// [`VerdictsError`] names the file and the first line that is none.
pub fn from_verdicts(path: &Path, card: &PressCard, asked: Option<u64>) -> Result<Gathered, VerdictsError> {
    let unreadable = |why| VerdictsError::Unreadable { path: path.to_owned(), why };
    let mut file = BufReader::new(std::fs::File::open(path).map_err(unreadable)?);
    let mut gathered = Gathered::default();
    let mut text = Vec::new();
    for line in 1.. {
        text.clear();
        let mut part = std::io::Read::take(&mut file, LONGEST_LINE as u64);
        if part.read_until(b'\n', &mut text).map_err(unreadable)? == 0 {
            break;
        }
        let bad = || VerdictsError::Line { path: path.to_owned(), line };
        let text = std::str::from_utf8(&text).map_err(|_| bad())?;
        let outcome = outcome_from_json(text).ok_or_else(bad)?;
        let (found, expected) = (outcome.columns.len(), card.spec.columns.count());
        if found != expected {
            return Err(VerdictsError::Columns { path: path.to_owned(), line, found, expected });
        }
        let told = match serde_json::from_str::<Value>(text) {
            Ok(mut value) => value.get_mut("diagnosis").map(Value::take).map(serde_json::from_value),
            Err(_) => None,
        };
        let told = told.transpose().map_err(|_| bad())?;
        gathered.take(&outcome, told, asked);
    }
    Ok(gathered)
}

/// The strokes around one, itself among them.
#[must_use]
pub fn around(strokes: &[Judged], chosen: usize, beside: usize) -> Vec<Judged> {
    strokes
        .iter()
        .skip(chosen.saturating_sub(beside))
        .take(chosen.min(beside) + 1 + beside)
        .cloned()
        .collect()
}

/// Outcomes up to one, itself the last, at most so many.
#[must_use]
pub fn up_to(strokes: &[Judged], chosen: usize, most: usize) -> Vec<Outcome> {
    let mut kept = VecDeque::new();
    for stroke in strokes.iter().take(chosen + 1) {
        if kept.len() == most {
            kept.pop_front();
        }
        kept.push_back(stroke.outcome.clone());
    }
    kept.into()
}

#[cfg(test)]
mod tests {
    use super::super::strokes::tests::judged;
    use super::*;

    #[test]
    fn the_worst_stroke_is_chosen_unless_one_is_asked_for() {
        let all =
            [judged(1, "pass", 1.0), judged(2, "hold", 1.0), judged(3, "trip", 1.0), judged(4, "trip", 1.0)];
        let mut worst = Gathered::default();
        let mut asked = Gathered::default();
        for one in &all {
            worst.take(&one.outcome, None, None);
            asked.take(&one.outcome, None, Some(2));
        }
        assert_eq!((worst.chosen, asked.chosen), (Some(2), Some(1)));
        let numbers = |strokes: Vec<Judged>| strokes.iter().map(|one| one.outcome.stroke).collect::<Vec<_>>();
        assert_eq!(numbers(around(&all, 0, 1)), [1, 2]);
        assert_eq!(numbers(around(&all, 2, 1)), [2, 3, 4]);
        assert_eq!(up_to(&all, 2, 2).iter().map(|one| one.stroke).collect::<Vec<_>>(), [2, 3]);
    }
}
