//! What goes wrong at one place of a die whose stations no job names.
//!
//! The place comes from the columns' shares, the course from the stroke itself; which tool stands there nobody said.
//! So only what shows without knowing that is asked: less or more load, on which way, near the bottom alone or not.

use super::super::diagnosis::{Cause, Evidence};
use super::super::history::Course;
use super::super::press_wide::Wide;
use super::super::unnamed::{Spot, apart};
use super::{Seen, percent, ramp};
use crate::diagnose::labelled;

impl Seen<'_> {
    /// Causes at one place, where the stations are not named.
    pub(super) fn of_unnamed(&self) -> Vec<Cause> {
        let Some(spot) = self.spot else { return Vec::new() };
        let place = spot.corner.map(str::to_owned);
        let near = spot
            .corner
            .map_or("one place".to_owned(), |corner| format!("one place near {}", labelled(corner)));
        let lying = self.pattern(Wide::AtBottom);
        let bottom = lying.map_or(0.0, |fit| fit.explained);
        let off_centre =
            lying.zip(self.bottom_centre).and_then(|(fit, centre)| apart(centre, &fit.amplitudes));
        let one_force = || self.explains(&format!("one force at {near}"), spot.explained);
        // Everything closing deeper loads what closes anyway; a slug lies anywhere.
        let elsewhere = Evidence {
            sign: match off_centre {
                Some(away) => {
                    format!("it is {} of half the plate from the load the bottom has anyway", percent(away))
                }
                None => "the bottom has no load of its own to tell it from, or there is no telling where"
                    .to_owned(),
            },
            support: off_centre.map_or(0.7, |away| ramp(away, 0.05, 0.25)),
            weight: 0.6,
        };
        let mut all = Vec::new();
        let mut add = |code, says, evidence| all.push(Cause::of(code, says, place.clone(), evidence));
        add(
            "slug-on-die",
            "a slug or a piece of scrap lies on the die",
            vec![
                self.explains(&format!("load near the bottom at {near}"), bottom),
                elsewhere,
                self.course(&[Course::Sudden], 0.25),
                self.nothing_better(bottom, self.best_beside(None, |other| other == Wide::AtBottom)),
            ],
        );
        let more = 1.0 - spot.less;
        let before_bottom = Evidence {
            sign: format!("load near the bottom alone explains {}", percent(bottom)),
            support: 1.0 - ramp(bottom, 0.6 * spot.explained, 0.95 * spot.explained),
            weight: 0.6,
        };
        // A blunt edge sinks deeper before the sheet cracks: the load goes on past where it used to let go.
        let held_on = Evidence {
            sign: format!("{} of it on the way down is where tools let go", percent(spot.releasing)),
            support: ramp(spot.releasing, 0.6, 0.9),
            weight: 0.5,
        };
        add(
            "hard-spot-in-strip",
            "harder metal under one station: a weld joining two coils, an inclusion",
            vec![
                one_force(),
                on_the_way_down("more", more),
                before_bottom.clone(),
                Evidence { support: 1.0 - held_on.support, weight: 0.3, ..held_on.clone() },
                self.course(&[Course::Sudden], 0.3),
                self.beyond_press_wide(spot),
            ],
        );
        add(
            "dull-edge",
            "a cutting edge is blunt: regrind",
            vec![
                one_force(),
                on_the_way_down("more", more),
                before_bottom,
                held_on,
                self.course(&[Course::Growing, Course::Steady], 0.25),
                self.beyond_press_wide(spot),
            ],
        );
        // What is gone cuts nothing, on the way down; what strips it has less to hold too.
        add(
            "broken-punch",
            "part of the cutting edge is gone: a punch broken or pulled",
            vec![
                one_force(),
                on_the_way_down("less", spot.less),
                Evidence {
                    sign: format!("{} of it is on the way up", percent(spot.returning)),
                    support: 1.0 - ramp(spot.returning, 0.3, 0.7),
                    weight: 0.3,
                },
                Evidence {
                    sign: format!("peak {:.2} of the expected", self.peak_ratio),
                    support: 1.0 - ramp(1.0 - self.peak_ratio, 0.4, 0.8),
                    weight: 0.6,
                },
                self.course(&[Course::Sudden, Course::Steady], 0.15),
                self.beyond_press_wide(spot),
            ],
        );
        all
    }

    /// A course of its own fits much; only what no change of the whole press explains as well speaks for a place.
    fn beyond_press_wide(&self, spot: &Spot) -> Evidence {
        let wide =
            self.patterns.iter().zip(self.pattern_fits).filter(|(pattern, _)| pattern.what != Wide::AtBottom);
        let best = wide.map(|(_, fit)| fit.explained).fold(0.0, f64::max);
        Evidence {
            sign: format!("no change of a gauge or of the press explains more than {}", percent(best)),
            support: ramp(spot.explained - best, 0.0, 0.2),
            weight: 0.6,
        }
    }
}

/// Which way the load goes at the place while the slide comes down.
fn on_the_way_down(what: &str, share: f64) -> Evidence {
    Evidence {
        sign: format!("{} of it on the way down is {what} load than expected", percent(share)),
        support: ramp(share, 0.6, 0.9),
        weight: 0.8,
    }
}
