//! How numbers, times, verdicts and addresses are written in the markup of pages and reports.

pub mod limits;
pub mod stroke;

use jiff::Timestamp;
use maud::{Markup, html};

use crate::figure::LoadUnit;

/// A time of the database, UTC, to the second.
#[must_use]
pub fn time(at_ms: i64) -> String {
    match Timestamp::from_millisecond(at_ms) {
        Ok(at) => at.strftime("%Y-%m-%d %H:%M:%S UTC").to_string(),
        Err(_) => "no time".to_owned(),
    }
}

/// A time of so many ms since 1970, to the millisecond, as RFC 3339 has it; [`time_of`] takes it back.
#[must_use]
pub fn moment(at_ms: i64) -> String {
    match Timestamp::from_millisecond(at_ms) {
        Ok(at) => at.strftime("%Y-%m-%dT%H:%M:%S.%3fZ").to_string(),
        Err(_) => "no time".to_owned(),
    }
}

/// Milliseconds since 1970 of a day's beginning or a time, UTC: `2026-01-05` or `2026-01-05T06:00`.
#[must_use]
pub fn time_of(text: &str) -> Option<i64> {
    let text = text.trim();
    let whole = match text.len() {
        10 => format!("{text}T00:00:00Z"),
        16 => format!("{text}:00Z"),
        19 => format!("{text}Z"),
        _ => text.to_owned(),
    };
    whole.replace(' ', "T").parse::<Timestamp>().ok().map(Timestamp::as_millisecond)
}

/// A load without its unit, three figures or more.
#[must_use]
pub fn load(unit: LoadUnit, kn: f64) -> String {
    let value = unit.of_kn(kn);
    let decimals = match value.abs() {
        size if size >= 1000.0 => 0,
        size if size >= 100.0 => 1,
        size if size >= 10.0 => 2,
        _ => 3,
    };
    format!("{value:.decimals$}")
}

/// A load with its unit.
#[must_use]
pub fn load_unit(unit: LoadUnit, kn: f64) -> String {
    format!("{} {}", load(unit, kn), unit.symbol())
}

pub(crate) use crate::trend::change::short;

/// A number that may be missing.
#[must_use]
pub fn maybe(value: Option<f64>, decimals: usize, unit: &str) -> String {
    // A degree sign stands at its number, any other unit after a space (SI Brochure, 5.4.3).
    let space = if unit.is_empty() || unit.starts_with('°') { "" } else { " " };
    value.map_or_else(|| "–".to_owned(), |value| format!("{value:.decimals$}{space}{unit}"))
}

/// With a capital and a full stop.
pub(crate) fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(|letter| letter.to_uppercase().to_string()).unwrap_or_default();
    let end = if text.ends_with(['.', '?']) { "" } else { "." };
    format!("{first}{}{end}", letters.as_str())
}

/// So many of something: `1 coil`, `3 coils`.
#[must_use]
pub fn counted(count: u64, what: &str) -> String {
    if count == 1 { format!("1 {what}") } else { format!("{count} {what}s") }
}

/// A part of an address: everything but letters, digits and `-_.` in percent form.
#[must_use]
pub fn part(text: &str) -> String {
    let mut out = String::new();
    for byte in text.bytes() {
        if byte.is_ascii_alphanumeric() || matches!(byte, b'-' | b'_' | b'.') {
            out.push(char::from(byte));
        } else {
            out += &format!("%{byte:02X}");
        }
    }
    // A lone dot would be taken for a folder.
    if out.bytes().all(|byte| byte == b'.') { out.replace('.', "%2E") } else { out }
}

/// A verdict's mark and word: the shape tells it without the colour, the word without the shape.
#[must_use]
pub fn lamp(verdict: &str) -> Markup {
    html! {
        span class={ "lamp " (verdict) } {
            svg class="mark" viewBox="-12 -12 24 24" aria-hidden="true" {
                // A symbol lies with its corner at the origin unless told otherwise.
                use href={ "#mark-" (verdict) } x="-12" y="-12" width="24" height="24" {}
            }
            span class="word" { (verdict) }
        }
    }
}

/// The verdicts' marks, for use anywhere in the document: circle, triangle, square, cross.
#[must_use]
pub fn marks() -> Markup {
    html! {
        svg class="marks" aria-hidden="true" width="0" height="0" {
            symbol id="mark-pass" viewBox="-12 -12 24 24" { circle r="9.5" {} }
            symbol id="mark-note" viewBox="-12 -12 24 24" { path d="M0 -11 L11 9 L-11 9 Z" {} }
            symbol id="mark-hold" viewBox="-12 -12 24 24" { path d="M-9.5 -9.5 H9.5 V9.5 H-9.5 Z" {} }
            symbol id="mark-trip" viewBox="-12 -12 24 24" {
                path d="M0 -4.5 L6.5 -11 L11 -6.5 L4.5 0 L11 6.5 L6.5 11 L0 4.5 L-6.5 11 L-11 6.5 L-4.5 0 L-11 -6.5 L-6.5 -11 Z" {}
            }
        }
    }
}
