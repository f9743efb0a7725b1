//! Stored strokes: a table to look through, and as CSV.

use std::sync::Arc;

use axum::extract::{Query, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use maud::{Markup, html};
use serde::Deserialize;

use super::words::{lamp, load, part, time, time_of};
use crate::console::app::App;
use crate::console::export::{Export, Form, MOST_ROWS};
use crate::console::live::says;
use crate::console::respond::{Page, Refusal, Visitor, off_thread, page};
use crate::console::store::{StrokeFilter, StrokeRow};
use crate::figure::LoadUnit;
use crate::session::verdict_rank;

const LISTED: usize = 100;

/// Which strokes, as an address says it.
#[derive(Debug, Default, Clone, Deserialize)]
pub struct Asked {
    press: Option<String>,
    die: Option<String>,
    verdict: Option<String>,
    from: Option<String>,
    to: Option<String>,
    before: Option<i64>,
    after: Option<i64>,
}

fn some(text: Option<String>) -> Option<String> {
    text.filter(|text| !text.trim().is_empty())
}

/// A time as a form gives it; none for an empty field.
///
/// # Errors
/// [`Refusal`] for a time that cannot be understood.
pub(super) fn moment(text: Option<String>) -> Result<Option<i64>, Refusal> {
    let Some(text) = some(text) else { return Ok(None) };
    let refused = || Refusal::bad("A time is written 2026-01-05 or 2026-01-05T06:00, in UTC.");
    time_of(&text).map(Some).ok_or_else(refused)
}

impl Asked {
    /// As the database takes it.
    ///
    /// # Errors
    /// [`Refusal`] for a time or verdict that cannot be understood.
    pub fn filter(self) -> Result<StrokeFilter, Refusal> {
        let least = match some(self.verdict) {
            None => 0,
            Some(word) => verdict_rank(&word)
                .ok_or_else(|| Refusal::bad("A verdict is pass, note, hold or trip."))?
                as i64,
        };
        Ok(StrokeFilter {
            press: some(self.press),
            die: some(self.die),
            least,
            before: self.before,
            after: self.after,
            from_ms: moment(self.from)?,
            to_ms: moment(self.to)?,
        })
    }

    /// From when to when, as an address has it.
    fn times(&self) -> String {
        let one = |(key, value): (&str, &Option<String>)| {
            let value = value.as_deref().filter(|value| !value.is_empty())?;
            Some(format!("{key}={}", part(value)))
        };
        [("from", &self.from), ("to", &self.to)].into_iter().filter_map(one).collect::<Vec<_>>().join("&")
    }

    fn query(&self, before: Option<i64>) -> String {
        let mut pairs = Vec::new();
        let texts = [
            ("press", &self.press),
            ("die", &self.die),
            ("verdict", &self.verdict),
            ("from", &self.from),
            ("to", &self.to),
        ];
        for (key, value) in texts {
            if let Some(value) = value.as_deref().filter(|value| !value.is_empty()) {
                pairs.push(format!("{key}={}", part(value)));
            }
        }
        pairs.extend(before.map(|before| format!("before={before}")));
        pairs.join("&")
    }
}

/// Strokes as a table; `live` marks it for the script that adds new ones.
#[must_use]
pub fn table(rows: &[StrokeRow], unit: LoadUnit, live: bool) -> Markup {
    html! {
        div class="scroll" tabindex="0" role="region" aria-label="Strokes" {
            table class="many" {
                thead { tr {
                    th scope="col" { "Stroke" } th scope="col" { "Verdict" } th scope="col" class="n" { "Peak, " (unit.symbol()) }
                    th scope="col" class="n" { "Reverse, " (unit.symbol()) } th scope="col" class="n" { "Work, kJ" }
                    th scope="col" { "Press" } th scope="col" { "Die" } th scope="col" { "Why" } th scope="col" { "When" }
                } }
                tbody data-strokes=[live.then_some("")] {
                    @for row in rows {
                        tr {
                            td { a href={ "/stroke/" (row.id) } { (row.stroke) } }
                            td { (lamp(row.verdict)) }
                            td class="n" { (load(unit, row.peak_kn)) }
                            td class="n" { (load(unit, row.reverse_kn)) }
                            td class="n" { (row.work_kj.map_or("–".into(), |work| format!("{work:.3}"))) }
                            td { (row.press) }
                            td { (row.die.as_deref().unwrap_or("–")) }
                            td { (says(&row.reasons)) }
                            td class="time" { (time(row.at_ms)) }
                        }
                    }
                }
            }
        }
    }
}

/// Looks through strokes.
///
/// # Errors
/// [`Refusal`] for a question that cannot be understood.
pub async fn show(State(app): State<Arc<App>>, visitor: Visitor, Query(asked): Query<Asked>) -> Page {
    let filter = asked.clone().filter()?;
    let store = Arc::clone(&app.store);
    let (rows, presses) = off_thread(move || Ok((store.strokes(&filter, LISTED)?, store.presses()?))).await?;
    let value = |text: &Option<String>| text.clone().unwrap_or_default();
    let body = html! {
        h1 { "Strokes" }
        form method="get" class="ask" {
            label { "Press " select name="press" {
                option value="" { "all" }
                @for press in &presses { option value=(press) selected[asked.press.as_ref() == Some(press)] { (press) } }
            } }
            label { "Verdict at least " select name="verdict" {
                @for word in ["pass", "note", "hold", "trip"] { option value=(word) selected[asked.verdict.as_deref() == Some(word)] { (word) } }
            } }
            label { "Die " input name="die" value=(value(&asked.die)); }
            label { "From (UTC) " input name="from" value=(value(&asked.from)) placeholder="2026-01-05T06:00"; }
            label { "Before " input name="to" value=(value(&asked.to)) placeholder="2026-01-05T14:00"; }
            button { "Show" }
        }
        (table(&rows, visitor.unit, false))
        p {
            @if rows.len() == LISTED && let Some(last) = rows.last() {
                a href={ "/strokes?" (asked.query(Some(last.id))) } { "Older strokes" } ". "
            }
            (takes("strokes", &asked.query(None)))
            @if let Some(press) = asked.press.as_deref().filter(|press| !press.is_empty()) {
                " " a href={ "/report/shift/" (part(press)) "?" (asked.times()) } { "Report of this press in this time" } "."
            }
        }
    };
    Ok(page(&visitor, "Strokes", body))
}

/// A CSV file as an answer.
pub(super) fn csv_answer(name: &str, bytes: Vec<u8>) -> Response {
    let headers = [
        (header::CONTENT_TYPE, "text/csv; charset=utf-8".to_owned()),
        (header::CONTENT_DISPOSITION, format!("attachment; filename=\"{name}\"")),
    ];
    (headers, bytes).into_response()
}

async fn export(app: Arc<App>, asked: Asked, form: Form) -> Result<Response, Refusal> {
    let filter = asked.filter()?;
    off_thread(move || Export::strokes(&app.store.strokes(&filter, MOST_ROWS)?).answer(form)).await
}

/// Strokes as CSV.
///
/// # Errors
/// [`Refusal`] for a question that cannot be understood.
pub async fn csv(State(app): State<Arc<App>>, Query(asked): Query<Asked>) -> Result<Response, Refusal> {
    export(app, asked, Form::Csv).await
}

/// Strokes as Parquet.
///
/// # Errors
/// [`Refusal`] for a question that cannot be understood.
#[cfg(feature = "parquet")]
pub async fn parquet(State(app): State<Arc<App>>, Query(asked): Query<Asked>) -> Result<Response, Refusal> {
    export(app, asked, Form::Parquet).await
}

/// Links to a table as files, of strokes or of the journal; `query` is what it was asked for.
pub(super) fn takes(name: &str, query: &str) -> Markup {
    html! {
        "Take these away as " a href={ "/" (name) ".csv?" (query) } { "CSV" }
        @if cfg!(feature = "parquet") { " or " a href={ "/" (name) ".parquet?" (query) } { "Parquet" } }
        " (loads in kN, newest first, " (MOST_ROWS) " at most)."
    }
}
