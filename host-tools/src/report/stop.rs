//! One stroke that stopped the press, or any other: what was found, where it shows, what it usually is.

use maud::{Markup, html};

use super::Provenance;
use super::page::{Paper, figure, signatures};
use super::strokes::{Judged, why};
use crate::card::press::PressCard;
use crate::figure::{AxisKind, Capacity, LoadUnit, Signature};
use crate::markup::stroke::{diagnosis, figures, findings};
use crate::markup::{lamp, load, load_unit, time};
use crate::picture::{Caption, LearntBand, StrokeReadings, capacity, load_centres, signature};
use crate::session::Outcome;

/// Strokes before and after that stand beside it in the table.
pub const BESIDE: usize = 5;
/// Slide heights at which the load is told, mm above the bottom.
const HEIGHTS_MM: [f64; 9] = [0.5, 1.0, 2.0, 3.0, 5.0, 8.0, 12.0, 20.0, 30.0];
/// A closer look shows the greatest change with this much on either side, as a share of its width.
const AROUND: f64 = 0.5;
/// Narrowest closer look, degrees or ms.
const NARROWEST: f64 = 12.0;

/// What a stroke's report is made of.
#[derive(Debug, Clone)]
pub struct Stop {
    /// The press.
    pub press: PressCard,
    /// The die that judged, and what its card is in words; none where only the press's own limits did.
    pub die: Option<(String, String)>,
    /// Where the stroke comes from, for people: a recording's name.
    pub source: String,
    /// The stroke.
    pub stroke: Judged,
    /// Its readings, loads in kN; none where they are not at hand.
    pub readings: Option<StrokeReadings>,
    /// What the die's good strokes do.
    pub band: Option<LearntBand>,
    /// The strokes around it and itself, in order.
    pub beside: Vec<Judged>,
    /// Strokes up to this one, for the load centres.
    pub before: Vec<Outcome>,
    /// Unit of loads.
    pub unit: LoadUnit,
    /// What it rests on.
    pub provenance: Provenance,
}

impl Stop {
    /// The report.
    #[must_use]
    pub fn html(&self) -> String {
        let outcome = &self.stroke.outcome;
        let what = match outcome.verdict {
            "hold" => "held",
            "trip" => "tripped",
            "note" => "noted",
            _ => "passed",
        };
        let paper = Paper {
            title: format!("Stroke {} of press {}, {what}", outcome.stroke, self.press.name),
            under: match self.stroke.at_ms {
                Some(at) => format!("{}; {}", self.source, time(at)),
                None => self.source.clone(),
            },
            body: self.body(),
            provenance: &self.provenance,
        };
        paper.html()
    }

    fn body(&self) -> Markup {
        let (outcome, unit) = (&self.stroke.outcome, self.unit);
        let caption = self.caption();
        let readings = self.readings.as_ref();
        let height = readings.and_then(|kept| capacity(kept, outcome, &self.press, unit, &caption));
        html! {
            p { (lamp(outcome.verdict)) " " (why(outcome)) }
            dl class="facts" { dt { "Judged by" } dd { @match &self.die { Some((die, says)) => { "die " (die) ", " (says) } None => { "the press's own limits; no die" } } } }
            h2 { "What was found" }
            (findings(outcome))
            @if let Some(told) = &self.stroke.told {
                h2 { "What it usually is" }
                (diagnosis(told, outcome.stroke, unit))
            }
            @match readings {
                Some(readings) => {
                    @let whole = signature(readings, outcome, self.band.as_ref(), &self.press, unit, &caption);
                    h2 { "Signature" }
                    (figure(&whole, if self.band.is_some() { "Load of this stroke over what good strokes of the die do, the total above, the columns below; hatched where the findings point." } else { "Load of this stroke, the total above, the columns below; hatched where the findings point." }))
                    @if let Some(closer) = self.closer(whole) { (figure(&closer, "The same, closer, where it changed.")) }
                }
                None => { p class="small" { "The readings of this stroke are not at hand: no signature can be drawn." } }
            }
            h2 { "Figures" }
            (figures(outcome, unit))
            @if let Some(height) = &height {
                h2 { "Load against slide height" }
                (figure(height, "Total load on the way down under what the crank can carry at that slide height."))
                (by_height(height, unit))
            }
            @if self.press.spec.columns.count() > 1 && outcome.load_centre_mm.is_some() {
                h2 { "Load centre" }
                (figure(&load_centres(&self.before, &self.press, &caption), "Load centre at the peak of this stroke and of those before it, seen from above."))
            }
            @if self.beside.len() > 1 { h2 { "The strokes around it" } (beside(&self.beside, outcome.stroke, unit)) }
            h2 { "What was done" }
            p class="small" { "Found, done, and by whom; to be filled in by hand." }
            (signatures(["Found", "Done"]))
            (signatures(["Released by", "When"]))
        }
    }

    fn caption(&self) -> Caption {
        let die = self.die.as_ref().map(|(die, _)| format!(", die {die}")).unwrap_or_default();
        Caption { subtitle: format!("Press {}{die}, {}", self.press.name, self.source) }
    }

    /// The part of the signature in which the change or the findings lie, where that is a part only.
    fn closer(&self, whole: Signature) -> Option<Signature> {
        let extent = self.stroke.told.as_ref().and_then(|told| told.extent.as_ref());
        let told = extent.and_then(|extent| match whole.axis {
            AxisKind::CrankAngle => extent.from_deg.zip(extent.to_deg),
            AxisKind::Milliseconds => extent.from_ms.zip(extent.to_ms),
        });
        let found = whole.spans.iter().map(|span| (span.from, span.to));
        let (from, to) = told.or_else(|| found.reduce(|a, b| (a.0.min(b.0), a.1.max(b.1))))?;
        let around = (AROUND * (to - from)).max(NARROWEST / 2.0);
        let (first, last) = whole.position.first().zip(whole.position.last())?;
        if (to - from) + 2.0 * around > 0.7 * (last - first) {
            return None;
        }
        let mut closer = whole.part(from - around, to + around);
        closer.title = format!("{}, closer", closer.title);
        (closer.position.len() > 2).then_some(closer)
    }
}

/// The load at some slide heights, and where it came nearest to what the crank can carry.
fn by_height(figure: &Capacity, unit: LoadUnit) -> Markup {
    // Heights fall on the way down: the last reading above a height is the one before it is passed.
    let at = |height: f64| figure.height_mm.iter().rposition(|mm| *mm >= height);
    let rows: Vec<(f64, f64, f64)> = HEIGHTS_MM
        .iter()
        .filter_map(|height| {
            let load = *figure.load_kn.get(at(*height)?)?;
            Some((*height, load, figure.allowed_at(*height)?))
        })
        .collect();
    html! {
        @if let Some(closest) = figure.closest() {
            p { (format!("Nearest to the capacity curve at {:.2} mm above the bottom: ", closest.height_mm)) (load_unit(unit, closest.load_kn))
                (format!(", {:.0} % of the ", 100.0 * closest.ratio())) (load_unit(unit, closest.allowed_kn)) " allowed there." }
        }
        table {
            thead { tr { th scope="col" class="n" { "Slide height, mm" } th scope="col" class="n" { "Load, " (unit.symbol()) } th scope="col" class="n" { "Allowed, " (unit.symbol()) } th scope="col" class="n" { "Share, %" } } }
            tbody { @for (height, kn, allowed) in rows {
                tr { td class="n" { (height) } td class="n" { (load(unit, kn)) } td class="n" { (load(unit, allowed)) } td class="n" { (format!("{:.1}", 100.0 * kn / allowed)) } }
            } }
        }
    }
}

fn beside(strokes: &[Judged], this: u64, unit: LoadUnit) -> Markup {
    html! {
        table {
            thead { tr { th scope="col" { "Stroke" } th scope="col" { "Verdict" } th scope="col" class="n" { "Peak, " (unit.symbol()) } th scope="col" class="n" { "Reverse, " (unit.symbol()) } th scope="col" class="n" { "Work, kJ" } th scope="col" class="n" { "Coil" } th scope="col" { "Why" } } }
            tbody { @for stroke in strokes {
                @let outcome = &stroke.outcome;
                tr {
                    th scope="row" { (outcome.stroke) @if outcome.stroke == this { " (this one)" } } td { (lamp(outcome.verdict)) }
                    td class="n" { (load(unit, outcome.peak_kn)) } td class="n" { (load(unit, outcome.reverse_kn)) }
                    td class="n" { (outcome.work_kj.map_or("–".into(), |work| format!("{work:.3}"))) } td class="n" { (outcome.coil) } td { (why(outcome)) }
                }
            } }
        }
    }
}
