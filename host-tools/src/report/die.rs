//! A die: what its strokes may do, what that rests on, who accepted it, and what it stopped.

use maud::{Markup, html};

use super::Provenance;
use super::page::{Paper, figure, signatures, tally};
use super::strokes::{Judged, coils, counts, figures, stops, tallies};
use crate::card::die::{Axis, DieCard, ShapeCard};
use crate::card::press::PressCard;
use crate::figure::{AxisKind, LoadUnit, Signature, Trace};
use crate::markup::limits::limits;
use crate::markup::{counted, load_unit, time};
use crate::picture::{BAND_DEVIATIONS, Caption, LearntBand, over_strokes};
use crate::session::Outcome;

/// One version of a die's card.
#[derive(Debug, Clone, PartialEq)]
pub struct Version {
    /// Number.
    pub version: i64,
    /// Whether this version was accepted.
    pub accepted: bool,
    /// Its limits, in words.
    pub card: DieCard,
    /// Who made it.
    pub who: String,
    /// When, ms since 1970, UTC.
    pub at_ms: i64,
    /// Why.
    pub reason: String,
}

/// What a die's report is made of.
#[derive(Debug, Clone)]
pub struct Die {
    /// The press.
    pub press: PressCard,
    /// The card.
    pub card: DieCard,
    /// Earlier and later versions, newest first; empty where only the card is at hand.
    pub versions: Vec<Version>,
    /// Strokes it judged, in order; may be empty.
    pub strokes: Vec<Judged>,
    /// Where these come from.
    pub span: String,
    /// Unit of loads.
    pub unit: LoadUnit,
    /// What it rests on.
    pub provenance: Provenance,
}

impl Die {
    /// The report.
    #[must_use]
    pub fn html(&self) -> String {
        let paper = Paper {
            title: format!("Die {} on press {}", self.card.die.name, self.press.name),
            under: self.card.standing_says(),
            body: self.body(),
            provenance: &self.provenance,
        };
        paper.html()
    }

    fn body(&self) -> Markup {
        let unit = self.unit;
        html! {
            (self.standing())
            h2 { "Limits" }
            (self.limits())
            h2 { "What good strokes do" }
            @match &self.card.shape {
                Some(shape) => {
                    @let picture = self.envelope(shape);
                    (figure(&picture, &format!("Reference of the signature and ±{BAND_DEVIATIONS} standard deviations of good strokes, the total above, the columns below. The learnt shape judges by statistics of its own, not by this band alone.")))
                }
                None => { p { "This card was not learnt from strokes: only the plain limits judge." } }
            }
            (self.evidence())
            @if !self.strokes.is_empty() { (self.judged()) }
            @if !self.versions.is_empty() { h2 { "Versions" } (versions(&self.versions, unit)) }
            (signatures(["Limits set by", "Limits accepted by"]))
        }
    }

    fn standing(&self) -> Markup {
        html! {
            @match &self.card.acceptance {
                Some(accepted) => {
                    dl class="facts" {
                        dt { "Accepted by" } dd { (accepted.by) } dt { "On" } dd { (accepted.on) } dt { "Why" } dd { (accepted.reason) }
                        dt { "What was accepted" } dd { "SHA-256 " code { (accepted.sha256) } }
                    }
                }
                None => { p { strong { "A draft: it holds no press." } " It judges recordings until an engineer accepts it." } }
            }
        }
    }

    fn limits(&self) -> Markup {
        let (unit, spec) = (self.unit, &self.press.spec);
        let share = spec.rated_kn / spec.columns.count() as f64;
        html! {
            table {
                thead { tr { th scope="col" { "Of the die; leaving one holds the press" } th scope="col" { "Allowed" } } }
                tbody { @for limit in limits(&self.card) { tr { th scope="row" { (limit.label) } td { (limit.words(unit)) } } } }
            }
            table {
                thead { tr { th scope="col" { "Of the press; none is lifted by a die, passing one withdraws the permit" } th scope="col" { "Allowed" } } }
                tbody {
                    tr { th scope="row" { "Total load" } td { "to " (load_unit(unit, spec.rated_kn)) " down to " (spec.rated_height_mm) " mm above the bottom, less above by the capacity curve" } }
                    @if spec.columns.count() > 1 {
                        tr { th scope="row" { "One column" } td { "to " (load_unit(unit, share * spec.column_percent / 100.0)) } }
                        tr { th scope="row" { "Difference of sides" } td { "to " (load_unit(unit, spec.rated_kn * spec.imbalance_percent / 100.0)) } }
                    }
                    tr { th scope="row" { "Reverse load" } td { "to " (load_unit(unit, spec.rated_kn * spec.reverse_percent / 100.0)) } }
                    @if let Some(energy) = spec.usable_energy_kj { tr { th scope="row" { "Work" } td { "to " (energy) " kJ a stroke" } } }
                }
            }
        }
    }

    fn envelope(&self, shape: &ShapeCard) -> Signature {
        let reference: Vec<f32> = shape.reference.iter().map(|value| *value as f32).collect();
        let band = LearntBand::new(&reference, &shape.edges, shape);
        let position: Vec<f64> = shape.edges.windows(2).map(|pair| pair.iter().sum::<f64>() / 2.0).collect();
        let names = self.press.spec.columns.names();
        let trace = |name: &str, column: Option<usize>| {
            let envelope = band.envelope(column, &position);
            let load_kn = envelope.as_ref().map(|envelope| envelope.mean_kn.clone()).unwrap_or_default();
            Trace { name: name.to_owned(), load_kn, envelope }
        };
        let columns = match names {
            [_] => Vec::new(),
            names => names.iter().enumerate().map(|(n, name)| trace(&name.to_uppercase(), Some(n))).collect(),
        };
        Signature {
            title: format!("Reference of die {}", self.card.die.name),
            subtitle: format!("Press {}", self.press.name),
            axis: match shape.axis {
                Axis::CrankDegrees => AxisKind::CrankAngle,
                Axis::MsFromOnset => AxisKind::Milliseconds,
            },
            unit: self.unit,
            verdict: None,
            total: trace("total", None),
            columns,
            position,
            ..Signature::default()
        }
    }

    fn evidence(&self) -> Markup {
        html! {
            @if let Some(from) = &self.card.provenance {
                p { (from.evidence) }
                dl class="facts" {
                    dt { "Learnt from" } dd { (from.recording) ", " (from.strokes_used) " of " (from.strokes_seen) " strokes, " (counted(from.coils, "coil")) ", " @if from.coil_changes_marked { "changes marked" } @else { "changes not marked" } }
                    dt { "Left out" } dd {
                        @if from.strokes_left_out.is_empty() { "none" }
                        @else { "strokes " (from.strokes_left_out.iter().take(30).map(u64::to_string).collect::<Vec<_>>().join(", ")) @if from.strokes_left_out.len() > 30 { " and more" } " (too unlike the rest; they may be rare good ones)" }
                    }
                    dt { "False stops" } dd { (format!("{:.0e} a stroke asked for; the strokes support {:.1e}", from.false_stop_asked, from.false_stop_supported)) }
                    @if let Some(rehearsal) = &from.rehearsal {
                        dt { "Rehearsal" } dd {
                            "each of " (rehearsal.coils) " coils judged as one never seen: of " (rehearsal.strokes) " good strokes " (rehearsal.stopped_marked)
                            " stopped with coil changes marked, " (rehearsal.stopped_unmarked) " without"
                        }
                    }
                }
            }
            @let reviews: Vec<_> = self.card.current_reviews().collect();
            @if !reviews.is_empty() {
                h3 { "Shown against recorded strokes" }
                table {
                    thead { tr { th scope="col" { "Strokes of" } th scope="col" class="n" { "Judged" } th scope="col" class="n" { "Noted" } th scope="col" class="n" { "Stopped" } } }
                    tbody { @for review in reviews { tr { td { (review.recording) } td class="n" { (review.strokes) } td class="n" { (review.noted) } td class="n" { (review.stopped) } } } }
                }
            }
        }
    }

    fn judged(&self) -> Markup {
        let outcomes: Vec<Outcome> = self.strokes.iter().map(|stroke| stroke.outcome.clone()).collect();
        let caption = Caption { subtitle: format!("Press {}, {}", self.press.name, self.span) };
        html! {
            h2 { "What it judged" }
            p { (self.strokes.len()) " strokes of " (self.span) "." }
            (tally(counts(&self.strokes)))
            (figure(&over_strokes(&outcomes, &self.press, self.unit, &caption), "Each stroke's peak and reverse load with the press's limits, and its verdict as a mark."))
            (figures(&self.strokes, self.unit))
            h3 { "Stopped" }
            (stops(&self.strokes, self.unit))
            (tallies(&self.strokes))
            (coils(&self.strokes, self.unit))
        }
    }
}

fn versions(versions: &[Version], unit: LoadUnit) -> Markup {
    html! {
        table {
            thead { tr { th scope="col" { "Version" } th scope="col" { "State" } th scope="col" { "Peak" } th scope="col" { "Reverse" } th scope="col" { "Work" } th scope="col" { "Who" } th scope="col" { "When" } th scope="col" { "Why" } } }
            tbody { @for one in versions {
                tr {
                    td { (one.version) } td { @if one.accepted { "accepted" } @else { "draft" } }
                    @for limit in limits(&one.card) { td { (limit.words(unit)) } }
                    td { (one.who) } td { (time(one.at_ms)) } td { (one.reason) }
                }
            } }
        }
    }
}
