//! What the strip does: another coil, harder or softer, missing.

use bolster_core::verdict::Reason;

use super::super::diagnosis::{Cause, Evidence};
use super::super::history::Course;
use super::super::press_wide::Wide;
use super::{Seen, ramp};

impl Seen<'_> {
    /// The stock: everything in proportion, along the ways that the die's stock was seen to move it.
    pub(super) fn of_stock(&self) -> Vec<Cause> {
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
                self.nothing_better(explained, self.best_beside(None, |_| false)),
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

    /// Less of everything: without stations, no strip under any of them.
    pub(super) fn of_missing_strip(&self) -> Cause {
        let fit = self.pattern(Wide::Stronger);
        let falls = fit.and_then(|fit| fit.amplitudes.first()).is_some_and(|amplitude| *amplitude < 0.0);
        let explained = fit.filter(|_| falls).map_or(0.0, |fit| fit.explained);
        let mut evidence = vec![
            self.explains("less of everything in proportion", explained),
            Evidence {
                sign: format!("peak {:.2} of the expected", self.peak_ratio),
                support: ramp(1.0 - self.peak_ratio, 0.1, 0.4),
                weight: 0.6,
            },
            self.course(&[Course::Sudden], 0.3),
            self.sensor(0.1),
            self.nothing_better(explained, self.best_beside(None, |_| false)),
        ];
        evidence.extend(self.own_limit(Reason::NoLoad, 0.5));
        Cause::of(
            "strip-missing",
            "no strip, or only part of it, in the die: end of the coil, strip off to a side",
            None,
            evidence,
        )
    }
}
