//! What all requests share, and which address leads where.

use std::net::IpAddr;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Instant;

use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use sha2::{Digest as _, Sha256};
use tokio::sync::Semaphore;

use super::auth::Sessions;
use super::feed::FeedStatus;
use super::followers::Followers;
use super::store::Store;
use super::wear::Wears;
use super::{api, live, pages, respond};

/// Longest form or JSON body taken, bytes.
pub const MOST_BODY: usize = 64 * 1024;

/// What all requests share.
#[derive(Debug)]
pub struct App {
    /// Database.
    pub store: Arc<Store>,
    /// Who is signed in.
    pub sessions: Sessions,
    /// Every feed.
    pub feeds: Vec<Arc<Mutex<FeedStatus>>>,
    /// Names the console answers to, besides addresses and `localhost`.
    pub hosts: Vec<String>,
    /// Pages that follow strokes now.
    pub followers: Arc<Followers>,
    /// When the console started.
    pub started: Instant,
    /// One password is hashed at a time.
    pub hashing: Semaphore,
    /// What was found of wear lately.
    pub wears: Wears,
}

impl App {
    /// With this database and these feeds.
    #[must_use]
    pub fn new(store: Arc<Store>, feeds: Vec<Arc<Mutex<FeedStatus>>>, hosts: Vec<String>) -> Self {
        Self {
            store,
            sessions: Sessions::default(),
            feeds,
            hosts,
            followers: Arc::default(),
            started: Instant::now(),
            hashing: Semaphore::new(1),
            wears: Wears::default(),
        }
    }

    /// What is known of every feed now.
    #[must_use]
    pub fn statuses(&self) -> Vec<FeedStatus> {
        self.feeds.iter().map(|feed| feed.lock().unwrap_or_else(PoisonError::into_inner).clone()).collect()
    }

    /// The feed of a press.
    #[must_use]
    pub fn status(&self, press: &str) -> Option<FeedStatus> {
        self.statuses().into_iter().find(|status| status.press == press)
    }

    /// Changes when a feed begins to be judged otherwise, ends or fails: pages that say so are then made anew.
    #[must_use]
    pub fn feeds_stamp(&self) -> String {
        let of = |status: FeedStatus| {
            format!(
                "{} {:?} {:?} {:?} {}",
                status.press, status.state, status.die, status.version, status.draft
            )
        };
        let whole = self.statuses().into_iter().map(of).collect::<Vec<_>>().join("\n");
        Sha256::digest(whole).iter().take(8).map(|byte| format!("{byte:02x}")).collect()
    }

    /// Whether this is a name of the console: an address (a foreign page cannot have one for its own), `localhost`,
    /// or one it was told.
    #[must_use]
    pub fn knows_host(&self, host: &str) -> bool {
        let name = match host.rsplit_once(':') {
            Some((name, port)) if port.bytes().all(|byte| byte.is_ascii_digit()) => name,
            _ => host,
        };
        let plain = name.trim_start_matches('[').trim_end_matches(']');
        plain.parse::<IpAddr>().is_ok()
            || name.eq_ignore_ascii_case("localhost")
            || self.hosts.iter().any(|known| known.eq_ignore_ascii_case(name))
    }
}

async fn asset(kind: &'static str, text: &'static str) -> Response {
    let headers = [(header::CONTENT_TYPE, kind), (header::CACHE_CONTROL, "max-age=86400")];
    (headers, text).into_response()
}

async fn nowhere() -> respond::Refusal {
    respond::Refusal::missing("page")
}

async fn wrong_method() -> respond::Refusal {
    respond::Refusal::new(StatusCode::METHOD_NOT_ALLOWED, "That address does not take this.")
}

/// Tables as Parquet, where that is built in.
fn parquet() -> Router<Arc<App>> {
    let router = Router::new();
    #[cfg(feature = "parquet")]
    let router = router
        .route("/strokes.parquet", get(pages::strokes::parquet))
        .route("/journal.parquet", get(pages::journal::parquet));
    router
}

/// Every address.
pub fn router(app: Arc<App>) -> Router {
    let css = || asset("text/css; charset=utf-8", pages::frame::STYLE);
    let live_js = || asset("text/javascript; charset=utf-8", pages::frame::LIVE_SCRIPT);
    let picture_js = || asset("text/javascript; charset=utf-8", pages::frame::PICTURE_SCRIPT);
    Router::new()
        .route("/", get(pages::presses::overview))
        .route("/press/{press}", get(pages::presses::one))
        .route("/stroke/{id}", get(pages::stroke::show))
        .route("/stroke/{id}/{picture}", get(pages::stroke::picture))
        .route("/die/{press}/{die}", get(pages::die::show))
        .route("/die/{press}/{die}/draft", post(pages::change::draft))
        .route("/die/{press}/{die}/accept", post(pages::change::accept))
        .route("/dies", get(pages::die::list))
        .route("/journal", get(pages::journal::show))
        .route("/journal.csv", get(pages::journal::csv))
        .route("/strokes", get(pages::strokes::show))
        .route("/strokes.csv", get(pages::strokes::csv))
        .route("/report/shift/{press}", get(pages::report::shift))
        .route("/report/stroke/{id}", get(pages::report::stop))
        .route("/report/die/{press}/{die}", get(pages::report::die))
        .route("/health", get(pages::health::show))
        .route("/wear", get(pages::wear::show))
        .route("/wear/{press}/{picture}", get(pages::wear::picture))
        .route("/sign-in", get(pages::sign::form).post(pages::sign::sign_in))
        .route("/sign-out", post(pages::sign::sign_out))
        .route("/prefer", get(pages::sign::prefer))
        .route("/about", get(pages::about::show))
        .route("/live", get(live::follow))
        .route("/metrics", get(api::metrics))
        .route("/api/openapi.json", get(api::openapi))
        .route("/api/presses", get(api::presses))
        .route("/api/strokes", get(api::strokes))
        .route("/api/strokes/{id}", get(api::stroke))
        .route("/api/strokes/{id}/readings", get(api::readings))
        .route("/api/dies", get(api::dies))
        .route("/api/dies/{press}/{die}", get(api::die))
        .route("/api/wear/{press}", get(api::wear))
        .route("/api/events", get(api::events))
        .route("/assets/console.css", get(css))
        .route("/assets/live.js", get(live_js))
        .route("/assets/picture.js", get(picture_js))
        .merge(parquet())
        .fallback(nowhere)
        .method_not_allowed_fallback(wrong_method)
        .layer(DefaultBodyLimit::max(MOST_BODY))
        .layer(axum::middleware::from_fn_with_state(Arc::clone(&app), respond::guard))
        .with_state(app)
}
