//! One stroke: its verdict and why, its pictures with a cursor, what judged it.

use std::sync::Arc;

use axum::extract::{Path, Query, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use maud::{Markup, PreEscaped, html};
use serde::Deserialize;

use super::words::stroke::{diagnosis, figures, findings};
use super::words::{lamp, part, time};
use crate::console::app::App;
use crate::console::picture::{Kind, Whole};
use crate::console::respond::{Page, Refusal, Visitor, off_thread, page};
use crate::console::store::{Run, Store, StrokeFilter};
use crate::figure::LoadUnit;
use crate::recording::{Header, Precision, Writer};

/// The part of the axis to be shown.
#[derive(Debug, Default, Clone, Copy, Deserialize)]
pub struct Span {
    from: Option<f64>,
    to: Option<f64>,
}

impl Span {
    fn range(self) -> Option<(f64, f64)> {
        let (from, to) = (self.from?, self.to?);
        (from.is_finite() && to.is_finite() && from < to).then_some((from, to))
    }
}

struct Shown {
    whole: Whole,
    run: Run,
    before: Option<i64>,
    after: Option<i64>,
    stop_before: Option<i64>,
    pictures: [Option<String>; 3],
}

fn read(store: &Store, id: i64, unit: LoadUnit, span: Option<(f64, f64)>) -> Result<Shown, Refusal> {
    let whole = Whole::read(store, id)?;
    let of_press = StrokeFilter { press: Some(whole.row.press.clone()), ..StrokeFilter::default() };
    let one = |filter: StrokeFilter| -> Result<Option<i64>, Refusal> {
        Ok(store.strokes(&filter, 1)?.first().map(|row| row.id))
    };
    Ok(Shown {
        run: store.run(whole.row.run)?,
        before: one(StrokeFilter { before: Some(id), ..of_press.clone() })?,
        after: one(StrokeFilter { after: Some(id), ..of_press.clone() })?,
        stop_before: one(StrokeFilter { before: Some(id), least: 2, ..of_press })?,
        pictures: [
            whole.draw(store, Kind::Signature, unit, span)?,
            whole.draw(store, Kind::Height, unit, None)?,
            whole.draw(store, Kind::Centre, unit, None)?,
        ],
        whole,
    })
}

fn judged_by(shown: &Shown) -> Markup {
    let row = &shown.whole.row;
    html! {
        h2 { "Where it comes from" }
        dl class="facts" {
            dt { "Press" } dd { a href={ "/press/" (part(&row.press)) } { (row.press) } }
            dt { "Judged by" } dd {
                @match (&row.die, shown.whole.version) {
                    (Some(die), Some(version)) => { "die " a href={ "/die/" (part(&row.press)) "/" (part(die)) } { (die) } ", card version " (version) }
                    _ => { "the press's own limits" }
                }
            }
            dt { "Source" } dd { (shown.run.source) ", run " (shown.run.id) ", stroke " (row.stroke) }
            dt { "Stored" } dd { (time(row.at_ms)) " as number " (row.id) }
            dt { "Take away" } dd {
                a href={ "/report/stroke/" (row.id) } { "report" } ", "
                a href={ "/api/strokes/" (row.id) } { "JSON" }
                @if shown.whole.readings.is_some() { ", " a href={ "/stroke/" (row.id) "/recording.csv" } { "recording (CSV)" } }
                @for (name, label) in [("signature.svg", "signature (SVG)"), ("height.svg", "slide height (SVG)"), ("centre.svg", "load centre (SVG)")] {
                    ", " a href={ "/stroke/" (row.id) "/" (name) } { (label) }
                }
            }
        }
    }
}

fn read_signature(shown: &Shown, svg: &str, span: Option<(f64, f64)>) -> Markup {
    let id = shown.whole.row.id;
    html! {
        figure class="reads" data-readings={ "/api/strokes/" (id) "/readings" } data-picture={ "/stroke/" (id) "/signature.svg" } {
            figcaption id="how" {
                "Signature over the die's envelope. Point at it, tap it or, with the picture in focus, press the arrow keys to read values; "
                "drag over a part or press + and − for a closer look, 0 for the whole stroke."
            }
            form method="get" class="ask" {
                label { "From (as on the picture's axis) " input name="from" inputmode="decimal" value=(span.map(|span| span.0.to_string()).unwrap_or_default()) size="7"; }
                label { "to " input name="to" inputmode="decimal" value=(span.map(|span| span.1.to_string()).unwrap_or_default()) size="7"; }
                button { "Closer" } " " a href={ "/stroke/" (id) } { "Whole stroke" }
            }
            p class="steps" role="group" aria-label="Cursor and closer look" {
                @for (word, what) in [("back", "Cursor back"), ("on", "Cursor on"), ("closer", "Closer there"), ("wider", "Wider")] {
                    button type="button" data-do=(word) { (what) }
                }
            }
            output class="values" aria-live="polite" data-values="" { "No place chosen." }
            div class="scroll picture" tabindex="0" role="application" aria-label="Signature; arrow keys move a cursor" aria-describedby="how" data-surface="" { (PreEscaped(svg)) }
        }
    }
}

/// One stroke.
///
/// # Errors
/// [`Refusal`] for a stroke that is not there.
pub async fn show(
    State(app): State<Arc<App>>,
    visitor: Visitor,
    Path(id): Path<i64>,
    Query(span): Query<Span>,
) -> Page {
    let (store, unit, range) = (Arc::clone(&app.store), visitor.unit, span.range());
    let shown = off_thread(move || read(&store, id, unit, range)).await?;
    let outcome = &shown.whole.outcome;
    let step = |to: Option<i64>, label: &str, key: &str| {
        html! { @if let Some(to) = to { a href={ "/stroke/" (to) } data-key=(key) { (label) } } @else { span class="off" { (label) } } }
    };
    let title = format!("Stroke {} of press {}", outcome.stroke, shown.whole.row.press);
    let [signature, height, centre] = &shown.pictures;
    let body = html! {
        h1 { (title) " " (lamp(outcome.verdict)) }
        p class="steps" { (step(shown.before, "Stroke before", "b")) " " (step(shown.after, "Stroke after", "n")) " " (step(shown.stop_before, "Stop before", "s")) }
        h2 { "Why" }
        (findings(outcome))
        @if let Some(told) = &shown.whole.told {
            h2 { "What it usually is" }
            (diagnosis(told, outcome.stroke, unit))
        }
        @match signature {
            Some(svg) => { h2 { "Signature" } (read_signature(&shown, svg, range)) }
            None => { p { "The readings of this stroke were not kept: of strokes that pass only the latest are." } }
        }
        h2 { "Figures" }
        (figures(outcome, unit))
        @if let Some(svg) = height {
            h2 { "Load against slide height" }
            div class="scroll" tabindex="0" role="region" aria-label="Load against slide height" { (PreEscaped(svg)) }
        }
        @if let Some(svg) = centre {
            h2 { "Load centre, with the strokes before" }
            div class="scroll" tabindex="0" role="region" aria-label="Load centre" { (PreEscaped(svg)) }
        }
        (judged_by(&shown))
    };
    Ok(page(&visitor, &title, body))
}

/// A stroke's picture or its readings as a file.
///
/// # Errors
/// [`Refusal`] for what is not there.
pub async fn picture(
    State(app): State<Arc<App>>,
    visitor: Visitor,
    Path((id, name)): Path<(i64, String)>,
    Query(span): Query<Span>,
) -> Result<Response, Refusal> {
    let store = Arc::clone(&app.store);
    if name == "recording.csv" {
        let bytes = off_thread(move || recording(&store, id)).await?;
        return Ok(super::strokes::csv_answer(&format!("stroke-{id}.csv"), bytes));
    }
    let kind = Kind::of(&name).ok_or_else(|| Refusal::missing("picture"))?;
    let drawn = off_thread(move || {
        let whole = Whole::read(&store, id)?;
        whole.draw(&store, kind, visitor.unit, span.range())
    });
    let svg = drawn.await?.ok_or_else(|| Refusal::missing("picture: the stroke's readings were not kept"))?;
    Ok(([(header::CONTENT_TYPE, "image/svg+xml")], svg).into_response())
}

/// A kept stroke as a recording, every reading as it was judged.
fn recording(store: &Store, id: i64) -> Result<Vec<u8>, Refusal> {
    let whole = Whole::read(store, id)?;
    let kept =
        whole.readings.as_ref().ok_or_else(|| Refusal::missing("recording: the readings were not kept"))?;
    let rows = kept.rows(whole.outcome.stroke, whole.outcome.coil);
    let has = |of: fn(&crate::recording::Row) -> f64| rows.first().is_some_and(|row| !of(row).is_nan());
    let header = Header {
        has_angle: has(|row| row.angle_deg),
        has_time: has(|row| row.time_s),
        has_coil: true,
        ..Header::over_angle(whole.card.spec.columns)
    };
    let failed = |why: &dyn std::fmt::Display| Refusal::bad(format!("Cannot be written: {why}."));
    let mut writer = Writer::new(Vec::new(), header, Precision::Exact).map_err(|why| failed(&why))?;
    for row in &rows {
        writer.write(row).map_err(|why| failed(&why))?;
    }
    writer.finish().map_err(|why| failed(&why))
}
