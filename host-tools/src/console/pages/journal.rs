//! The journal: what happened and who did it, with search and as CSV.

use std::sync::Arc;

use axum::extract::{Query, State};
use axum::response::Response;
use maud::{Markup, html};
use serde::Deserialize;

use super::strokes::{moment, takes};
use super::words::{part, time};
use crate::console::app::App;
use crate::console::export::{Export, Form, MOST_ROWS};
use crate::console::respond::{Page, Refusal, Visitor, off_thread, page};
use crate::console::store::{EventFilter, EventRow};

const LISTED: usize = 100;
/// Longest text that is sought, bytes: SQLite takes no pattern of 50,000, and nobody journals so much.
const LONGEST_SOUGHT: usize = 1000;
/// Kinds of events, for the choice on the page.
const KINDS: [&str; 11] = [
    "stroke-held",
    "stroke-tripped",
    "run-began",
    "controller-told",
    "card-stored",
    "limits-drafted",
    "limits-accepted",
    "signed-in",
    "guesses-stopped",
    "password-set",
    "strokes-removed",
];

/// Which events, as an address says it.
#[derive(Debug, Default, Clone, Deserialize)]
pub struct Asked {
    press: Option<String>,
    die: Option<String>,
    kind: Option<String>,
    q: Option<String>,
    from: Option<String>,
    to: Option<String>,
    before: Option<i64>,
}

impl Asked {
    /// As the database takes it.
    ///
    /// # Errors
    /// [`Refusal`] for a time that cannot be understood or a text too long.
    pub fn filter(self) -> Result<EventFilter, Refusal> {
        let some = |text: Option<String>| text.filter(|text| !text.trim().is_empty());
        if self.q.as_ref().is_some_and(|text| text.len() > LONGEST_SOUGHT) {
            return Err(Refusal::bad(format!("Words to be sought have {LONGEST_SOUGHT} bytes at most.")));
        }
        Ok(EventFilter {
            from_ms: moment(self.from)?,
            to_ms: moment(self.to)?,
            press: some(self.press),
            die: some(self.die),
            kind: some(self.kind),
            text: some(self.q),
            before: self.before,
        })
    }

    fn query(&self, before: Option<i64>) -> String {
        let texts = [
            ("press", &self.press),
            ("die", &self.die),
            ("kind", &self.kind),
            ("q", &self.q),
            ("from", &self.from),
            ("to", &self.to),
        ];
        let given = texts.iter().filter_map(|(key, value)| {
            value.as_deref().filter(|value| !value.is_empty()).map(|value| format!("{key}={}", part(value)))
        });
        given.chain(before.map(|before| format!("before={before}"))).collect::<Vec<_>>().join("&")
    }
}

/// Events as a table.
#[must_use]
pub fn table(rows: &[EventRow]) -> Markup {
    html! {
        div class="scroll" tabindex="0" role="region" aria-label="Events" {
            table class="many" {
                thead { tr { th scope="col" { "No." } th scope="col" { "When" } th scope="col" { "What" } th scope="col" { "Press" } th scope="col" { "Die" } th scope="col" { "Who" } th scope="col" { "Before" } th scope="col" { "Now" } th scope="col" { "Reason given" } th scope="col" { "Kind" } } }
                tbody { @for row in rows {
                    tr {
                        td { (row.id) } td class="time" { (time(row.at_ms)) }
                        td { @match row.stroke_id { Some(id) => { a href={ "/stroke/" (id) } { (row.says) } } None => { (row.says) } } }
                        td { (row.press.as_deref().unwrap_or("–")) } td { (row.die.as_deref().unwrap_or("–")) } td { (row.who.as_deref().unwrap_or("–")) }
                        td { (row.old.as_deref().unwrap_or("–")) } td { (row.new.as_deref().unwrap_or("–")) } td { (row.reason.as_deref().unwrap_or("–")) } td { code { (row.kind) } }
                    }
                } }
            }
        }
    }
}

/// Looks through the journal.
///
/// # Errors
/// [`Refusal`] for a question that cannot be understood.
pub async fn show(State(app): State<Arc<App>>, visitor: Visitor, Query(asked): Query<Asked>) -> Page {
    let filter = asked.clone().filter()?;
    let store = Arc::clone(&app.store);
    let (rows, presses) = off_thread(move || Ok((store.events(&filter, LISTED)?, store.presses()?))).await?;
    let value = |text: &Option<String>| text.clone().unwrap_or_default();
    let body = html! {
        h1 { "Journal" }
        form method="get" class="ask" {
            label { "Words " input type="search" name="q" value=(value(&asked.q)); }
            label { "Press " select name="press" {
                option value="" { "all" }
                @for press in &presses { option value=(press) selected[asked.press.as_ref() == Some(press)] { (press) } }
            } }
            label { "Kind " select name="kind" {
                option value="" { "all" }
                @for kind in KINDS { option value=(kind) selected[asked.kind.as_deref() == Some(kind)] { (kind) } }
            } }
            label { "From (UTC) " input name="from" value=(value(&asked.from)) placeholder="2026-01-05T06:00"; }
            label { "Before " input name="to" value=(value(&asked.to)) placeholder="2026-01-05T14:00"; }
            button { "Show" }
        }
        @if rows.is_empty() { p { "No such event." } } @else { (table(&rows)) }
        p {
            @if rows.len() == LISTED && let Some(last) = rows.last() {
                a href={ "/journal?" (asked.query(Some(last.id))) } { "Older events" } ". "
            }
            (takes("journal", &asked.query(None)))
        }
    };
    Ok(page(&visitor, "Journal", body))
}

async fn export(app: Arc<App>, asked: Asked, form: Form) -> Result<Response, Refusal> {
    let filter = asked.filter()?;
    off_thread(move || Export::events(&app.store.events(&filter, MOST_ROWS)?).answer(form)).await
}

/// The journal as CSV.
///
/// # Errors
/// [`Refusal`] for a question that cannot be understood.
pub async fn csv(State(app): State<Arc<App>>, Query(asked): Query<Asked>) -> Result<Response, Refusal> {
    export(app, asked, Form::Csv).await
}

/// The journal as Parquet.
///
/// # Errors
/// [`Refusal`] for a question that cannot be understood.
#[cfg(feature = "parquet")]
pub async fn parquet(State(app): State<Arc<App>>, Query(asked): Query<Asked>) -> Result<Response, Refusal> {
    export(app, asked, Form::Parquet).await
}
