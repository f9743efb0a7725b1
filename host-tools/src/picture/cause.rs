//! Diagnoses on pictures: a line and a mark on a signature, a letter a stroke over many.

use crate::diagnose::{BASIS, Diagnosis};
use crate::figure::{AxisKind, OffendingSpan, Signature, Strokes};
use crate::session::Outcome;

/// Causes with letters of their own; the rest share one.
const LETTERS: usize = 8;

/// Adds what a stroke was diagnosed as to its signature: a line under the title, and where the change shows.
#[must_use]
pub fn diagnosed_signature(mut figure: Signature, diagnosis: Option<&Diagnosis>) -> Signature {
    let Some(diagnosis) = diagnosis else { return figure };
    figure.caption = format!("Usual causes ({BASIS}): {}", diagnosis.line());
    let Some(extent) = &diagnosis.extent else { return figure };
    let span = match figure.axis {
        AxisKind::CrankAngle => extent.from_deg.zip(extent.to_deg),
        AxisKind::Milliseconds => extent.from_ms.zip(extent.to_ms),
    };
    if let Some((from, to)) = span {
        let reason = match diagnosis.causes.first() {
            Some(cause) => match &cause.place {
                Some(place) => format!("changed, as by {} at {place}", cause.code),
                None => format!("changed, as by {}", cause.code),
            },
            None => "changed".to_owned(),
        };
        figure.spans.push(OffendingSpan { from, to, reason, column: Some("total".to_owned()) });
    }
    figure
}

/// First causes of the strokes of a run that were held or tripped.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct StrokeCauses {
    names: Vec<String>,
    marks: Vec<(u64, usize)>,
}

impl StrokeCauses {
    /// Takes in a stroke's diagnosis; notes are too many to be marked.
    pub fn take(&mut self, outcome: &Outcome, diagnosis: &Diagnosis) {
        if outcome.verdict == "note" {
            return;
        }
        let name = match diagnosis.causes.first() {
            Some(cause) => match &cause.place {
                Some(place) => format!("{} at {place}", cause.code),
                None => cause.code.to_owned(),
            },
            None => "no usual cause fits".to_owned(),
        };
        let known = self.names.iter().position(|known| *known == name);
        let at = known.unwrap_or_else(|| {
            self.names.push(name);
            self.names.len() - 1
        });
        self.marks.push((outcome.stroke, at));
    }

    /// Puts the causes on the picture, the most frequent by letters of their own.
    #[must_use]
    pub fn mark(self, mut figure: Strokes) -> Strokes {
        let count = |n: usize| self.marks.iter().filter(|mark| mark.1 == n).count();
        let mut order: Vec<usize> = (0..self.names.len()).collect();
        order.sort_by_key(|n| std::cmp::Reverse(count(*n)));
        let place = |n: usize| order.iter().position(|other| *other == n).unwrap_or(0).min(LETTERS);
        figure.cause_of = self.marks.iter().map(|(stroke, n)| (*stroke, place(*n))).collect();
        let named = order.iter().take(LETTERS).filter_map(|n| self.names.get(*n).map(|name| (n, name)));
        figure.causes = named.map(|(n, name)| format!("{} x {name}", count(*n))).collect();
        let rest: usize = order.iter().skip(LETTERS).map(|n| count(*n)).sum();
        if rest > 0 {
            figure.causes.push(format!("{rest} x others"));
        }
        figure
    }
}
