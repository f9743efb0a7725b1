//! How a press and its dies change over strokes: peaks and verdicts, corner shares.

use std::sync::Arc;

use axum::extract::{Path, Query, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use maud::html;
use serde::Deserialize;

use super::words::part;
use crate::console::app::App;
use crate::console::respond::{Page, Refusal, Visitor, off_thread, page};
use crate::console::store::{Store, StrokeFilter, outcome_from_json};
use crate::figure::{Figure, LoadUnit, Size, for_page};
use crate::picture::{Caption, over_strokes, shares};
use crate::session::Outcome;

/// Strokes looked back over.
const LOOK_BACK: usize = 5000;

/// Of which press.
#[derive(Debug, Default, Deserialize)]
pub struct Asked {
    press: Option<String>,
}

/// The page: pictures over strokes.
///
/// # Errors
/// [`Refusal`] for a press that is not there.
pub async fn show(State(app): State<Arc<App>>, visitor: Visitor, Query(asked): Query<Asked>) -> Page {
    let store = Arc::clone(&app.store);
    let presses = off_thread(move || Ok(store.presses()?)).await?;
    let press = asked.press.filter(|press| !press.is_empty()).or_else(|| presses.first().cloned());
    let body = html! {
        h1 { "Wear and drift" @if let Some(press) = &press { ", press " (press) } }
        form method="get" class="ask" {
            label { "Press " select name="press" { @for one in &presses { option value=(one) selected[press.as_ref() == Some(one)] { (one) } } } }
            button { "Show" }
        }
        @if let Some(press) = &press {
            p { "The latest strokes of the latest run, " (LOOK_BACK) " at most." }
            @for (name, says) in [("peaks.svg", "Peaks, reverse loads and verdicts over strokes"), ("shares.svg", "Each column's share of the load over strokes")] {
                h2 { (says) }
                div class="scroll" tabindex="0" role="region" aria-label=(says) {
                    img class="figure" src={ "/wear/" (part(press)) "/" (name) } alt=(says) width="1200" height="700";
                }
            }
        } @else { p { "No press yet." } }
    };
    Ok(page(&visitor, "Wear and drift", body))
}

/// The latest strokes of a press's latest run, in order.
///
/// # Errors
/// [`Refusal`] if the database fails.
pub fn latest_run(store: &Store, press: &str, most: usize) -> Result<Vec<Outcome>, Refusal> {
    let filter = StrokeFilter { press: Some(press.to_owned()), ..StrokeFilter::default() };
    let newest = store.strokes(&filter, most)?;
    let run = newest.first().map(|row| row.run);
    let first = newest.iter().rev().find(|row| Some(row.run) == run).map_or(i64::MAX, |row| row.id);
    let rows = store.outcomes(&filter, most)?;
    Ok(rows.iter().filter(|(id, _)| *id >= first).filter_map(|(_, json)| outcome_from_json(json)).collect())
}

fn draw(store: &Store, press: &str, name: &str, unit: LoadUnit) -> Result<String, Refusal> {
    let card = store.press(press)?;
    let outcomes = latest_run(store, press, LOOK_BACK)?;
    if outcomes.is_empty() {
        return Err(Refusal::missing("picture: no strokes are stored"));
    }
    let caption = Caption { subtitle: format!("Press {press}, {} strokes", outcomes.len()) };
    let figure: Box<dyn Figure> = match name {
        "peaks.svg" => Box::new(over_strokes(&outcomes, &card, unit, &caption)),
        "shares.svg" => Box::new(shares(&outcomes, &card, &caption)),
        _ => return Err(Refusal::missing("picture")),
    };
    let svg = figure.draw(Size::NORMAL);
    Ok(for_page(&svg.map_err(|why| Refusal::bad(format!("Cannot be drawn: {why}.")))?))
}

/// A picture over strokes.
///
/// # Errors
/// [`Refusal`] for a press or picture that is not there.
pub async fn picture(
    State(app): State<Arc<App>>,
    visitor: Visitor,
    Path((press, name)): Path<(String, String)>,
) -> Result<Response, Refusal> {
    let store = Arc::clone(&app.store);
    let svg = off_thread(move || draw(&store, &press, &name, visitor.unit)).await?;
    Ok(([(header::CONTENT_TYPE, "image/svg+xml")], svg).into_response())
}
