//! Reports of the console: a shift, a die, a stop, each a document of its own to be printed or kept.

use std::sync::Arc;

use axum::extract::{Path, Query, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use super::strokes;
use crate::console::app::App;
use crate::console::respond::{Refusal, Visitor, off_thread};
use crate::report::stored::{self, Span};

/// Hours a shift's report goes back where no time is asked for.
const HOURS: i64 = 8;

/// A report carries its style with it and nothing else.
const REPORT_POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

/// From when to when, as an address says it.
#[derive(Debug, Default, Clone, Deserialize)]
pub struct Asked {
    from: Option<String>,
    to: Option<String>,
}

impl Asked {
    fn span(self) -> Result<Span, Refusal> {
        Ok(Span { from_ms: strokes::moment(self.from)?, to_ms: strokes::moment(self.to)? })
    }
}

fn answer(html: String) -> Response {
    let headers = [
        (header::CONTENT_TYPE, "text/html; charset=utf-8"),
        (header::CONTENT_SECURITY_POLICY, REPORT_POLICY),
    ];
    (headers, html).into_response()
}

/// A press's shift: the times asked for, or the last hours.
///
/// # Errors
/// [`Refusal`] for a press that is not there or a time that cannot be understood.
pub async fn shift(
    State(app): State<Arc<App>>,
    visitor: Visitor,
    Path(press): Path<String>,
    Query(asked): Query<Asked>,
) -> Result<Response, Refusal> {
    let mut span = asked.span()?;
    if span == Span::default() {
        span.from_ms = Some(crate::console::store::now_ms() - HOURS * 3_600_000);
    }
    let store = Arc::clone(&app.store);
    Ok(answer(off_thread(move || Ok(stored::shift(&store, &press, &span, visitor.unit)?.html())).await?))
}

/// A stroke.
///
/// # Errors
/// [`Refusal`] for a stroke that is not there.
pub async fn stop(
    State(app): State<Arc<App>>,
    visitor: Visitor,
    Path(id): Path<i64>,
) -> Result<Response, Refusal> {
    let store = Arc::clone(&app.store);
    Ok(answer(off_thread(move || Ok(stored::stop(&store, id, visitor.unit)?.html())).await?))
}

/// A die.
///
/// # Errors
/// [`Refusal`] for a die that is not there or a time that cannot be understood.
pub async fn die(
    State(app): State<Arc<App>>,
    visitor: Visitor,
    Path((press, die)): Path<(String, String)>,
    Query(asked): Query<Asked>,
) -> Result<Response, Refusal> {
    let span = asked.span()?;
    let store = Arc::clone(&app.store);
    let html = off_thread(move || Ok(stored::die(&store, &press, &die, &span, visitor.unit)?.html()));
    Ok(answer(html.await?))
}
