//! Strokes as they come: server-sent events that begin after the last stroke a page has.
//!
//! A page names the stroke it has; what it gets is read from the database, so a page that was away misses nothing and
//! a slow one holds nobody up.

use std::convert::Infallible;
use std::sync::Arc;
use std::time::Duration;

use axum::extract::{Query, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::sse::{Event, KeepAlive, Sse};
use bolster_core::verdict::Reason;
use futures_util::Stream;
use serde::{Deserialize, Serialize};
use tokio::sync::watch;

use super::app::App;
use super::followers::Follower;
use super::peer::Peer;
use super::respond::{Refusal, off_thread};
use super::store::{StrokeFilter, StrokeRow};

/// Strokes sent in one event.
const AT_ONCE: usize = 500;
/// Least time between two events of a page: a hundred presses make no more events than one.
const APART: Duration = Duration::from_millis(100);

/// How soon a page is told that a feed ended or is judged by another card, when no stroke comes.
const LOOK: Duration = Duration::from_secs(2);

/// Which strokes.
#[derive(Debug, Default, Deserialize)]
pub struct Follow {
    press: Option<String>,
    after: Option<i64>,
    feeds: Option<String>,
}

/// A stroke as a page shows it.
#[derive(Debug, Serialize)]
pub struct LiveStroke {
    /// Its figures.
    #[serde(flatten)]
    pub row: StrokeRow,
    /// Its reasons in words.
    pub says: String,
}

impl From<StrokeRow> for LiveStroke {
    fn from(row: StrokeRow) -> Self {
        Self { says: says(&row.reasons), row }
    }
}

/// Reasons in words.
#[must_use]
pub fn says(reasons: &[String]) -> String {
    let words = reasons.iter().map(|code| {
        Reason::ALL.iter().find(|reason| reason.code() == code).map_or(code.as_str(), |reason| reason.says())
    });
    words.collect::<Vec<_>>().join("; ")
}

struct Following {
    app: Arc<App>,
    follower: Follower,
    newest: watch::Receiver<i64>,
    press: Option<String>,
    last: i64,
    /// The feeds' stamp that the page knows.
    feeds: Option<String>,
}

/// Strokes after the one named by `Last-Event-ID` or `after`; without either, after the newest. A page that gives its
/// `feeds` stamp is told the new one when it changes.
///
/// # Errors
/// [`Refusal`] when too many pages follow.
pub async fn follow(
    State(app): State<Arc<App>>,
    peer: Peer,
    Query(query): Query<Follow>,
    headers: HeaderMap,
) -> Result<Sse<impl Stream<Item = Result<Event, Infallible>>>, Refusal> {
    let too_many = || Refusal::new(StatusCode::SERVICE_UNAVAILABLE, "Too many pages follow the strokes.");
    let follower = app.followers.enter(peer).ok_or_else(too_many)?;
    let newest = app.store.newest();
    let named = headers.get("last-event-id").and_then(|id| id.to_str().ok()).and_then(|id| id.parse().ok());
    let last = named.or(query.after).unwrap_or_else(|| *newest.borrow());
    let state = Following { app, follower, newest, press: query.press, last, feeds: query.feeds };
    let events = futures_util::stream::unfold(state, |mut state| async move {
        let event = state.next().await?;
        Some((Ok(event), state))
    });
    let alive = KeepAlive::new().interval(Duration::from_secs(10)).text("here");
    Ok(Sse::new(events).keep_alive(alive))
}

impl Following {
    async fn next(&mut self) -> Option<Event> {
        loop {
            let newest = *self.newest.borrow_and_update();
            if newest > self.last {
                let store = Arc::clone(&self.app.store);
                let filter = StrokeFilter {
                    press: self.press.clone(),
                    after: Some(self.last),
                    before: Some(newest + 1),
                    ..StrokeFilter::default()
                };
                let read = off_thread(move || Ok(store.strokes(&filter, AT_ONCE)?)).await;
                // A database that fails ends the stream; the page asks again.
                let rows = read.ok()?;
                let full = rows.len() == AT_ONCE;
                let last = rows.last().map(|row| row.id);
                self.last = if full { last.unwrap_or(newest) } else { newest };
                if let Some(last) = last {
                    let strokes: Vec<LiveStroke> = rows.into_iter().map(LiveStroke::from).collect();
                    let data = serde_json::to_string(&strokes).ok()?;
                    if !full {
                        tokio::time::sleep(APART).await;
                    }
                    return Some(Event::default().event("strokes").id(last.to_string()).data(data));
                }
            }
            let stamp = self.app.feeds_stamp();
            if self.feeds.as_ref().is_some_and(|known| *known != stamp) {
                self.feeds = Some(stamp.clone());
                return Some(Event::default().event("feeds").data(stamp));
            }
            tokio::select! {
                changed = self.newest.changed() => changed.ok()?,
                // The page asks again by itself, and learns of what came meanwhile.
                () = self.follower.has_to_leave() => return None,
                () = tokio::time::sleep(LOOK) => {}
            }
        }
    }
}
