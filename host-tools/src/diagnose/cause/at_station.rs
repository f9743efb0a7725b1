//! What goes wrong at one station, and how each of it shows.

use bolster_core::verdict::Reason;

use super::super::diagnosis::{Cause, Evidence};
use super::super::fit::{Fit, Part, Sign};
use super::super::history::Course;
use super::super::station::Way;
use super::{Seen, percent, ramp};

impl Seen<'_> {
    /// What a part of a station's ways explains, some of one sign only.
    fn ways(&self, n: usize, ways: &[(Way, Sign)]) -> Fit {
        let Some(station) = self.stations.get(n) else { return Fit::default() };
        let part = |(way, sign): &(Way, Sign)| {
            let values = station.parts.get(*way as usize).map(|part| part.values.clone()).unwrap_or_default();
            Part { values, sign: *sign }
        };
        self.change.explain(&ways.iter().map(part).collect::<Vec<Part>>())
    }

    /// What goes wrong at one station.
    pub(super) fn of_station(&self, n: usize) -> Vec<Cause> {
        let Some(station) = self.stations.get(n) else { return Vec::new() };
        let name = &station.name;
        let whole = self.station_fits.get(n).map_or(0.0, |fit| fit.explained);
        let here = || self.nothing_better(whole, self.best_beside(Some(n), |_| false));
        let mut all = Vec::new();
        let mut add = |code, says, evidence: Vec<Evidence>| {
            let mut evidence = evidence;
            evidence.push(here());
            all.push(Cause::of(code, says, Some(name.clone()), evidence));
        };
        let bottom = self.ways(
            n,
            &[(Way::AtBottomThin, Sign::Up), (Way::AtBottom, Sign::Up), (Way::AtBottomThick, Sign::Up)],
        );
        // Tools close on what lies between them: load near the bottom, from its thickness on, and nowhere before.
        let words = format!("load near the bottom at {name}");
        let last = n + 1 == self.stations.len();
        let share = (self.above)(1.2 * station.thickness_mm);
        let late = || Evidence {
            sign: format!(
                "{} of the change comes while tools are still further apart than the sheet",
                percent(share)
            ),
            support: 1.0 - ramp(share, 0.1, 0.4),
            weight: 0.7,
        };
        let mut slug =
            vec![self.explains(&words, bottom.explained), late(), self.course(&[Course::Sudden], 0.25)];
        if last && self.has(Reason::SensorWindow) {
            let sign = "a part sensor was missed, and this is the last station".to_owned();
            slug.push(Evidence { sign, support: 0.0, weight: 0.15 });
        }
        add("slug-on-die", "a slug or a piece of scrap lies on the die", slug);
        if last {
            add(
                "part-not-out",
                "the finished part was struck again",
                vec![
                    self.explains(&words, bottom.explained),
                    self.course(&[Course::Sudden], 0.2),
                    self.sensor(0.3),
                ],
            );
        }
        let more = self.ways(n, &[(Way::OwnCut, Sign::Up), (Way::OwnForm, Sign::Up)]);
        // Harder metal at one place of the strip: more of that station's own load, for the strokes it lies there.
        add(
            "hard-spot-in-strip",
            "harder metal under one station: a weld joining two coils, an inclusion",
            vec![
                self.explains(&format!("more of the own load of {name}"), more.explained),
                self.course(&[Course::Sudden], 0.3),
            ],
        );
        if !station.cuts {
            return all;
        }
        let less = self.ways(n, &[(Way::OwnCut, Sign::Down)]);
        let blunt = self
            .ways(n, &[(Way::OwnCut, Sign::Up), (Way::LaterRelease, Sign::Up), (Way::Stripping, Sign::Up)]);
        let both = self
            .ways(n, &[(Way::OwnCut, Sign::Down), (Way::LaterRelease, Sign::Up), (Way::Stripping, Sign::Up)]);
        let scrap = self.ways(n, &[(Way::Trailing, Sign::Up), (Way::OwnCut, Sign::Up)]);
        // Cutting load goes with the length of edge: what is gone cuts nothing, the rest as before.
        add(
            "broken-punch",
            "part of the cutting edge is gone: a punch broken or pulled",
            vec![
                self.explains(&format!("less of the cutting load of {name}"), less.explained),
                self.course(&[Course::Sudden, Course::Steady], 0.15),
            ],
        );
        // A blunt edge sinks deeper before the sheet cracks, and is gripped harder on the way out.
        let deeper =
            blunt.losses.get(1).copied().unwrap_or(0.0) + blunt.losses.get(2).copied().unwrap_or(0.0);
        let sinks = Evidence {
            sign: format!("later crack and harder stripping are {} of it", percent(deeper)),
            support: ramp(deeper, 0.02, 0.2),
            weight: 0.8,
        };
        add(
            "dull-edge",
            "a cutting edge is blunt: regrind",
            vec![
                self.explains(
                    &format!("later crack, harder stripping, more load at {name}"),
                    blunt.explained,
                ),
                sinks,
                self.course(&[Course::Growing, Course::Steady], 0.15),
            ],
        );
        // A chip takes length from the edge and blunts what is left: both signs, neither enough alone.
        let simpler = less.explained.max(blunt.explained);
        let needed = Evidence {
            sign: format!("neither alone explains it ({} at most)", percent(simpler)),
            support: ramp(both.explained - simpler, 0.02, 0.15),
            weight: 0.8,
        };
        add(
            "chipped-edge",
            "part of a cutting edge has broken out and the rest is blunt",
            vec![
                self.explains(&format!("less cutting load and a later crack at {name}"), both.explained),
                needed,
                self.course(&[Course::Sudden, Course::Steady], 0.15),
            ],
        );
        // Scrap packed in the die is pushed on by the next: load goes on from the crack to the bottom.
        let trails = Evidence {
            sign: format!(
                "load between crack and bottom is {} of it",
                percent(scrap.losses.first().copied().unwrap_or(0.0))
            ),
            support: ramp(scrap.losses.first().copied().unwrap_or(0.0), 0.02, 0.2),
            weight: 0.8,
        };
        add(
            "scrap-not-shed",
            "scrap is packed in a cutting die",
            vec![
                self.explains(&format!("load trailing on after the crack at {name}"), scrap.explained),
                trails,
            ],
        );
        all
    }
}
