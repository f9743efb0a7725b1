//! Usual causes and the signs each is told by.
//!
//! A cause is what the change would look like if it were so, fitted to what was seen, and signs beside that. Why
//! each sign points where it does is said at the rule; sizes are not taken from any press. Codes are stable.

mod at_station;
mod gauge;
mod press;
mod stock;
mod unnamed;

use bolster_core::verdict::Reason;

use super::diagnosis::{Cause, Evidence};
use super::fit::{Change, Fit};
use super::history::{Before, Course};
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
    /// Where the load expected at the bottom acts, in halves of the plate.
    pub(super) bottom_centre: Option<[f64; 2]>,
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
    all.extend(seen.of_sampling());
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

    /// The most that any place or pattern explains but the given station and the patterns of the `same` cause.
    fn best_beside(&self, station: Option<usize>, same: impl Fn(Wide) -> bool) -> f64 {
        let stations = self.station_fits.iter().enumerate().filter(|(n, _)| Some(*n) != station);
        let wide = self.patterns.iter().zip(self.pattern_fits).filter(|(pattern, _)| !same(pattern.what));
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

    /// A limit that the die has for this very cause was left; a die without one says nothing.
    fn own_limit(&self, reason: Reason, weight: f64) -> Option<Evidence> {
        self.has(reason).then(|| Evidence { sign: reason.says().to_owned(), support: 1.0, weight })
    }

    fn sensor(&self, weight: f64) -> Evidence {
        let missed = self.has(Reason::SensorWindow);
        let sign = if missed { "a part sensor was missed" } else { "no part sensor was missed" };
        Evidence { sign: sign.to_owned(), support: f64::from(u8::from(missed)), weight }
    }
}
