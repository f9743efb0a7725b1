//! A calibration: what the monitor loads, what it is worth, and what it does not cover.

use maud::{Markup, html};

use super::Provenance;
use super::page::{Paper, figure, signatures};
use crate::calibrate::bridge::shunt_output_mv_per_v;
use crate::calibrate::certificate::{NOT_COVERED, Subject, picture};
use crate::calibrate::claim::Missing;
use crate::calibrate::run::Run;
use crate::calibrate::series::{Order, order, take_spikes};
use crate::calibrate::stored::{Shunt, Stored};
use crate::calibrate::{Assessment, CalibrateError, Fitted, assess, calibrate, claim};
use crate::figure::LoadUnit;
use crate::markup::{load, load_unit, maybe};

/// A calibration run, fitted and assessed again.
#[derive(Debug)]
pub struct Evidence {
    /// Its readings, spikes left out.
    pub run: Run,
    /// Lines left out as spikes.
    pub spikes: Vec<u64>,
    order: Order,
    fitted: Fitted,
    found: Assessment,
    missing: Vec<Missing>,
}

impl Evidence {
    /// Of a run, as `calibrate` takes it.
    ///
    /// # Errors
    /// [`CalibrateError`] for a run from which no calibration comes.
    pub fn of(
        mut run: Run,
        bolster_mm: Option<[f64; 2]>,
        reference_percent: f64,
    ) -> Result<Self, CalibrateError> {
        let spikes = take_spikes(&mut run.readings);
        let order = order(&run.readings);
        let fitted = calibrate(&run, &order, bolster_mm)?;
        let mut found = assess(&run, &order, &fitted, reference_percent);
        let missing = claim::missing(&run, &order);
        if missing.iter().any(|one| one.needed) {
            found.classes.withdraw();
        }
        Ok(Self { run, spikes, order, fitted, found, missing })
    }

    /// Whether this is what the file rests on: the same gauges, zeros and gains.
    #[must_use]
    pub fn gives(&self, stored: &Stored) -> bool {
        Stored::new(self.run.columns, &self.fitted, &self.found, true).calibration == stored.calibration
    }
}

/// What a calibration's report is made of.
#[derive(Debug)]
pub struct Calibration {
    /// What to call it: the file's or the press's name.
    pub name: String,
    /// The calibration.
    pub stored: Stored,
    /// The run it rests on; none where only the file is at hand.
    pub evidence: Option<Evidence>,
    /// Unit of loads.
    pub unit: LoadUnit,
    /// What it rests on.
    pub provenance: Provenance,
}

impl Calibration {
    /// The report.
    #[must_use]
    pub fn html(&self) -> String {
        let evidence = &self.stored.evidence;
        let under = match (evidence.estimate, evidence.claim) {
            (true, _) => "an estimate from geometry, no calibration",
            (_, true) => "the run supports the claim below, for slow loads",
            (_, false) => "no claim: the run cannot support one",
        };
        let paper = Paper {
            title: format!("Calibration {}", self.name),
            under: under.to_owned(),
            body: self.body(),
            provenance: &self.provenance,
        };
        paper.html()
    }

    fn body(&self) -> Markup {
        html! {
            (self.claim())
            h2 { "Zero and gain" }
            (self.gains())
            @if let Some(evidence) = &self.evidence { (self.evidence(evidence)) }
            @if let Some(shunt) = &self.stored.shunt { h2 { "Shunt check" } (self.shunt(shunt)) }
            h2 { "What this does not cover" }
            ul { @for line in not_covered() { li { (line) } } }
            (signatures(["Calibrated by", "Checked by"]))
        }
    }

    fn claim(&self) -> Markup {
        let (of, unit) = (&self.stored.evidence, self.unit);
        let class = |class: &Option<String>| match class {
            Some(class) => format!("class {class}"),
            None => "none claimed".to_owned(),
        };
        html! {
            dl class="facts" {
                dt { "Gauges" } dd { (self.stored.calibration.columns.iter().map(|name| name.to_uppercase()).collect::<Vec<_>>().join(", ")) }
                @if !of.estimate {
                    dt { "By ASTM E74" } dd { (class(&of.e74_class)) }
                    dt { "By ISO 7500-1" } dd { (class(&of.iso_7500_class)) " (limits from memory)" }
                    dt { "Holds from" } dd { @match of.lowest_use_kn { Some(kn) => { (load_unit(unit, kn)) } None => { "no load: nothing is claimed" } } }
                    dt { "Greatest load calibrated" } dd { (load_unit(unit, of.greatest_kn)) }
                    dt { "Expanded uncertainty (k = 2)" } dd { (maybe(of.expanded_percent, 3, "%")) " at most, from a fifth of the greatest load up" }
                    dt { "Residual deviation" } dd { (load_unit(unit, of.residual_kn)) }
                }
            }
        }
    }

    fn gains(&self) -> Markup {
        let loaded = &self.stored.calibration;
        let deviation = |n: usize| {
            let found = self.evidence.as_ref().and_then(|evidence| evidence.fitted.gain_deviation.get(n));
            found.map_or_else(|| "–".to_owned(), |value| format!("{:.3}", 100.0 * value))
        };
        let own = |n: usize| loaded.kn_per_count.get(n).and_then(|row| row.get(n)).copied();
        html! {
            table {
                thead { tr { th scope="col" { "Gauge" } th scope="col" class="n" { "Zero, counts" } th scope="col" class="n" { "kN a count" } th scope="col" class="n" { "Standard uncertainty, %" } } }
                tbody { @for (n, (name, zero)) in loaded.columns.iter().zip(&loaded.zero_counts).enumerate() {
                    tr { th scope="row" { (name.to_uppercase()) } td class="n" { (zero) } td class="n" { (own(n).map_or("–".into(), |gain| format!("{gain:.9e}"))) } td class="n" { (deviation(n)) } }
                } }
            }
            @if loaded.columns.len() > 1 {
                h3 { "Cross-talk: " (cross_talk_says(&self.stored.evidence.cross_talk)) }
                table {
                    thead { tr { th scope="col" { "Percent of a gauge's own gain" } @for name in &loaded.columns { th scope="col" class="n" { "from " (name.to_uppercase()) } } } }
                    tbody { @for (n, (name, row)) in loaded.columns.iter().zip(&loaded.kn_per_count).enumerate() {
                        tr { th scope="row" { (name.to_uppercase()) } @for gain in row { td class="n" { (own(n).map_or("–".into(), |own| format!("{:.3}", 100.0 * gain / own))) } } }
                    } }
                }
            }
        }
    }

    fn evidence(&self, of: &Evidence) -> Markup {
        let unit = self.unit;
        let subject = Subject {
            name: &self.name,
            run: &of.run,
            order: &of.order,
            fitted: &of.fitted,
            found: &of.found,
        };
        let number = |value: Option<f64>| value.map_or_else(|| "not told".to_owned(), |v| format!("{v:.3}"));
        html! {
            h2 { "The run" }
            dl class="facts" {
                dt { "Readings" } dd { (of.order.placed.len()) ", " (of.order.rising_series) " increasing and " (of.order.falling_series) " decreasing series, " (of.order.preloads) " preloads" }
                dt { "Reference" } dd { "expanded uncertainty " (of.found.reference_percent) " % of the load" }
                dt { "Zero returns" } dd { "within " (number(of.found.zero_percent)) " % of the greatest load" }
                dt { "Resolution" } dd { (load_unit(unit, of.found.resolution_kn)) @if !of.found.resolution_measured { " (one count, not measured)" } }
                @if !of.spikes.is_empty() { dt { "Left out as spikes" } dd { "lines " (of.spikes.iter().take(20).map(u64::to_string).collect::<Vec<_>>().join(", ")) @if of.spikes.len() > 20 { " and more" } } }
            }
            (figure(&picture(&subject, unit), "Readings and fitted line above, what the line misses below, with the expanded uncertainty."))
            table {
                thead { tr { th scope="col" class="n" { "Load, " (unit.symbol()) } th scope="col" class="n" { "Error, %" } th scope="col" class="n" { "Repeatability, %" } th scope="col" class="n" { "Reversibility, %" } th scope="col" class="n" { "Uncertainty (k = 2), %" } } }
                tbody { @for step in &of.found.steps {
                    tr { td class="n" { (load(unit, step.load_kn)) } td class="n" { (format!("{:+.3}", step.accuracy_percent)) } td class="n" { (number(step.repeatability_percent)) } td class="n" { (number(step.reversibility_percent)) } td class="n" { (format!("{:.3}", step.expanded_percent)) } }
                } }
            }
            @for (title, needed) in [("Missing for a claim", true), ("Remarks", false)] {
                @if of.missing.iter().any(|one| one.needed == needed) {
                    h3 { (title) }
                    ul { @for one in of.missing.iter().filter(|one| one.needed == needed) { li { (one.text) } } }
                }
            }
        }
    }

    fn shunt(&self, shunt: &Shunt) -> Markup {
        let expected = shunt_output_mv_per_v(shunt.gauge_ohm, shunt.shunt_ohm);
        let loaded = &self.stored.calibration;
        html! {
            p { (shunt.shunt_ohm) " ohm on " (shunt.gauge_ohm) " ohm: " (format!("{expected:.6}")) " mV/V by Rg/(4Rs + 2Rg)." }
            table {
                thead { tr { th scope="col" { "Gauge" } th scope="col" class="n" { "Step, counts" } th scope="col" class="n" { "Stands for, " (self.unit.symbol()) } } }
                tbody { @for (n, (name, step)) in loaded.columns.iter().zip(&shunt.step_counts).enumerate() {
                    @let gain = loaded.kn_per_count.get(n).and_then(|row| row.get(n)).copied().unwrap_or(f64::NAN);
                    tr { th scope="row" { (name.to_uppercase()) } td class="n" { (format!("{step:.1}")) } td class="n" { (load(self.unit, step * gain)) } }
                } }
            }
        }
    }
}

/// How cross-talk was found, of the word in a calibration's file.
fn cross_talk_says(word: &str) -> &str {
    match word {
        "not-told" => "not told, the reference stood in one place",
        "by-places" => "by the places of the reference",
        "by-columns" => "by a reference under each column",
        other => other,
    }
}

/// The sentences of [`NOT_COVERED`], its lines joined.
fn not_covered() -> Vec<String> {
    let text = NOT_COVERED.split_whitespace().collect::<Vec<_>>().join(" ");
    let list = text.split_once(": ").map_or(text.as_str(), |(_, list)| list);
    list.split(". ").map(|sentence| sentence.trim_end_matches('.').to_owned() + ".").collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_not_covered_is_told_sentence_by_sentence() {
        let list = not_covered();
        assert!(list.len() >= 4 && list[0].starts_with("It is a statement about slow loads"), "{list:#?}");
        let joined = list.join(" ");
        let words = NOT_COVERED.split_whitespace().skip(5).collect::<Vec<_>>().join(" ");
        assert_eq!(joined, words);
    }
}
