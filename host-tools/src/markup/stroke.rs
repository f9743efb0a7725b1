//! One stroke in markup: its figures, what was found, and what it usually is.

use maud::{Markup, html};

use super::{lamp, load, load_unit, maybe, sentence};
use crate::diagnose::{Told, ToldCause, ToldExtent, labelled};
use crate::figure::LoadUnit;
use crate::session::Outcome;

/// A stroke's figures, the columns' in a table.
#[must_use]
pub fn figures(outcome: &Outcome, unit: LoadUnit) -> Markup {
    html! {
        dl class="facts" {
            dt { "Peak load" } dd { (load_unit(unit, outcome.peak_kn)) " at " (maybe(outcome.peak_angle_deg, 1, "°")) ", slide height " (maybe(outcome.peak_height_mm, 2, "mm")) }
            dt { "Reverse load" } dd { (load_unit(unit, outcome.reverse_kn)) " at " (maybe(outcome.reverse_angle_deg, 1, "°")) }
            dt { "Work" } dd { (maybe(outcome.work_kj, 3, "kJ")) }
            dt { "Load centre" } dd {
                @match outcome.load_centre_mm {
                    Some([x, y]) => { (format!("{x:.1} mm right, {y:.1} mm to the front of the middle")) }
                    None => { "not told: no load to speak of, one column, or a gauge that lied" }
                }
            }
            dt { "Contact" } dd { (maybe(outcome.contact_angle_deg, 1, "°")) }
            dt { "Speed" } dd { (maybe(outcome.speed_spm, 1, "strokes a minute")) }
            dt { "Coil" } dd { (outcome.coil) }
        }
        div class="scroll" tabindex="0" role="region" aria-label="Columns" {
            table {
                thead { tr { th scope="col" { "Column" } th scope="col" class="n" { "Peak, " (unit.symbol()) } th scope="col" class="n" { "Reverse, " (unit.symbol()) } } }
                tbody { @for column in &outcome.columns {
                    tr { th scope="row" { (column.name.to_uppercase()) } td class="n" { (load(unit, column.peak_kn)) } td class="n" { (load(unit, column.reverse_kn)) } }
                } }
            }
        }
    }
}

/// What was found, as a table.
#[must_use]
pub fn findings(outcome: &Outcome) -> Markup {
    let number = |value: f64| if value.is_finite() { format!("{value:.3}") } else { "–".to_owned() };
    html! {
        @if outcome.findings.is_empty() { p { "Nothing was found." } }
        @else {
            div class="scroll" tabindex="0" role="region" aria-label="Findings" {
                table class="some" {
                    thead { tr { th scope="col" { "Verdict" } th scope="col" { "What" } th scope="col" { "Column" } th scope="col" { "Where" } th scope="col" class="n" { "Value" } th scope="col" class="n" { "Limit" } th scope="col" { "Code" } } }
                    tbody { @for finding in &outcome.findings {
                        tr {
                            td { (lamp(finding.verdict)) } td { (finding.says) } td { (finding.column.map_or("–".into(), str::to_uppercase)) }
                            td { @match (finding.from_deg, finding.to_deg) {
                                (Some(from), Some(to)) if to - from > 0.05 => { (format!("{from:.1}° to {to:.1}°")) }
                                (Some(from), _) => { (format!("{from:.1}°")) }
                                _ => { "–" }
                            } }
                            td class="n" { (number(finding.value)) } td class="n" { (number(finding.limit)) } td { code { (finding.reason) } }
                        }
                    } }
                }
            }
            p class="small" { "Values and limits are in the unit of the limit: kN, kJ, strokes a minute, or a size without one for the signature's shape." }
        }
    }
}

/// How far a sign is there, in a word.
fn there(support: f64) -> &'static str {
    match support {
        support if support >= 0.8 => "there",
        support if support >= 0.4 => "partly there",
        support if support > 0.1 => "hardly there",
        _ => "not there",
    }
}

fn where_shown(extent: &ToldExtent) -> Option<String> {
    let way = match extent.way.as_deref() {
        Some("down") => ", on the way down",
        Some("up") => ", on the way up",
        _ => "",
    };
    match (extent.from_deg.zip(extent.to_deg), extent.from_ms.zip(extent.to_ms)) {
        (Some((from, to)), _) => {
            let most = extent.greatest_deg.zip(extent.greatest_height_mm);
            let most = most.map(|(deg, mm)| format!(", most at {deg:.1}° ({mm:.1} mm above the bottom)"));
            Some(format!("{from:.1}° to {to:.1}°{way}{}", most.unwrap_or_default()))
        }
        (_, Some((from, to))) => Some(format!("{from:.0} to {to:.0} ms from load onset")),
        _ => None,
    }
}

fn cause(cause: &ToldCause) -> Markup {
    html! {
        tr class="cause" {
            th scope="rowgroup" colspan="2" { (cause.placed()) " " code { (cause.code) } }
            td class="n" { (format!("{:.2}", cause.strength)) }
        }
        @for sign in &cause.evidence {
            tr { td { (sign.sign) } td { (there(sign.support)) } td class="n" { (format!("{:.2}", sign.support)) } }
        }
    }
}

/// What a stroke usually is: what changed, where, and usual causes with the signs for each.
#[must_use]
pub fn diagnosis(told: &Told, stroke: u64, unit: LoadUnit) -> Markup {
    html! {
        p class="small" { "Usual causes are " (told.basis) ". A strength is no probability: every sign that is missing takes its weight away." }
        @if told.since_stroke != stroke { p { "Noted for the same reasons since stroke " (told.since_stroke) ", and diagnosed there." } }
        dl class="facts" {
            @if let Some(change) = &told.change {
                dt { "What changed" } dd {
                    (format!("{}{}", if change.greatest_kn < 0.0 { "−" } else { "+" }, load_unit(unit, change.greatest_kn.abs())))
                    (format!(" ({:+.0} % of the greatest load expected), most in {}", change.greatest_percent, change.column.to_uppercase()))
                }
                dt { "Since when" } dd {
                    @match change.course.as_str() {
                        "sudden" => { "sudden: " } "growing" => { "growing: " } "steady" => { "steady: " } _ => { "too few strokes to tell: " }
                    }
                    (change.strokes_alike) " of the " (change.strokes_looked_at) " strokes before show it too"
                }
            }
            @if let Some(says) = told.extent.as_ref().and_then(where_shown) { dt { "Where in the stroke" } dd { (says) } }
            @if !told.places.is_empty() {
                dt { "Where in the press" } dd {
                    @for (n, place) in told.places.iter().filter(|place| place.as_likely_as_first).enumerate() {
                        @if n > 0 { ", or " }
                        @if place.kind == "press" { "the press as a whole" } @else { (place.kind) " " (labelled(&place.name)) }
                        @if let Some(corner) = place.corner.as_ref().filter(|corner| **corner != place.name) { " (" (corner) ")" }
                        (format!(", explains {:.0} %", 100.0 * place.explains))
                    }
                }
            }
        }
        @if told.causes.is_empty() { p { "No usual cause fits." } }
        @else {
            div class="scroll" tabindex="0" role="region" aria-label="Usual causes" {
                table {
                    thead { tr { th scope="col" { "Cause, and the signs it rests on" } th scope="col" { "Sign" } th scope="col" class="n" { "Strength" } } }
                    @for one in &told.causes { tbody { (cause(one)) } }
                }
            }
        }
        @for remark in &told.remarks { p class="small" { (sentence(remark)) } }
    }
}
