//! One place of contact between die and strip: an elastic member in series with a law of plastic travel.
//!
//! The member (tool, sheet and contact, stiffness k) carries F = k·(u − s), where u is how far the slide has gone
//! past first contact there and s the plastic travel so far. F never exceeds `limit(s)`, the law of the
//! operation; where it would, s grows until it does not (return mapping, one guarded Newton step a sample, whose
//! remainder the next sample corrects). It never falls below `−drag(s)`: zero for a tool that only presses,
//! the stripping load for a punch that sits in the sheet. Unloading is elastic, so a bent or coined strip springs
//! back, and what the member stores it gives back.
//!
//! Rate of strain and heating are left out.

/// How far a law lets the load rise over plastic travel `s` (mm). All loads in kN.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Law {
    /// Blanking and piercing; see the pierce station.
    Shear {
        /// Load at its highest.
        peak: f64,
        /// Plastic travel at fracture.
        fracture: f64,
        /// Travel over which the crack runs through.
        crack: f64,
        /// Friction on the cut walls after fracture.
        trail: f64,
        /// One over the travel, after the crack, in which friction falls to its half as the slug goes out, 1/mm.
        fade: f64,
        /// Load that holds the punch in the sheet on the way back.
        strip: f64,
    },
    /// Bending: rises to its peak at 60 % of the travel, then eases off as the arms swing up.
    Bend {
        /// Load at its highest.
        peak: f64,
        /// Whole travel.
        travel: f64,
    },
    /// Squeezing: a yield load that climbs with the square of the reduction.
    Squeeze {
        /// Load at first yield.
        yields: f64,
        /// Load at the nominal reduction.
        full: f64,
        /// Nominal reduction.
        reduction: f64,
    },
    /// Drawing a cup: rises to a peak at 40 % of the depth, then falls as the flange shrinks.
    Draw {
        /// Load at its highest.
        peak: f64,
        /// Whole depth.
        depth: f64,
    },
    /// A spring pad, stripper or cushion: preload and rate; its friction makes the way back a little weaker.
    Pad {
        /// Load at first contact.
        preload: f64,
        /// Rise, kN/mm.
        rate: f64,
        /// Share of the load lost on the way back.
        loss: f64,
    },
}

impl Law {
    /// The most load at plastic travel `s`, and its slope, kN/mm.
    #[inline(always)]
    fn limit(&self, s: f64) -> (f64, f64) {
        match *self {
            Self::Shear { peak, fracture, crack, trail, fade, .. } => {
                if s >= fracture + crack {
                    let y = ((s - fracture - crack) * fade).min(1.0);
                    return (trail * (1.0 - 0.5 * y), 0.0);
                }
                let x = s / fracture;
                if x < 0.7 {
                    // From the yield in shear (0.55 of the peak) parabolically up to the peak.
                    let y = 1.0 - x / 0.7;
                    (peak * (1.0 - 0.45 * y * y), peak * 0.9 * y / (0.7 * fracture))
                } else if x < 1.0 {
                    // The section left shrinks faster than the metal hardens.
                    let y = (x - 0.7) / 0.3;
                    (peak * (1.0 - 0.05 * y * y), -peak * 0.1 * y / (0.3 * fracture))
                } else {
                    let y = (s - fracture) / crack;
                    let drop = 0.95 * peak - trail;
                    (trail + drop * (1.0 - y * y * (3.0 - 2.0 * y)), -drop * 6.0 * y * (1.0 - y) / crack)
                }
            }
            Self::Bend { peak, travel } => {
                let x = s / travel;
                if x < 0.6 {
                    let y = 1.0 - x / 0.6;
                    (peak * (1.0 - 0.8 * y * y), peak * 1.6 * y / (0.6 * travel))
                } else {
                    let y = (x - 0.6) / 0.4;
                    (peak * (1.0 - 0.15 * y * y).max(0.5), 0.0)
                }
            }
            Self::Squeeze { yields, full, reduction } => {
                let x = s / reduction;
                (yields + (full - yields) * x * x, 2.0 * (full - yields) * x / reduction)
            }
            Self::Draw { peak, depth } => {
                let x = s / depth;
                if x < 0.4 {
                    let y = 1.0 - x / 0.4;
                    (peak * (1.0 - 0.85 * y * y), peak * 1.7 * y / (0.4 * depth))
                } else {
                    let y = ((x - 0.4) / 0.6).min(1.0);
                    (peak * (1.0 - 0.7 * y * y), 0.0)
                }
            }
            Self::Pad { preload, rate, .. } => (preload + rate * s, rate),
        }
    }

    /// The least load at plastic travel `s`, kN.
    #[inline]
    fn least(&self, s: f64) -> f64 {
        match *self {
            Self::Shear { fracture, strip, .. } if s > fracture => -strip,
            Self::Pad { preload, rate, loss } => (preload + rate * s.max(0.0)) * (1.0 - loss),
            _ => 0.0,
        }
    }

    /// Whether plastic travel can run back (a pad rises again, a punch is pulled out of the sheet).
    #[inline]
    fn runs_back(&self) -> bool {
        matches!(self, Self::Shear { .. } | Self::Pad { .. })
    }
}

/// A contact: its place, its law and what has happened to it in this stroke.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Element {
    /// Index of the station it belongs to.
    pub station: usize,
    /// Slide height at first touch, mm.
    pub touch_mm: f64,
    /// Its share of opening, roll and pitch (see [`crate::frame::Frame::shape`]).
    pub shape: [f64; 3],
    /// Elastic stiffness, kN/mm.
    pub stiffness: f64,
    /// The law of its plastic travel.
    pub law: Law,
    /// Plastic travel so far, mm.
    pub travel: f64,
    /// The deepest plastic travel of the stroke, mm: work hardening does not run back.
    pub deepest: f64,
    /// Load now, kN.
    pub load: f64,
}

impl Element {
    /// A contact that has not been touched yet.
    #[must_use]
    pub fn new(station: usize, touch_mm: f64, shape: [f64; 3], stiffness: f64, law: Law) -> Self {
        Self { station, touch_mm, shape, stiffness, law, travel: 0.0, deepest: 0.0, load: 0.0 }
    }

    /// Load (kN) and plastic travel (mm) if the slide stood `past` mm beyond first touch.
    #[must_use]
    #[inline(always)]
    pub fn answer(&self, past: f64) -> (f64, f64) {
        if past <= 0.0 {
            return (0.0, if self.law.runs_back() { 0.0 } else { self.travel });
        }
        let trial = self.stiffness * (past - self.travel);
        // A punch that comes back through its own hole meets only friction: the law at the deepest travel.
        let pad = matches!(self.law, Law::Pad { .. });
        let (limit, slope) = self.law.limit(if pad { self.travel } else { self.travel.max(self.deepest) });
        if trial > limit {
            let fresh = pad || self.travel >= self.deepest;
            // A crack can fall more steeply than the member unloads: keep the step finite.
            let gradient = (self.stiffness + if fresh { slope } else { 0.0 }).max(0.2 * self.stiffness);
            let travel = self.travel + (trial - limit) / gradient;
            return (self.stiffness * (past - travel), travel);
        }
        let least = self.law.least(if pad { self.travel } else { self.deepest });
        if trial < least {
            if self.law.runs_back() {
                let travel = (past - least / self.stiffness).max(0.0);
                return (self.stiffness * (past - travel), travel);
            }
            return (0.0, self.travel);
        }
        (trial, self.travel)
    }

    /// Moves to where the slide now stands; gives the load, kN.
    #[inline]
    pub fn settle(&mut self, past: f64) -> f64 {
        let (load, travel) = self.answer(past);
        self.load = load;
        self.travel = travel;
        if travel > self.deepest {
            self.deepest = travel;
        }
        load
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Drives an element down to `depth` and back; gives (past, load) pairs.
    fn cycle(law: Law, stiffness: f64, depth: f64) -> Vec<(f64, f64)> {
        let mut element = Element::new(0, 0.0, [1.0, 0.0, 0.0], stiffness, law);
        let steps = 20_000_i32;
        let mut path = Vec::new();
        for i in 0..=2 * steps {
            let past = depth * (1.0 - f64::from((i - steps).abs()) / f64::from(steps));
            element.settle(past);
            path.push((past, element.load));
        }
        path
    }

    fn work(path: &[(f64, f64)]) -> f64 {
        path.windows(2).map(|w| 0.5 * (w[0].1 + w[1].1) * (w[1].0 - w[0].0)).sum()
    }

    #[test]
    fn a_punch_reaches_its_peak_cracks_and_is_stripped() {
        let law =
            Law::Shear { peak: 100.0, fracture: 0.8, crack: 0.15, trail: 8.0, fade: 1.0 / 1.05, strip: 9.0 };
        let path = cycle(law, 1000.0, 3.0);
        let highest = path.iter().map(|p| p.1).fold(0.0, f64::max);
        let lowest = path.iter().map(|p| p.1).fold(0.0, f64::min);
        // One Newton step a sample leaves at most slope·step: 130 kN/mm · 1.5e-4 mm.
        assert!((highest - 100.0).abs() < 0.02, "{highest}");
        assert!((lowest + 9.0).abs() < 0.02, "{lowest}");
        // Mean of the rise 1 − 0.45/3 over 0.7, of the fall 1 − 0.05/3 over 0.3, half the drop over the crack,
        // three quarters of the trail to 2 mm, half of it to 3 mm, stripping for 3 mm.
        let exact = 100.0 * 0.8 * (0.7 * 0.85 + 0.3 * (1.0 - 0.05 / 3.0))
            + 0.15 * (95.0 + 8.0) / 2.0
            + 8.0 * (1.05 * 0.75 + 0.5)
            + 9.0 * 3.0;
        let done = work(&path);
        assert!((done / exact - 1.0).abs() < 0.01, "{done} against {exact}");
    }

    #[test]
    fn what_only_presses_never_pulls_and_springs_back() {
        for law in [
            Law::Bend { peak: 50.0, travel: 6.0 },
            Law::Squeeze { yields: 20.0, full: 400.0, reduction: 0.3 },
            Law::Draw { peak: 80.0, depth: 10.0 },
        ] {
            let depth = if matches!(law, Law::Squeeze { .. }) { 0.5 } else { 5.0 };
            let path = cycle(law, 800.0, depth);
            assert!(path.iter().all(|p| p.1 >= 0.0), "{law:?}");
            assert!(work(&path) > 0.0, "{law:?}");
            // Back by the elastic travel and no further it carries nothing.
            assert_eq!(path.last().map(|p| p.1), Some(0.0));
        }
    }

    #[test]
    fn a_pad_gives_back_all_but_its_friction() {
        let path = cycle(Law::Pad { preload: 10.0, rate: 2.0, loss: 0.1 }, 400.0, 5.0);
        let steps = path.len() / 2;
        let (down, up) = (work(&path[..=steps]), work(&path[steps..]));
        // 10·5 + 2·25/2 = 75 kN·mm less the elastic member's shortening (under 1 %).
        assert!((down / 75.0 - 1.0).abs() < 0.01, "{down}");
        assert!((-up / down - 0.9).abs() < 0.01, "{up}");
    }
}
