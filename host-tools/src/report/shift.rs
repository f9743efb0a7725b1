//! A shift: what a press did, what stopped it, and what was changed meanwhile.

use maud::{Markup, html};

use super::Provenance;
use super::page::{Paper, figure, signatures, tally};
use super::strokes::{Judged, coils, counts, figures, hours, stops, tallies};
use crate::card::press::PressCard;
use crate::figure::LoadUnit;
use crate::markup::{load_unit, time};
use crate::picture::{Caption, load_centres, over_strokes, shares};
use crate::session::Outcome;

/// Something that happened in the shift beside the strokes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Happening {
    /// When, ms since 1970, UTC.
    pub at_ms: i64,
    /// What.
    pub says: String,
    /// Who; none for what the program did.
    pub who: Option<String>,
    /// Why, as the person said it.
    pub reason: Option<String>,
}

/// What a shift's report is made of.
#[derive(Debug, Clone)]
pub struct Shift {
    /// The press.
    pub press: PressCard,
    /// Dies that judged, as the report names them; empty where only the press's own limits did.
    pub dies: Vec<String>,
    /// From where to where: a recording's name, or times.
    pub span: String,
    /// Every stroke, in order.
    pub strokes: Vec<Judged>,
    /// What else happened, in order.
    pub happenings: Vec<Happening>,
    /// Unit of loads.
    pub unit: LoadUnit,
    /// What it rests on.
    pub provenance: Provenance,
}

impl Shift {
    /// The report.
    #[must_use]
    pub fn html(&self) -> String {
        let paper = Paper {
            title: format!("Shift on press {}", self.press.name),
            under: self.span.clone(),
            body: self.body(),
            provenance: &self.provenance,
        };
        paper.html()
    }

    fn body(&self) -> Markup {
        if self.strokes.is_empty() {
            return html! { p { "No stroke in this time." } (self.happened()) };
        }
        let unit = self.unit;
        let outcomes: Vec<Outcome> = self.strokes.iter().map(|stroke| stroke.outcome.clone()).collect();
        let caption = Caption { subtitle: format!("Press {}, {}", self.press.name, self.span) };
        let rated = self.press.spec.rated_kn;
        let greatest = outcomes.iter().map(|outcome| outcome.peak_kn).fold(0.0, f64::max);
        html! {
            (tally(counts(&self.strokes)))
            dl class="facts" {
                dt { "Strokes" } dd { (self.strokes.len()) }
                @if let Some((from, to)) = self.times() { dt { "First and last" } dd { (time(from)) " to " (time(to)) } }
                dt { "Judged by" } dd {
                    @if self.dies.is_empty() { "the press's own limits; no die" }
                    @for (n, die) in self.dies.iter().enumerate() { @if n > 0 { "; " } (die) }
                }
                dt { "Rated load" } dd { (load_unit(unit, rated)) " down to " (self.press.spec.rated_height_mm) " mm above the bottom" }
                dt { "Greatest load" } dd { (load_unit(unit, greatest)) (format!(", {:.0} % of the rating", 100.0 * greatest / rated)) }
            }
            (figure(&over_strokes(&outcomes, &self.press, unit, &caption), "Each stroke's peak and reverse load with the press's limits, and its verdict as a mark."))
            h2 { "What stopped the press" }
            (stops(&self.strokes, unit))
            (tallies(&self.strokes))
            h2 { "Figures" }
            (figures(&self.strokes, unit))
            (hours(&self.strokes, unit))
            (coils(&self.strokes, unit))
            @if self.press.spec.columns.count() > 1 {
                h2 { "Where the load acted" }
                (figure(&shares(&outcomes, &self.press, &caption), "Each column's peak as a share of the sum of the columns' peaks."))
                (figure(&load_centres(&outcomes, &self.press, &caption), "Load centre at each stroke's peak, seen from above."))
            }
            (self.happened())
            (signatures(["Shift handed over by", "Taken over by"]))
        }
    }

    fn times(&self) -> Option<(i64, i64)> {
        let first = self.strokes.first()?.at_ms?;
        Some((first, self.strokes.last()?.at_ms?))
    }

    fn happened(&self) -> Markup {
        html! {
            @if !self.happenings.is_empty() {
                h2 { "What else happened" }
                table {
                    thead { tr { th scope="col" { "When" } th scope="col" { "What" } th scope="col" { "Who" } th scope="col" { "Reason given" } } }
                    tbody { @for one in &self.happenings {
                        tr { td { (time(one.at_ms)) } td { (one.says) } td { (one.who.as_deref().unwrap_or("–")) } td { (one.reason.as_deref().unwrap_or("–")) } }
                    } }
                }
            }
        }
    }
}
