//! A die: its limits, what they would have stopped, who changed them, and the forms to change and accept them.

use std::sync::Arc;

use axum::extract::{Path, State};
use bolster_core::verdict::Verdict;
use maud::{Markup, html};

use super::words::limits::{Limit, further, limits};
use super::words::{counted, lamp, load_unit, part, time};
use crate::card::die::{Band, DieCard};
use crate::cmd::CAUTION;
use crate::console::app::App;
use crate::console::respond::{Page, Refusal, Visitor, off_thread, page, unit_word};
use crate::console::store::{CardRow, Store, StoreError, StrokeFilter, StrokeRow};
use crate::figure::LoadUnit;

/// Stored strokes a draft's limits are shown against.
pub const SHOWN_AGAINST: usize = 20_000;
/// Of the strokes a limit would have stopped, so many are listed.
const LISTED: usize = 12;

/// What a stroke has in a limit's unit.
fn value(limit: &Limit, row: &StrokeRow) -> Option<f64> {
    match limit.key {
        "peak" => Some(row.peak_kn),
        "reverse" => Some(row.reverse_kn),
        _ => row.work_kj,
    }
}

/// Whether a stroke leaves a limit that stops a press; where it takes several strokes for that, this counts each.
pub(super) fn stops(limit: &Limit, row: &StrokeRow) -> bool {
    match (limit.band, value(limit, row)) {
        (Some(Band { ends: [low, high], then }), Some(value)) => {
            then.verdict() >= Verdict::Hold && !(value >= low && value <= high)
        }
        _ => false,
    }
}

/// A stored card's text, understood.
///
/// # Errors
/// [`StoreError::Damaged`].
pub fn parse(row: &CardRow) -> Result<DieCard, StoreError> {
    toml::from_str(&row.toml).map_err(|_| StoreError::Damaged("die card"))
}

struct Shown {
    versions: Vec<(CardRow, DieCard)>,
    strokes: Vec<StrokeRow>,
}

fn read(store: &Store, press: &str, die: &str) -> Result<Shown, Refusal> {
    let history = store.card_history(press, die)?;
    if history.is_empty() {
        return Err(Refusal::missing("die"));
    }
    let versions = history.into_iter().map(|row| parse(&row).map(|card| (row, card)));
    let filter =
        StrokeFilter { press: Some(press.to_owned()), die: Some(die.to_owned()), ..StrokeFilter::default() };
    Ok(Shown {
        versions: versions.collect::<Result<Vec<_>, _>>()?,
        strokes: store.strokes(&filter, SHOWN_AGAINST)?,
    })
}

/// What the limits would have stopped of the stored strokes: those that hold or trip for another reason stay stopped.
fn review(limits: &[Limit; 3], strokes: &[StrokeRow], unit: LoadUnit) -> Markup {
    html! {
        p { "Against the latest " (strokes.len()) " stored strokes of this die (at most " (SHOWN_AGAINST) "):" }
        div class="scroll" tabindex="0" role="region" aria-label="What the limits would have stopped" {
            table class="some" {
                thead { tr { th scope="col" { "Limit" } th scope="col" { "Allowed" } th scope="col" class="n" { "Least seen" } th scope="col" class="n" { "Greatest seen" } th scope="col" class="n" { "Would have stopped" } th scope="col" { "Of which passed (latest)" } } }
                tbody { @for limit in limits {
                    @let values = strokes.iter().filter_map(|row| value(limit, row));
                    @let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)));
                    @let print = |v: f64| if !v.is_finite() { "–".to_owned() } else if limit.is_load { load_unit(unit, v) } else { format!("{v:.3} kJ") };
                    @let stopped: Vec<&StrokeRow> = strokes.iter().filter(|row| stops(limit, row)).collect();
                    @let passed: Vec<&&StrokeRow> = stopped.iter().filter(|row| row.verdict == "pass" || row.verdict == "note").collect();
                    tr {
                        th scope="row" { (limit.label) } td { (limit.words(unit)) }
                        td class="n" { (print(low)) } td class="n" { (print(high)) } td class="n" { (stopped.len()) }
                        td { (passed.len()) @for row in passed.iter().take(LISTED) { " " a href={ "/stroke/" (row.id) } { (row.stroke) } } }
                    }
                } }
            }
        }
    }
}

fn provenance(card: &DieCard) -> Markup {
    html! {
        @match &card.provenance {
            Some(from) => {
                p { (from.evidence) }
                dl class="facts" {
                    dt { "Learnt from" } dd { (from.recording) ", " (from.strokes_used) " of " (from.strokes_seen) " strokes, " (counted(from.coils, "coil")) }
                    dt { "False stops asked for" } dd { (format!("{:.0e}", from.false_stop_asked)) " a stroke; the strokes support " (format!("{:.1e}", from.false_stop_supported)) }
                    dt { "Recording's SHA-256" } dd { code { (from.sha256) } }
                    dt { "Made by" } dd { (from.made_by) }
                }
            }
            None => { p { "This card was not learnt from strokes: only the plain limits judge." } }
        }
    }
}

fn history(versions: &[(CardRow, DieCard)], unit: LoadUnit) -> Markup {
    html! {
        div class="scroll" tabindex="0" role="region" aria-label="Versions" {
            table class="some" {
                thead { tr { th scope="col" { "Version" } th scope="col" { "State" } th scope="col" { "Peak" } th scope="col" { "Reverse" } th scope="col" { "Work" } th scope="col" { "Who" } th scope="col" { "When" } th scope="col" { "Why" } } }
                tbody { @for (row, card) in versions {
                    tr {
                        td { (row.version) } td { @if row.accepted { "accepted" } @else { "draft" } }
                        @for limit in limits(card) { td { (limit.words(unit)) } }
                        td { (row.who) } td class="time" { (time(row.at_ms)) } td { (row.reason) }
                    }
                } }
            }
        }
    }
}

/// What the fields of the form for a change hold.
#[derive(Debug, Default)]
pub(super) struct Fields {
    /// Lowest and highest value of each plain limit, in the order of [`limits`].
    pub ends: [[String; 2]; 3],
    /// Why.
    pub reason: String,
    /// Typed by somebody who had not seen the card's present limits: these are shown beside.
    pub typed: bool,
}

impl Fields {
    fn of(card: &DieCard, unit: LoadUnit) -> Self {
        let shown = |limit: &Limit, end: usize| match limit.band.and_then(|band| band.ends.get(end).copied())
        {
            None => String::new(),
            Some(value) if limit.is_load => format!("{:.3}", unit.of_kn(value)),
            Some(value) => format!("{value:.4}"),
        };
        Self { ends: limits(card).map(|limit| [shown(&limit, 0), shown(&limit, 1)]), ..Self::default() }
    }
}

/// The form for a change of this version.
pub(super) fn change_form(
    at: &str,
    token: &str,
    version: i64,
    (card, unit): (&DieCard, LoadUnit),
    fields: &Fields,
) -> Markup {
    html! {
        h3 { "Change the limits" }
        p { "A change makes a draft. It holds no press until it is accepted. Empty fields mean no limit; machine limits stay whatever is written here." }
        form method="post" action={ (at) "/draft" } class="change" {
            input type="hidden" name="token" value=(token);
            input type="hidden" name="version" value=(version);
            input type="hidden" name="unit" value=(unit_word(unit));
            @for (limit, [low, high]) in limits(card).iter().zip(&fields.ends) {
                fieldset {
                    legend { (limit.label) ", " (if limit.is_load { unit.symbol() } else { "kJ" }) }
                    label { "at least " input name={ (limit.key) "_low" } inputmode="decimal" value=(low); }
                    label { "at most " input name={ (limit.key) "_high" } inputmode="decimal" value=(high); }
                    @if fields.typed { span class="small" { "version " (version) ": " (limit.words(unit)) } }
                }
            }
            label { "Why " input name="reason" value=(fields.reason) required maxlength="500" class="wide"; }
            button { "Store as draft" }
            p class="caution" { (CAUTION) }
        }
    }
}

fn accept_form(at: &str, token: &str, version: i64) -> Markup {
    html! {
        h3 { "Accept version " (version) }
        form method="post" action={ (at) "/accept" } class="change" {
            input type="hidden" name="token" value=(token);
            input type="hidden" name="version" value=(version);
            label { "Why these limits " input name="reason" required maxlength="500" class="wide"; }
            button { "Accept: these limits may hold the press" }
            p class="caution" { (CAUTION) }
        }
    }
}

/// One die.
///
/// # Errors
/// [`Refusal`] for a die that is not there.
pub async fn show(
    State(app): State<Arc<App>>,
    visitor: Visitor,
    Path((press, die)): Path<(String, String)>,
) -> Page {
    let (store, name) = (Arc::clone(&app.store), (press.clone(), die.clone()));
    let shown = off_thread(move || read(&store, &name.0, &name.1)).await?;
    let unit = visitor.unit;
    let at = format!("/die/{}/{}", part(&press), part(&die));
    let Some((row, card)) = shown.versions.first() else { return Err(Refusal::missing("die")) };
    let accepted = shown.versions.iter().find(|(row, _)| row.accepted);
    let token = || visitor.session.as_deref().and_then(|session| app.sessions.form_token(session));
    let body = html! {
        h1 { "Die " (die) " on press " a href={ "/press/" (part(&press)) } { (press) } }
        p {
            @match accepted {
                Some((accepted, _)) => { "Version " (accepted.version) " is accepted, by " (accepted.who) " on " (time(accepted.at_ms)) ": " (accepted.reason) "." }
                None => { strong { "No version is accepted: this die holds no press." } " A draft judges recordings and simulated strokes." }
            }
        }
        h2 { @if row.accepted { "Limits, version " (row.version) } @else { "Draft limits, version " (row.version) } }
        @if !row.accepted { p { "Drafted by " (row.who) " on " (time(row.at_ms)) ": " (row.reason) "." } }
        @let more = further(card, unit);
        @if !more.is_empty() {
            p { "Further limits, changed in the card's own text:" }
            ul { @for limit in &more { li { (limit) } } }
        }
        (review(&limits(card), &shown.strokes, unit))
        p class="small" { "These are the plain limits. The learnt envelope judges beside them; what it stopped is among the strokes below." }
        @if visitor.engineer.is_some() {
            @if !row.accepted { @if let Some(token) = token() { (accept_form(&at, &token, row.version)) } }
            @if let Some(token) = token() { (change_form(&at, &token, row.version, (card, unit), &Fields::of(card, unit))) }
        } @else {
            p { a href="/sign-in" { "Sign in as engineer" } " to change or accept limits." }
        }
        h2 { "Envelope" }
        (provenance(card))
        @if let Some(last) = shown.strokes.first() { p { "See it under " a href={ "/stroke/" (last.id) } { "the latest stroke" } "." } }
        h2 { "Stopped strokes" }
        @let stopped: Vec<StrokeRow> = shown.strokes.iter().filter(|row| row.verdict == "hold" || row.verdict == "trip").take(20).cloned().collect();
        @if stopped.is_empty() { p { "None among the strokes stored." } } @else { (super::strokes::table(&stopped, unit, false)) }
        h2 { "Versions" }
        (history(&shown.versions, unit))
        p { a href={ "/journal?press=" (part(&press)) "&die=" (part(&die)) } { "The die's journal" } ", "
            a href={ "/wear?press=" (part(&press)) "&die=" (part(&die)) } { "wear and strokes left" } ", " a href={ (at.replacen("/die/", "/report/die/", 1)) } { "report of the die" } "." }
    };
    Ok(page(&visitor, &format!("Die {die}"), body))
}

/// All dies.
///
/// # Errors
/// [`Refusal`] if the database fails.
pub async fn list(State(app): State<Arc<App>>, visitor: Visitor) -> Page {
    let store = Arc::clone(&app.store);
    let dies = off_thread(move || {
        let dies = store.dies(None)?;
        let one = |row: crate::console::store::DieRow| -> Result<_, Refusal> {
            let accepted = store.newer_accepted(&row.press, &row.die, 0)?.map(|row| row.version);
            let counts = store.verdicts(&row.press, &row.die)?;
            Ok((row, accepted, counts))
        };
        dies.into_iter().map(one).collect::<Result<Vec<_>, _>>()
    })
    .await?;
    let body = html! {
        h1 { "Dies" }
        @if dies.is_empty() { p { "No die card yet: start the console with " code { "--die" } "." } }
        @else {
            div class="scroll" tabindex="0" role="region" aria-label="Dies" {
                table {
                    thead { tr { th scope="col" { "Die" } th scope="col" { "Press" } th scope="col" { "Newest version" } th scope="col" { "Accepted" } @for word in ["pass", "note", "hold", "trip"] { th scope="col" class="n" { (lamp(word)) } } } }
                    tbody { @for (row, accepted, counts) in &dies {
                        tr {
                            th scope="row" { a href={ "/die/" (part(&row.press)) "/" (part(&row.die)) } { (row.die) } } td { (row.press) } td { (row.version) }
                            td { @match accepted { Some(version) => { "version " (version) } None => { "none" } } }
                            @for count in counts { td class="n" { (count) } }
                        }
                    } }
                }
            }
        }
    };
    Ok(page(&visitor, "Dies", body))
}
