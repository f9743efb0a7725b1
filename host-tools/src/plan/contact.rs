//! How the load of one contact between die and sheet rises and falls as the slide goes past first touch.
//!
//! Handbooks give peak loads; the course between is an assumption of this plan, chosen so that its work agrees
//! with shop formulas (0.63 · load · depth for drawing) and with the usual look of recorded strokes:
//!
//! * cut: elastic to 0.6 of the peak, up to the peak at three quarters of the depth of fracture, 0.95 of it at
//!   fracture, then a crack over a quarter of that depth more, 5 % friction, and stripping on the way back;
//! * bend: from 0.2 of the peak up to it at 0.6 of the travel, then off to 0.85;
//! * draw: up to the peak at 0.4 of the depth, then down as the flange shrinks;
//! * squeeze: half the nominal load at yield, rising with the square of the reduction, and on beyond;
//! * pad: preload and rate, 5 % of it lost to friction on the way back; a cushion rises by a tenth over the draw.
//!
//! Unloading is elastic. Rate of strain, heating and dulling are left out.

use core::f64::consts::FRAC_PI_2;

use super::formula;
use super::job::{BendKind, Job, Operation, Station};

/// Shares and lengths that no handbook gives; changed by the uncertainty study and nothing else.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Variation {
    /// Strength above nominal, in half bands of each stock.
    pub strength: f64,
    /// Thickness above nominal, in half bands of each stock.
    pub thickness: f64,
    /// Factor on the depth of the punch at fracture.
    pub penetration: f64,
    /// Factor on cutting loads beside strength and thickness.
    pub cut: f64,
    /// Factor on bending loads.
    pub bend: f64,
    /// Factor on drawing loads.
    pub draw: f64,
    /// Factor on squeezing loads.
    pub coin: f64,
    /// How much lower the dies close, mm.
    pub lower_mm: f64,
    /// Factor on the frame's stiffness.
    pub stiffness: f64,
}

impl Default for Variation {
    fn default() -> Self {
        Self {
            strength: 0.0,
            thickness: 0.0,
            penetration: 1.0,
            cut: 1.0,
            bend: 1.0,
            draw: 1.0,
            coin: 1.0,
            lower_mm: 0.0,
            stiffness: 1.0,
        }
    }
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Course {
    Cut { peak: f64, fracture: f64, crack: f64, trail: f64, through: f64, strip: f64 },
    Bend { peak: f64, travel: f64 },
    Draw { peak: f64, depth: f64 },
    Squeeze { full: f64, reduction: f64 },
    Pad { preload: f64, rate: f64 },
}

impl Course {
    /// Load at plastic travel `s`, kN.
    fn at(&self, s: f64) -> f64 {
        match *self {
            Self::Cut { peak, fracture, crack, trail, through, .. } => {
                let x = s / fracture;
                if x < 0.75 {
                    peak * (0.6 + 0.4 * (FRAC_PI_2 * x / 0.75).sin())
                } else if x < 1.0 {
                    peak * (1.0 - 0.2 * (x - 0.75))
                } else if s < fracture + crack {
                    let y = (s - fracture) / crack;
                    0.95 * peak + (trail - 0.95 * peak) * y * y * (3.0 - 2.0 * y)
                } else {
                    trail * (1.0 - 0.5 * ((s - fracture - crack) / through).clamp(0.0, 1.0))
                }
            }
            Self::Bend { peak, travel } => {
                let x = (s / travel).min(1.0);
                if x < 0.6 {
                    peak * (0.2 + 0.8 * (FRAC_PI_2 * x / 0.6).sin())
                } else {
                    peak * (1.0 - 0.15 * (x - 0.6) / 0.4)
                }
            }
            Self::Draw { peak, depth } => {
                let x = (s / depth).min(1.0);
                if x < 0.4 {
                    peak * (0.15 + 0.85 * (FRAC_PI_2 * x / 0.4).sin())
                } else {
                    // Down to 0.18, which makes the work 0.63 · peak · depth.
                    peak * (1.0 - 0.82 * (x - 0.4) / 0.6)
                }
            }
            Self::Squeeze { full, reduction } => {
                let x = s / reduction;
                full * (0.5 + 0.5 * x * x)
            }
            Self::Pad { preload, rate } => preload + rate * s,
        }
    }
}

/// Share of a pad's load lost on the way back.
const PAD_LOSS: f64 = 0.05;
/// How much a cushion's load rises over the depth of a draw.
const CUSHION_RISE: f64 = 0.1;

/// One contact: its place, its course and how deep it has been.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Contact {
    /// Index of its station in the job.
    pub(super) station: usize,
    pub(super) x_mm: f64,
    pub(super) y_mm: f64,
    /// Slide height at first touch, mm.
    pub(super) touch_mm: f64,
    /// Load at yield and elastic travel to it.
    yields: f64,
    pub(super) stiffness: f64,
    course: Course,
    deepest: f64,
    deepest_load: f64,
}

/// Load released and travel of the crack of a cut.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Release {
    /// Load that goes, kN.
    pub(super) kn: f64,
    /// Travel over which it goes, mm.
    pub(super) over_mm: f64,
    /// Slide height at fracture, the frame's stretch left out, mm.
    pub(super) height_mm: f64,
}

impl Contact {
    fn new(station: usize, place: [f64; 2], touch_mm: f64, elastic_mm: f64, course: Course) -> Self {
        let yields = course.at(0.0);
        let full = match course {
            Course::Cut { peak, .. } | Course::Bend { peak, .. } | Course::Draw { peak, .. } => peak,
            Course::Squeeze { full, .. } => full,
            Course::Pad { preload, rate } => preload.max(rate),
        };
        let stiffness = (full / elastic_mm).max(1e-6);
        Self {
            station,
            x_mm: place[0],
            y_mm: place[1],
            touch_mm,
            yields,
            stiffness,
            course,
            deepest: 0.0,
            deepest_load: 0.0,
        }
    }

    /// Load on the way in, `past` mm beyond first touch, kN.
    fn fresh(&self, past: f64) -> f64 {
        let elastic = self.yields / self.stiffness;
        if past < elastic {
            return self.stiffness * past;
        }
        match self.course {
            // Tool and sheet go on giving as the load climbs: k (past − s) = full (1 + (s/reduction)²)/2.
            Course::Squeeze { full, reduction } => {
                let (a, k) = (0.5 * full / (reduction * reduction), self.stiffness);
                let s = (-k + (k * k + 4.0 * a * (k * past - 0.5 * full)).sqrt()) / (2.0 * a);
                self.course.at(s)
            }
            _ => self.course.at(past - elastic),
        }
    }

    /// Load with the slide `past` mm beyond first touch, kN; remembers how deep it has been.
    pub(super) fn load(&mut self, past: f64) -> f64 {
        if past >= self.deepest {
            if past <= 0.0 {
                return 0.0;
            }
            let load = self.fresh(past);
            (self.deepest, self.deepest_load) = (past, load);
            return load;
        }
        let back = self.deepest_load - self.stiffness * (self.deepest - past);
        match self.course {
            Course::Pad { .. } if past > 0.0 => back.max((1.0 - PAD_LOSS) * self.fresh(past)),
            Course::Cut { fracture, strip, .. } if self.deepest > fracture && past > 0.0 => back.max(-strip),
            _ => back.max(0.0),
        }
    }

    /// What fracture releases, for a cut.
    pub(super) fn release(&self) -> Option<Release> {
        match self.course {
            Course::Cut { peak, fracture, crack, trail, .. } => Some(Release {
                kn: 0.95 * peak - trail,
                over_mm: crack,
                height_mm: self.touch_mm - fracture - self.yields / self.stiffness,
            }),
            _ => None,
        }
    }
}

/// Groups of staggered punches at most, and slices of a ground edge.
const GROUPS: u32 = 24;
const SLICES: u32 = 16;

/// Adds the contacts of station number `index` to `out`; `finest`: groups of staggered punches at most.
fn of_station(index: usize, station: &Station, v: &Variation, finest: u32, out: &mut Vec<Contact>) {
    let stock = &station.stock;
    let strength = 1.0 + v.strength * stock.strength_spread_percent / 100.0;
    let t = stock.thickness_mm * (1.0 + v.thickness * stock.thickness_spread_percent / 100.0);
    let place = [station.x_mm, station.y_mm];
    // Thicker sheet is met earlier.
    let raise = v.lower_mm + t - stock.thickness_mm;
    for operation in &station.operations {
        match operation {
            Operation::Cut(cut) => {
                let peak = v.cut * formula::cutting_kn(cut.perimeter_mm, t, stock.shear_mpa * strength);
                let fracture = stock.penetration * v.penetration * t;
                let groups = if cut.stagger_mm > 0.0 { cut.punches.clamp(2, finest.max(2)) } else { 1 };
                let slices = if cut.shear_mm > 0.0 { SLICES.min(finest.max(4)) } else { 1 };
                let share = 1.0 / f64::from(groups * slices);
                let elastic = 0.04 + 0.015 * t;
                for group in 0..groups {
                    let short = cut.stagger_mm * f64::from(group) / f64::from((groups - 1).max(1));
                    for slice in 0..slices {
                        let late = cut.shear_mm * (f64::from(slice) + 0.5) / f64::from(slices);
                        let course = Course::Cut {
                            peak: peak * share,
                            fracture,
                            crack: (0.25 * fracture).max(1.2 * elastic),
                            trail: 0.05 * peak * share,
                            through: t,
                            strip: peak * share * cut.stripping_percent / 100.0,
                        };
                        let late = if slices > 1 { late } else { 0.0 };
                        let touch = cut.contact_mm + raise - short - late;
                        out.push(Contact::new(index, place, touch, elastic, course));
                    }
                }
            }
            Operation::Bend(bend) => {
                let factor = v.bend * bend_factor(bend.how);
                let peak = formula::bending_kn(
                    factor,
                    bend.length_mm,
                    t,
                    stock.tensile_mpa * strength,
                    bend.opening_mm,
                );
                let course = Course::Bend { peak, travel: bend.contact_mm };
                out.push(Contact::new(index, place, bend.contact_mm + raise, 0.2, course));
            }
            Operation::Draw(draw) => {
                let tensile = stock.tensile_mpa * strength;
                let peak = v.draw * formula::drawing_kn(draw.punch_mm, draw.blank_mm, t, tensile);
                let touch = draw.depth_mm + raise;
                let course = Course::Draw { peak, depth: draw.depth_mm };
                out.push(Contact::new(index, place, touch, 0.3, course));
                if draw.cushion {
                    let preload = v.draw
                        * formula::holding_kn(
                            draw.punch_mm,
                            draw.blank_mm,
                            t,
                            draw.die_radius_mm,
                            stock.yield_mpa * strength,
                        );
                    if preload > 0.0 {
                        let course = Course::Pad { preload, rate: CUSHION_RISE * preload / draw.depth_mm };
                        out.push(Contact::new(index, place, touch, 0.1, course));
                    }
                }
            }
            Operation::Coin(coin) => {
                let full = v.coin * strength * coin.area_mm2 * coin.pressure_mpa / 1000.0;
                let course = Course::Squeeze { full, reduction: coin.reduction_mm };
                out.push(Contact::new(index, place, coin.contact_mm + raise, 0.05, course));
            }
            Operation::Pad(pad) => {
                let course = Course::Pad { preload: pad.preload_kn, rate: pad.rate_kn_per_mm };
                out.push(Contact::new(index, place, pad.contact_mm + v.lower_mm, 0.1, course));
            }
        }
    }
}

/// Every contact of a hit. A die of many stations gets coarser groups and slices: they blur into each other anyway.
pub(super) fn contacts(job: &Job, hit: u32, v: &Variation) -> Vec<Contact> {
    let own = || job.stations.iter().enumerate().filter(|(_, s)| s.hit == hit);
    let finest = (600 / own().count().max(1)).clamp(4, GROUPS as usize) as u32;
    let mut all = Vec::new();
    for (index, station) in own() {
        of_station(index, station, v, finest, &mut all);
    }
    all
}

/// K of the bending formula.
pub(super) fn bend_factor(how: BendKind) -> f64 {
    match how {
        BendKind::Vee => 1.33,
        BendKind::Wipe => 0.33,
        BendKind::Air => 1.42,
    }
}

#[cfg(test)]
mod tests {
    use super::{Contact, Course};

    fn drive(contact: &mut Contact, depth: f64) -> Vec<(f64, f64)> {
        let steps = 20_000_i32;
        (0..=2 * steps)
            .map(|i| depth * (1.0 - f64::from((i - steps).abs()) / f64::from(steps)))
            .map(|past| (past, contact.load(past)))
            .collect()
    }

    fn work(path: &[(f64, f64)]) -> f64 {
        path.windows(2).map(|w| 0.5 * (w[0].1 + w[1].1) * (w[1].0 - w[0].0)).sum()
    }

    #[test]
    fn a_draw_does_the_work_of_the_shop_formula() {
        // source: 0.63 · load · depth, metalworking-machinery.com (read). Elastic travel 0.3 mm of 60.
        let mut contact = Contact::new(0, [0.0; 2], 60.0, 0.3, Course::Draw { peak: 100.0, depth: 60.0 });
        let path = drive(&mut contact, 60.0);
        assert!((work(&path) / (0.63 * 100.0 * 60.0) - 1.0).abs() < 0.01, "{}", work(&path));
    }

    #[test]
    fn a_cut_peaks_breaks_and_is_stripped() {
        let course =
            Course::Cut { peak: 100.0, fracture: 0.8, crack: 0.2, trail: 5.0, through: 2.0, strip: 7.0 };
        let mut contact = Contact::new(0, [0.0; 2], 5.0, 0.07, course);
        let path = drive(&mut contact, 3.0);
        let highest = path.iter().map(|p| p.1).fold(0.0, f64::max);
        let lowest = path.iter().map(|p| p.1).fold(0.0, f64::min);
        assert!((highest - 100.0).abs() < 1e-6 && (lowest + 7.0).abs() < 1e-9, "{highest} {lowest}");
        // Half of load × thickness is the shop formula for blanking; with a penetration of 0.4 of 2 mm the
        // course must lie near it: 0.5 · 100 · 2 = 100 J, less than half off.
        let down = work(&path[..path.len() / 2]);
        assert!(down > 75.0 && down < 125.0, "{down}");
    }

    #[test]
    fn what_only_presses_never_pulls_and_a_pad_gives_back_most() {
        for course in [
            Course::Bend { peak: 50.0, travel: 6.0 },
            Course::Squeeze { full: 400.0, reduction: 0.3 },
            Course::Draw { peak: 80.0, depth: 10.0 },
        ] {
            let mut contact = Contact::new(0, [0.0; 2], 6.0, 0.1, course);
            let path = drive(&mut contact, 0.5);
            assert!(path.iter().all(|p| p.1 >= 0.0) && work(&path) > 0.0, "{course:?}");
        }
        let mut pad = Contact::new(0, [0.0; 2], 5.0, 0.1, Course::Pad { preload: 10.0, rate: 2.0 });
        let path = drive(&mut pad, 5.0);
        let (down, up) = path.split_at(path.len() / 2);
        assert!((-work(up) / work(down) - 0.95).abs() < 0.01, "{} {}", work(up), work(down));
    }
}
