//! Signing in and out as engineer, and what a visitor prefers.

use std::sync::Arc;

use axum::extract::{Form, Query, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use maud::html;
use serde::Deserialize;

use crate::console::app::App;
use crate::console::auth::{AuthError, COOKIE};
use crate::console::peer::Peer;
use crate::console::respond::{Page, Refusal, Theme, Visitor, off_thread, page, unit_of, unit_word};
use crate::console::store::Event;
use crate::markup::sentence;

/// Longest name taken, bytes.
const LONGEST_NAME: usize = 200;

/// The form to sign in, or out for who is signed in.
///
/// # Errors
/// None; the form is always there.
pub async fn form(State(app): State<Arc<App>>, visitor: Visitor) -> Page {
    let token = visitor.session.as_deref().and_then(|session| app.sessions.form_token(session));
    let body = match (&visitor.engineer, token) {
        (Some(name), Some(token)) => html! {
            h1 { "Sign out" }
            p { "You are signed in as " strong { (name) } "." }
            form method="post" action="/sign-out" class="ask" {
                input type="hidden" name="token" value=(token);
                button { "Sign out" }
            }
        },
        _ => html! {
            h1 { "Sign in as engineer" }
            p { "Looking needs no password. Changing a die's limits does; a password is set on the machine that runs the console, by " code { "bolster password" } "." }
            form method="post" action="/sign-in" class="ask" {
                label { "Name " input name="name" autocomplete="username" required maxlength=(LONGEST_NAME); }
                label { "Password " input type="password" name="password" autocomplete="current-password" required; }
                button { "Sign in" }
            }
            p class="small" { "The console itself speaks plain HTTP. Beyond this machine put a reverse proxy with TLS before it, or the password can be read on the way." }
        },
    };
    Ok(page(&visitor, "Engineer", body))
}

/// What the form sends.
#[derive(Debug, Deserialize)]
pub struct SignIn {
    name: String,
    password: String,
}

fn to(path: &str, cookie: Option<String>) -> Response {
    let mut answer = (StatusCode::SEE_OTHER, [(header::LOCATION, path.to_owned())]).into_response();
    if let Some(value) = cookie.and_then(|cookie| cookie.parse().ok()) {
        answer.headers_mut().append(header::SET_COOKIE, value);
    }
    answer
}

fn session_cookie(secret: &str, seconds: u32, headers: &HeaderMap) -> String {
    let secure = headers.get("x-forwarded-proto").is_some_and(|proto| proto == "https");
    let secure = if secure { "; Secure" } else { "" };
    format!("{COOKIE}={secret}; HttpOnly; SameSite=Strict; Path=/; Max-Age={seconds}{secure}")
}

fn refused(why: AuthError) -> Refusal {
    let status = match why {
        AuthError::TooMany | AuthError::Slow | AuthError::Full => StatusCode::TOO_MANY_REQUESTS,
        AuthError::Hash => StatusCode::INTERNAL_SERVER_ERROR,
        _ => StatusCode::FORBIDDEN,
    };
    Refusal::new(status, sentence(&why.to_string()))
}

/// Signs in.
///
/// # Errors
/// [`Refusal`] for a wrong name or password.
pub async fn sign_in(
    State(app): State<Arc<App>>,
    from: Peer,
    headers: HeaderMap,
    Form(given): Form<SignIn>,
) -> Result<Response, Refusal> {
    if given.name.len() > LONGEST_NAME {
        return Err(Refusal::bad("That name is too long."));
    }
    // One at a time: a password's hash takes memory and time by design.
    let turn = app.hashing.acquire().await;
    let shared = Arc::clone(&app);
    let secret = off_thread(move || {
        let stored = shared.store.engineer(&given.name)?;
        let secret = match shared.sessions.sign_in(&given.name, &given.password, stored.as_deref(), from) {
            Ok(secret) => secret,
            Err(why) => {
                // Once a quarter of an hour at most, and of people there are only: guesses cannot fill the journal.
                let stopped = matches!(why, AuthError::LastGuess | AuthError::Slow);
                if stopped && stored.is_some() && shared.sessions.is_to_be_told(&given.name) {
                    shared.store.journal(&Event {
                        kind: "guesses-stopped",
                        says: format!(
                            "too many passwords for {} were wrong: no more are tried from {from} for a while, and few from elsewhere",
                            given.name
                        ),
                        ..Event::default()
                    })?;
                }
                return Err(refused(why));
            }
        };
        shared.store.journal(&Event {
            kind: "signed-in",
            who: Some(given.name.clone()),
            says: "signed in as engineer".into(),
            ..Event::default()
        })?;
        Ok(secret)
    })
    .await;
    drop(turn);
    Ok(to("/dies", Some(session_cookie(&secret?, 12 * 3600, &headers))))
}

/// What a form with nothing but its token sends.
#[derive(Debug, Deserialize)]
pub struct Token {
    token: String,
}

/// Signs out.
///
/// # Errors
/// [`Refusal`] for a form that is not of this session.
pub async fn sign_out(
    State(app): State<Arc<App>>,
    visitor: Visitor,
    headers: HeaderMap,
    Form(given): Form<Token>,
) -> Result<Response, Refusal> {
    let session = visitor.session.ok_or_else(Refusal::engineers_only)?;
    if !app.sessions.use_token(&session, &given.token) {
        return Err(Refusal::stale_form());
    }
    app.sessions.sign_out(&session);
    Ok(to("/", Some(session_cookie("", 0, &headers))))
}

/// What a visitor prefers.
#[derive(Debug, Deserialize)]
pub struct Prefer {
    unit: Option<String>,
    theme: Option<String>,
    back: Option<String>,
}

/// Keeps a preference in a cookie and goes back.
pub async fn prefer(Query(given): Query<Prefer>) -> Response {
    // Only a path of this console: no other site, nothing that could break a header.
    let back = given.back.filter(|back| {
        back.starts_with('/')
            && !back.starts_with("//")
            && !back.starts_with("/\\")
            && back.bytes().all(|byte| byte.is_ascii_graphic())
    });
    let cookie = match (given.unit, given.theme) {
        (Some(unit), _) => Some(("unit", unit_word(unit_of(&unit)))),
        (None, Some(theme)) => {
            let known = [Theme::Light, Theme::Dark].into_iter().find(|known| known.word() == theme);
            Some(("theme", known.unwrap_or_default().word()))
        }
        _ => None,
    };
    let cookie = cookie
        .map(|(key, word)| format!("{key}={word}; SameSite=Strict; Path=/; Max-Age=31536000; HttpOnly"));
    to(back.as_deref().unwrap_or("/"), cookie)
}
