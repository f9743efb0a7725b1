//! What this is and is not.

use std::sync::Arc;

use axum::extract::State;
use maud::html;

use crate::console::app::App;
use crate::console::respond::{Page, Visitor, off_thread, page};
use crate::markup::counted;

/// What this is and is not, and how the console stands.
///
/// # Errors
/// [`crate::console::respond::Refusal`] if the database fails.
pub async fn show(State(app): State<Arc<App>>, visitor: Visitor) -> Page {
    let store = Arc::clone(&app.store);
    let (used, path) =
        off_thread(move || Ok((store.used_bytes()?, store.path().display().to_string()))).await?;
    let body = html! {
        h1 { "About this console" }
        p { "Bolster " (env!("CARGO_PKG_VERSION")) " shows the force in the press: every stroke judged against what the press may carry and what the die's good strokes do." }
        h2 { "What a load monitor is not" }
        p { "It warns and can withhold a run signal. It is not a safeguard and replaces no guard, light curtain, two-hand control, anti-repeat or overload device, die block or lock-out. Ratings and allowed reverse loads come from the press builder. Predicted loads are estimates. Set limits with qualified people, follow local codes and the standards that apply, and keep hands out of the die." }
        h2 { "The words" }
        dl class="facts" {
            @for (word, means) in [
                ("pass", "nothing to say"),
                ("note", "people are told; the press goes on"),
                ("hold", "the press stops at the top of the stroke"),
                ("trip", "the run permit is withdrawn at once"),
            ] { dt { (super::words::lamp(word)) } dd { (means) } }
        }
        h2 { "How it stands" }
        dl class="facts" {
            dt { "Database" } dd { (path) ", " (format!("{:.1}", used as f64 / 1e6)) " MB used" }
            dt { "Running for" } dd { (counted(app.started.elapsed().as_secs() / 60, "minute")) }
            dt { "Feeds" } dd {
                @for feed in app.statuses() { (feed.press) ": " (feed.source) ", " (feed.strokes) " strokes" br; }
            }
            dt { "For programs" } dd { a href="/api/openapi.json" { "OpenAPI document of the JSON interface" } ", " a href="/metrics" { "metrics for Prometheus" } }
        }
    };
    Ok(page(&visitor, "About", body))
}
