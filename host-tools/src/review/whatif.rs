//! Two die cards over the same recorded strokes.

use std::collections::BTreeMap;
use std::path::Path;

use serde::Serialize;

use super::limit::uses;
use crate::card::die::DieCard;
use crate::card::press::PressCard;
use crate::figure;
use crate::judge::{JudgeError, Shown, judge_pair};
use crate::picture::Caption;
use crate::session::{Outcome, SampleRate, Session};

/// Strokes with a reason under the card in use, under the other, and under one of them only.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
pub struct ReasonCounts {
    /// Under the card in use.
    pub now: u64,
    /// Under the other.
    pub other: u64,
    /// Under the card in use only.
    pub only_now: u64,
    /// Under the other only.
    pub only_other: u64,
}

/// A stroke whose verdict or reasons differ.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Changed {
    /// Number in the recording.
    pub stroke: u64,
    /// Verdict under the card in use.
    pub verdict: &'static str,
    /// Reasons under it.
    pub reasons: Vec<&'static str>,
    /// Verdict under the other.
    pub other_verdict: &'static str,
    /// Reasons under it.
    pub other_reasons: Vec<&'static str>,
}

/// Two cards over the same strokes.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct WhatIf {
    /// File, name and standing of the card in use.
    pub die: String,
    /// File, name and standing of the other.
    pub other_die: String,
    /// Strokes judged.
    pub strokes: u64,
    /// Strokes by verdict under the card in use.
    pub verdicts: BTreeMap<&'static str, u64>,
    /// Strokes by verdict under the other.
    pub other_verdicts: BTreeMap<&'static str, u64>,
    /// By reason.
    pub reasons: BTreeMap<&'static str, ReasonCounts>,
    /// Strokes whose verdict differs.
    pub verdict_changed: u64,
    /// Strokes whose verdict or reasons differ, in order.
    pub changed: Vec<Changed>,
    #[serde(skip)]
    course: Vec<Course>,
}

/// One stroke in the picture: the greatest share of any limit used, and the verdict, under each card.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Course {
    stroke: u64,
    used: [f64; 2],
    verdicts: [figure::Verdict; 2],
}

/// Judges a recording by both cards in one pass; none is no die: the machine's limits only. `files` tells the cards
/// apart for people. `take` gets both outcomes of each stroke.
///
/// # Errors
/// [`JudgeError`] for a bad recording or one of another press, or whatever `take` returns.
pub fn what_if<E: From<JudgeError>>(
    recording: &Path,
    press: &PressCard,
    dies: [Option<&DieCard>; 2],
    files: [&str; 2],
    shown: Shown<'_>,
    mut take: impl FnMut(&Outcome, &Outcome, &Session) -> Result<(), E>,
) -> Result<(WhatIf, SampleRate), E> {
    let name = |die: Option<&DieCard>, file: &str| {
        let of = |die: &DieCard| format!("{file}: die {}, {}", die.die.name, die.standing_says());
        die.map_or("no die: the press's own limits".to_owned(), of)
    };
    let ([now, other], [file, other_file]) = (dies, files);
    let mut all = WhatIf { die: name(now, file), other_die: name(other, other_file), ..WhatIf::default() };
    let rate = judge_pair(recording, press, dies, shown, |pair| {
        all.take(pair, dies);
        let [(now, session), (other, _)] = pair;
        take(now, other, session)
    })?;
    Ok((all, rate))
}

impl WhatIf {
    fn take(&mut self, pair: [(&Outcome, &Session); 2], dies: [Option<&DieCard>; 2]) {
        let [(now, _), (other, _)] = pair;
        self.strokes += 1;
        *self.verdicts.entry(now.verdict).or_default() += 1;
        *self.other_verdicts.entry(other.verdict).or_default() += 1;
        for reason in &now.reasons {
            let counts = self.reasons.entry(reason).or_default();
            counts.now += 1;
            counts.only_now += u64::from(!other.reasons.contains(reason));
        }
        for reason in &other.reasons {
            let counts = self.reasons.entry(reason).or_default();
            counts.other += 1;
            counts.only_other += u64::from(!now.reasons.contains(reason));
        }
        self.verdict_changed += u64::from(now.verdict != other.verdict);
        if now.verdict != other.verdict || now.reasons != other.reasons {
            self.changed.push(Changed {
                stroke: now.stroke,
                verdict: now.verdict,
                reasons: now.reasons.clone(),
                other_verdict: other.verdict,
                other_reasons: other.reasons.clone(),
            });
        }
        let [a, b] = pair;
        let [first, second] = dies;
        let used = |(outcome, session): (&Outcome, &Session), die: Option<&DieCard>| {
            let uses = uses(outcome, session, die.map(|die| &die.limits));
            uses.into_iter().filter_map(|one| one.used).fold(0.0, f64::max)
        };
        let word = |outcome: &Outcome| figure::Verdict::from_word(outcome.verdict).unwrap_or_default();
        self.course.push(Course {
            stroke: now.stroke,
            used: [used(a, first), used(b, second)],
            verdicts: [word(now), word(other)],
        });
    }

    /// As tables, in words.
    #[must_use]
    pub fn text(&self) -> String {
        const LISTED: usize = 20;
        let mut text = format!(
            "What if: {} strokes judged by two die cards\n  now    {}\n  other  {}\n\n",
            self.strokes, self.die, self.other_die
        );
        text += &format!("  {:<32}{:>8}{:>8}{:>12}{:>12}\n", "", "now", "other", "only now", "only other");
        for word in ["pass", "note", "hold", "trip"] {
            let of = |counts: &BTreeMap<&str, u64>| counts.get(word).copied().unwrap_or(0);
            text += &format!("  {word:<32}{:>8}{:>8}\n", of(&self.verdicts), of(&self.other_verdicts));
        }
        for (reason, counts) in &self.reasons {
            text += &format!(
                "  {reason:<32}{:>8}{:>8}{:>12}{:>12}\n",
                counts.now, counts.other, counts.only_now, counts.only_other
            );
        }
        text += &format!(
            "\n{} strokes with another verdict, {} with another verdict or other reasons\n",
            self.verdict_changed,
            self.changed.len()
        );
        let list = |reasons: &[&str]| if reasons.is_empty() { "-".to_owned() } else { reasons.join(", ") };
        for one in self.changed.iter().take(LISTED) {
            text += &format!(
                "  stroke {}: {} ({}) becomes {} ({})\n",
                one.stroke,
                one.verdict,
                list(&one.reasons),
                one.other_verdict,
                list(&one.other_reasons)
            );
        }
        if self.changed.len() > LISTED {
            text += &format!("  and {} more (all of them with --json)\n", self.changed.len() - LISTED);
        }
        text
    }

    /// As a picture.
    #[must_use]
    pub fn picture(&self, caption: &Caption) -> figure::WhatIf {
        let used = |n: usize| self.course.iter().map(|c| c.used.get(n).copied().unwrap_or(0.0)).collect();
        let verdicts =
            |n: usize| self.course.iter().map(|c| c.verdicts.get(n).copied().unwrap_or_default()).collect();
        figure::WhatIf {
            title: "Two die cards over the same strokes".to_owned(),
            subtitle: caption.subtitle.clone(),
            names: [format!("now: {}", self.die), format!("other: {}", self.other_die)],
            stroke: self.course.iter().map(|course| course.stroke).collect(),
            used: [used(0), used(1)],
            verdicts: [verdicts(0), verdicts(1)],
            reasons: self
                .reasons
                .iter()
                .map(|(reason, counts)| ((*reason).to_owned(), [counts.now, counts.other]))
                .collect(),
        }
    }
}
