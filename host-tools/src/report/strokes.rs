//! Judged strokes as reports take them, and what many of them amount to, in tables.

use std::collections::BTreeMap;

use bolster_core::verdict::Reason;
use maud::{Markup, html};
use statrs::statistics::{Data, OrderStatistics as _};

use crate::diagnose::Told;
use crate::figure::LoadUnit;
use crate::markup::{lamp, load, time};
use crate::session::{Outcome, verdict_rank};

/// Longest list of stopped strokes, lines; more are counted.
const LISTED: usize = 200;
/// Most coils told one by one.
const COILS: usize = 60;

/// One judged stroke.
#[derive(Debug, Clone, PartialEq)]
pub struct Judged {
    /// What was found.
    pub outcome: Outcome,
    /// When it ended, ms since 1970, UTC; none where the source does not say.
    pub at_ms: Option<i64>,
    /// What it was diagnosed as.
    pub told: Option<Told>,
}

impl Judged {
    pub(super) fn rank(&self) -> usize {
        verdict_rank(self.outcome.verdict).unwrap_or(3)
    }

    pub(super) fn is_stopped(&self) -> bool {
        self.rank() >= 2
    }
}

/// Strokes by verdict, pass to trip.
pub(super) fn counts(strokes: &[Judged]) -> [u64; 4] {
    let mut counts = [0; 4];
    for stroke in strokes {
        if let Some(count) = counts.get_mut(stroke.rank()) {
            *count += 1;
        }
    }
    counts
}

/// Reasons in words.
pub(super) fn why(outcome: &Outcome) -> String {
    let mut words: Vec<String> = Vec::new();
    for finding in &outcome.findings {
        let says = match finding.column {
            Some(column) => format!("{}: {}", column.to_uppercase(), finding.says),
            None => finding.says.to_owned(),
        };
        if !words.contains(&says) {
            words.push(says);
        }
    }
    words.join("; ")
}

/// Least, 5 %, median, 95 % and greatest of values; none for no value.
fn spread(values: Vec<f64>) -> Option<[f64; 5]> {
    if values.is_empty() {
        return None;
    }
    let mut data = Data::new(values);
    Some([data.quantile(0.0), data.quantile(0.05), data.median(), data.quantile(0.95), data.quantile(1.0)])
}

/// Spread of the strokes' figures.
pub(super) fn figures(strokes: &[Judged], unit: LoadUnit) -> Markup {
    let all = |of: &dyn Fn(&Outcome) -> Option<f64>| {
        spread(strokes.iter().filter_map(|stroke| of(&stroke.outcome)).collect())
    };
    let names: Vec<&str> = strokes
        .first()
        .map(|first| first.outcome.columns.iter().map(|column| column.name).collect())
        .unwrap_or_default();
    let mut rows = vec![
        ("Peak load".to_owned(), unit.symbol(), true, all(&|o| Some(o.peak_kn))),
        ("Reverse load".to_owned(), unit.symbol(), true, all(&|o| Some(o.reverse_kn))),
    ];
    if names.len() > 1 {
        for (n, name) in names.iter().enumerate() {
            let peak = all(&|o| o.columns.get(n).map(|column| column.peak_kn));
            rows.push((format!("Peak of {}", name.to_uppercase()), unit.symbol(), true, peak));
        }
    }
    rows.push(("Work".to_owned(), "kJ", false, all(&|o| o.work_kj)));
    rows.push(("Peak at".to_owned(), "mm above bottom", false, all(&|o| o.peak_height_mm)));
    rows.push(("Speed".to_owned(), "strokes a minute", false, all(&|o| o.speed_spm)));
    html! {
        table {
            thead { tr { th scope="col" { "Over all strokes" } th scope="col" { "Unit" } @for head in ["Least", "5 %", "Median", "95 %", "Greatest"] { th scope="col" class="n" { (head) } } } }
            tbody { @for (what, symbol, is_load, found) in &rows {
                @if let Some(found) = found {
                    tr {
                        th scope="row" { (what) } td { (symbol) }
                        @for value in found { td class="n" { @if *is_load { (load(unit, *value)) } @else { (format!("{value:.3}")) } } }
                    }
                }
            } }
        }
    }
}

/// Stopped strokes, one a line.
pub(super) fn stops(strokes: &[Judged], unit: LoadUnit) -> Markup {
    let stopped: Vec<&Judged> = strokes.iter().filter(|stroke| stroke.is_stopped()).collect();
    let timed = stopped.iter().any(|stroke| stroke.at_ms.is_some());
    let told = stopped.iter().any(|stroke| stroke.told.is_some());
    html! {
        @if stopped.is_empty() { p { "No stroke was stopped." } }
        @else {
            table {
                thead { tr {
                    th scope="col" { "Stroke" } @if timed { th scope="col" { "When" } } th scope="col" { "Verdict" }
                    th scope="col" class="n" { "Peak, " (unit.symbol()) } th scope="col" { "Why" }
                    @if told { th scope="col" class="wide" { "First of the usual causes" } }
                } }
                tbody { @for stroke in stopped.iter().take(LISTED) {
                    tr {
                        td { (stroke.outcome.stroke) } @if timed { td { (stroke.at_ms.map(time).unwrap_or_default()) } }
                        td { (lamp(stroke.outcome.verdict)) } td class="n" { (load(unit, stroke.outcome.peak_kn)) }
                        td { (why(&stroke.outcome)) }
                        @if told { td { (stroke.told.as_ref().and_then(Told::first).unwrap_or_else(|| "none fits".to_owned())) } }
                    }
                } }
            }
            @if stopped.len() > LISTED { p class="small" { "And " (stopped.len() - LISTED) " more." } }
        }
    }
}

/// How often each reason was given, and each first cause.
pub(super) fn tallies(strokes: &[Judged]) -> Markup {
    let mut reasons: BTreeMap<&str, u64> = BTreeMap::new();
    let mut causes: BTreeMap<String, (u64, u64, u64)> = BTreeMap::new();
    for stroke in strokes {
        for reason in &stroke.outcome.reasons {
            *reasons.entry(reason).or_default() += 1;
        }
        if stroke.is_stopped()
            && let Some(cause) = stroke.told.as_ref().and_then(Told::first)
        {
            let number = stroke.outcome.stroke;
            let entry = causes.entry(cause).or_insert((0, number, number));
            *entry = (entry.0 + 1, entry.1, number);
        }
    }
    let mut causes: Vec<_> = causes.into_iter().collect();
    causes.sort_by_key(|(_, (count, first, _))| (std::cmp::Reverse(*count), *first));
    let says = |code: &str| {
        Reason::ALL.iter().find(|reason| reason.code() == code).map_or("", |reason| reason.says())
    };
    html! {
        @if !reasons.is_empty() {
            table {
                thead { tr { th scope="col" { "Reason" } th scope="col" class="n" { "Strokes" } th scope="col" { "Code" } } }
                tbody { @for (code, count) in &reasons { tr { td { (says(code)) } td class="n" { (count) } td { code { (code) } } } } }
            }
        }
        @if !causes.is_empty() {
            table {
                thead { tr { th scope="col" { "First of the usual causes of stopped strokes" } th scope="col" class="n" { "Strokes" } th scope="col" { "First and last" } } }
                tbody { @for (cause, (count, first, last)) in &causes {
                    tr { td { (cause) } td class="n" { (count) } td { (first) @if last != first { " to " (last) } } }
                } }
            }
            p class="small" { "Usual causes are common practice, no source: a place to look first, not a finding." }
        }
    }
}

struct Part {
    name: String,
    strokes: u64,
    stopped: u64,
    noted: u64,
    peaks: Vec<f64>,
}

impl Part {
    fn take(&mut self, stroke: &Judged) {
        self.strokes += 1;
        self.noted += u64::from(stroke.rank() == 1);
        self.stopped += u64::from(stroke.is_stopped());
        self.peaks.push(stroke.outcome.peak_kn);
    }
}

fn parts(parts: Vec<Part>, head: &str, unit: LoadUnit) -> Markup {
    html! {
        table {
            thead { tr { th scope="col" { (head) } @for head in ["Strokes", "Noted", "Stopped"] { th scope="col" class="n" { (head) } } th scope="col" class="n" { "Median peak, " (unit.symbol()) } th scope="col" class="n" { "Greatest peak, " (unit.symbol()) } } }
            tbody { @for part in parts {
                tr {
                    th scope="row" { (part.name) } td class="n" { (part.strokes) } td class="n" { (part.noted) } td class="n" { (part.stopped) }
                    @let found = spread(part.peaks);
                    td class="n" { (found.map_or("–".into(), |[_, _, median, _, _]| load(unit, median))) }
                    td class="n" { (found.map_or("–".into(), |[_, _, _, _, greatest]| load(unit, greatest))) }
                }
            } }
        }
    }
}

fn grouped(strokes: &[Judged], name: impl Fn(&Judged) -> Option<String>) -> Vec<Part> {
    let mut found: Vec<Part> = Vec::new();
    for stroke in strokes {
        let Some(name) = name(stroke) else { continue };
        if found.last().is_none_or(|last| last.name != name) {
            found.push(Part { name, strokes: 0, stopped: 0, noted: 0, peaks: Vec::new() });
        }
        if let Some(last) = found.last_mut() {
            last.take(stroke);
        }
    }
    found
}

/// Coil by coil; nothing where the source marks none.
pub(super) fn coils(strokes: &[Judged], unit: LoadUnit) -> Markup {
    let mut found = grouped(strokes, |stroke| Some(stroke.outcome.coil.to_string()));
    let all = found.len();
    found.truncate(COILS);
    html! {
        @if all > 1 {
            h2 { "Coil by coil" }
            (parts(found, "Coil", unit))
            @if all > COILS { p class="small" { "And " (all - COILS) " more." } }
        }
    }
}

/// Hour by hour, UTC; nothing where the source has no times.
pub(super) fn hours(strokes: &[Judged], unit: LoadUnit) -> Markup {
    let hour = |stroke: &Judged| {
        let at = time(stroke.at_ms?);
        at.get(..13).map(|hour| format!("{hour}:00"))
    };
    let found = grouped(strokes, hour);
    html! {
        @if found.len() > 1 {
            h2 { "Hour by hour (UTC)" }
            (parts(found, "Hour from", unit))
        }
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::session::FindingOutcome;

    pub(crate) fn judged(stroke: u64, verdict: &'static str, peak_kn: f64) -> Judged {
        let finding = FindingOutcome {
            reason: "peak-over-die-limit",
            verdict,
            says: "peak load over the die's limit",
            column: None,
            from_deg: None,
            to_deg: None,
            value: peak_kn,
            limit: 1.0,
        };
        let findings = if verdict == "pass" { Vec::new() } else { vec![finding] };
        let outcome = Outcome {
            stroke,
            verdict,
            reasons: findings.iter().map(|finding| finding.reason).collect(),
            peak_kn,
            peak_angle_deg: None,
            reverse_kn: 0.0,
            work_kj: None,
            load_centre_mm: None,
            columns: Vec::new(),
            coil: stroke / 3,
            peak_height_mm: None,
            reverse_angle_deg: None,
            contact_angle_deg: None,
            speed_spm: None,
            wear: None,
            findings,
        };
        Judged { outcome, at_ms: Some(1_767_000_000_000 + 1_200_000 * stroke as i64), told: None }
    }

    #[test]
    fn tables_count_every_stroke_once() {
        let strokes: Vec<Judged> =
            (0..9).map(|n| judged(n, if n == 4 { "hold" } else { "pass" }, 100.0 + n as f64)).collect();
        assert_eq!(counts(&strokes), [8, 0, 1, 0]);
        let figures = figures(&strokes, LoadUnit::Kn).into_string();
        assert!(
            figures.contains("104.0") && figures.contains("100.0") && figures.contains("108.0"),
            "{figures}"
        );
        let stops = stops(&strokes, LoadUnit::Kn).into_string();
        assert_eq!(stops.matches("<tr>").count(), 2, "a head and one line: {stops}");
        let coils = coils(&strokes, LoadUnit::Kn).into_string();
        assert_eq!(coils.matches("<th scope=\"row\">").count(), 3, "{coils}");
        // Nine strokes 20 minutes apart begin at 09:20 UTC: within four hours.
        let hours = hours(&strokes, LoadUnit::Kn).into_string();
        assert_eq!(hours.matches("<th scope=\"row\">").count(), 4, "{hours}");
    }

    #[test]
    fn a_spread_of_two_values_has_its_ends_and_its_middle() {
        let [least, .., greatest] = spread(vec![3.0, 1.0]).unwrap();
        assert_eq!((least, greatest), (1.0, 3.0));
        assert_eq!(spread(vec![3.0, 1.0]).unwrap()[2], 2.0);
        assert_eq!(spread(Vec::new()), None);
    }
}
