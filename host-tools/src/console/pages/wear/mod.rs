//! Wear of a press under one die: what changed, what trends, strokes left before a limit, and what the latest run did.

mod asked;
mod told;

use std::sync::Arc;

use axum::extract::{Path, Query, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use maud::{Markup, html};

use super::words::part;
use crate::console::app::App;
use crate::console::respond::{Page, Refusal, Visitor, off_thread, page, unit_word};
use crate::console::store::{Store, StrokeFilter, outcome_from_json};
use crate::console::wear::Worn;
use crate::figure::{Figure, LoadUnit, Size, for_page};
use crate::picture::{Caption, over_strokes, shares, trend};
use crate::session::Outcome;
use crate::trend::{Analysis, State as Course};
use asked::{Among, among};
pub use asked::{Asked, worn};
use told::{basis, changed, grouped, headline, quantities, symbol};

/// Strokes of the latest run that are drawn.
const LATEST: usize = 5000;

fn form(shown: &Shown, asked: &Asked, unit: LoadUnit) -> Markup {
    let die = |of: &Option<String>| of.clone().unwrap_or_default();
    let chosen = shown.chosen.as_ref();
    let of = |name: &str| {
        shown.analysis.iter().flat_map(|found| &found.quantities).find(|one| one.quantity == name)
    };
    let one = chosen.and_then(|name| of(name));
    let limit =
        one.and_then(|one| asked.limit_in(one, unit)).map(|limit| limit.to_string()).unwrap_or_default();
    html! {
        form method="get" class="ask" {
            label { "Press " select name="press" { @for one in &shown.among.presses { option value=(one) selected[shown.among.press.as_ref() == Some(one)] { (one) } } } }
            label { "Die " select name="die" { @for one in &shown.among.dies {
                option value=(die(one)) selected[shown.worn.as_ref().is_some_and(|worn| worn.die == *one)] { (one.as_deref().unwrap_or("without a die")) }
            } } }
            label { "Quantity " select name="quantity" {
                @for one in shown.analysis.iter().flat_map(|found| &found.quantities) { option value=(one.quantity) selected[chosen == Some(&one.quantity)] { (one.title) } }
            } }
            label {
                "Its limit" @if let Some(one) = one { ", " (symbol(one, unit)) } " "
                input name="limit" inputmode="decimal" size="8" maxlength="20" value=(limit);
            }
            input type="hidden" name="unit" value=(unit_word(unit));
            button { "Show" }
        }
    }
}

/// What the page is made of.
struct Shown {
    among: Among,
    worn: Option<Arc<Worn>>,
    analysis: Option<Analysis>,
    /// The quantity that is drawn, by its name.
    chosen: Option<String>,
}

/// The page.
///
/// # Errors
/// [`Refusal`] for a press or quantity that is not there, or a limit that is no number.
pub async fn show(State(app): State<Arc<App>>, visitor: Visitor, Query(mut asked): Query<Asked>) -> Page {
    let unit = visitor.unit;
    let mut shown = Shown { among: among(&app, &asked).await?, worn: None, analysis: None, chosen: None };
    let mut when = Vec::new();
    if let Some(press) = &shown.among.press {
        let worn = app.wears.of(&app.store, press, shown.among.die.as_deref()).await?;
        asked = asked.fitted(&worn);
        let (store, asked, of) = (Arc::clone(&app.store), asked.clone(), Arc::clone(&worn));
        let found = off_thread(move || {
            let (analysis, chosen) = asked.looked(&of)?;
            let at = |stroke| of.id(stroke).and_then(|id| store.stroke(id).ok()).map(|(row, _)| row.at_ms);
            let when = analysis.changes.iter().map(|change| at(change.stroke)).collect();
            Ok((analysis, chosen, when))
        });
        let (analysis, chosen, times) = found.await?;
        (shown.worn, shown.analysis, shown.chosen, when) = (Some(worn), Some(analysis), chosen, times);
    }
    let drawn = |address: String, says: &str| {
        html! {
            div class="scroll" tabindex="0" role="region" aria-label=(says) {
                img class="figure" src=(address) alt=(says) width="1200" height="700";
            }
        }
    };
    let body = html! {
        h1 { "Wear and strokes left" @if let Some(press) = &shown.among.press { ", press " (press) } }
        (form(&shown, &asked, unit))
        @match (&shown.among.press, &shown.worn, &shown.analysis) {
            (Some(press), Some(worn), Some(analysis)) => {
                (headline(analysis, unit))
                (basis(worn, analysis))
                // A few points on an empty picture say less than the words above.
                @let drawn_one = analysis.quantities.iter().find(|one| shown.chosen.as_ref() == Some(&one.quantity));
                @let title = drawn_one.filter(|one| one.state != Course::NotEnough).map(|one| &one.title);
                @if let Some(title) = title {
                    (drawn(format!("/wear/{}/trend.svg?{}", part(press), asked.query(worn.die.as_deref())), &format!("{title} over strokes: each coil's value, the line through them, what changed, and the way to the limit")))
                }
                @if !analysis.quantities.is_empty() {
                    (changed(worn, analysis, &when))
                    (quantities(analysis, unit))
                    h2 { "The latest run" }
                    p { "Its latest strokes, " (grouped(LATEST as f64)) " at most, whatever die made them." }
                    @for (name, says) in [("peaks.svg", "Peaks, reverse loads and verdicts over strokes"), ("shares.svg", "Each column's share of the load over strokes")] {
                        h3 { (says) }
                        (drawn(format!("/wear/{}/{name}", part(press)), says))
                    }
                }
            }
            _ => { p { "No press yet." } }
        }
    };
    Ok(page(&visitor, "Wear and strokes left", body))
}

/// The latest strokes of a press's latest run, in order.
fn latest_run(store: &Store, press: &str) -> Result<Vec<Outcome>, Refusal> {
    let filter = StrokeFilter { press: Some(press.to_owned()), ..StrokeFilter::default() };
    let newest = store.strokes(&filter, LATEST)?;
    let run = newest.first().map(|row| row.run);
    let first = newest.iter().rev().find(|row| Some(row.run) == run).map_or(i64::MAX, |row| row.id);
    let rows = store.outcomes(&filter, LATEST)?;
    Ok(rows.iter().filter(|(id, _)| *id >= first).filter_map(|(_, json)| outcome_from_json(json)).collect())
}

fn draw(figure: &dyn Figure) -> Result<String, Refusal> {
    let svg = figure.draw(Size::NORMAL);
    Ok(for_page(&svg.map_err(|why| Refusal::bad(format!("Cannot be drawn: {why}.")))?))
}

fn draw_latest(store: &Store, press: &str, name: &str, unit: LoadUnit) -> Result<String, Refusal> {
    let card = store.press(press)?;
    let outcomes = latest_run(store, press)?;
    if outcomes.is_empty() {
        return Err(Refusal::missing("picture: no strokes are stored"));
    }
    let caption = Caption { subtitle: format!("Press {press}, {} strokes", outcomes.len()) };
    match name {
        "peaks.svg" => draw(&over_strokes(&outcomes, &card, unit, &caption)),
        "shares.svg" => draw(&shares(&outcomes, &card, &caption)),
        _ => Err(Refusal::missing("picture")),
    }
}

fn draw_trend(worn: &Worn, asked: &Asked, unit: LoadUnit) -> Result<String, Refusal> {
    let (analysis, chosen) = asked.looked(worn)?;
    let of = analysis.quantities.iter().find(|one| chosen.as_ref() == Some(&one.quantity));
    let of = of.ok_or_else(|| Refusal::missing("picture: no strokes are stored"))?;
    let die = worn.die.as_ref().map(|die| format!(", die {die}")).unwrap_or_default();
    let caption = Caption { subtitle: format!("Press {}{die}", worn.card.name) };
    draw(&trend(&analysis, of, &caption).in_unit(unit))
}

/// A picture over strokes.
///
/// # Errors
/// [`Refusal`] for a press, die, quantity or picture that is not there.
pub async fn picture(
    State(app): State<Arc<App>>,
    visitor: Visitor,
    Path((press, name)): Path<(String, String)>,
    Query(asked): Query<Asked>,
) -> Result<Response, Refusal> {
    let unit = visitor.unit;
    let svg = if name == "trend.svg" {
        let worn = worn(&app, &press, &asked).await?;
        off_thread(move || draw_trend(&worn, &asked, unit)).await?
    } else {
        let store = Arc::clone(&app.store);
        off_thread(move || draw_latest(&store, &press, &name, unit)).await?
    };
    Ok(([(header::CONTENT_TYPE, "image/svg+xml")], svg).into_response())
}
