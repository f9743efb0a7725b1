//! How a press itself does: how often it is loaded how far, what went over its limits, and where the load drifts to.

use std::sync::Arc;

use axum::extract::{Query, State};
use bolster_core::verdict::Reason;
use maud::{Markup, html};
use serde::Deserialize;

use super::words::{counted, load_unit, part};
use crate::card::press::PressCard;
use crate::console::app::App;
use crate::console::respond::{Page, Visitor, off_thread, page};
use crate::console::store::{Store, StoreError, StrokeFilter, StrokeRow, outcome_from_json};
use crate::figure::LoadUnit;
use crate::session::Outcome;

/// Strokes looked back over.
const LOOK_BACK: usize = 20_000;
/// Strokes over the press's limits that are listed.
const LISTED: usize = 20;
/// Classes of load, percent of the rating or of a column's share of it; the last holds all above.
const CLASSES: [f64; 6] = [0.0, 25.0, 50.0, 75.0, 90.0, 100.0];
/// Slope of the life curve the fatigue-weighted count takes, as the controller's ledger does: common practice, no source.
const SLOPE: i32 = 5;
/// A share is told from so many strokes at either end.
const ENDS: usize = 200;

/// Of which press.
#[derive(Debug, Default, Deserialize)]
pub struct Asked {
    press: Option<String>,
}

struct Shown {
    card: PressCard,
    /// Strokes whose loads can be believed.
    outcomes: Vec<Outcome>,
    /// Strokes left out because a gauge was faulty.
    blind: usize,
    over: Vec<StrokeRow>,
}

fn read(store: &Store, press: &str) -> Result<Shown, StoreError> {
    let filter = StrokeFilter { press: Some(press.to_owned()), ..StrokeFilter::default() };
    let outcomes = store.outcomes(&filter, LOOK_BACK)?;
    let trips = store.strokes(&StrokeFilter { least: 3, ..filter }, LOOK_BACK)?;
    let machine =
        |code: &String| Reason::ALL.iter().any(|reason| reason.code() == code && reason.is_machine_limit());
    let all = outcomes.iter().filter_map(|(_, json)| outcome_from_json(json));
    let (blind, outcomes): (Vec<_>, Vec<_>) = all.partition(is_blind);
    Ok(Shown {
        card: store.press(press)?,
        outcomes,
        blind: blind.len(),
        over: trips.into_iter().filter(|row| row.reasons.iter().any(machine)).collect(),
    })
}

/// Whether a gauge was faulty, so that nothing computed from its reading can be believed.
fn is_blind(outcome: &Outcome) -> bool {
    let of_gauge = |code: &&str| Reason::ALL.iter().any(|one| one.code() == *code && one.is_gauge_fault());
    outcome.reasons.iter().any(of_gauge)
}

/// Values of the total and of each column: peak and reverse load over what each may carry, a stroke after another.
fn ratios(outcomes: &[Outcome], card: &PressCard) -> Vec<(String, Vec<[f64; 2]>)> {
    let (rated, columns) = (card.spec.rated_kn, card.spec.columns.names());
    let total =
        outcomes.iter().map(|outcome| [outcome.peak_kn / rated, outcome.reverse_kn / rated]).collect();
    let mut all = vec![("Total".to_owned(), total)];
    if let [_, _, ..] = columns {
        let share = rated / columns.len() as f64;
        for (n, name) in columns.iter().enumerate() {
            let of = outcomes.iter().filter_map(|outcome| outcome.columns.get(n));
            let values = of.map(|column| [column.peak_kn / share, column.reverse_kn / share]).collect();
            all.push((name.to_uppercase(), values));
        }
    }
    all
}

/// How many values lie in each class.
fn classes(values: &[[f64; 2]]) -> [usize; 6] {
    let mut counts = [0; 6];
    for [peak, _] in values {
        let class = CLASSES.iter().rposition(|from| 100.0 * peak >= *from).unwrap_or(0);
        if let Some(count) = counts.get_mut(class) {
            *count += 1;
        }
    }
    counts
}

/// One cycle a stroke, from its reverse load to its peak, each counted (range / what it may carry)^[`SLOPE`].
fn weighted(values: &[[f64; 2]]) -> f64 {
    values.iter().map(|[peak, reverse]| (peak + reverse).max(0.0).powi(SLOPE)).sum()
}

fn loaded(outcomes: &[Outcome], card: &PressCard) -> Markup {
    let head = |n: usize| match (CLASSES.get(n), CLASSES.get(n + 1)) {
        (Some(from), Some(to)) => format!("{from:.0} to {to:.0} %"),
        _ => "over 100 %".to_owned(),
    };
    html! {
        h2 { "How far it is loaded" }
        div class="scroll" tabindex="0" role="region" aria-label="How far it is loaded" {
            table {
                thead { tr {
                    th scope="col" { "Strokes with a peak of" }
                    @for n in 0..CLASSES.len() { th scope="col" class="n" { (head(n)) } }
                    th scope="col" class="n" { "Fatigue-weighted count" }
                } }
                tbody { @for (name, values) in ratios(outcomes, card) {
                    tr {
                        th scope="row" { (name) }
                        @for count in classes(&values) { td class="n" { (count) } }
                        td class="n" { (format!("{:.4}", weighted(&values))) }
                    }
                } }
            }
        }
        p class="small" {
            "Percent of the rated load; of a column, of its even share. The last column counts one cycle a stroke, from its reverse load to its peak, "
            "as (range / what it may carry)" sup { (SLOPE) } ": a stroke at the rating counts 1. The exponent is common practice, no source; compare a press with itself over time, it is no fatigue life."
        }
    }
}

fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied()
}

/// Each column's share of the columns' peaks: at first, at last, percent.
fn drifts(outcomes: &[Outcome], card: &PressCard) -> Vec<(String, f64, f64)> {
    let names = card.spec.columns.names();
    let passed: Vec<&Outcome> = outcomes.iter().filter(|outcome| outcome.verdict == "pass").collect();
    let ends = ENDS.min(passed.len() / 2);
    let share = |outcome: &&Outcome, n: usize| {
        let sum: f64 = outcome.columns.iter().map(|column| column.peak_kn).sum();
        let peak = outcome.columns.get(n)?.peak_kn;
        (sum > 0.0).then_some(100.0 * peak / sum)
    };
    let one = |(n, name): (usize, &&str)| {
        let first = median(passed.iter().take(ends).filter_map(|outcome| share(outcome, n)).collect())?;
        let last = median(passed.iter().rev().take(ends).filter_map(|outcome| share(outcome, n)).collect())?;
        Some((name.to_uppercase(), first, last))
    };
    if names.len() < 2 { Vec::new() } else { names.iter().enumerate().filter_map(one).collect() }
}

fn drifting(outcomes: &[Outcome], card: &PressCard, press: &str) -> Markup {
    let found = drifts(outcomes, card);
    html! {
        @if !found.is_empty() {
            h2 { "Where the load goes" }
            div class="scroll" tabindex="0" role="region" aria-label="Column shares at first and at last" {
                table {
                    thead { tr { th scope="col" { "Column" } th scope="col" class="n" { "Share at first, %" } th scope="col" class="n" { "Share at last, %" } th scope="col" class="n" { "Moved by, points" } } }
                    tbody { @for (name, first, last) in &found {
                        tr { th scope="row" { (name) } td class="n" { (format!("{first:.2}")) } td class="n" { (format!("{last:.2}")) } td class="n" { (format!("{:+.2}", last - first)) } }
                    } }
                }
            }
            p class="small" {
                "Medians over " (ENDS) " passed strokes at either end, or half of them where there are fewer. Another die moves them too. A share that moves under one die "
                "is usually a gauge, a tie rod losing preload or a slide out of parallel (common practice, no source): "
                a href={ "/wear?press=" (part(press)) } { "see it over strokes" } "."
            }
        }
    }
}

fn over(rows: &[StrokeRow], unit: LoadUnit) -> Markup {
    html! {
        h2 { "Over the press's limits" }
        @if rows.is_empty() { p { "No stroke stored went over a limit of the press." } }
        @else {
            p { (counted(rows.len() as u64, "stroke")) "; the latest:" }
            @let latest: Vec<StrokeRow> = rows.iter().take(LISTED).cloned().collect();
            (super::strokes::table(&latest, unit, false))
        }
    }
}

/// The page.
///
/// # Errors
/// [`crate::console::respond::Refusal`] for a press that is not there.
pub async fn show(State(app): State<Arc<App>>, visitor: Visitor, Query(asked): Query<Asked>) -> Page {
    let store = Arc::clone(&app.store);
    let (presses, press, shown) = off_thread(move || {
        let presses = store.presses()?;
        let press = asked.press.filter(|press| !press.is_empty()).or_else(|| presses.first().cloned());
        let shown = press.as_ref().map(|press| read(&store, press)).transpose()?;
        Ok((presses, press, shown))
    })
    .await?;
    let unit = visitor.unit;
    let body = html! {
        h1 { "Press health" @if let Some(press) = &press { ", press " (press) } }
        form method="get" class="ask" {
            label { "Press " select name="press" { @for one in &presses { option value=(one) selected[press.as_ref() == Some(one)] { (one) } } } }
            button { "Show" }
        }
        @match (&press, &shown) {
            (Some(press), Some(shown)) => {
                p { "The latest " (shown.outcomes.len() + shown.blind) " strokes stored (" (LOOK_BACK) " at most)"
                    @if shown.blind > 0 { "; " (shown.blind) " with a faulty gauge are not counted: what it reads is no load" } ". Rated load " (load_unit(unit, shown.card.spec.rated_kn)) "." }
                @if !shown.outcomes.is_empty() {
                    (loaded(&shown.outcomes, &shown.card))
                    (drifting(&shown.outcomes, &shown.card, press))
                }
                (over(&shown.over, unit))
            }
            _ => { p { "No press yet." } }
        }
    };
    Ok(page(&visitor, "Press health", body))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stroke_at_the_rating_counts_one_and_each_falls_in_one_class() {
        let values = [[1.0, 0.0], [0.2, 0.0], [0.25, 0.0], [1.2, 0.0], [0.0, 0.0]];
        assert_eq!(classes(&values), [2, 1, 0, 0, 0, 2]);
        assert_eq!(weighted(&[[1.0, 0.0]]), 1.0);
        assert!((weighted(&[[0.9, 0.1], [0.5, 0.0]]) - (1.0 + 0.5_f64.powi(5))).abs() < 1e-12);
        assert_eq!(median(vec![3.0, 1.0, 2.0]), Some(2.0));
        assert_eq!(median(Vec::new()), None);
    }
}
