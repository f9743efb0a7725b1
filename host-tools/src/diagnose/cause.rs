//! Usual causes and the signs each is told by.
//!
//! A cause is what the change would look like if it were so, fitted to what was seen, and signs beside that. Why
//! each sign points where it does is said at the rule; sizes are not taken from any press. Codes are stable.

mod at_station;
mod unnamed;

use bolster_core::verdict::Reason;

use super::diagnosis::{Cause, Evidence};
use super::fit::{Change, Fit};
use super::history::{Before, Course};
use super::place::is_of_gauge;
use super::press_wide::{Wide, WidePattern};
use super::station::StationModel;
use super::unnamed::Spot;
use crate::session::Outcome;

/// What the rules look at.
pub(super) struct Seen<'a> {
    pub(super) change: &'a Change,
    pub(super) stations: &'a [StationModel],
    /// What every way of each station together explains.
    pub(super) station_fits: &'a [Fit],
    pub(super) patterns: &'a [WidePattern],
    pub(super) pattern_fits: &'a [Fit],
    pub(super) names: &'static [&'static str],
    /// The one place the change could be at, where no job names the stations.
    pub(super) spot: Option<&'a Spot>,
    /// Share of the change that each column alone explains.
    pub(super) alone: &'a [f64],
    pub(super) before: Before,
    pub(super) outcome: &'a Outcome,
    /// Peak of the total over what was expected.
    pub(super) peak_ratio: f64,
    /// Net change of the total over the sum of the columns' changes without sign, 0 to 1.
    pub(super) net: f64,
    /// Share of the change on the way down while the slide is above a height, mm.
    pub(super) above: &'a dyn Fn(f64) -> f64,
}

/// Fewest strength a cause is named with, and most causes.
const LEAST: f64 = 0.1;
const MOST: usize = 6;
/// What a force of free course must explain beyond a change whose course is known.
pub(super) const FREE_COURSE: f64 = 0.1;
/// Stations whose causes are looked at: the best few.
const STATIONS: usize = 3;

/// 0 below `from`, 1 above `to`, straight between.
fn ramp(value: f64, from: f64, to: f64) -> f64 {
    ((value - from) / (to - from)).clamp(0.0, 1.0)
}

fn percent(share: f64) -> String {
    format!("{:.0} %", 100.0 * share)
}

/// All causes with some strength, strongest first.
pub(super) fn causes(seen: &Seen<'_>) -> Vec<Cause> {
    let mut all = seen.of_gauges();
    if seen.change.size > 0.0 {
        all.extend(seen.of_press());
        for n in seen.best_stations() {
            all.extend(seen.of_station(n));
        }
        if seen.stations.is_empty() {
            all.push(seen.of_missing_strip());
            all.extend(seen.of_unnamed());
        }
    }
    all.extend(seen.of_stock());
    all.retain(|cause| cause.strength >= LEAST);
    all.sort_by(|a, b| b.strength.total_cmp(&a.strength));
    // One cause may have been looked for in several ways: the best of them is told.
    let mut told: Vec<Cause> = Vec::new();
    for cause in all {
        if told.iter().all(|known| (known.code, &known.place) != (cause.code, &cause.place)) {
            told.push(cause);
        }
    }
    told.truncate(MOST);
    told
}

impl Seen<'_> {
    fn has(&self, reason: Reason) -> bool {
        self.outcome.reasons.contains(&reason.code())
    }

    /// The best of the patterns of one kind.
    fn pattern(&self, what: Wide) -> Option<&Fit> {
        let of_kind = self.patterns.iter().zip(self.pattern_fits).filter(|(pattern, _)| pattern.what == what);
        of_kind.map(|(_, fit)| fit).max_by(|a, b| a.explained.total_cmp(&b.explained))
    }

    fn best_stations(&self) -> Vec<usize> {
        let mut order: Vec<usize> = (0..self.station_fits.len()).collect();
        let explained = |n: &usize| self.station_fits.get(*n).map_or(0.0, |fit| fit.explained);
        order.sort_by(|a, b| explained(b).total_cmp(&explained(a)));
        order.truncate(STATIONS);
        order
    }

    /// The most that any place or pattern but the given station explains.
    fn best_beside(&self, station: Option<usize>, pattern: Option<Wide>) -> f64 {
        let stations = self.station_fits.iter().enumerate().filter(|(n, _)| Some(*n) != station);
        let wide = self.patterns.iter().zip(self.pattern_fits).filter(|(p, _)| Some(p.what) != pattern);
        // A place whose course is free fits more than it should; and with one gauge every place fits all.
        let spot = self.spot.filter(|_| self.names.len() > 1).map(|spot| spot.explained - FREE_COURSE);
        let all =
            stations.map(|(_, fit)| fit.explained).chain(wide.map(|(_, fit)| fit.explained)).chain(spot);
        all.fold(0.0, f64::max)
    }

    fn explains(&self, what: &str, share: f64) -> Evidence {
        Evidence {
            sign: format!("{what} explains {} of the change", percent(share)),
            support: share,
            weight: 1.0,
        }
    }

    /// What is explained better elsewhere is less likely here; by a tenth more, not believed.
    fn nothing_better(&self, own: f64, other: f64) -> Evidence {
        let sign = if own >= other {
            "no other single place or change explains more".to_owned()
        } else {
            format!("something else explains {}", percent(other))
        };
        Evidence { sign, support: 1.0 - ramp(other - own, 0.0, 0.1), weight: 0.6 }
    }

    fn course(&self, wanted: &[Course], weight: f64) -> Evidence {
        let course = self.before.course;
        let support = if wanted.contains(&course) {
            1.0
        } else if course == Course::Unknown {
            0.5
        } else {
            0.0
        };
        let sign = format!(
            "came {}: in {} of the {} strokes before",
            match course {
                Course::Sudden => "from one stroke to the next",
                Course::Growing => "slowly, growing",
                Course::Steady => "earlier, and stays",
                Course::Unknown => "with too few strokes before it to say how",
            },
            self.before.alike,
            self.before.of
        );
        Evidence { sign, support, weight }
    }

    /// A gauge or its cable: real loads are held by several columns at once, since forces and moments must balance;
    /// what shows in one alone is not load.
    fn of_gauges(&self) -> Vec<Cause> {
        let mut all = Vec::new();
        for finding in self.outcome.findings.iter().filter(|finding| is_of_gauge(finding)) {
            let place = finding.column.map(str::to_owned);
            if all.iter().any(|cause: &Cause| cause.place == place) {
                continue;
            }
            let sign = format!("the monitor found: {}", finding.says);
            let evidence = vec![Evidence { sign, support: 1.0, weight: 1.0 }];
            all.push(Cause::of(
                "gauge-or-cable-fault",
                "a gauge, its bridge or its cable is faulty",
                place,
                evidence,
            ));
        }
        if self.change.size <= 0.0 {
            return all;
        }
        if let [name] = self.names {
            // One gauge has no neighbour to contradict it; but a load ends where the die lets go, a zero does not.
            let zero = self.pattern(Wide::GaugeZero(0)).map_or(0.0, |fit| fit.explained);
            let better = self.nothing_better(zero, self.best_beside(None, Some(Wide::GaugeZero(0))));
            all.push(Cause::of(
                "gauge-zero-shifted",
                "a gauge's zero has moved: temperature, moisture, a bond letting go",
                Some((*name).to_owned()),
                vec![self.explains("the same amount all along the stroke", zero), better],
            ));
            return all;
        }
        for (column, name) in self.names.iter().enumerate() {
            let place = Some((*name).to_owned());
            if all.iter().any(|cause| cause.place == place) {
                continue;
            }
            let share = self.alone.get(column).copied().unwrap_or(0.0);
            let alone = || Evidence {
                sign: format!(
                    "{} of the change is in {name} alone; a load would be felt by its neighbours",
                    percent(share)
                ),
                support: ramp(share, 0.7, 0.95),
                weight: 1.0,
            };
            let [gain, zero] = [Wide::GaugeGain(column), Wide::GaugeZero(column)]
                .map(|what| self.pattern(what).map_or(0.0, |fit| fit.explained));
            all.push(Cause::of(
                "gauge-gain-changed",
                "a gauge reads another share of its load: bond, bridge, cable or amplifier",
                place.clone(),
                vec![self.explains(&format!("{name} in proportion to its own load"), gain), alone()],
            ));
            all.push(Cause::of(
                "gauge-zero-shifted",
                "a gauge's zero has moved: temperature, moisture, a bond letting go",
                place.clone(),
                vec![
                    self.explains(&format!("{name} by the same amount all along the stroke"), zero),
                    alone(),
                ],
            ));
            let neither = gain.max(zero);
            let other = Evidence {
                sign: format!("neither its gain nor its zero explains it ({} at most)", percent(neither)),
                support: 1.0 - neither,
                weight: 0.8,
            };
            all.push(Cause::of(
                "gauge-or-cable-fault",
                "a gauge, its bridge or its cable is faulty",
                place,
                vec![alone(), other],
            ));
        }
        all
    }

    /// Changes of the press as a whole, of its frame and of its crank's reading.
    fn of_press(&self) -> Vec<Cause> {
        let mut all = Vec::new();
        for (pattern, fit) in self.patterns.iter().zip(self.pattern_fits) {
            let (what, e) = (pattern.what, fit.explained);
            let up = fit.amplitudes.first().is_some_and(|amplitude| *amplitude > 0.0);
            let better = self.nothing_better(e, self.best_beside(None, Some(what)));
            let (code, says, place, mut evidence) = match what {
                // Statics: total and moments stay; the soft column and its diagonal opposite give up what the
                // others take; what hangs on the soft column comes later as it stretches.
                Wide::SoftColumn(column) => {
                    let name = self.names.get(column).copied().unwrap_or_default();
                    let evidence = vec![
                        self.explains(&format!("{name} stretching more under its load"), e),
                        self.kept_total(0.2),
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

    /// A limit that the die has for this very cause was left; a die without one says nothing.
    fn own_limit(&self, reason: Reason, weight: f64) -> Option<Evidence> {
        self.has(reason).then(|| Evidence { sign: reason.says().to_owned(), support: 1.0, weight })
    }

    fn sensor(&self, weight: f64) -> Evidence {
        let missed = self.has(Reason::SensorWindow);
        let sign = if missed { "a part sensor was missed" } else { "no part sensor was missed" };
        Evidence { sign: sign.to_owned(), support: f64::from(u8::from(missed)), weight }
    }

    /// The stock: everything in proportion, along the ways that the die's stock was seen to move it.
    fn of_stock(&self) -> Vec<Cause> {
        let allowed = [Reason::StockChanged, Reason::ChangeBeyondAllowed].into_iter().any(|r| self.has(r));
        let told = |weight| Evidence {
            sign: if allowed {
                "the judge found it along the ways stock may move the signature".to_owned()
            } else {
                "the judge found it off the ways stock may move the signature".to_owned()
            },
            support: f64::from(u8::from(allowed)),
            weight,
        };
        let fit = self.pattern(Wide::Stronger);
        let up = fit.and_then(|fit| fit.amplitudes.first()).is_some_and(|amplitude| *amplitude > 0.0);
        let thicker = self.pattern(Wide::Thicker).map_or(0.0, |fit| fit.explained);
        let proportion = fit.map_or(0.0, |fit| fit.explained);
        let mild = Evidence {
            sign: format!("peak {:.2} of the expected", self.peak_ratio),
            support: 1.0 - ramp((self.peak_ratio - 1.0).abs(), 0.12, 0.3),
            weight: 0.5,
        };
        let explained = if up { proportion.max(thicker) } else { proportion };
        let mut all = vec![Cause::of(
            if up { "stock-harder-or-thicker" } else { "stock-softer-or-thinner" },
            if up { "harder or thicker stock" } else { "softer or thinner stock" },
            None,
            vec![
                self.explains("more or less of everything in proportion", explained),
                mild,
                told(0.3),
                self.nothing_better(explained, self.best_beside(None, None)),
            ],
        )];
        if self.has(Reason::StockChanged) {
            all.push(Cause::of("new-stock", "another coil", None, vec![told(1.0)]));
        }
        if self.has(Reason::DriftOffReference) {
            let sign =
                "the running baseline is further from the accepted reference than stock explains".to_owned();
            all.push(Cause::of(
                "slow-drift",
                "wear, warming up or a setting that moved, let pass stroke by stroke",
                None,
                vec![Evidence { sign, support: 1.0, weight: 1.0 }],
            ));
        }
        all
    }
}
