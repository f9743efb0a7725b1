//! What every answer has in common: who asks, what they prefer, how errors look, which headers go out.

use std::sync::Arc;

use axum::extract::{FromRequestParts, Request, State};
use axum::http::request::Parts;
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{Html, IntoResponse, Response};
use maud::{Markup, PreEscaped, html};

use super::app::{App, MOST_BODY};
use super::auth;
use super::pages::frame;
use super::store::StoreError;
use crate::figure::LoadUnit;
use crate::markup::sentence;

/// Longest time one answer may take to begin, s.
const ANSWER_S: u64 = 30;

/// Light or dark.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Theme {
    /// As the browser says.
    #[default]
    Auto,
    /// Light.
    Light,
    /// Dark.
    Dark,
}

impl Theme {
    /// Its word in cookies and addresses.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Auto => "auto",
            Self::Light => "light",
            Self::Dark => "dark",
        }
    }
}

/// The unit's word in cookies and addresses.
#[must_use]
pub fn unit_word(unit: LoadUnit) -> &'static str {
    unit.suffix()
}

/// The unit with this word; kN for any other.
#[must_use]
pub fn unit_of(word: &str) -> LoadUnit {
    [LoadUnit::UsTonf, LoadUnit::TonneForce]
        .into_iter()
        .find(|unit| unit.suffix() == word)
        .unwrap_or(LoadUnit::Kn)
}

/// Who asks, and what they prefer.
#[derive(Debug, Clone, Default)]
pub struct Visitor {
    /// Unit of loads.
    pub unit: LoadUnit,
    /// Light or dark.
    pub theme: Theme,
    /// The session's secret, where there is a session.
    pub session: Option<String>,
    /// The engineer's name.
    pub engineer: Option<String>,
    /// Path and query of this page.
    pub here: String,
}

/// A cookie of a request.
#[must_use]
pub fn cookie<'h>(headers: &'h HeaderMap, name: &str) -> Option<&'h str> {
    headers
        .get_all(header::COOKIE)
        .iter()
        .filter_map(|value| value.to_str().ok())
        .flat_map(|value| value.split(';'))
        .filter_map(|pair| pair.trim().split_once('='))
        .find_map(|(key, value)| (key == name).then_some(value))
}

impl FromRequestParts<Arc<App>> for Visitor {
    type Rejection = std::convert::Infallible;

    async fn from_request_parts(parts: &mut Parts, app: &Arc<App>) -> Result<Self, Self::Rejection> {
        let session = cookie(&parts.headers, auth::COOKIE).map(str::to_owned);
        let engineer = session.as_deref().and_then(|secret| app.sessions.name(secret));
        let theme = match cookie(&parts.headers, "theme") {
            Some("light") => Theme::Light,
            Some("dark") => Theme::Dark,
            _ => Theme::Auto,
        };
        Ok(Self {
            unit: unit_of(cookie(&parts.headers, "unit").unwrap_or("")),
            theme,
            session: session.filter(|_| engineer.is_some()),
            engineer,
            here: parts.uri.path_and_query().map_or("/", |at| at.as_str()).to_owned(),
        })
    }
}

/// An answer that is not what was asked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Refusal {
    /// HTTP status.
    pub status: StatusCode,
    /// What happened and what to do.
    pub says: String,
    /// What people need to go on, under the words; programs get the words alone.
    pub further: Option<String>,
}

impl Refusal {
    /// With this status and these words.
    pub fn new(status: StatusCode, says: impl Into<String>) -> Self {
        Self { status, says: says.into(), further: None }
    }

    /// What was sent cannot be understood.
    pub fn bad(says: impl Into<String>) -> Self {
        Self::new(StatusCode::BAD_REQUEST, says)
    }

    /// There is no such thing.
    #[must_use]
    pub fn missing(what: &str) -> Self {
        Self::new(StatusCode::NOT_FOUND, format!("There is no such {what}."))
    }

    /// Only an engineer may.
    #[must_use]
    pub fn engineers_only() -> Self {
        Self::new(StatusCode::FORBIDDEN, "Only an engineer may change limits. Sign in first.")
    }

    /// A form that is not of this session, or was sent before.
    #[must_use]
    pub fn stale_form() -> Self {
        Self::new(
            StatusCode::FORBIDDEN,
            "This form was sent already or is too old; nothing was changed. Go back, load the page again and send it once.",
        )
    }

    /// With what people need to go on.
    #[must_use]
    pub fn with(mut self, further: Markup) -> Self {
        self.further = Some(further.into_string());
        self
    }

    fn title(&self) -> &'static str {
        match self.status {
            StatusCode::NOT_FOUND => "Not found",
            StatusCode::FORBIDDEN | StatusCode::UNAUTHORIZED => "Not allowed",
            StatusCode::CONFLICT => "Changed meanwhile",
            StatusCode::TOO_MANY_REQUESTS | StatusCode::SERVICE_UNAVAILABLE => "Too much at once",
            status if status.is_server_error() => "Something failed",
            _ => "Not understood",
        }
    }
}

impl From<StoreError> for Refusal {
    fn from(why: StoreError) -> Self {
        match why {
            StoreError::Missing(what) => Self::missing(what),
            StoreError::Conflict { .. } => Self::new(StatusCode::CONFLICT, sentence(&why.to_string())),
            _ => Self::new(StatusCode::INTERNAL_SERVER_ERROR, sentence(&why.to_string())),
        }
    }
}

impl IntoResponse for Refusal {
    /// Its status; [`guard`] puts its words in, in the form that the asker reads.
    fn into_response(self) -> Response {
        let mut answer = self.status.into_response();
        answer.extensions_mut().insert(self);
        answer
    }
}

/// Longest words taken over from a refusal that the web library made, bytes.
const MOST_WORDS: usize = 1000;

/// A refusal in words: as a page for people, keeping their units and light or dark, as JSON for programs.
async fn worded(answer: Response, visitor: &Visitor) -> Response {
    let (mut parts, body) = answer.into_parts();
    let refusal = match parts.extensions.remove::<Refusal>() {
        Some(refusal) => refusal,
        // A path, query or form that the web library could not take apart: it says in plain text what it found.
        None => {
            let bytes = axum::body::to_bytes(body, MOST_WORDS).await.unwrap_or_default();
            let says = String::from_utf8_lossy(&bytes).trim().to_owned();
            Refusal::new(
                parts.status,
                if says.is_empty() { "This was not understood.".to_owned() } else { sentence(&says) },
            )
        }
    };
    if visitor.here.starts_with("/api/") || visitor.here == "/metrics" {
        let body = serde_json::json!({ "status": refusal.status.as_u16(), "detail": refusal.says });
        let kind = [(header::CONTENT_TYPE, "application/problem+json")];
        return (refusal.status, kind, body.to_string()).into_response();
    }
    let body = html! {
        h1 { (refusal.title()) }
        p { (refusal.says) }
        @if let Some(further) = &refusal.further { (PreEscaped(further)) }
        p {
            @if refusal.status == StatusCode::FORBIDDEN && visitor.engineer.is_none() { a href="/sign-in" { "Sign in as engineer" } ", " }
            a href="/" { "to the presses" }
        }
    };
    (refusal.status, page(visitor, refusal.title(), body)).into_response()
}

/// A page.
pub type Page = Result<Html<String>, Refusal>;

/// A whole page around this body.
pub fn page(visitor: &Visitor, title: &str, body: Markup) -> Html<String> {
    Html(frame::whole(visitor, title, body).into_string())
}

/// Runs database and drawing work where it may wait.
///
/// # Errors
/// What `work` returns.
pub async fn off_thread<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, Refusal> + Send + 'static,
) -> Result<T, Refusal> {
    tokio::task::spawn_blocking(work)
        .await
        .unwrap_or_else(|_| Err(Refusal::new(StatusCode::INTERNAL_SERVER_ERROR, "This page failed.")))
}

const CONTENT_POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; \
     connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

/// Around every answer: foreign names and foreign pages are refused, no answer takes for ever, headers are set.
pub async fn guard(State(app): State<Arc<App>>, visitor: Visitor, request: Request, next: Next) -> Response {
    let mut answer = match admit(&app, &request) {
        Err(refusal) => refusal.into_response(),
        Ok(()) => {
            let limit = std::time::Duration::from_secs(ANSWER_S);
            match tokio::time::timeout(limit, next.run(request)).await {
                Ok(answer) => answer,
                Err(_) => Refusal::new(StatusCode::REQUEST_TIMEOUT, "That took too long.").into_response(),
            }
        }
    };
    if answer.status().is_client_error() || answer.status().is_server_error() {
        answer = worded(answer, &visitor).await;
    }
    let headers = answer.headers_mut();
    for (name, value) in [
        ("content-security-policy", CONTENT_POLICY),
        ("x-content-type-options", "nosniff"),
        // Not "no-referrer": browsers then call the origin of the console's own forms "null".
        ("referrer-policy", "same-origin"),
        ("cross-origin-opener-policy", "same-origin"),
        ("cache-control", "no-store"),
    ] {
        if !headers.contains_key(name) {
            headers.insert(name, HeaderValue::from_static(value));
        }
    }
    answer
}

/// A page of another site must neither reach the console under a name of its own nor send it forms.
fn admit(app: &App, request: &Request) -> Result<(), Refusal> {
    let text = |name: header::HeaderName| request.headers().get(name).and_then(|value| value.to_str().ok());
    let host = text(header::HOST).or_else(|| request.uri().host()).unwrap_or("");
    if !app.knows_host(host) {
        return Err(Refusal::new(
            StatusCode::MISDIRECTED_REQUEST,
            "The console is not known by that name; start it with --host NAME.",
        ));
    }
    let length = text(header::CONTENT_LENGTH).and_then(|length| length.parse::<u64>().ok());
    if length.is_some_and(|length| length > MOST_BODY as u64) {
        return Err(Refusal::new(StatusCode::PAYLOAD_TOO_LARGE, "That is more than any form here holds."));
    }
    if matches!(*request.method(), Method::GET | Method::HEAD) {
        return Ok(());
    }
    let site = request.headers().get("sec-fetch-site").and_then(|value| value.to_str().ok());
    let foreign_site = site.is_some_and(|site| !matches!(site, "same-origin" | "none"));
    let foreign_origin = text(header::ORIGIN)
        .is_some_and(|origin| origin.split_once("://").is_none_or(|(_, from)| from != host));
    if foreign_site || foreign_origin {
        return Err(Refusal::new(StatusCode::FORBIDDEN, "A form of another site is not taken."));
    }
    Ok(())
}
