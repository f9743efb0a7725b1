//! What goes wrong with the press as a whole, its frame and the reading of its crank.

use bolster_core::verdict::Reason;

use super::super::diagnosis::{Cause, Evidence};
use super::super::history::Course;
use super::super::press_wide::{Wide, WidePattern};
use super::{Fit, Seen, percent, ramp};

impl Seen<'_> {
    /// Changes of the press as a whole, of its frame and of its crank's reading.
    pub(super) fn of_press(&self) -> Vec<Cause> {
        let mut all = Vec::new();
        for (pattern, fit) in self.patterns.iter().zip(self.pattern_fits) {
            let (what, e) = (pattern.what, fit.explained);
            let up = fit.amplitudes.first().is_some_and(|amplitude| *amplitude > 0.0);
            // A column's stiffness is told from its own gauge by what the others take over, not by this.
            let same = |other| match (what, other) {
                (Wide::SoftColumn(n), Wide::GaugeGain(m) | Wide::GaugeZero(m)) => n == m,
                _ => other == what,
            };
            let better = self.nothing_better(e, self.best_beside(None, same));
            let (code, says, place, mut evidence) = match what {
                // Statics: total and moments stay; the soft column and its diagonal opposite give up what the
                // others take; what hangs on the soft column comes later as it stretches.
                Wide::SoftColumn(column) => {
                    let name = self.names.get(column).copied().unwrap_or_default();
                    let evidence = vec![
                        self.explains(&format!("{name} stretching more under its load"), e),
                        self.kept_total(0.4),
                        self.course(&[Course::Sudden, Course::Steady], 0.1),
                    ];
                    (
                        "loose-tie-rod",
                        "a tie rod has lost preload, or a column its stiffness",
                        Some(name.to_owned()),
                        evidence,
                    )
                }
                // One side closes first: its stations come earlier and higher, the other side's later and lower.
                Wide::Tilted(axis) => {
                    let side = match (axis, up) {
                        (0, true) => "right",
                        (0, false) => "left",
                        (_, true) => "front",
                        (_, false) => "rear",
                    };
                    let evidence =
                        vec![self.explains(&format!("the {side} closing before the other side"), e)];
                    (
                        "uneven-shims",
                        "the die does not stand level: shims, dirt under it, a slide out of parallel",
                        None,
                        evidence,
                    )
                }
                // Guides hold part of the moment; worn ones leave it to the columns, in proportion to the load.
                Wide::Rocking => {
                    let evidence = vec![
                        self.explains("columns differing more from one another, in proportion", e),
                        self.kept_total(0.2),
                    ];
                    (
                        "worn-guides",
                        "the slide's guides have play: the columns take what they held",
                        None,
                        evidence,
                    )
                }
                // A crank that is misread moves what happens on the way down and up alike; a height does not.
                Wide::AngleOff => {
                    let told = Evidence {
                        sign: "the crank sensor contradicts itself".to_owned(),
                        support: if self.has(Reason::CrankFault) { 1.0 } else { 0.0 },
                        weight: 0.05,
                    };
                    let evidence = vec![self.explains("the whole signature at another crank angle", e), told];
                    (
                        "crank-angle-off",
                        "the crank angle is misread: coupling slipped, encoder turned",
                        None,
                        evidence,
                    )
                }
                // Contacts come at another height and are otherwise what they were: the slide, not the sheet.
                Wide::Height => {
                    let thicker = self.pattern(Wide::Thicker).map_or(0.0, |fit| fit.explained);
                    let scaled = Evidence {
                        sign: format!("load in proportion adds {} to that", percent((thicker - e).max(0.0))),
                        support: 1.0 - ramp(thicker - e, 0.02, 0.2),
                        weight: 0.5,
                    };
                    let words = if up { "everything meeting deeper" } else { "everything meeting less deep" };
                    let evidence = vec![self.explains(words, e), scaled];
                    if up {
                        (
                            "slide-set-low",
                            "shut height too small: slide set low, dies warm and grown",
                            None,
                            evidence,
                        )
                    } else {
                        ("slide-set-high", "shut height too great: slide set high", None, evidence)
                    }
                }
                // A second sheet: earlier by its thickness, and far more load, at every station.
                Wide::Thicker => {
                    let peak = Evidence {
                        sign: format!("peak {:.2} of the expected", self.peak_ratio),
                        support: ramp(self.peak_ratio, 1.03, 1.12),
                        weight: 0.6,
                    };
                    // Where a plan stands behind it the load in proportion is in the pattern already.
                    let scaled = fit.losses.get(1).copied();
                    let scaled = Evidence {
                        sign: scaled.map_or("as the plan has it for a thicker sheet".to_owned(), |scaled| {
                            format!(
                                "load in proportion is {} of it; a lower slide gives none",
                                percent(scaled)
                            )
                        }),
                        support: scaled.map_or(1.0, |scaled| ramp(scaled, 0.02, 0.1)),
                        weight: 0.5,
                    };
                    let sudden = self.course(&[Course::Sudden], 0.3);
                    let mut evidence =
                        vec![self.explains("more load, and earlier, everywhere", e), peak, scaled, sudden];
                    evidence.extend(self.own_limit(Reason::DoubleLoad, 0.5));
                    ("double-thickness", "two sheets, or an overlap, in the die", None, evidence)
                }
                Wide::Missing(n) => {
                    // The longest run of the strip that explains it; shorter ones are the same cause again.
                    let best = |other: &(&WidePattern, &Fit)| {
                        matches!(other.0.what, Wide::Missing(_)) && other.1.explained > e
                    };
                    let name = self.stations.get(n).map(|station| station.name.clone()).unwrap_or_default();
                    if self.patterns.iter().zip(self.pattern_fits).any(|other| best(&other)) || n == 0 {
                        continue;
                    }
                    let mut evidence = vec![
                        self.explains(&format!("less load at every station up to {name}"), e),
                        self.sensor(0.1),
                    ];
                    evidence.extend(self.own_limit(Reason::NoLoad, 0.5));
                    (
                        "strip-missing",
                        "no strip, or only part of it, in the die: end of the coil, strip off to a side",
                        None,
                        evidence,
                    )
                }
                // Punches meet holes already there; what is formed already is formed again.
                Wide::Misfed => {
                    let both = fit.losses.iter().copied().fold(f64::INFINITY, f64::min);
                    let opposite = Evidence {
                        sign: "cutting stations lose and forming stations gain".to_owned(),
                        support: ramp(both, 0.005, 0.05),
                        weight: 0.6,
                    };
                    let evidence =
                        vec![self.explains("less cutting and more forming", e), opposite, self.sensor(0.3)];
                    ("misfeed", "the strip was fed short or long", None, evidence)
                }
                Wide::GaugeGain(_) | Wide::GaugeZero(_) | Wide::Stronger | Wide::AtBottom => continue,
            };
            evidence.push(better);
            all.push(Cause::of(code, says, place, evidence));
        }
        all
    }

    fn kept_total(&self, weight: f64) -> Evidence {
        Evidence {
            sign: format!(
                "columns change against one another: {} of it is left in their sum",
                percent(self.net)
            ),
            support: 1.0 - ramp(self.net, 0.3, 0.9),
            weight,
        }
    }
}
