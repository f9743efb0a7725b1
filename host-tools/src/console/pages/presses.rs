//! What each press does now: all of them, or one to be read from afar.

use std::sync::Arc;

use axum::extract::{Path, State};
use maud::{Markup, html};

use super::words::{lamp, load, load_unit, part, time};
use crate::card::press::PressCard;
use crate::console::app::App;
use crate::console::feed::{FeedState, FeedStatus};
use crate::console::live::says;
use crate::console::respond::{Page, Refusal, Visitor, off_thread, page};
use crate::console::store::{Store, StrokeFilter, StrokeRow};
use crate::figure::LoadUnit;

/// Strokes shown as marks.
const MARKS: usize = 24;
/// Strokes listed on a press's own page.
const LISTED: usize = 30;

/// What is shown of a press.
struct Now {
    card: PressCard,
    status: Option<FeedStatus>,
    recent: Vec<StrokeRow>,
    stop: Option<StrokeRow>,
}

fn now(store: &Store, name: &str, status: Option<FeedStatus>, most: usize) -> Result<Now, Refusal> {
    let filter = StrokeFilter { press: Some(name.to_owned()), ..StrokeFilter::default() };
    let stops = StrokeFilter { least: 2, ..filter.clone() };
    Ok(Now {
        card: store.press(name)?,
        status,
        recent: store.strokes(&filter, most)?,
        stop: store.strokes(&stops, 1)?.into_iter().next(),
    })
}

fn source(status: Option<&FeedStatus>) -> Markup {
    let Some(status) = status else { return html! { "no strokes come in" } };
    html! {
        @match &status.die {
            Some(die) => {
                "die " a href={ "/die/" (part(&status.press)) "/" (part(die)) } { (die) }
                @if status.draft { " (draft: judges here, holds no press)" }
            }
            None => { "no die: the press's own limits judge" }
        }
        ". From " (status.source)
        @match status.state {
            FeedState::Running => {}
            FeedState::Away => { ". " strong { "The line to it is lost" } " and sought; strokes made meanwhile follow as far as the controller holds them" }
            FeedState::Ended => { ", which has ended" }
            FeedState::Failed => { ", which failed: " (status.problem.as_deref().unwrap_or("no reason known")) }
        }
    }
}

fn stop_words(stop: Option<&StrokeRow>) -> Markup {
    html! {
        @match stop {
            Some(stop) => { a href={ "/stroke/" (stop.id) } { "stroke " (stop.stroke) ", " (stop.verdict) } ": " (says(&stop.reasons)) }
            None => { "none stored" }
        }
    }
}

fn press(now: &Now, unit: LoadUnit, heading: &Markup) -> Markup {
    let last = now.recent.first();
    let rated = now.card.spec.rated_kn;
    let percent = last.map(|row| 100.0 * row.peak_kn / rated);
    html! {
        article class="press" data-press=(now.card.name) data-rated=(rated) {
            (heading)
            p class="big" {
                span data-lamp="" { @if let Some(row) = last { (lamp(row.verdict)) } @else { "no stroke yet" } }
                " "
                span class="peak" {
                    span data-peak="" { (last.map_or("–".into(), |row| load(unit, row.peak_kn))) }
                    " " span class="unit" { (unit.symbol()) }
                }
            }
            meter min="0" max="120" low="80" high="100" value=(format!("{:.1}", percent.unwrap_or(0.0))) aria-label="Peak as a share of the rated load, percent" data-meter="" {}
            p class="share" {
                span data-percent="" { (percent.map_or("–".into(), |percent| format!("{percent:.0}"))) } " % of " (load_unit(unit, rated)) " rated"
                // There for the stroke to come, too.
                span class="time" data-when="" { (last.map(|row| time(row.at_ms)).unwrap_or_default()) }
            }
            p class="says" data-says="" { (last.map(|row| says(&row.reasons)).unwrap_or_default()) }
            p class="stop" { "Last stop: " span data-stop="" { (stop_words(now.stop.as_ref())) } }
            ol class="row" data-row="" aria-label="Latest strokes, newest first" {
                @for row in now.recent.iter().take(MARKS) {
                    li { a href={ "/stroke/" (row.id) } title={ "stroke " (row.stroke) ", " (row.verdict) } { (lamp(row.verdict)) } }
                }
            }
            p class="source" { (source(now.status.as_ref())) }
        }
    }
}

/// Where strokes come in: what the script needs to know, and whether they do.
fn following(app: &App, unit: LoadUnit, newest: i64, only: Option<&str>) -> Markup {
    html! {
        p class="link" role="status" data-live="" data-after=(newest) data-press-only=[only] data-feeds=(app.feeds_stamp())
            data-per-kn=(unit.of_kn(1.0)) data-unit=(unit.symbol()) {
            "Strokes as of the loading of this page."
        }
    }
}

/// All presses.
///
/// # Errors
/// [`Refusal`] if the database fails.
pub async fn overview(State(app): State<Arc<App>>, visitor: Visitor) -> Page {
    let newest = *app.store.newest().borrow();
    let (store, statuses) = (Arc::clone(&app.store), app.statuses());
    let presses = off_thread(move || {
        let names = store.presses()?;
        let one = |name: &String| {
            let status = statuses.iter().find(|status| status.press == *name).cloned();
            now(&store, name, status, MARKS)
        };
        names.iter().map(one).collect::<Result<Vec<_>, _>>()
    })
    .await?;
    let body = html! {
        h1 { "Presses" }
        @if presses.is_empty() { p { "No press yet: start the console with a recording or a scenario." } }
        (following(&app, visitor.unit, newest, None))
        div class="presses" {
            @for one in &presses {
                (press(one, visitor.unit, &html! { h2 { a href={ "/press/" (part(&one.card.name)) } { "Press " (one.card.name) } } }))
            }
        }
    };
    Ok(page(&visitor, "Presses", body))
}

/// One press.
///
/// # Errors
/// [`Refusal`] for a press that is not there or a failing database.
pub async fn one(State(app): State<Arc<App>>, visitor: Visitor, Path(name): Path<String>) -> Page {
    let newest = *app.store.newest().borrow();
    let (store, status) = (Arc::clone(&app.store), app.status(&name));
    let shown = off_thread(move || now(&store, &name, status, LISTED)).await?;
    let unit = visitor.unit;
    let name = &shown.card.name;
    let picture = shown.recent.first().map(|row| format!("/stroke/{}/signature.svg", row.id));
    let body = html! {
        div class="wall" {
            (press(&shown, unit, &html! { h1 { "Press " (name) } }))
        }
        (following(&app, unit, newest, Some(name)))
        @if let Some(picture) = picture {
            h2 { "Signature of the latest stroke" }
            div class="scroll" tabindex="0" role="region" aria-label="Signature of the latest stroke" {
                img class="figure" src=(picture) alt="Signature of the latest stroke over the die's envelope; its own page has the figures" width="1200" height="700" data-latest="";
            }
        }
        h2 { "Latest strokes" }
        (super::strokes::table(&shown.recent, unit, true))
        p { a href={ "/strokes?press=" (part(name)) } { "All strokes of this press" } ", "
            a href={ "/journal?press=" (part(name)) } { "its journal" } ", "
            a href={ "/wear?press=" (part(name)) } { "wear and strokes left" } ", "
            a href={ "/health?press=" (part(name)) } { "press health" } ", "
            a href={ "/report/shift/" (part(name)) } { "report of the last 8 hours" } "." }
    };
    Ok(page(&visitor, &format!("Press {name}"), body))
}
