//! Changing limits: a draft first, then its acceptance; each checked, journalled with old and new value and reason.

use std::sync::Arc;

use axum::extract::{Form, Path, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use bolster_core::press::Columns;
use maud::html;
use serde::Deserialize;

use super::die::{Fields, SHOWN_AGAINST, change_form, parse, stops};
use super::words::limits::{Limit, further, limits};
use super::words::{part, time};
use crate::card::die::{Band, DieCard, LimitsCard, ReviewedStrokes, State as CardState, Then};
use crate::console::app::App;
use crate::console::respond::{Refusal, Visitor, off_thread, unit_of, unit_word};
use crate::console::store::{Event, NewCard, Store, StoreError, StrokeFilter, StrokeRow};
use crate::figure::LoadUnit;
use crate::session::verdict_rank;

/// Longest reason taken, bytes.
const LONGEST_REASON: usize = 2000;

/// What the form for a draft sends. Texts, so that an empty field can mean no limit.
#[derive(Debug, Deserialize)]
pub struct Draft {
    token: String,
    version: i64,
    unit: String,
    peak_low: String,
    peak_high: String,
    reverse_low: String,
    reverse_high: String,
    work_low: String,
    work_high: String,
    reason: String,
}

/// What the form for an acceptance sends.
#[derive(Debug, Deserialize)]
pub struct Accept {
    token: String,
    version: i64,
    reason: String,
}

fn reason(text: &str) -> Result<String, Refusal> {
    let text = text.trim();
    let sane = !text.is_empty() && text.len() <= LONGEST_REASON && !text.chars().any(char::is_control);
    if sane { Ok(text.to_owned()) } else { Err(Refusal::bad("Say why, in a few words on one line.")) }
}

/// The engineer who sent a form.
struct Sender {
    app: Arc<App>,
    session: String,
    name: String,
    token: String,
}

impl Sender {
    fn of(app: &Arc<App>, visitor: Visitor, token: String) -> Result<Self, Refusal> {
        let (Some(session), Some(name)) = (visitor.session, visitor.engineer) else {
            return Err(Refusal::engineers_only());
        };
        Ok(Self { app: Arc::clone(app), session, name, token })
    }

    /// Uses the form up, if it is theirs and not used before. Called last: a form with a mistake in it is not used up
    /// and can be sent again mended.
    fn use_form(&self) -> Result<(), Refusal> {
        if self.app.sessions.use_token(&self.session, &self.token) {
            Ok(())
        } else {
            Err(Refusal::stale_form())
        }
    }
}

fn number(text: &str, label: &str) -> Result<Option<f64>, Refusal> {
    let text = text.trim().replace(',', ".");
    if text.is_empty() {
        return Ok(None);
    }
    match text.parse::<f64>() {
        Ok(value) if value.is_finite() && (0.0..=1e9).contains(&value) => Ok(Some(value)),
        _ => Err(Refusal::bad(format!("{label}: a number from 0 on, or nothing for no limit."))),
    }
}

/// A limit that is dropped drops what leaving it meant; one that is changed keeps it.
fn band(
    [low, high]: [&str; 2],
    label: &str,
    scale: f64,
    before: Option<Band>,
) -> Result<Option<Band>, Refusal> {
    let then = before.map_or_else(Then::default, |band| band.then);
    match (number(low, label)?, number(high, label)?) {
        (None, None) => Ok(None),
        (low, Some(high)) if low.unwrap_or(0.0) <= high => {
            Ok(Some(Band { ends: [low.unwrap_or(0.0) * scale, high * scale], then }))
        }
        (Some(_), None) => Err(Refusal::bad(format!("{label}: give the highest value too."))),
        _ => Err(Refusal::bad(format!("{label}: the lowest value lies above the highest."))),
    }
}

fn drafted(given: &Draft, card: &DieCard) -> Result<LimitsCard, Refusal> {
    let unit = unit_of(&given.unit);
    if unit_word(unit) != given.unit {
        // A limit in another unit than the person thinks would be wrong by a factor.
        return Err(Refusal::bad("Unit of loads: this one is not known."));
    }
    let kn = 1.0 / unit.of_kn(1.0);
    let before = &card.limits;
    let limits = LimitsCard {
        peak_kn: band([&given.peak_low, &given.peak_high], "Peak load", kn, before.peak_kn)?,
        reverse_kn: band([&given.reverse_low, &given.reverse_high], "Reverse load", kn, before.reverse_kn)?,
        work_kj: band([&given.work_low, &given.work_high], "Work", 1.0, before.work_kj)?,
        ..before.clone()
    };
    let columns = Columns::from_count(card.die.press.columns)
        .ok_or_else(|| Refusal::bad("This card is of a press with another number of columns."))?;
    limits.check(columns).map_err(|why| Refusal::bad(format!("These limits do not go together: {why}.")))?;
    Ok(limits)
}

fn words(card: &DieCard) -> String {
    let of = |limit: &Limit| format!("{}: {}", limit.label, limit.words(LoadUnit::Kn));
    let plain = limits(card);
    plain.iter().map(of).chain(further(card, LoadUnit::Kn)).collect::<Vec<_>>().join("; ")
}

fn address(press: &str, die: &str) -> String {
    format!("/die/{}/{}", part(press), part(die))
}

/// For whom another was faster, or who slipped in a number: the form again with what they typed, to be sent on as a change
/// of the version there is now, of which is said whose it is.
fn typed_again(
    why: Refusal,
    sender: &Sender,
    at: &str,
    store: &Store,
    given: Draft,
    names: [&str; 2],
) -> Refusal {
    let newest = store.newest_card(names[0], names[1]).and_then(|row| Ok((parse(&row)?, row)));
    let (Ok((card, row)), Some(token)) = (newest, sender.app.sessions.form_token(&sender.session)) else {
        return why;
    };
    let fields = Fields {
        ends: [
            [given.peak_low, given.peak_high],
            [given.reverse_low, given.reverse_high],
            [given.work_low, given.work_high],
        ],
        reason: given.reason,
        typed: true,
    };
    why.with(html! {
        p { "Version " (row.version) " is by " (row.who) " on " (time(row.at_ms)) ": " (row.reason) "." }
        p { "Nothing of yours was stored. It stands below as you wrote it: compare each limit with the one of version " (row.version)
            " beside it, then send it again, or " a href=(at) { "look at the die as it is now" } "." }
        (change_form(at, &token, row.version, (&card, unit_of(&given.unit)), &fields))
    })
}

fn back(press: &str, die: &str) -> Response {
    let at = address(press, die);
    (StatusCode::SEE_OTHER, [(header::LOCATION, at)]).into_response()
}

/// A new version of a card.
struct Change<'a> {
    press: &'a str,
    die: &'a str,
    /// Version that the person saw.
    began: i64,
    accepted: bool,
    who: &'a str,
    reason: &'a str,
    says: String,
    old: String,
}

impl Change<'_> {
    /// Stores the version and journals the change, both or neither.
    fn store(self, sender: &Sender, store: &Store, card: &DieCard) -> Result<(), Refusal> {
        sender.use_form()?;
        let event = Event {
            kind: if self.accepted { "limits-accepted" } else { "limits-drafted" },
            press: Some(self.press.to_owned()),
            die: Some(self.die.to_owned()),
            who: Some(self.who.to_owned()),
            says: self.says,
            old: Some(self.old),
            new: Some(words(card)),
            reason: Some(self.reason.to_owned()),
            ..Event::default()
        };
        let toml = card.to_toml().map_err(|_| Refusal::bad("This card cannot be written."))?;
        let new = NewCard {
            press: self.press,
            die: self.die,
            began: self.began,
            toml: &toml,
            accepted: self.accepted,
            who: self.who,
            reason: self.reason,
        };
        store.put_card(&new, &event)?;
        Ok(())
    }
}

fn store_draft(
    sender: &Sender,
    store: &Store,
    [press, die]: [&str; 2],
    given: &Draft,
    why: &str,
) -> Result<(), Refusal> {
    let before = parse(&store.newest_card(press, die)?)?;
    let mut card = before.clone();
    card.limits = drafted(given, &before)?;
    card.die.state = CardState::Draft;
    card.acceptance = None;
    card.reviews.clear();
    let change = Change {
        press,
        die,
        began: given.version,
        accepted: false,
        who: &sender.name,
        reason: why,
        says: format!("limits of die {die} drafted as version {}", given.version + 1),
        old: words(&before),
    };
    change.store(sender, store, &card)
}

/// Stores a draft.
///
/// # Errors
/// [`Refusal`] for a viewer, a form used before, numbers that cannot be, or a card changed meanwhile.
pub async fn draft(
    State(app): State<Arc<App>>,
    visitor: Visitor,
    Path((press, die)): Path<(String, String)>,
    Form(given): Form<Draft>,
) -> Result<Response, Refusal> {
    let sender = Sender::of(&app, visitor, given.token.clone())?;
    let why = reason(&given.reason)?;
    let store = Arc::clone(&app.store);
    off_thread(move || match store_draft(&sender, &store, [&press, &die], &given, &why) {
        Ok(()) => Ok(back(&press, &die)),
        Err(why) if matches!(why.status, StatusCode::CONFLICT | StatusCode::BAD_REQUEST) => {
            Err(typed_again(why, &sender, &address(&press, &die), &store, given, [&press, &die]))
        }
        Err(why) => Err(why),
    })
    .await
}

/// Strokes the card's limits were shown against on its page.
fn reviewed(store: &Store, press: &str, die: &str, card: &DieCard) -> Result<ReviewedStrokes, StoreError> {
    let filter =
        StrokeFilter { press: Some(press.to_owned()), die: Some(die.to_owned()), ..StrokeFilter::default() };
    let strokes = store.strokes(&filter, SHOWN_AGAINST)?;
    let rank = |verdict: &str| verdict_rank(verdict).unwrap_or(3);
    let limits = limits(card);
    // As on the page: what was stopped for another reason stays stopped.
    let leaves = |row: &StrokeRow| rank(row.verdict) >= 2 || limits.iter().any(|limit| stops(limit, row));
    let span = match (strokes.last(), strokes.first()) {
        (Some(first), Some(last)) => format!("console, strokes number {} to {}", first.id, last.id),
        _ => "console, no strokes".to_owned(),
    };
    Ok(ReviewedStrokes {
        recording: span,
        strokes: strokes.len() as u64,
        noted: strokes.iter().filter(|row| rank(row.verdict) == 1 && !leaves(row)).count() as u64,
        stopped: strokes.iter().filter(|row| leaves(row)).count() as u64,
        sha256: card.content_sha256(),
    })
}

/// Accepts the newest version.
///
/// # Errors
/// [`Refusal`] for a viewer, a form used before, or a card changed meanwhile.
pub async fn accept(
    State(app): State<Arc<App>>,
    visitor: Visitor,
    Path((press, die)): Path<(String, String)>,
    Form(given): Form<Accept>,
) -> Result<Response, Refusal> {
    let sender = Sender::of(&app, visitor, given.token.clone())?;
    let why = reason(&given.reason)?;
    let store = Arc::clone(&app.store);
    off_thread(move || {
        let history = store.card_history(&press, &die)?;
        let current = history.first().ok_or_else(|| Refusal::missing("die"))?;
        if current.accepted && current.version == given.version {
            let says = format!("Version {} is accepted already; nothing was changed.", current.version);
            return Err(Refusal::new(StatusCode::CONFLICT, says));
        }
        let mut card = parse(current)?;
        let before = history.iter().find(|row| row.accepted).map(parse).transpose()?;
        let now = jiff::Timestamp::now().strftime("%Y-%m-%dT%H:%M:%SZ").to_string();
        card.note_reviews(vec![reviewed(&store, &press, &die, &card)?]);
        card.accept(&sender.name, &why, now);
        let change = Change {
            press: &press,
            die: &die,
            began: given.version,
            accepted: true,
            who: &sender.name,
            reason: &why,
            says: format!(
                "limits of die {die} accepted as version {}, drafted as version {}",
                given.version + 1,
                given.version
            ),
            old: before.as_ref().map_or_else(|| "nothing accepted".to_owned(), words),
        };
        change.store(&sender, &store, &card)?;
        Ok(back(&press, &die))
    })
    .await
}
