//! What is no load at all: a gauge, its cable, samples that did not come.

use bolster_core::verdict::Reason;

use super::super::diagnosis::{Cause, Evidence};
use super::super::place::is_of_gauge;
use super::super::press_wide::Wide;
use super::{Seen, percent, ramp};

impl Seen<'_> {
    /// A gauge or its cable: real loads are held by several columns at once, since forces and moments must balance;
    /// what shows in one alone is not load.
    pub(super) fn of_gauges(&self) -> Vec<Cause> {
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
            let better =
                self.nothing_better(zero, self.best_beside(None, |other| other == Wide::GaugeZero(0)));
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
            // What one gauge no longer reads no other takes over.
            let own = || Evidence {
                sign: format!("{} of the change is left in the sum of the columns", percent(self.net)),
                support: ramp(self.net, 0.3, 0.8),
                weight: 0.5,
            };
            let [gain, zero] = [Wide::GaugeGain(column), Wide::GaugeZero(column)]
                .map(|what| self.pattern(what).map_or(0.0, |fit| fit.explained));
            all.push(Cause::of(
                "gauge-gain-changed",
                "a gauge reads another share of its load: bond, bridge, cable or amplifier",
                place.clone(),
                vec![self.explains(&format!("{name} in proportion to its own load"), gain), alone(), own()],
            ));
            all.push(Cause::of(
                "gauge-zero-shifted",
                "a gauge's zero has moved: temperature, moisture, a bond letting go",
                place.clone(),
                vec![
                    self.explains(&format!("{name} by the same amount all along the stroke"), zero),
                    alone(),
                    own(),
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

    /// Samples that did not come: what they would have shown is unknown, and what is left is no change of the press.
    pub(super) fn of_sampling(&self) -> Option<Cause> {
        let lost =
            [Reason::FramesLost, Reason::FramesRepeated].into_iter().find(|reason| self.has(*reason))?;
        let evidence =
            vec![Evidence { sign: format!("the monitor found: {}", lost.says()), support: 1.0, weight: 1.0 }];
        Some(Cause::of(
            "samples-lost",
            "samples were lost or came twice: supply, cable or converter; the load in between is not known",
            None,
            evidence,
        ))
    }
}
