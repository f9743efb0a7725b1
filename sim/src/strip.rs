//! The stock: coils that differ, and drift and scatter within a coil.
//!
//! Thickness and strength are drawn for each coil, drift linearly over it and scatter from stroke to stroke.
//! Scatter is half white and half slow (a first-order autoregression, memory of some twenty strokes), as
//! rolled strip is. Nothing is drawn beyond three standard deviations.
//!
//! A coil's end goes through the die as the scenario says: see [`CoilEnd`]. A joint is a seam between two coils, so
//! what lies beyond it is still the old one. Left out: the press's speed while a strip is threaded.

use crate::material::Material;
use crate::scenario::{CoilEnd, StripData};
use crate::seed::{Purpose, bounded_normal, normal, stream};
use rand_chacha::ChaCha8Rng;

/// How much of the slow scatter is kept from stroke to stroke.
const MEMORY: f64 = 0.95;

/// Where the end of a coil is; stations are those that work the strip, from 0 in its order.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Seam {
    /// A joint lies under this station.
    Joint(usize),
    /// The strip's end has passed so many stations.
    End(usize),
    /// A new strip has reached so many stations.
    Threading(usize),
}

/// What differs from coil to coil, in one stroke.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sheet {
    /// Factor on nominal thickness.
    pub thickness: f64,
    /// Factor on the material's strengths.
    pub strength: f64,
    /// Relative change of thickness from the middle of the strip to the front columns.
    pub wedge: f64,
}

/// The stock of one stroke, before faults.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stretch {
    /// Number of the coil that enters the die, from 1.
    pub coil: u32,
    /// That coil here.
    pub sheet: Sheet,
    /// The coil before it, which still lies beyond a joint.
    pub beyond: Sheet,
    /// Where the end of a coil is, while it is in the die.
    pub seam: Option<Seam>,
    /// Factor on friction.
    pub friction: f64,
    /// How much lower the warm die closes, mm.
    pub closing_mm: f64,
    /// Dullness gained by wear.
    pub wear: f64,
}

/// Coil after coil.
#[derive(Debug, Clone)]
pub struct Strip {
    data: StripData,
    material: &'static Material,
    /// Stations that work the strip.
    stations: usize,
    coils: ChaCha8Rng,
    strokes: ChaCha8Rng,
    coil: u32,
    left: u32,
    length: u32,
    /// Strokes for which the end of a coil is still in the die.
    seam_left: usize,
    base: [f64; 2],
    drift: [f64; 2],
    wedge: f64,
    /// How the last coil ended: thickness, strength, wedge.
    ended: [f64; 3],
    slow: [f64; 3],
    done: u32,
}

impl Strip {
    /// The strip of a scenario that was checked, through a die of so many stations that work it.
    #[must_use]
    pub fn new(data: &StripData, material: &'static Material, stations: usize, seed: u64) -> Self {
        Self {
            data: data.clone(),
            material,
            stations,
            coils: stream(seed, Purpose::Coil),
            strokes: stream(seed, Purpose::Strip),
            coil: 0,
            left: 0,
            length: 1,
            base: [1.0; 2],
            drift: [0.0; 2],
            wedge: 0.0,
            seam_left: 0,
            ended: [1.0, 1.0, 0.0],
            slow: [0.0; 3],
            done: 0,
        }
    }

    /// What it is made of.
    #[must_use]
    pub fn material(&self) -> &'static Material {
        self.material
    }

    /// The stock of the next stroke.
    pub fn next_stroke(&mut self) -> Stretch {
        let seam = self.next_seam();
        let scatter = [
            self.data.scatter_thickness_percent,
            self.data.scatter_strength_percent,
            self.data.scatter_friction_percent,
        ];
        let mut now = [0.0; 3];
        for ((out, slow), percent) in now.iter_mut().zip(&mut self.slow).zip(scatter) {
            // Equal shares of variance, slow and white.
            let fresh = normal(&mut self.strokes) * f64::sqrt(1.0 - MEMORY * MEMORY);
            *slow = MEMORY * *slow + fresh;
            *out = percent / 100.0 * core::f64::consts::FRAC_1_SQRT_2 * (*slow + normal(&mut self.strokes));
        }
        let along = 1.0 - f64::from(self.left) / f64::from(self.length) - 0.5;
        let warm = 1.0 - libm::exp(-f64::from(self.done) / self.data.warm_up_strokes);
        let [thickness, strength, wedge] = self.ended;
        let stretch = Stretch {
            coil: self.coil,
            sheet: Sheet {
                thickness: self.base[0] + self.drift[0] * along + now[0],
                strength: self.base[1] + self.drift[1] * along + now[1],
                wedge: self.wedge,
            },
            beyond: Sheet { thickness: thickness + now[0], strength: strength + now[1], wedge },
            seam,
            friction: (1.0 + now[2]).max(0.2),
            // Set up cold for the warm state: a cold die closes less.
            closing_mm: self.data.warm_up_mm * (warm - 1.0),
            wear: self.wear(),
        };
        self.done += 1;
        stretch
    }

    /// Moves the strip on by a pitch; gives where the end of a coil then is.
    fn next_seam(&mut self) -> Option<Seam> {
        // Before the last station is free of the old coil and after the first has the new one there is a whole die.
        let between = self.stations.saturating_sub(1);
        if self.left == 0 {
            let runs_out = self.coil > 0 && self.data.coil_end == CoilEnd::Thread;
            if runs_out && self.seam_left == 0 {
                self.seam_left = between + 1;
            }
            if self.seam_left > 1 {
                self.seam_left -= 1;
                return Some(Seam::End(self.stations - self.seam_left));
            }
            let joined = self.coil > 0 && self.data.coil_end == CoilEnd::Joint;
            self.load_coil();
            self.seam_left = if joined {
                self.stations
            } else if runs_out {
                between
            } else {
                0
            };
        }
        self.left -= 1;
        if self.seam_left == 0 {
            return None;
        }
        let reached = self.stations - self.seam_left;
        self.seam_left -= 1;
        match self.data.coil_end {
            CoilEnd::Joint => Some(Seam::Joint(reached)),
            CoilEnd::Thread => Some(Seam::Threading(reached)),
            CoilEnd::Seamless => None,
        }
    }

    /// Dullness gained since the last regrind.
    fn wear(&self) -> f64 {
        let run = u64::from(self.data.strokes_since_regrind) + u64::from(self.done);
        let since = match self.data.regrind_every {
            Some(every) => run % u64::from(every.max(1)),
            None => run,
        };
        self.data.wear_per_100k * since as f64 / 100_000.0
    }

    fn load_coil(&mut self) {
        self.coil += 1;
        if self.coil > 1 {
            let [thickness, strength] = self.base;
            // Half the drift of the whole coil lies beyond its middle.
            self.ended = [thickness + 0.5 * self.drift[0], strength + 0.5 * self.drift[1], self.wedge];
        }
        let mean = f64::from(self.data.strokes_per_coil);
        self.length = f64::round(mean * (1.0 + 0.1 * bounded_normal(&mut self.coils))).max(1.0) as u32;
        self.left = self.length;
        let percent = |random: &mut ChaCha8Rng, sd: f64| sd / 100.0 * bounded_normal(random);
        self.base = [
            1.0 + percent(&mut self.coils, self.data.coil_thickness_percent),
            1.0 + percent(&mut self.coils, self.data.coil_strength_percent),
        ];
        self.drift = [
            percent(&mut self.coils, self.data.drift_percent),
            percent(&mut self.coils, self.data.drift_percent),
        ];
        // A strip slit from the edge of a wide coil is thinner to one side by a fraction of its scatter.
        self.wedge = percent(&mut self.coils, 0.3 * self.data.coil_thickness_percent);
    }
}
