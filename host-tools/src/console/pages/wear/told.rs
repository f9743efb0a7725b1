//! What was found of wear, in words and a table.

use maud::{Markup, html};

use crate::console::pages::words::{part, short, time};
use crate::console::wear::{LOOK_BACK, Worn};
use crate::figure::{self, LoadUnit};
use crate::trend::{Analysis, ChartOutcome, State, StrokesLeft, Trend};

pub(super) fn is_load(of: &Trend) -> bool {
    of.unit == LoadUnit::Kn.symbol()
}

/// A value of a quantity in the visitor's unit.
pub(super) fn value(of: &Trend, unit: LoadUnit, value: f64) -> String {
    short(if is_load(of) { unit.of_kn(value) } else { value })
}

pub(super) fn symbol(of: &Trend, unit: LoadUnit) -> &'static str {
    if is_load(of) { unit.symbol() } else { of.unit }
}

pub(super) fn grouped(count: f64) -> String {
    figure::grouped(count.max(0.0), 0)
}

/// For the middle of a sentence; names of columns stay as they are.
fn uncapitalised(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_lowercase().chain(letters).collect())
}

fn left(left: StrokesLeft) -> String {
    let most = left.most.map_or_else(|| "no end in sight".to_owned(), grouped);
    format!("about {} ({} to {most})", grouped(left.likely), grouped(left.least))
}

/// The strokes that count, and what is not among them.
pub(super) fn basis(worn: &Worn, analysis: &Analysis) -> Markup {
    html! {
        p {
            (grouped(analysis.strokes as f64)) " strokes stored"
            @match &worn.die { Some(die) => { " under die " a href={ "/die/" (part(&worn.card.name)) "/" (part(die)) } { (die) } } None => { " without a die" } }
            @match analysis.coils {
                Some(coils) => { ", " (coils) " coils as marked" }
                None => { "; no coil change is marked, batches of strokes stand for coils" }
            }
            @if analysis.stopped > 0 { "; those that stopped the press (" (analysis.stopped) ") are left out" }
            "."
            @if worn.is_older { " Older ones are left out: the latest " (grouped(LOOK_BACK as f64)) " are looked at." }
            @if worn.otherwise > 0 { " Before them " (worn.otherwise) " were made while the press's columns had other names." }
        }
    }
}

/// What matters most, in a sentence.
pub(super) fn headline(analysis: &Analysis, unit: LoadUnit) -> Markup {
    let towards = |one: &&Trend| one.strokes_left.is_some();
    let first = analysis.quantities.iter().filter(towards).min_by(|a, b| {
        let likely = |one: &Trend| one.strokes_left.map_or(f64::INFINITY, |left| left.likely);
        likely(a).total_cmp(&likely(b))
    });
    let all = |state| analysis.quantities.iter().all(|one: &Trend| one.state == state);
    let confidence = format!("{:.0} % interval", 100.0 * analysis.confidence);
    html! {
        p class="headline" {
            @match first.and_then(|one| Some((one, one.strokes_left?, one.limit?))) {
                Some((one, left, limit)) => {
                    strong { "About " (grouped(left.likely)) " strokes left" }
                    " before " (uncapitalised(&one.title)) " meets its limit of " (value(one, unit, limit)) " " (symbol(one, unit))
                    " (" (confidence) " " (grouped(left.least)) " to " (left.most.map_or_else(|| "no end in sight".to_owned(), grouped)) ")."
                }
                None if analysis.quantities.is_empty() => { "No stroke is stored: nothing can be told." }
                None if all(State::NotEnough) => { strong { "Too few strokes to tell wear." } }
                None if all(State::NoTrend) => { "Nothing surely rises or falls." }
                None => { "Nothing runs towards a limit that is known." }
            }
        }
        @if !analysis.quantities.is_empty() && all(State::NotEnough) {
            p {
                "A trend takes 8 coils: all strokes of a coil share its thickness and strength and count as one value. "
                "Without marked coils it takes as many batches of strokes. Let the console run on, or look at older files with " code { "bolster trend" } "."
            }
        }
    }
}

pub(super) fn changed(worn: &Worn, analysis: &Analysis, when: &[Option<i64>]) -> Markup {
    html! {
        h2 { "What changed" }
        @if analysis.changes.is_empty() { p { "No step was found: no regrind, no other stock, nothing set anew." } }
        @else {
            ul { @for (n, change) in analysis.changes.iter().enumerate() {
                li {
                    strong { (change.kind.word()) } " at "
                    @match worn.id(change.stroke) { Some(id) => { a href={ "/stroke/" (id) } { "stroke " (change.stroke) } } None => { "stroke " (change.stroke) } }
                    @if let Some(at) = when.get(n).copied().flatten() { ", " span class="time" { (time(at)) } }
                    ": " (change.says.join("; ")) "."
                }
            } }
        }
    }
}

/// What its charts signalled, in words.
fn signals(of: &Trend) -> String {
    let charts = [("EWMA", of.ewma), ("CUSUM", of.cusum)];
    let one = |(name, chart): (&str, Option<ChartOutcome>)| {
        let chart = chart?;
        let way = if chart.up == Some(true) { "up" } else { "down" };
        Some(format!("{name} {way} at stroke {}", chart.signal_stroke?))
    };
    let all: Vec<String> = charts.into_iter().filter_map(one).collect();
    if all.is_empty() { "–".to_owned() } else { all.join("; ") }
}

pub(super) fn quantities(analysis: &Analysis, unit: LoadUnit) -> Markup {
    let word = |state| match state {
        State::Rising => "▲ rises",
        State::Falling => "▼ falls",
        State::NoTrend => "no trend",
        State::NotEnough => "too few",
    };
    let heads = [
        "Quantity",
        "Course",
        "Since stroke",
        "Change in 1,000 strokes",
        "Now",
        "Limit",
        "Strokes left",
        "Charts signal",
    ];
    html! {
        h2 { "Trends, and strokes left" }
        div class="scroll" tabindex="0" role="region" aria-label="Trends, and strokes left" {
            table class="many" {
                thead { tr { @for head in heads { th scope="col" { (head) } } } }
                tbody { @for one in &analysis.quantities {
                    tr data-quantity=(one.quantity) {
                        th scope="row" { (one.title) ", " (symbol(one, unit)) }
                        td { (word(one.state)) }
                        td { (one.from_stroke) " (" (one.blocks) @if analysis.coils.is_some() { " coils)" } @else { " batches)" } }
                        td { (one.per_1000_strokes.map_or("–".into(), |slope| format!("{} ({} to {})", value(one, unit, slope.value), value(one, unit, slope.low), value(one, unit, slope.high)))) }
                        td { (one.now.map_or("–".into(), |now| format!("{} ({} to {})", value(one, unit, now.value), value(one, unit, now.low), value(one, unit, now.high)))) }
                        td { (one.limit.map_or("–".into(), |limit| value(one, unit, limit))) }
                        td { (one.strokes_left.map_or_else(|| "–".to_owned(), left)) }
                        td { (signals(one)) }
                    }
                } }
            }
        }
        p class="small" {
            "In brackets " (format!("{:.0}", 100.0 * analysis.confidence)) " % intervals. Strokes are counted over everything looked at; a run that begins anew is counted on. "
            "One false alarm in " (grouped(analysis.false_alarm_strokes)) " strokes is tolerated, all quantities together. "
            "Strokes left are an estimate, no promise: they hold while stock, speed, lubrication and setting stay as they are, and they say nothing of a break. Look at the edges before and after."
        }
    }
}
