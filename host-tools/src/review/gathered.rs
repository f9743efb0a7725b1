//! A die card's limits against whole recordings.

use std::collections::BTreeMap;
use std::path::Path;

use serde::Serialize;

use super::limit::{LimitUse, uses};
use crate::card::die::{DieCard, ReviewedStrokes};
use crate::card::press::PressCard;
use crate::figure;
use crate::judge::{JudgeError, Shown, judge, put_in};
use crate::picture::Caption;
use crate::session::{Outcome, Session, verdict_rank};

/// Steps of the picture between nothing and the limit.
const STEPS: usize = 40;

/// The closest that a stroke within a limit came to it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Closest {
    /// Share of the limit used.
    pub used: f64,
    /// Which recording.
    pub recording: String,
    /// Which stroke of it.
    pub stroke: u64,
}

/// What one limit did.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LimitReview {
    /// Stable code.
    pub limit: &'static str,
    /// In words.
    pub says: &'static str,
    /// Strokes that left it and were stopped for it.
    pub stopped: u64,
    /// Of which no other limit of the die stopped.
    pub stopped_alone: u64,
    /// Strokes that left it and were let pass, as a change of stock for one.
    pub let_pass: u64,
    /// The closest of the strokes within it; none where nothing can be told.
    pub closest: Option<Closest>,
    /// Strokes within it by share used, in even steps up to the limit.
    #[serde(skip)]
    within: Vec<u64>,
    /// Share used and verdict of strokes beyond it.
    #[serde(skip)]
    beyond: Vec<(f64, &'static str)>,
}

/// A stroke that was stopped.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StoppedStroke {
    /// File name of the recording.
    pub recording: String,
    /// Number in the recording.
    pub stroke: u64,
    /// `hold` or `trip`.
    pub verdict: &'static str,
    /// The judge's reasons.
    pub reasons: Vec<&'static str>,
    /// Limits of the die that stopped it, worst first, with the share used where that can be told.
    pub limits: Vec<(&'static str, Option<f64>)>,
}

/// A die card's limits against recordings.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Review {
    /// The recordings.
    pub recordings: Vec<ReviewedStrokes>,
    /// Every limit of the die, in the order of the card.
    pub limits: Vec<LimitReview>,
    /// Every stroke that was stopped, in order; for the machine's own limits and failing gauges too.
    pub stopped: Vec<StoppedStroke>,
    #[serde(skip)]
    found: BTreeMap<&'static str, usize>,
}

/// Judges recordings by a card, draft or not, and gathers what its limits did.
///
/// # Errors
/// [`JudgeError`] for a bad recording or one of another press.
pub fn review(
    recordings: &[impl AsRef<Path>],
    press: &PressCard,
    die: &DieCard,
    shown: Shown<'_>,
) -> Result<Review, JudgeError> {
    let mut review = Review::default();
    let sha256 = die.content_sha256();
    for path in recordings {
        let path = path.as_ref();
        let name = path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
        let mut counts =
            ReviewedStrokes { recording: name, strokes: 0, noted: 0, stopped: 0, sha256: sha256.clone() };
        judge(
            path,
            press,
            |session, header| put_in(Some(die), session, header),
            shown,
            |outcome, session| {
                counts.strokes += 1;
                counts.noted += u64::from(outcome.verdict == "note");
                let stopped = verdict_rank(outcome.verdict) >= verdict_rank("hold");
                counts.stopped += u64::from(stopped);
                review.take(outcome, session, die, &counts.recording, stopped);
                Ok::<(), JudgeError>(())
            },
        )?;
        review.recordings.push(counts);
    }
    Ok(review)
}

impl Review {
    fn take(&mut self, outcome: &Outcome, session: &Session, die: &DieCard, recording: &str, stopped: bool) {
        let uses = uses(outcome, session, Some(&die.limits));
        let stopping = uses.iter().filter(|one| one.stops).count();
        for one in &uses {
            self.limit(one).take(one, outcome, recording, stopping);
        }
        if stopped {
            let mut limits: Vec<(&str, Option<f64>)> =
                uses.iter().filter(|one| one.stops).map(|one| (one.code, one.used)).collect();
            limits.sort_by(|a, b| b.1.unwrap_or(f64::INFINITY).total_cmp(&a.1.unwrap_or(f64::INFINITY)));
            self.stopped.push(StoppedStroke {
                recording: recording.to_owned(),
                stroke: outcome.stroke,
                verdict: outcome.verdict,
                reasons: outcome.reasons.clone(),
                limits,
            });
        }
    }

    fn limit(&mut self, of: &LimitUse) -> &mut LimitReview {
        let next = self.limits.len();
        let at = *self.found.entry(of.code).or_insert(next);
        if at == next {
            self.limits.push(LimitReview {
                limit: of.code,
                says: of.says,
                stopped: 0,
                stopped_alone: 0,
                let_pass: 0,
                closest: None,
                within: vec![0; STEPS],
                beyond: Vec::new(),
            });
        }
        // The index was just made sure of.
        let last = self.limits.len() - 1;
        &mut self.limits[at.min(last)]
    }

    /// Strokes judged in all.
    #[must_use]
    pub fn strokes(&self) -> u64 {
        self.recordings.iter().map(|one| one.strokes).sum()
    }

    /// As a table and a list, in words.
    #[must_use]
    pub fn text(&self) -> String {
        const LISTED: usize = 20;
        const NAMED: usize = 3;
        let noted: u64 = self.recordings.iter().map(|one| one.noted).sum();
        let mut text = format!(
            "Review of {} strokes of {} recording(s): {} would have been stopped, {noted} noted\n\n",
            self.strokes(),
            self.recordings.len(),
            self.stopped.len()
        );
        text += &format!(
            "  {:<28}{:>9}{:>9}{:>10}   {}\n",
            "limit", "stopped", "by it", "let pass", "closest of the rest"
        );
        text += &format!("  {:<28}{:>9}{:>9}{:>10}\n", "", "", "alone", "beyond it");
        for one in &self.limits {
            let closest = one.closest.as_ref().map_or_else(
                || "-".to_owned(),
                |closest| {
                    format!(
                        "{:.1} % of the limit (stroke {}{})",
                        floor_tenth(100.0 * closest.used),
                        closest.stroke,
                        self.of_recording(&closest.recording)
                    )
                },
            );
            text += &format!(
                "  {:<28}{:>9}{:>9}{:>10}   {closest}\n",
                one.limit, one.stopped, one.stopped_alone, one.let_pass
            );
        }
        if !self.stopped.is_empty() {
            text += "\nStopped, with the limits they left and how many times over:\n";
        }
        for stroke in self.stopped.iter().take(LISTED) {
            let far = |used: f64| if used < 10.0 { format!("{used:.2}") } else { format!("{used:.0}") };
            let mut why: Vec<String> = stroke
                .limits
                .iter()
                .take(NAMED)
                .map(|(limit, used)| {
                    used.map_or((*limit).to_owned(), |u| format!("{limit} {} times", far(u)))
                })
                .collect();
            if stroke.limits.len() > NAMED {
                why.push(format!("{} more", stroke.limits.len() - NAMED));
            }
            if why.is_empty() {
                why = stroke.reasons.iter().map(|reason| (*reason).to_owned()).collect();
            }
            text += &format!(
                "  stroke {}{} ({}): {}\n",
                stroke.stroke,
                self.of_recording(&stroke.recording),
                stroke.verdict,
                why.join(", ")
            );
        }
        if self.stopped.len() > LISTED {
            text += &format!("  and {} more (all of them with --json)\n", self.stopped.len() - LISTED);
        }
        text
    }

    /// Names the recording where there are several.
    fn of_recording(&self, name: &str) -> String {
        if self.recordings.len() > 1 { format!(" of {name}") } else { String::new() }
    }

    /// As a picture.
    #[must_use]
    pub fn picture(&self, die: &DieCard, caption: &Caption) -> figure::Review {
        figure::Review {
            title: format!(
                "What the limits of {} would have done to {} strokes",
                die.die.name,
                self.strokes()
            ),
            subtitle: caption.subtitle.clone(),
            limits: self
                .limits
                .iter()
                .map(|one| figure::ReviewLimit {
                    name: one.limit.to_owned(),
                    says: one.says.to_owned(),
                    within: one.within.clone(),
                    closest: one.closest.as_ref().map(|closest| closest.used),
                    beyond: one
                        .beyond
                        .iter()
                        .filter_map(|(used, word)| Some((*used, figure::Verdict::from_word(word)?)))
                        .collect(),
                    stopped: one.stopped,
                    let_pass: one.let_pass,
                })
                .collect(),
        }
    }
}

/// Cut, not rounded: what is within a limit must not read as at it.
fn floor_tenth(percent: f64) -> f64 {
    (10.0 * percent).floor() / 10.0
}

impl LimitReview {
    fn take(&mut self, one: &LimitUse, outcome: &Outcome, recording: &str, stopping: usize) {
        self.stopped += u64::from(one.stops);
        self.stopped_alone += u64::from(one.stops && stopping == 1);
        self.let_pass += u64::from(one.over && !one.stops);
        if one.over {
            // What cannot be told how far is drawn just beyond the limit.
            let word = if one.stops { outcome.verdict } else { "note" };
            self.beyond.push((one.used.unwrap_or(1.0).max(1.0), word));
            return;
        }
        let Some(used) = one.used else { return };
        let step = ((used * STEPS as f64) as usize).min(STEPS - 1);
        if let Some(count) = self.within.get_mut(step) {
            *count += 1;
        }
        if self.closest.as_ref().is_none_or(|closest| used > closest.used) {
            self.closest = Some(Closest { used, recording: recording.to_owned(), stroke: outcome.stroke });
        }
    }
}
