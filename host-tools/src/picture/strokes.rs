//! Pictures over many strokes: peaks and verdicts, load centres, corner shares.

use super::{Caption, label, verdict};
use crate::card::press::PressCard;
use crate::figure::{CentrePoint, Column, LoadCentre, LoadUnit, Shares, Strokes};
use crate::session::Outcome;

/// Stroke numbers that rise throughout: where another run counts from its own beginning, its strokes are counted on.
fn rising(outcomes: &[Outcome]) -> Vec<u64> {
    let mut on = 0;
    let mut last: Option<(u64, u64)> = None;
    let number = |outcome: &Outcome| {
        if let Some((own, shown)) = last
            && outcome.stroke <= own
        {
            on = (shown + 1).saturating_sub(outcome.stroke);
        }
        let shown = outcome.stroke + on;
        last = Some((outcome.stroke, shown));
        shown
    };
    outcomes.iter().map(number).collect()
}

/// Stroke numbers, of [`rising`], at which the coil changes.
fn coil_changes(outcomes: &[Outcome], numbers: &[u64]) -> Vec<u64> {
    let pairs = outcomes.windows(2).zip(numbers.iter().skip(1));
    pairs
        .filter_map(|(pair, number)| match pair {
            [a, b] if a.coil != b.coil => Some(*number),
            _ => None,
        })
        .collect()
}

/// `[column]`: a value of each stroke.
fn by_column(outcomes: &[Outcome], value: impl Fn(&Outcome, usize) -> f64) -> Vec<Column> {
    let names = outcomes
        .first()
        .map(|outcome| outcome.columns.iter().map(|column| label(column.name)).collect::<Vec<_>>());
    names
        .unwrap_or_default()
        .into_iter()
        .enumerate()
        .map(|(n, name)| Column { name, values: outcomes.iter().map(|outcome| value(outcome, n)).collect() })
        .collect()
}

/// Peaks, reverse loads and verdicts over strokes, with the machine's limits.
#[must_use]
pub fn over_strokes(outcomes: &[Outcome], card: &PressCard, unit: LoadUnit, caption: &Caption) -> Strokes {
    let many = card.spec.columns.count() > 1;
    let numbers = rising(outcomes);
    let share = card.spec.rated_kn / card.spec.columns.count() as f64;
    Strokes {
        title: "Peaks, reverse loads and verdicts".into(),
        subtitle: caption.subtitle.clone(),
        unit,
        total_kn: outcomes.iter().map(|outcome| outcome.peak_kn).collect(),
        columns: if many {
            by_column(outcomes, |outcome, n| outcome.columns.get(n).map_or(0.0, |column| column.peak_kn))
        } else {
            Vec::new()
        },
        reverse_kn: outcomes.iter().map(|outcome| outcome.reverse_kn).collect(),
        verdicts: outcomes.iter().map(|outcome| verdict(outcome.verdict)).collect(),
        total_limit_kn: Some(card.spec.rated_kn),
        column_limit_kn: many.then_some(share * card.spec.column_percent / 100.0),
        reverse_limit_kn: Some(card.spec.rated_kn * card.spec.reverse_percent / 100.0),
        coil_changes: coil_changes(outcomes, &numbers),
        stroke: numbers,
        cause_of: Vec::new(),
        causes: Vec::new(),
    }
}

/// Load centres at the peaks, on the bolster plate.
#[must_use]
pub fn load_centres(outcomes: &[Outcome], card: &PressCard, caption: &Caption) -> LoadCentre {
    let point = |outcome: &Outcome| {
        let [x_mm, y_mm] = outcome.load_centre_mm?;
        Some(CentrePoint { x_mm, y_mm, verdict: verdict(outcome.verdict) })
    };
    LoadCentre {
        title: "Load centre at the peak".into(),
        subtitle: caption.subtitle.clone(),
        columns: card.spec.columns.count(),
        bolster_mm: card.spec.bolster_mm,
        points: outcomes.iter().filter_map(point).collect(),
        allowance_mm: Vec::new(),
    }
}

/// Each column's percent of the sum of the columns' peaks, over strokes.
#[must_use]
pub fn shares(outcomes: &[Outcome], card: &PressCard, caption: &Caption) -> Shares {
    let columns = card.spec.columns.count();
    let share = |outcome: &Outcome, n: usize| {
        let sum: f64 = outcome.columns.iter().map(|column| column.peak_kn).sum();
        let peak = outcome.columns.get(n).map_or(0.0, |column| column.peak_kn);
        if sum > 0.0 { 100.0 * peak / sum } else { 100.0 / columns as f64 }
    };
    let numbers = rising(outcomes);
    Shares {
        title: "Column peaks as shares of their sum".into(),
        subtitle: caption.subtitle.clone(),
        columns: by_column(outcomes, share),
        expected_percent: Vec::new(),
        coil_changes: coil_changes(outcomes, &numbers),
        stroke: numbers,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::session::outcome_from_json;

    fn stroke(number: u64, coil: u64) -> Outcome {
        let text = format!(
            r#"{{"stroke":{number},"verdict":"pass","reasons":[],"peak_kn":1.0,"reverse_kn":0.0,"columns":[],"coil":{coil},"findings":[]}}"#
        );
        outcome_from_json(&text).expect("a whole outcome")
    }

    #[test]
    fn strokes_of_several_runs_are_counted_on() {
        let outcomes =
            [(7, 1), (8, 1), (1, 1), (2, 2), (3, 2), (1, 2)].map(|(number, coil)| stroke(number, coil));
        let numbers = rising(&outcomes);
        assert_eq!(numbers, [7, 8, 9, 10, 11, 12]);
        assert_eq!(coil_changes(&outcomes, &numbers), [10]);
        // A run with strokes left out keeps its numbers.
        assert_eq!(rising(&[stroke(7, 1), stroke(9, 1)]), [7, 9]);
    }
}
